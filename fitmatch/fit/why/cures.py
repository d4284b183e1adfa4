"""Cures: every single change that would fix a failing position: it is then inside its limits and no other is worse off.

Each is verified by solving. A limit or a rule with an amount is relaxed by the least that works; for one more shell,
half and wall are given. With several jobs, rules and limits are relaxed in the position's own job; a hold or a lock may
be in any.

The bonds of its reason keep the position out even if every other bond is dropped: changes to others are not tried.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, rack_of
from fitmatch.fit.model.pairs import Choice, Limit
from fitmatch.fit.model.variants import with_walls
from fitmatch.fit.solver.stopping import Stopped
from fitmatch.fit.why.questions import Asker, TooMuch, place_of
from fitmatch.records.job import Job, Jobs, Rule
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import SIDES, Position
from fitmatch.records.placements import Placement
from fitmatch.records.plans import Cure, Reason
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.rules.positions.movable import is_movable
from fitmatch.rules.registry import OF_PARTS, SETTINGS

_THINNEST, _THICKEST = 200_000, 25_000_000  # possible walls
_MOST_WALLS = 400  # if more of them differ, they are not tried

_Question = Callable[[], Cure | None]  # one change, by the least that works; None if it does not help


def cures(asker: Asker, place: PositionKey, reason: Reason) -> tuple[tuple[Cure, ...], bool]:
    """Those that were found, and whether all could be looked for."""
    found: list[Cure] = []
    complete = True
    for question in _questions(asker, place, reason):
        if asker.exhausted:
            return tuple(found), False
        try:
            cure = question()
        except (Stopped, TooMuch):
            complete = False
        else:
            found += [] if cure is None else [cure]
    return tuple(found), complete


def _questions(asker: Asker, place: PositionKey, reason: Reason) -> Iterator[_Question]:
    position, together = reason.position, reason.together
    job = next(job for job in asker.jobs if job.name == place[0])
    for limit in ("max", "min"):
        if limit in together:
            yield partial(_limit, asker, place, position, limit)
    for sort in SETTINGS:
        for rule in sort.of(job, asker.kind):
            if rule.name in together:
                yield partial(_easing, asker, place, job, rule)
    for sort in reversed(OF_PARTS):
        singles = list(sort.singles(asker.jobs, asker.kind, place, together))
        if sort.most_singles is not None and len(singles) > sort.most_singles:
            yield _too_many
            continue
        for one in singles:
            yield partial(_one, asker, place, one.jobs, (one.change, one.key), Cure(one.change, name=one.name))
    # No shell may take the place of a locked one.
    if None in (position.upper, position.lower) and (is_movable(job, position.kind) or not bore_refused(job, position)):
        for side in SIDES:
            yield partial(_one_more, asker, place, side)


def _one(asker: Asker, place: PositionKey, jobs: Jobs, key: object, cure: Cure) -> Cure | None:
    """The cure, if the position can be inside in these jobs."""
    return cure if asker.can(jobs, place, key) else None


def _limit(asker: Asker, place: PositionKey, position: Position, limit: str) -> Cure | None:
    by = asker.least(place, limit)
    if by is None:
        return None
    now: int = getattr(position, f"{limit}_nm")
    return Cure(limit, now + by if limit == "max" else now - by, by)


def _easing(asker: Asker, place: PositionKey, job: Job, rule: Rule) -> Cure | None:
    """A rule of the position's own job, relaxed by the least amount that works, otherwise dropped."""
    name, kind = rule.name, asker.kind
    assert name is not None

    def can(changed: Job, *key: object) -> bool:
        """Whether the position can be inside with its own job changed like this."""
        jobs = tuple(changed if one is job else one for one in asker.jobs)
        return asker.can(jobs, place, (place[0], key))

    def does(amount: float | None) -> bool:
        assert amount is not None
        rules = (one.eased(amount) if one == rule else one for one in job.rules)
        return amount != rule.amount and can(replace(job, rules=tuple(rules)), rule.change, amount)

    if not can(rule.without(name, job, kind), name):
        return None
    if rule.amount is None:
        return Cure(name)
    amounts = rule.amounts(job, kind)
    # The last, which is as loose as no rule at all, need not be tried.
    found = amounts[bisect_left(amounts, True, hi=len(amounts) - 1, key=does)]
    if found is None:
        return Cure(name)
    if isinstance(found, int):
        return Cure(rule.change, found, abs(found - int(rule.amount)))
    return Cure(rule.change, factor=found)


def _too_many() -> Cure | None:
    raise TooMuch


# --- one more shell ---


def _one_more(asker: Asker, place: PositionKey, side: str) -> Cure | None:
    """One more half of any wall, in this bore if possible, otherwise in another, whose shell is then free for this
    one."""
    near = _with_new(asker, place, side, everywhere=False, widths=(False,))
    if near is not None:
        return near
    anywhere = _with_new(asker, place, side, everywhere=True, widths=(True,))  # where this fails, no single half helps
    return anywhere and (_with_new(asker, place, side, everywhere=False, widths=(True,)) or anywhere)


