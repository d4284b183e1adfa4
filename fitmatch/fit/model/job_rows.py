"""Rows of an integer program that are about a whole job: the side of its thicker halves, how its axes line up, its
spread, whether all its positions are inside, and how many boxes it draws from.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.solver.program import Program


def one_side_rows(program: Program, field: Sequence[Pair], seats: Sequence[Sequence[int]]) -> int:
    """The thicker halves of these seats, given as the columns of each, are all on one side; returns the variable that
    is 1 where these are the uppers."""
    side = program.variable(1)
    for columns in seats:
        count = field[columns[0]].bore.count
        upper = [(j, 1) for j in columns if field[j].thick > 0]
        lower = [(j, 1) for j in columns if field[j].thick < 0]
        program.row([*upper, (side, -count)], None, 0)
        program.row([*lower, (side, count)], None, count)
    return side


def shift_rows(
    program: Program,
    field: Sequence[Pair],
    fills: Callable[[Bore], bool],
    terms: Terms,
    seats: Iterable[Sequence[int]],
) -> None:
    """The axis shifts of a job obey its rules; `fills` says whether a bore is certain to be filled."""
    found = []
    for columns in seats:
        bore = field[columns[0]].bore
        if bore.terms is terms:
            filled = [j for j in columns if field[j].filled]
            if filled:
                shifts = [(j, field[j].lower.wall_nm - field[j].upper.wall_nm) for j in filled]
                found.append((bore.positions[0], shifts, fills(bore) and len(filled) == len(columns)))
    terms.shifts.add_rows(program, found)


def spread_rows(program: Program, field: Sequence[Pair], terms: Terms, most: int) -> None:
    """All deviations of a job are within `most` of its smallest. One variable for each deviation says whether the
    smallest is that or less; in the order of deviations they rise from 0 to 1 once."""
    columns: dict[int, list[int]] = {}
    for j, p in enumerate(field):
        if p.counted and p.bore.terms is terms:
            columns.setdefault(p.deviation_nm, []).append(j)
    values = sorted(columns)
    if not values or values[-1] - values[0] <= most:
        return
    begun = program.rising(len(values))
    for value, at in zip(values, begun, strict=True):
        count = sum(program.upper[j] for j in columns[value])
        row = [*((j, 1) for j in columns[value]), (at, -count)]
        near = bisect_left(values, value - most)  # the first deviation that is near enough
        if near:
            row.append((begun[near - 1], count))
        program.row(row, None, 0)


def complete_rows(
    program: Program, field: Sequence[Pair], kind: Kind, least: int, most: int | None = None
) -> list[int]:
    """At least and at most so many jobs have every position of the kind inside its limits; returns the variables that
    say which."""
    inside: dict[int, list[tuple[int, int]]] = {}
    for j, p in enumerate(field):
        if p.within_limits:
            inside.setdefault(p.bore.seat, []).append((j, 1))
    jobs = []
    for terms in kind.terms:
        if terms not in kind.incomplete:
            complete = program.variable(1)
            jobs.append((complete, 1))
            seats = [bore for bore in kind.seats if bore.terms is terms]
            for bore in seats:  # a row for each: a single row for all would be a far weaker bound
                program.row([*inside.get(bore.seat, ()), (complete, -bore.count)], 0, None)
            if most is not None:  # a job with all of them inside counts, whether that helps or not
                all_of_them = [term for bore in seats for term in inside.get(bore.seat, ())]
                program.row([*all_of_them, (complete, -1)], None, sum(bore.count for bore in seats) - 1)
    program.row(jobs, least, None)
    if most is not None:
        program.row(jobs, None, most)
    return [complete for complete, _ in jobs]


def box_rows(
    program: Program, field: Sequence[Pair], kind: Kind, work: Sequence[Terms], least: int, most: int | None
) -> None:
    """These jobs together draw on at least and at most so many boxes, including those of their locked pairs."""
    always = locked_boxes(kind, work)
    using: dict[str, dict[int, list[int]]] = {}
    for j, p in enumerate(field):
        if p.filled and p.bore.terms in work:
            for box in {p.upper.box, p.lower.box} - always:
                using.setdefault(box, {}).setdefault(p.bore.seat, []).append(j)
    drawn = []
    for seats in using.values():
        at = program.variable(1)
        drawn.append((at, 1))
        if least > len(always):
            program.row([*((j, 1) for columns in seats.values() for j in columns), (at, -1)], 0, None)
        for columns in seats.values() if most is not None else ():
            # A row for each seat: a single row for all would be a far weaker bound.
            program.row([*((j, 1) for j in columns), (at, -field[columns[0]].bore.count)], None, 0)
    if least > len(always):
        program.row(drawn, least - len(always), None)
    if most is not None:
        program.row(drawn, None, most - len(always))


def locked_boxes(kind: Kind, work: Sequence[Terms]) -> frozenset[str]:
    """The boxes that the locked pairs of these jobs draw on, whatever is chosen."""
    return frozenset(shell.box for terms, shell in kind.locked_in if terms in work)
