"""Rows of an integer program that are about a whole job: its spread, and whether all its positions are inside."""

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

from fitmatch.fit.candidates import Kind, Pair
from fitmatch.fit.program import Program
from fitmatch.fit.terms import Terms


def spread_rows(program: Program, field: Sequence[Pair], terms: Terms, most: int) -> None:
    """All deviations of a job lie within `most` of its smallest. One variable for each deviation says whether the
    smallest is that or less; in the order of deviations they rise from 0 to 1 once."""
    columns: dict[int, list[int]] = {}
    for j, p in enumerate(field):
        if p.inside and p.bore.terms is terms:
            columns.setdefault(p.deviation_nm, []).append(j)
    values = sorted(columns)
    if not values or values[-1] - values[0] <= most:
        return
    begun = [program.variable(1) for _ in values]
    for one, following in pairwise(begun):
        program.row([(one, 1), (following, -1)], None, 0)
    for value, at in zip(values, begun, strict=True):
        count = sum(program.upper[j] for j in columns[value])
        row = [*((j, 1) for j in columns[value]), (at, -count)]
        near = bisect_left(values, value - most)  # the first deviation that is near enough
        if near:
            row.append((begun[near - 1], count))
        program.row(row, None, 0)


def complete_rows(program: Program, field: Sequence[Pair], kind: Kind, least: int) -> None:
    """At least so many jobs have every position of the kind inside its limits."""
    jobs = []
    for terms in kind.terms:
        if terms.may_be_complete:
            complete = program.variable(1)
            jobs.append((complete, 1))
            seats = sum(bore.count for bore in kind.seats if bore.terms is terms)
            inside = [(j, 1) for j, p in enumerate(field) if p.inside and p.bore.terms is terms]
            program.row([*inside, (complete, -seats)], 0, None)
    program.row(jobs, least, None)
