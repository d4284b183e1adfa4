"""Cures: every single change the shop may make that would fix a failing position: it is then inside its limits and no
other is worse off.

Each is verified by solving. First one more shell: which half, of what wall, and what it must read. Then the shop's own
rules and locks; a rule with an amount is relaxed by the least that works. With several jobs, rules are relaxed in the
position's own job; a lock may be in any. What only the makers may decide, and what is on hold, is never offered: it is
reported separately, with the amount or the reason.

The bonds of its reason keep the position out even if every other bond is dropped: changes to others are not tried.
"""

from bisect import bisect_left
from collections import ChainMap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, rack_of
from fitmatch.fit.model.pairs import Choice, Limit
from fitmatch.fit.model.variants import with_walls
from fitmatch.fit.solver.stopping import Stopped
from fitmatch.fit.why.questions import Asker, TooMuch, place_of
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Cure, NotOffered, Reason
from fitmatch.records.job import Half, Job, Rule, Single
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.parts import SIDES
from fitmatch.rules.positions.drawing import bore_refused, walls_drawn
from fitmatch.rules.positions.guard import guard_of
from fitmatch.rules.positions.movable import is_movable
from fitmatch.rules.registry import OF_PARTS, SETTINGS

_THINNEST, _THICKEST = 200_000, 25_000_000  # possible walls
_MOST_WALLS = 400  # if more of them differ, they are not tried
_OTHER = {"upper": "lower", "lower": "upper"}

_FoundT = TypeVar("_FoundT", Cure, NotOffered)


def with_cures(asker: Asker, place: PositionKey, reason: Reason) -> Reason:
    """The reason with what would fix the position, as far as it could be looked for."""
    barred, all_barred = _found(asker, _barred(asker, place, reason))
    found, all_found = _found(asker, _offered(asker, place, reason))
    return reason._replace(not_offered=barred, cures=found, cures_complete=all_barred and all_found)


def _found(asker: Asker, questions: Iterable[Callable[[], _FoundT | None]]) -> tuple[tuple[_FoundT, ...], bool]:
    """The single changes that help, each by the least that works, and whether all could be looked for."""
    found: list[_FoundT] = []
    complete = True
    for question in questions:
        if asker.exhausted:
            return tuple(found), False
        try:
            one = question()
        except (Stopped, TooMuch):
            complete = False
        else:
            found += [] if one is None else [one]
    return tuple(found), complete


def _offered(asker: Asker, place: PositionKey, reason: Reason) -> Iterator[Callable[[], Cure | None]]:
    position, together = reason.position, reason.together
    job = _job_of(asker, place)
    # No shell may take the place of a locked one.
    if None in (position.upper, position.lower) and (is_movable(job, position.kind) or not bore_refused(job, position)):
        for side in SIDES:
            yield partial(_one_more, asker, place, side)
    for sort in SETTINGS:
        for rule in sort.of(job, asker.kind) if sort.offered else ():
            if rule.name in together:
                yield partial(_easing, asker, place, job, rule)
    for one in _singles(asker, place, reason, offered=True):
        yield partial(_one, asker, place, one, lambda one: Cure(one.change, name=one.name))


def _barred(asker: Asker, place: PositionKey, reason: Reason) -> Iterator[Callable[[], NotOffered | None]]:
    for limit in ("max", "min"):
        if limit in reason.together:
            yield partial(_missed, asker, place, limit, alone=reason.together == (limit,))
    for one in _singles(asker, place, reason, offered=False):
        yield partial(_one, asker, place, one, lambda one: NotOffered(one.change, name=one.name, why=one.why))


def _singles(asker: Asker, place: PositionKey, reason: Reason, *, offered: bool) -> Iterator[Single | None]:
    """What the rows of positions and shells say, one by one; None if that is too many."""
    for sort in OF_PARTS:
        if sort.offered == offered:
            singles = list(sort.singles(asker.jobs, asker.kind, place, reason.together))
            too_many = sort.most_singles is not None and len(singles) > sort.most_singles
            yield from [None] if too_many else singles


