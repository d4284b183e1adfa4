"""Complete sets that can be re-formed of what lies on the shelf: how many at once, and how even each can be.

A set is a pair for every bore, each inside its limits. How many there can be at once is proven; then sets are formed
one after another, each as even as what is left allows, which may give fewer. Rules about bores in a row, locks and
housings that move play no part, as nobody knows yet for which engine a set will be.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.answer.kernel import Kernel
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.order import INSIDE
from fitmatch.fit.proof.filling import fill
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.records.shelf.shelved import ShelvedShell
from fitmatch.rules.positions.in_rows import Line, NeighbourStep
from fitmatch.rules.positions.movable import Movable
from fitmatch.rules.two_halves.same_in_bore import DEFAULT, SameInBore
from fitmatch.rules.two_halves.wall_difference import WallDifference
from fitmatch.shelf.answers.sets import KindSets, OneSet, SetBore, Sets
from fitmatch.shelf.jobs.supplying import offered, read_supplied
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf

MOST: Final = 20  # sets that are looked for
_JOURNAL_NM: Final = 50_000_000  # of the bores of a pattern; any will do


class Pattern(NamedTuple):
    """A set without an engine: so many pairs of a family. `sums_nm`: the least and the most that the two walls of a
    pair may total; None: what the shelf has."""

    family: str
    pairs: int
    sums_nm: tuple[int, int] | None = None


def sets(shelf: Shelf, wanted: str | PathLike[str] | Pattern, *, most: int = MOST, stop: Stop | None = None) -> Sets:
    """The sets for the bores of a job folder, or of a pattern; `most`: so many are looked for. Raises InputError, and
    RefusedError for a family that the shelf does not have."""
    stop = stop or Stop()
    stop.has_answer = True  # whatever is found is of use
    pattern = isinstance(wanted, Pattern)
    job = _job_of(shelf, wanted) if isinstance(wanted, Pattern) else _only_the_shelf(read_supplied(shelf, wanted))
    return Sets(tuple(_of_kind(job, kind, most, stop, pattern=pattern) for kind in job.kinds))


def _only_the_shelf(job: Job) -> Job:
    known = job.shelved or {}
    loose = (NeighbourStep, Line, Movable)
    return replace(
        job,
        shells=tuple(s for s in job.shells if s.key in known and known[s.key].seat is None and s.hold is None),
        positions=tuple(replace(p, upper=None, lower=None) for p in job.positions if not p.missing),
        rules=tuple(rule for rule in job.rules if not isinstance(rule, loose)),
    )


def _job_of(shelf: Shelf, pattern: Pattern) -> Job:
    """A job whose bores ask for nothing but wall sums within these limits."""
    found = [one for one in offered(shelf, pattern.family) if one.wall_nm is not None]
    if not found:
        raise RefusedError(Fact("unknown-family", {"family": pattern.family}))
    walls = [one.wall_nm for one in found if one.wall_nm is not None]
    low, high = pattern.sums_nm or (2 * min(walls), 2 * max(walls))
    kind = pattern.family
    # A room in which the thickest pair still has a clearance, and the thinnest has the largest that is allowed.
    fit = Fit(kind, target_nm=1 + (high - low) // 2, min_nm=1, max_nm=1 + high - low)
    journal, housing = (Size(nm, nm, nm) for nm in (_JOURNAL_NM, _JOURNAL_NM + high + 1))
    positions = (
        Position(str(at + 1), kind, journal, housing, fit.target_nm, fit.min_nm, fit.max_nm)
        for at in range(pattern.pairs)
    )
    shells = {one.number: _shell(one, kind) for one in found}
    return Job(
        folder=Path(),
        title="",
        unit="in",
        fits={kind: fit},
        positions=tuple(positions),
        shells=tuple(shells.values()),
        rules=(WallDifference(), *(SameInBore(column).located(DEFAULT) for column in DEFAULT)),
        shell_columns=DEFAULT,
        shelved={shells[one.number].key: one for one in found},
    )


def _shell(one: ShelvedShell, kind: str) -> Shell:
    marks = one.series, one.condition, "coated" if one.coating_nm else ""
    lower = tuple(text.strip().casefold() for text in marks)
    return Shell(one.shell, f"{one.box} #{one.box_number}", kind, one.half, one.wall_nm, lower)


def _of_kind(job: Job, kind: str, most: int, stop: Stop, *, pattern: bool) -> KindSets:
    job = replace(job, positions=tuple(p for p in job.positions if p.kind == kind))
    pairs = len(job.positions)
    shells = [s for s in job.shells if s.kind == kind and s.wall_nm is not None]
    count, proven = _most_at_once(job, kind, min(most, _halves_for(shells, pairs)), stop) if pairs else (0, True)
    found = []
    try:
        for one in _one_by_one(job, kind, stop, pattern=pattern):
            found.append(one)
            if len(found) == count:
                break
    except Stopped:
        proven = False
    return KindSets(kind, pairs, len(shells), count, count == most, proven, tuple(found))


def _halves_for(shells: Iterable[Shell], pairs: int) -> int:
    """How many sets there are halves for, whatever they measure."""
    halves = [shell.half for shell in shells]
    upper, lower = halves.count("upper"), halves.count("lower")
    either = len(halves) - upper - lower
    return min(upper + either, lower + either, len(halves) // 2) // pairs


def _most_at_once(job: Job, kind: str, most: int, stop: Stop) -> tuple[int, bool]:
    """The most sets there can be at once, up to `most`, and whether it is proven that there are no more."""
    low, high, sure = 0, most + 1, True
    while low + 1 < high:
        middle = low + 1 if low == 0 else (low + high) // 2
        try:
            enough = _all_inside(job, kind, middle, stop)
        except Stopped:
            enough, sure = False, False
        low, high = (middle, high) if enough else (low, middle)
    return low, sure


def _all_inside(job: Job, kind: str, times: int, stop: Stop) -> bool:
    """Whether so many engines with these bores could all be filled inside their limits."""
    positions = tuple(
        replace(p, name=f"{p.name} of set {at + 1}", pin=None) for at in range(times) for p in job.positions
    )
    several = Kind([replace(job, positions=positions)], kind)
    search = Search(several, stop)
    search.take(several.terms)
    fill(search)
    return -search.value(INSIDE) == len(positions)


def _one_by_one(job: Job, kind: str, stop: Stop, *, pattern: bool) -> Iterator[OneSet]:
    """Sets one after another, each as even as what is left allows."""
    even = all(p.min_nm is not None and p.max_nm is not None for p in job.positions)
    while True:
        solved = Kernel(job, kind, moving=False).solve("even" if even else "target", ties=True, stop=stop)
        placed = {p.position.name: p for p in solved.placements}
        if len(placed) < len(job.positions) or not all(p.within_limits for p in placed.values()):
            return
        bores = tuple(_bore(placed[p.name], job, pattern=pattern) for p in job.positions)
        deviations = [p.deviation_nm for p in placed.values()]
        worst = None if pattern else max(map(abs, deviations))
        yield OneSet(max(deviations) - min(deviations), worst, bores, solved.proof.proven)
        used = {s.key for p in placed.values() for s in (p.upper, p.lower)}
        job = replace(job, shells=tuple(s for s in job.shells if s.key not in used))


def _bore(placement: Placement, job: Job, *, pattern: bool) -> SetBore:
    upper, lower = ((job.shelved or {})[s.key] for s in (placement.upper, placement.lower))
    return SetBore(
        placement.position.name,
        upper.number,
        f"{upper.box}/{upper.shell}",
        lower.number,
        f"{lower.box}/{lower.shell}",
        placement.wall_sum_nm,
        None if pattern else placement.clearance_nm,
    )