def _with_new(asker: Asker, place: PositionKey, side: str, *, everywhere: bool, widths: Sequence[bool]) -> Cure | None:
    kind = asker.prepared(asker.jobs, ("more", side))
    seats = asker.seats(kind, place)
    first = len(kind.classes)
    pairs = asker.pairs(kind, place)
    shifts = {b.index: _shifts(b) for b in kind.bores if b.terms.shifts.on}
    walls = {}
    for bore in kind.bores:
        mine = place_of(bore) == place
        if getattr(bore.positions[0], side) is None and (mine or (everywhere and bore.seat in seats)):
            walls[bore] = _new_walls(kind, bore, side, shifts, mine=mine)
    kind, fresh = with_walls(kind, side, sorted(set[int]().union(*walls.values())))
    for bore, some in walls.items():
        mine = place_of(bore) == place
        rack = rack_of([fresh[wall] for wall in sorted(some)])
        with_new = replace(bore, upper=rack) if side == "upper" else replace(bore, lower=rack)
        ends = (bore.inside_low, bore.inside_high) if mine else (0, bore.sum_high)
        pairs += (p for p in kind.pairs(with_new, *ends) if mine or asker.no_worse(p))
    once = Limit(lambda p: int(p.filled and getattr(p, side).index >= first), 1)
    choice = asker.plan(kind, place, pairs, once, widths=widths)
    if choice is None:
        return None
    pair = next(p for p in choice if p.filled and getattr(p, side).index >= first)
    wall: int = getattr(pair, side).wall_nm
    other = pair.lower if side == "upper" else pair.upper
    low, high = _as_good(choice, pair.bore, side, wall, other.wall_nm, mine=place_of(pair.bore) == place)
    return Cure(side, wall, low_nm=low, high_nm=high)


def _as_good(choice: Choice, bore: Bore, side: str, wall: int, other: int, *, mine: bool) -> tuple[int, int]:
    """The least and the greatest wall with which another half would do as well as this one, with all other bores as
    chosen."""
    least, most = (bore.inside_low, bore.inside_high) if mine else (bore.wanted_low, bore.wanted_high)
    if bore.terms.shifts.on:
        # The walls of this side that its row allows, as sums with the other.
        beside = (
            Placement(p.bore.positions[0], p.upper.members[0], p.lower.members[0])
            for p in choice
            if p.filled and p.bore.terms is bore.terms and p.bore.seat != bore.seat
        )
        down, up = bore.terms.shifts.allowed(bore.positions[0], beside)
        from_nm, to_nm = (other + down, other + up) if side == "lower" else (other - up, other - down)
        least, most = max(least, other + from_nm), min(most, other + to_nm)
    for low, high in _beside(bore, side, other):
        from_wall, to_wall = max(low, least - other), min(high, most - other)
        if from_wall <= wall <= to_wall:
            return from_wall, to_wall
    return wall, wall


def _new_walls(kind: Kind, bore: Bore, side: str, shifts: Mapping[int, set[int]], *, mine: bool) -> set[int]:
    """For each half of the other side the wall of this side that comes nearest to the target with it; in a row of bores
    also the walls with which it is just in line with another bore."""
    walls: set[int] = set()
    ends = _row_ends(kind, bore, shifts)
    for other in getattr(bore, SIDES[1 - SIDES.index(side)]).walls:
        for low, high in _beside(bore, side, other):
            if mine:
                low, high = max(low, bore.inside_low - other), min(high, bore.inside_high - other)
            if low <= high:
                walls.add(min(max(_wanted_sum(bore, mine=mine) - other, low), high))
                if bore.terms.shifts.on:
                    walls |= {low, high}
                walls |= {w for w in ((other + s if side == "lower" else other - s) for s in ends) if low <= w <= high}
    if len(walls) > _MOST_WALLS:
        raise TooMuch
    return walls


def _wanted_sum(bore: Bore, *, mine: bool) -> int:
    """The wall sum that hits the target; otherwise as near to it as the wanted band and the limits allow."""
    if mine:
        return bore.ideal
    wished = min(max(bore.ideal, bore.wanted_low), max(bore.wanted_low, bore.wanted_high))
    return min(max(wished, bore.inside_low), max(bore.inside_low, bore.inside_high))


def _row_ends(kind: Kind, bore: Bore, shifts: Mapping[int, set[int]]) -> set[int]:
    """Twice the axis shifts with which the bore is just in line with another one in its row: if some shift is allowed
    beside given ones, the smallest such shift is among these or is not set by the row."""
    if not bore.terms.shifts.on:
        return set()
    found: set[int] = set()
    for other in kind.bores:
        if other.terms is not bore.terms or other.seat == bore.seat:
            continue
        for shift in shifts[other.index]:
            found |= bore.terms.shifts.ends(bore.positions[0], other.positions[0], shift)
        if len(found) > _MOST_WALLS:
            raise TooMuch
    return found


def _shifts(bore: Bore) -> set[int]:
    """Twice the axis shifts that walls of its boxes can give it."""
    least, most = bore.differences
    uppers, lowers = set(bore.upper.walls), set(bore.lower.walls)
    return {lower - upper for upper in uppers for lower in lowers if least <= lower - upper <= most}


def _beside(bore: Bore, side: str, other: int) -> Iterator[tuple[int, int]]:
    """The least and the greatest wall that a half of this side may have beside a wall of the other. If all the thicker
    halves must be on one side, separately for this half thicker, neither thicker, and the other thicker."""
    least, most = bore.differences
    nearest, farthest = (other + least, other + most) if side == "lower" else (other - most, other - least)
    thinnest, thickest = bore.terms.walls
    low, high = max(_THINNEST, thinnest, nearest), min(_THICKEST, thickest, farthest)
    if bore.terms.one_side is None:
        yield low, high
        return
    band = bore.terms.one_side.from_nm
    yield low, min(high, other - band - 1)
    yield max(low, other - band), min(high, other + band)
    yield max(low, other + band + 1), high