def _job_of(asker: Asker, place: PositionKey) -> Job:
    return next(job for job in asker.jobs if job.name == place[0])


def _one(asker: Asker, place: PositionKey, one: Single | None, made: Callable[[Single], _FoundT]) -> _FoundT | None:
    """What is made of this part of a bond, if the position can be inside without it."""
    if one is None:
        raise TooMuch
    return made(one) if asker.can(one.jobs, place, (one.change, one.key), drawn=True) else None


def _missed(asker: Asker, place: PositionKey, limit: str, *, alone: bool) -> NotOffered | None:
    by = asker.least(place, limit, alone=alone)
    return None if by is None else NotOffered(limit, by, guarded=guard_of(_job_of(asker, place)) > 0)


def _easing(asker: Asker, place: PositionKey, job: Job, rule: Rule) -> Cure | None:
    """A rule of the position's own job, relaxed by the least amount that works, otherwise dropped."""
    name, kind = rule.name, asker.kind
    assert name is not None

    def can(changed: Job, *key: object) -> bool:
        """Whether the position can be inside with its own job changed like this."""
        jobs = tuple(changed if one is job else one for one in asker.jobs)
        return asker.can(jobs, place, (place[0], key), drawn=True)

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
    pairs = list(filter(asker.is_drawn, asker.pairs(kind, place)))
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
        partners = {c.index for c in getattr(bore, _OTHER[side]).classes if _reads(bore, side, c) is not None}
        pairs += (
            p
            for p in kind.pairs(with_new, *ends)
            if getattr(p, _OTHER[side]).index in partners and (asker.is_drawn(p) if mine else asker.no_worse(p))
        )
    once = Limit(lambda p: int(p.filled and getattr(p, side).index >= first), 1)
    choice = asker.plan(kind, place, pairs, once, widths=widths)
    if choice is None:
        return None
    pair = next(p for p in choice if p.filled and getattr(p, side).index >= first)
    wall: int = getattr(pair, side).wall_nm
    other = getattr(pair, _OTHER[side])
    goes_to = place_of(pair.bore)
    low, high = _as_good(choice, pair.bore, side, wall, other.wall_nm, mine=goes_to == place)
    name = None if goes_to == place else goes_to[1] if goes_to[0] == place[0] else full_name(goes_to)
    marks = _reads(pair.bore, side, other)
    assert marks is not None
    spelled = ChainMap(*(dict(job.spelled) for job in (_job_of(asker, place), *asker.jobs)))
    told = tuple((column, tuple(spelled.get(mark, mark) for mark in some)) for column, some in marks.items())
    return Cure(side, wall, name=name, low_nm=low, high_nm=high, marks=told)


def _reads(bore: Bore, side: str, other: Half) -> Mapping[str, tuple[str, ...]] | None:
    return bore.terms.reads(bore.positions[0], side, other)


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
    for other in getattr(bore, _OTHER[side]).walls:
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
    """The least and the greatest wall that a half of this side may have beside a wall of the other, by the rules and by
    the maker's drawing. If all the thicker halves must be on one side, separately for this half thicker, neither
    thicker, and the other thicker."""
    least, most = bore.differences
    nearest, farthest = (other + least, other + most) if side == "lower" else (other - most, other - least)
    (thinnest, thickest), drawn = bore.terms.walls, walls_drawn(bore.terms.job, bore.positions[0].kind)
    low, high = max(_THINNEST, thinnest, nearest, drawn[0]), min(_THICKEST, thickest, farthest, drawn[1])
    if bore.terms.one_side is None:
        yield low, high
        return
    band = bore.terms.one_side.from_nm
    yield low, min(high, other - band - 1)
    yield max(low, other - band), min(high, other + band)
    yield max(low, other + band + 1), high
