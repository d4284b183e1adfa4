"""Leftover sets: how many bores like those of the job the shells that a plan leaves over would still fit.

The most pairs, none sharing a shell, whose clearance lies between min and max of the kind in a bore of the job's mean
room. The halves must be such as some position of the kind takes (matched columns, family, walls) and may share a bore;
rules about bores in a row, the guard and shells on hold play no part. Where only walls keep halves apart they are
paired in order of wall; otherwise an integer program over classes of equal shells does it.
"""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from heapq import heappop, heappush
from itertools import product
from typing import NamedTuple

from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.solver.adapter import Outcome, relax, solve
from fitmatch.fit.solver.program import Program, exact_bound
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.lengths import mean
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.parts import Position, Shell, room


class _Alike(NamedTuple):
    """All that decides where a shell may go."""

    half: str
    wall_nm: int
    marks: tuple[str, ...]
    family: str


class _Bore(NamedTuple):
    """A bore of a job's mean room as some of its positions want its halves: the wall sums that are inside, `thick` the
    side on which the thicker half may be, 1 the upper and -1 the lower; 0: either."""

    terms: Terms
    like: Position
    least: int
    most: int
    thick: int


def leftover_sets(jobs: Sequence[Job], kind: str, placements: Iterable[Placement], stop: Stop) -> int | None:
    """For what these placements leave over of a kind that these jobs decide together; None if time runs out."""
    used = {s.key for p in placements for s in (p.upper, p.lower)}
    used |= {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    left = (s for s in jobs[0].shells if s.kind == kind and s.hold is None and s.key not in used | jobs[0].reserved)
    stock = Counter(_alike(s) for s in left if s.wall_nm is not None)
    # All the thicker halves of a job may have to be on one side, whichever it is.
    sides = [(1, -1) if Terms(job, kind).one_thick_side else (0,) for job in jobs]
    try:
        return max(_most_pairs(stock, list(_bores(jobs, kind, thick)), stop) for thick in product(*sides))
    except Stopped:
        return None


def _alike(shell: Shell) -> _Alike:
    assert shell.wall_nm is not None
    return _Alike(shell.half, shell.wall_nm, shell.marks, shell.family)


def _bores(jobs: Sequence[Job], kind: str, thick: Sequence[int]) -> Iterator[_Bore]:
    """One for each job and each set of marks that its positions want."""
    for job, side in zip(jobs, thick, strict=True):
        mine = [p for p in job.positions if p.kind == kind]
        rooms = tuple(room(p) for p in mine if not p.missing)
        if not rooms:
            continue
        space, fit, terms = mean(rooms), job.fits[kind], Terms(job, kind)
        least = 0 if fit.max_nm is None else space - fit.max_nm
        most = space - max(1, fit.min_nm or 0)  # a clearance of zero is none
        for like in {(p.wants_upper, p.wants_lower): p for p in mine}.values():
            yield _Bore(terms, like, least, most, side)


def _most_pairs(stock: Counter[_Alike], bores: Sequence[_Bore], stop: Stop) -> int:
    classes = sorted(stock)
    if len(bores) == 1 and (known := _one_by_one(stock, classes, bores[0], stop)) is not None:
        return known
    pairs = sorted({tuple(sorted(pair)) for bore in bores for pair in stop.asking(_pairs(classes, bore))})
    if not pairs:
        return 0
    program = Program()
    uses: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
    for one, other in stop.asking(pairs):
        counts = stock[classes[one]], stock[classes[other]]
        at = program.variable(counts[0] // 2 if one == other else min(counts))
        for index, times in Counter((one, other)).items():
            uses[index].append((at, times))
    for index, terms in uses.items():
        program.row(terms, None, stock[classes[index]])
    cost = [-1] * len(pairs)
    relaxed = relax(program, cost, stop)
    if relaxed is not None:  # usually whole, and its multipliers then prove it
        x = [round(v) for v in relaxed.x]
        if program.allows(x) and exact_bound(program, cost, relaxed.multipliers, stop).least == -sum(x):
            return sum(x)
    answer = solve(program, cost, stop)
    if answer.outcome is not Outcome.OPTIMAL or answer.x is None:
        raise Stopped
    return sum(answer.x)


def _one_by_one(stock: Counter[_Alike], classes: Sequence[_Alike], bore: _Bore, stop: Stop) -> int | None:
    """The same for halves of which only walls keep some apart; None for others. Each upper then goes with lowers that
    are next to each other in order of wall, so that the most pairs are made by giving each lower in turn to the upper
    that can wait least (F. Glover, Maximum Matching in a Convex Bipartite Graph, Naval Research Logistics Quarterly 14,
    1967; citation from memory). A large lot has millions of pairs, and this looks at none of them."""
    uppers, lowers = _halves(classes, bore)
    if set(uppers).intersection(lowers) or not _all_share(classes, uppers, lowers, bore.terms):
        return None
    coming = sorted(_spans(classes, uppers, lowers, bore), reverse=True)
    waiting: list[tuple[int, int]] = []  # each with the end of its lowers
    count = 0
    for at, lower in enumerate(stop.asking(lowers)):
        while coming and coming[-1].first <= at:
            span = coming.pop()
            heappush(waiting, (span.end, stock[classes[span.upper]]))
        left = stock[classes[lower]]
        while left and waiting:
            end, halves = heappop(waiting)
            made = min(left, halves) if at < end else 0
            count, left = count + made, left - made
            if at < end and halves > made:
                heappush(waiting, (end, halves - made))
    return count


def _all_share(classes: Sequence[_Alike], uppers: Iterable[int], lowers: Iterable[int], terms: Terms) -> bool:
    """Whether any two of these may share a bore, apart from what their walls say."""
    kinds = ({(classes[i].marks, classes[i].family): classes[i] for i in some}.values() for some in (uppers, lowers))
    return terms.shares_all or all(terms.share(upper, lower) for upper, lower in product(*kinds))


class _Span(NamedTuple):
    """An upper half and the lowers in order of wall, from the first up to before the end, that it may go with."""

    first: int
    end: int
    upper: int


def _halves(classes: Sequence[_Alike], bore: _Bore) -> tuple[list[int], list[int]]:
    """The numbers of the classes that may be the upper and the lower half of such a bore, the lowers by wall."""
    uppers, lowers = ([i for i, c in enumerate(classes) if _goes(c, side, bore)] for side in ("upper", "lower"))
    return uppers, sorted(lowers, key=lambda i: classes[i].wall_nm)


def _spans(classes: Sequence[_Alike], uppers: Iterable[int], lowers: Sequence[int], bore: _Bore) -> Iterator[_Span]:
    """For each upper half those lowers that limits and walls allow."""
    walls = [classes[i].wall_nm for i in lowers]
    least, most = bore.terms.differences
    one_side = bore.terms.one_side
    if one_side is not None and bore.thick > 0:
        most = min(most, one_side.from_nm)
    elif one_side is not None:
        least = max(least, -one_side.from_nm)
    for i in uppers:
        upper = classes[i].wall_nm
        first = bisect_left(walls, upper + max(least, bore.least - 2 * upper))
        yield _Span(first, bisect_right(walls, upper + min(most, bore.most - 2 * upper)), i)


def _pairs(classes: Sequence[_Alike], bore: _Bore) -> Iterator[tuple[int, int]]:
    """The numbers of classes that may be the upper and the lower half of such a bore."""
    uppers, lowers = _halves(classes, bore)
    for first, end, i in _spans(classes, uppers, lowers, bore):
        yield from ((i, j) for j in lowers[first:end] if bore.terms.share(classes[i], classes[j]))


def _goes(shell: _Alike, side: str, bore: _Bore) -> bool:
    return shell.half in (side, "either") and bore.terms.takes(bore.like, side, shell)
