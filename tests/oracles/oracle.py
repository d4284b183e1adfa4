"""What "best" means, by looking at every plan there is: no solver, no shortcut that a reader would have to trust.

In: a job. Out: for each kind the figures of the best plan, the two baselines, and what is wrong with a given plan.
Nothing of the optimizer is used here, and of `fitmatch.records` only plain data, so that two readings of the same
definition meet. The uncertainty that a guard multiplies is taken as `fitmatch.gauging` gives it. Only tiny jobs can be
looked at in this way.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import combinations, permutations, product, starmap
from math import ceil
from typing import NamedTuple

from oracles.rulebook import rules_of, with_rules

from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.lengths import round_half_even
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Plan, Status
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, Position, Shell
from fitmatch.report.words.reasons import words_of


class Pair(NamedTuple):
    """The two halves of one bore."""

    upper: Shell
    lower: Shell


Demand = tuple[str, Callable[[Pair], bool]]  # a position, and whether a pair will do there


class Levels(NamedTuple):
    """The figures that order plans; smaller is better but for `clearance_nm`. What no position decides is 0."""

    outside_or_empty: int  # level 0
    empty: int  # level 1, and so on to the excess over the wanted band
    below: int
    shortfall_nm: int
    excess_nm: int
    below_want: int
    want_shortfall_nm: int
    above_want: int
    want_excess_nm: int
    worst_nm: int  # level 2
    sum_squared_nm2: int
    spread_nm: int
    boxes: int
    clearance_nm: int  # level 3: the looser is the better
    wall_difference_nm: int
    singles: int = 0  # shells that are preferred; the more the better where anybody asks
    moved: int = 0  # housings that do not stay; before the other two


# --- arithmetic of one bore ------------------------------------------------------------------------------------------


def clearance_nm(p: Position, pair: Pair) -> int:
    return p.housing_bore.mean_nm - p.journal.mean_nm - (pair.upper.wall_nm + pair.lower.wall_nm) + p.seating_nm


def tightest_nm(job: Job, p: Position, pair: Pair) -> int:
    """The clearance that `min` is checked with."""
    if rules_of(job).limits_at == "mean":
        return clearance_nm(p, pair)
    return p.housing_bore.smallest_nm - p.journal.largest_nm - (pair.upper.wall_nm + pair.lower.wall_nm) + p.seating_nm


_margins_of: list[tuple[Job, dict[object, tuple[int, int]]]] = []  # the job asked for last, and its margins


def margins_nm(job: Job, p: Position, pair: Pair) -> tuple[int, int]:
    """How far a guard draws min and max in for this very pair: guard x U of the tightest and of the mean clearance,
    rounded inward."""
    if not rules_of(job).guard:
        return 0, 0
    if not _margins_of or _margins_of[0][0] is not job:
        _margins_of[:] = [(job, {})]
    margins = _margins_of[0][1]
    measured_as = (p.name, p.housing, pair.upper.measured_as, pair.lower.measured_as)
    if measured_as not in margins:
        model = ErrorModel(job)
        both = model.tightest(p, *measured_as[2:]), model.combined(p, *measured_as[2:])
        assert all(u is not None and not u.lower_bound for u in both)
        low, high = (ceil(rules_of(job).guard * u.expanded_nm) for u in both)
        margins[measured_as] = low, high
    return margins[measured_as]


def guard_leaves_clearance(job: Job) -> bool:
    """Whether between the guarded limits of every position there is a clearance, at least for one way in which two
    halves were measured; where no two halves could go, nothing is asked."""

    def left(p: Position) -> bool:
        halves = [[s for s in job.shells if could_be(s, p, side)] for side in ("upper", "lower")]
        bands = [
            (p.max_nm - high) - (p.min_nm + low) - (clearance_nm(p, pair) - tightest_nm(job, p, pair))
            for pair in starmap(Pair, product(*halves))
            for low, high in [margins_nm(job, p, pair)]
        ]
        return not bands or max(bands) >= 0

    return all(left(p) for p in job.positions if not p.missing and p.min_nm is not None and p.max_nm is not None)


def shortfall_nm(job: Job, p: Position, pair: Pair) -> int:
    return 0 if p.min_nm is None else max(0, p.min_nm + margins_nm(job, p, pair)[0] - tightest_nm(job, p, pair))


def excess_nm(p: Position, pair: Pair, margin: int = 0) -> int:
    return 0 if p.max_nm is None else max(0, clearance_nm(p, pair) - (p.max_nm - margin))


def missed_wish(p: Position, pair: Pair) -> tuple[int, int, int, int]:
    """Below the wanted band and by how much, above it and by how much; by the means, and never with a guard."""
    clearance = clearance_nm(p, pair)
    short = p.want_min_nm - clearance if p.want_min_nm is not None and clearance < p.want_min_nm else 0
    over = clearance - p.want_max_nm if p.want_max_nm is not None and clearance > p.want_max_nm else 0
    return int(short > 0), short, int(over > 0), over


def has_clearance(job: Job, p: Position, pair: Pair) -> bool:
    """A clearance of zero or less, judged where `min` is judged, is never a fill."""
    return tightest_nm(job, p, pair) > 0


def thicker_half(job: Job, pair: Pair) -> str | None:
    """Which half is thicker by more than the dead band, if either is."""
    difference = pair.upper.wall_nm - pair.lower.wall_nm
    if abs(difference) <= rules_of(job).thick_half_from_nm:
        return None
    return "upper" if difference > 0 else "lower"


# --- what may go where -----------------------------------------------------------------------------------------------


def locked_twice(p: Position) -> bool:
    return p.upper is not None and p.lower is not None


def locked_keys(job: Job) -> set[tuple[str, str]]:
    return {key for p in job.positions for key in (p.upper, p.lower) if key is not None} | job.reserved


def measured(job: Job, p: Position) -> bool:
    """A position locked to a shell without a wall is not yet measured either."""
    without_wall = {s.key for s in job.shells if s.wall_nm is None}
    return not p.missing and not {p.upper, p.lower} & without_wall


def fillable(job: Job, p: Position) -> bool:
    """Measured, and a housing bore inside its drawing limits or accepted with a reason."""
    band = job.drawing.get(p.kind, {}).get("housing_bore")
    return measured(job, p) and (band is None or p.accept is not None or p.housing_bore.mean_nm in band)


def cells_agree(one: str, other: str) -> bool:
    return one == other or ANY in {one, other}


def could_be(shell: Shell, p: Position, side: str) -> bool:
    """What even a lock cannot overrule: kind, half, hold, and a wall that is known."""
    return shell.kind == p.kind and shell.half in (side, "either") and shell.hold is None and shell.wall_nm is not None


def matches(job: Job, shell: Shell, p: Position, side: str) -> bool:
    """Matched columns and family."""
    wants = p.wants_upper if side == "upper" else p.wants_lower
    families = job.fits[p.kind].family
    agree = all(cells_agree(want, mark) for want, mark in zip(wants, shell.marks, strict=False))
    return agree and (families is None or shell.family in families)


def is_thin(job: Job, p: Position, shell: Shell) -> bool:
    """Whether the shell is thinner than its kind allows."""
    return shell.wall_nm < rules_of(job).min_wall_nm.get(p.kind, 0)


def has_thin(job: Job, p: Position, pair: Pair) -> bool:
    """Whether a half that is not locked there is too thin."""
    return any(lock is None and is_thin(job, p, shell) for lock, shell in zip((p.upper, p.lower), pair, strict=True))


def candidates(job: Job, p: Position, side: str) -> list[Shell]:
    """Shells that may be this half of this position, in file order: the locked one, or every free one that matches."""
    lock = p.upper if side == "upper" else p.lower
    could = [s for s in job.shells if could_be(s, p, side)]
    if lock is not None:
        return [s for s in could if s.key == lock]
    reserved = locked_keys(job)
    return [s for s in could if s.key not in reserved and matches(job, s, p, side)]


def broken_rules(job: Job, p: Position, pair: Pair) -> set[str]:
    """Rules about the two walls of this bore that the pair breaks; a side to be the same throughout is not one bore's
    to break."""
    broken = set()
    most = rules_of(job).wall_difference_nm
    if most is not None and abs(pair.upper.wall_nm - pair.lower.wall_nm) > most:
        broken.add("wall_difference")
    wanted, thicker = rules_of(job).thick_half.get(p.kind), thicker_half(job, pair)
    if wanted in ("upper", "lower") and thicker not in (None, wanted):
        broken.add("thick_half")
    for column in rules_of(job).same_in_bore:
        at = job.shell_columns.index(column)
        if not cells_agree(pair.upper.marks[at], pair.lower.marks[at]):
            broken.add("same_in_bore")
    return broken


def deciding_side(job: Job, p: Position, pair: Pair) -> str | None:
    """The side this bore takes where the thicker halves of a kind must all be on one side."""
    if rules_of(job).thick_half.get(p.kind) != "same" or locked_twice(p):
        return None
    return thicker_half(job, pair)


def may_go(job: Job, p: Position, pair: Pair) -> bool:
    """Whether two halves that may each be there may be there together."""
    if pair.upper.key == pair.lower.key or not has_clearance(job, p, pair):
        return False
    return locked_twice(p) or not (broken_rules(job, p, pair) or has_thin(job, p, pair))


def possible_pairs(job: Job, p: Position) -> Iterator[Pair]:
    """Every pair that may fill this position, were it alone."""
    if fillable(job, p):
        both = product(candidates(job, p, "upper"), candidates(job, p, "lower"))
        yield from (pair for pair in starmap(Pair, both) if may_go(job, p, pair))


# --- every plan ------------------------------------------------------------------------------------------------------

_NONE_YET = (10**15, -(10**15))  # smallest and largest deviation before any position counts


class _Sum(NamedTuple):
    """The figures of the positions decided so far."""

    cost: tuple[int, ...] = (0, 0, 0, 0, 0, 0, 0, 0, 0)  # levels 0 and 1
    smallest: int = _NONE_YET[0]
    largest: int = _NONE_YET[1]
    squares: int = 0
    clearance: int = 0
    wall_difference: int = 0
    boxes: frozenset[str] = frozenset()
    singles: int = 0


class _Choice(NamedTuple):
    """One way to deal with a position: classes of shells it draws on, the side it takes, its share of the figures,
    where its axis is if it is filled and a rule asks."""

    drawn: tuple[int, ...]
    side: str | None
    share: _Sum
    axis: "Axis | None" = None


class Axis(NamedTuple):
    """Twice the axis shift of a filled bore, twice how far off the line its axis is, and whether its lock excuses it
    from other locked bores."""

    shift: int
    lies: int
    locked: bool


def axis(p: Position, pair: Pair) -> Axis:
    shift = pair.lower.wall_nm - pair.upper.wall_nm
    return Axis(shift, shift + 2 * (p.offset_nm or 0), locked_twice(p))


class _Row(NamedTuple):
    """What the next bores must know of those before them: the neighbour's axis, and the least and the largest place on
    the line, of free and of locked bores."""

    neighbour: Axis | None = None
    free: tuple[int, int] | None = None
    locked: tuple[int, int] | None = None


def go_together(job: Job, kind: str, one: Axis, other: Axis, *, neighbours: bool) -> bool:
    """Whether two filled bores of a kind obey the rules about the row."""
    if one.locked and other.locked:
        return True
    step, line = rules_of(job).neighbour_step_nm.get(kind), rules_of(job).line_nm.get(kind)
    if neighbours and step is not None and abs(one.shift - other.shift) > 2 * step:
        return False
    return line is None or abs(one.lies - other.lies) <= 2 * line


def _row_with(job: Job, kind: str, row: _Row, new: Axis | None) -> _Row | None:
    """The row with one bore more, None being an empty one; None if that breaks a rule."""
    if new is None:
        return row._replace(neighbour=None)
    if row.neighbour is not None and not go_together(job, kind, row.neighbour, new, neighbours=True):
        return None
    for ends, locked in ((row.free, False), (row.locked, True)):
        for end in ends or ():
            if not go_together(job, kind, Axis(0, end, locked), new, neighbours=False):
                return None
    mine = row.locked if new.locked else row.free
    ends = (min(new.lies, mine[0]), max(new.lies, mine[1])) if mine else (new.lies, new.lies)
    if kind not in rules_of(job).line_nm:
        ends = None
    return _Row(new, row.free, ends) if new.locked else _Row(new, ends, row.locked)


_EMPTY = _Choice((), None, _Sum((1, 1, 0, 0, 0, 0, 0, 0, 0)))


def _share(job: Job, p: Position, pair: Pair, with_boxes: bool) -> _Sum:
    short, over = shortfall_nm(job, p, pair), excess_nm(p, pair, margins_nm(job, p, pair)[1])
    clearance = clearance_nm(p, pair)
    deviation = clearance - p.target_nm
    counted = not short and not over and not locked_twice(p)
    return _Sum(
        (int(short > 0 or over > 0), 0, int(short > 0), short, over, *missed_wish(p, pair)),
        deviation if counted else _NONE_YET[0],
        deviation if counted else _NONE_YET[1],
        deviation**2 if counted else 0,
        clearance,
        abs(pair.upper.wall_nm - pair.lower.wall_nm),
        frozenset((pair.upper.box, pair.lower.box)) if with_boxes else frozenset(),
        pair.upper.preferred + pair.lower.preferred,
    )


def _added(one: _Sum, other: _Sum) -> _Sum:
    return _Sum(
        tuple(map(int.__add__, one.cost, other.cost)),
        min(one.smallest, other.smallest),
        max(one.largest, other.largest),
        one.squares + other.squares,
        one.clearance + other.clearance,
        one.wall_difference + other.wall_difference,
        one.boxes | other.boxes,
        one.singles + other.singles,
    )


def every_outcome(
    job: Job, kind: str, *, with_boxes: bool = False, worse: bool = False, demand: Demand | None = None
) -> set[_Sum]:
    """The figures of every plan for this kind that levels 0 and 1 do not already rule out, each once; with `worse` of
    every plan there is. `demand`: only plans that fill this position with such a pair; none where there is none.

    Shells alike in everything that a plan could notice are counted, not named; plans that have used the same shells
    and stand at the same figures go on as one. A plan is dropped only when even the best choice of every position
    to come, were it alone, would leave it worse on levels 0 and 1 than a plan that exists.
    """
    classes: dict[object, int] = {}
    stock: Counter[int] = Counter()
    class_of: dict[tuple[str, str], int] = {}
    reserved = locked_keys(job)
    for s in job.shells:
        alike = (
            s.half,
            s.wall_nm,
            s.marks,
            s.family,
            s.hold,
            s.measured_as,
            s.box if with_boxes else None,
            s.preferred,
        )
        number = classes.setdefault(s.key if s.key in reserved else (s.kind, alike), len(classes))
        stock[number] += 1
        class_of[s.key] = number
    choices: list[set[_Choice]] = []
    in_row = kind in rules_of(job).neighbour_step_nm or kind in rules_of(job).line_nm
    for p in job.positions:
        if p.kind == kind and not measured(job, p):
            choices.append({_Choice((), None, _Sum())})
        elif p.kind == kind:
            choices.append({_EMPTY})
            for pair in possible_pairs(job, p):
                drawn = tuple(sorted(class_of[s.key] for s in pair))
                share = _share(job, p, pair, with_boxes)
                if demand is None or p.name != demand[0] or demand[1](pair):
                    seat = axis(p, pair) if in_row else None
                    choices[-1].add(_Choice(drawn, deciding_side(job, p, pair), share, seat))
            if demand is not None and p.name == demand[0]:
                choices[-1].discard(_EMPTY)
            if locked_twice(p) and len(choices[-1]) > 1:
                choices[-1].discard(_EMPTY)  # its shells are in, whatever that costs the others
    if not all(choices):
        return set()
    hopes = [_Sum().cost]  # the least levels 0 and 1 that the last positions could add
    for some in reversed(choices):
        hopes.append(tuple(map(int.__add__, hopes[-1], min(choice.share.cost for choice in some))))
    hopes.reverse()

    def walk(best: tuple[int, ...] | None) -> set[_Sum]:
        """With no `best` known, only the best levels 0 and 1 for each set of used shells are carried along."""
        reached: dict[tuple[tuple[int, ...], str | None, _Row], set[_Sum]] = {((), None, _Row()): {_Sum()}}
        for some, hope in zip(choices, hopes[1:], strict=True):
            fresh: dict[tuple[tuple[int, ...], str | None, _Row], set[_Sum]] = {}
            for (used, side, row), sums in reached.items():
                for choice in some:
                    if side and choice.side and side != choice.side:
                        continue
                    row_now = _row_with(job, kind, row, choice.axis) if in_row else row
                    if row_now is None:
                        continue
                    drawn = tuple(sorted(used + choice.drawn))
                    if any(drawn.count(number) > stock[number] for number in choice.drawn):
                        continue
                    ahead = tuple(map(int.__add__, choice.share.cost, hope))
                    found = {
                        _added(one, choice.share)
                        for one in sums
                        if best is None or tuple(map(int.__add__, one.cost, ahead)) <= best
                    }
                    if found:
                        fresh.setdefault((drawn, side or choice.side, row_now), set()).update(found)
            reached = fresh
            if best is None:
                reached = {state: {_Sum(min(s.cost for s in sums))} for state, sums in reached.items()}
        return set().union(*reached.values())

    if worse:
        return walk((10**15,) * 9)
    possible = walk(None)
    return walk(min(s.cost for s in possible)) if possible else set()


def _levels(outcome: _Sum, moved: int = 0) -> Levels:
    counted = outcome.smallest <= outcome.largest
    return Levels(
        *outcome.cost,
        max(abs(outcome.smallest), abs(outcome.largest)) if counted else 0,
        outcome.squares,
        outcome.largest - outcome.smallest if counted else 0,
        len(outcome.boxes),
        outcome.clearance,
        outcome.wall_difference,
        outcome.singles,
        moved,
    )


def every_housing(job: Job, kind: str) -> Iterator[tuple[Job, int]]:
    """The job with its housings in every order they may have, and how many of them are not in their own place."""
    here = [p for p in job.positions if p.kind == kind and measured(job, p)]
    if kind not in rules_of(job).movable:
        yield job, 0
        return
    for housings in permutations(here):
        if not all(all(map(cells_agree, p.within, h.within)) for p, h in zip(here, housings, strict=True)):
            continue
        now = {p.name: (p, h) for p, h in zip(here, housings, strict=True)}
        positions = tuple(housed(*now[p.name]) if p.name in now else p for p in job.positions)
        yield replace(job, positions=positions), sum(p is not h for p, h in zip(here, housings, strict=True))


def housed(p: Position, h: Position) -> Position:
    """The journal of one row in the housing of another."""
    name = None if p is h else h.name
    return replace(p, housing_bore=h.housing_bore, seating_nm=h.seating_nm, accept=h.accept, housing=name)


def best(
    job: Job, kind: str, strategy: str = "target", slack_nm: int = 0, demand: Demand | None = None
) -> Levels | None:
    """The figures of the best plan for a kind; `boxes` is 0 unless the strategy asks for boxes. None where no plan
    meets the demand."""
    plans = {
        _levels(outcome, moved)
        for housed_so, moved in every_housing(job, kind)
        for outcome in every_outcome(housed_so, kind, with_boxes=strategy == "keep-sets", demand=demand)
    }
    if not plans:
        return None
    for level in range(9):
        plans = _smallest(plans, level)
    worst, squares, spread, boxes = range(9, 13)  # places in Levels
    if strategy == "keep-sets":
        least = min(plan.worst_nm for plan in plans)
        near = {plan for plan in plans if plan.worst_nm <= least + slack_nm}
        fewest = min(plan.boxes for plan in near)
        plans = {plan for plan in plans if plan.boxes <= fewest}
        order, slack_nm = (worst, squares, spread, boxes), 0
    elif strategy == "singles":
        least = min(plan.worst_nm for plan in plans)
        near = {plan for plan in plans if plan.worst_nm <= least + slack_nm}
        most = max(plan.singles for plan in near)
        plans = {plan for plan in near if plan.singles == most}
        order, slack_nm = (worst, squares, spread), 0
    else:
        order = (worst, squares, spread) if strategy == "target" else (spread, worst, squares)
    # With slack the first figure may be that much above its least, the later ones come first, and it is then made as
    # small as it can be.
    first = order[0]
    least = min(plan[first] for plan in plans)
    plans = {plan for plan in plans if plan[first] <= least + slack_nm}
    for level in (*order[1:], first):
        plans = _smallest(plans, level)
    plans = _smallest(plans, len(Levels._fields) - 1)
    loosest = max(plan.clearance_nm for plan in plans)
    return min(plan for plan in plans if plan.clearance_nm == loosest)


def in_turn(job: Job, kind: str, strategy: str, slack_nm: int, count: int) -> list[Levels]:
    """The first `count` values that levels 0 to 2 can have, best first, each with the ties of its best plan. What the
    slack allows depends on the smallest first figure (of keep-sets: the worst deviation) among plans with the same
    levels 0 and 1; beyond it that figure counts first."""
    plans = {
        _levels(outcome, moved)
        for housed_so, moved in every_housing(job, kind)
        for outcome in every_outcome(housed_so, kind, with_boxes=strategy == "keep-sets", worse=True)
    }
    first = Levels._fields.index("spread_nm" if strategy == "even" else "worst_nm")
    allowed: dict[tuple[int, ...], int] = {}
    for plan in plans:
        allowed[plan[:9]] = min(allowed.get(plan[:9], plan[first] + slack_nm), plan[first] + slack_nm)

    def key(plan: Levels) -> tuple[int, ...]:
        forgiven, order = max(plan[first], allowed[plan[:9]]), in_order(plan, strategy)
        if strategy in ("keep-sets", "singles"):
            return (*order[:9], forgiven, *order[9:])
        return (*order[:9], forgiven, *order[10:], order[9])

    found: dict[tuple[int, ...], Levels] = {}
    for plan in sorted(plans, key=lambda plan: (plan[-1], -plan.clearance_nm, plan.wall_difference_nm)):
        found.setdefault(key(plan), plan)
    return [found[value] for value in sorted(found)[:count]]


def trade_off(job: Job, kind: str, against: str) -> list[tuple[int, int]]:
    """Of all plans that are best on levels 0 and 1 the worst deviation and the number of boxes, or the spread, of those
    that no plan beats in both."""
    plans = {
        _levels(outcome, moved)
        for housed_so, moved in every_housing(job, kind)
        for outcome in every_outcome(housed_so, kind, with_boxes=True)
    }
    for level in range(9):
        plans = _smallest(plans, level)
    points = {(plan.worst_nm, plan.boxes if against == "boxes" else plan.spread_nm) for plan in plans}
    return sorted(one for one in points if not any(p != one and p[0] <= one[0] and p[1] <= one[1] for p in points))


def _smallest(plans: set[Levels], level: int) -> set[Levels]:
    least = min(plan[level] for plan in plans)
    return {plan for plan in plans if plan[level] == least}


# --- a given plan ----------------------------------------------------------------------------------------------------


def levels_of(plan: Plan, kind: str, *, with_boxes: bool = False) -> Levels:
    """The same figures for a given plan, from its shells alone."""
    moved = sum(p.housing is not None for p in plan.job.positions if p.kind == kind)
    return levels_of_bores(plan.job, kind, plan.placements, with_boxes=with_boxes)._replace(moved=moved)


def levels_of_bores(job: Job, kind: str, placements: Iterable[Placement], *, with_boxes: bool = False) -> Levels:
    """The same for placements, whatever plan they are of; `moved` is left at 0."""
    outcome = _Sum()
    placed = [p for p in placements if p.position.kind == kind]
    for p in placed:
        outcome = _added(outcome, _share(job, p.position, Pair(p.upper, p.lower), with_boxes))
    waiting = sum(p.kind == kind and measured(job, p) for p in job.positions) - len(placed)
    for _ in range(waiting):
        outcome = _added(outcome, _EMPTY.share)
    return _levels(outcome)


def in_order(levels: Levels, strategy: str = "target") -> tuple[int, ...]:
    """Levels 0 to 2 in the order in which plans are compared without slack."""
    quality = {
        "target": (levels.worst_nm, levels.sum_squared_nm2, levels.spread_nm),
        "even": (levels.spread_nm, levels.worst_nm, levels.sum_squared_nm2),
        "keep-sets": (levels.boxes, levels.worst_nm, levels.sum_squared_nm2, levels.spread_nm),
        "singles": (-levels.singles, levels.worst_nm, levels.sum_squared_nm2, levels.spread_nm),
    }
    return levels[:9] + quality[strategy]


def kind_figures(job: Job, filled: Iterable[tuple[Position, Pair]]) -> dict[str, int | None]:
    """What `KindFigures` must say of these bores."""
    filled = list(filled)
    short = [shortfall_nm(job, p, pair) for p, pair in filled]
    over = [excess_nm(p, pair, margins_nm(job, p, pair)[1]) for p, pair in filled]
    counted = [
        (p, pair)
        for (p, pair), s, e in zip(filled, short, over, strict=True)
        if not s and not e and not locked_twice(p)
    ]
    deviations = [clearance_nm(p, pair) - p.target_nm for p, pair in counted]
    total = sum(clearance_nm(p, pair) for p, pair in counted)
    missed = [missed_wish(p, pair) for p, pair in filled]
    wished = any(p.want_min_nm is not None or p.want_max_nm is not None for p, _ in filled)
    return {
        "filled": len(filled),
        "below": sum(s > 0 for s in short),
        "shortfall_nm": sum(short),
        "above": sum(e > 0 for e in over),
        "excess_nm": sum(over),
        "counted": len(counted),
        "worst_deviation_nm": max(map(abs, deviations)) if counted else None,
        "sum_squared_deviation_nm2": sum(d**2 for d in deviations) if counted else None,
        "spread_nm": max(deviations) - min(deviations) if counted else None,
        "mean_clearance_nm": round_half_even(total, len(counted)) if counted else None,
        "boxes": len({shell.box for _, pair in filled for shell in pair}),
        "below_want": sum(m[0] for m in missed) if wished else None,
        "want_shortfall_nm": sum(m[1] for m in missed) if wished else None,
        "above_want": sum(m[2] for m in missed) if wished else None,
        "want_excess_nm": sum(m[3] for m in missed) if wished else None,
    }


def faults_of(plan: Plan) -> list[str]:
    """Everything in a plan's own records that the definition does not allow, in words."""
    job, faults = plan.job, []
    kinds_filled = {
        kind: [(p.position, Pair(p.upper, p.lower)) for p in plan.placements if p.position.kind == kind]
        for kind in job.kinds
    }
    used = Counter(shell.key for p in plan.placements for shell in (p.upper, p.lower))
    faults += [f"shell {key} used {times} times" for key, times in used.items() if times > 1]
    read = plan.plans[0].read
    for kind in job.kinds:
        mine = [p for p in job.positions if p.kind == kind]
        if not any([p for p in so.positions if p.kind == kind] == mine for so, _ in every_housing(read, kind)):
            faults.append(f"{kind}: housings may not be like that")
    for kind, filled in kinds_filled.items():
        for p, pair in filled:
            faults += _faults_of_bore(job, p, pair)
        sides = {deciding_side(job, p, pair) for p, pair in filled} - {None}
        if len(sides) > 1:
            faults.append(f"{kind}: thicker halves on both sides")
        faults += [
            f"{kind}: {p.name} and {q.name} do not go together in the row" for p, q in misfits(job, kind, filled)
        ]
        figures = plan.figures.get(kind)
        expected = kind_figures(job, filled)
        if figures is None or {name: getattr(figures, name) for name in expected} != expected:
            faults.append(f"{kind}: figures {figures}, should be {expected}")
    for p in plan.placements:
        pair = Pair(p.upper, p.lower)
        if (p.clearance_nm, p.clearance_tightest_nm) != (
            clearance_nm(p.position, pair),
            tightest_nm(job, p.position, pair),
        ):
            faults.append(f"{p.position.name}: its clearances do not follow from the readings")
    placed = [p.position for p in plan.placements]
    if placed != [p for p in job.positions if p in placed]:
        faults.append("placements are not in file order, or hold a strange position")
    waiting = [p for p in job.positions if measured(job, p) and p not in placed]
    if [u.position for u in plan.unfilled] != waiting:
        faults.append(f"unfilled should be {[p.name for p in waiting]}")
    faults += [f"{u.position.name} has no reason" for u in plan.unfilled if not words_of(u.why, job.unit).strip()]
    if list(plan.held) != by_box_and_name(s for s in job.shells if s.hold is not None):
        faults.append("held shells are wrong")
    reserved = locked_keys(job)
    usable = (s for s in job.shells if s.hold is None and s.wall_nm is not None)
    spare = by_box_and_name(s for s in usable if s.key not in used and s.key not in reserved)
    if list(plan.leftover) != spare:
        faults.append("leftover shells are wrong")
    proven = all(proof.proven for proof in plan.proofs.values())
    status = (Status.PROVEN if plan.placements else Status.NONE) if proven else Status.UNPROVEN
    if plan.status is not status or set(plan.proofs) != set(job.kinds):
        faults.append(f"status is {plan.status}, should be {status}, of {job.kinds}")
    return faults


def misfits(job: Job, kind: str, filled: list[tuple[Position, Pair]]) -> Iterator[tuple[Position, Position]]:
    """Bores that break a rule about the row, two by two."""
    rows = [p.name for p in job.positions if p.kind == kind]
    for (p, one), (q, other) in combinations(filled, 2):
        neighbours = abs(rows.index(p.name) - rows.index(q.name)) == 1
        if not go_together(job, kind, axis(p, one), axis(q, other), neighbours=neighbours):
            yield p, q


def _faults_of_bore(job: Job, p: Position, pair: Pair) -> Iterator[str]:
    for side, shell in zip(("upper", "lower"), pair, strict=True):
        if shell not in job.shells:
            yield f"{p.name}: {shell.key} is not a shell of the job"
        elif shell not in candidates(job, p, side):
            yield f"{p.name}: {shell.key} may not be its {side} half"
    if not (fillable(job, p) and may_go(job, p, pair)):
        yield f"{p.name}: {pair.upper.key} and {pair.lower.key} may not go there together"


def natural(text: str) -> list[int | str]:
    """Natural order: runs of digits count as numbers, the rest by code point."""
    return [int(run) if at % 2 else run for at, run in enumerate(re.split("([0-9]+)", text))]


def by_box_and_name(shells: Iterable[Shell]) -> list[Shell]:
    return sorted(shells, key=lambda s: (natural(s.box), natural(s.name)))


# --- the two baselines -----------------------------------------------------------------------------------------------


def as_boxed(job: Job, kind: str) -> tuple[list[tuple[Position, Pair]], int]:
    """Positions in file order each take the next upper and lower that match; and how many rules that breaks."""
    boxed = sorted(range(len(job.shells)), key=lambda at: (natural(job.shells[at].box), at))
    place = {job.shells[at].key: turn for turn, at in enumerate(boxed)}
    filled: list[tuple[Position, Pair]] = []
    gone: set[tuple[str, str]] = set()
    for p in job.positions:
        if p.kind != kind or not fillable(job, p):
            continue
        taken: list[Shell] = []
        for side in ("upper", "lower"):
            left = [s for s in candidates(job, p, side) if s.key not in gone and s not in taken]
            left.sort(key=lambda s: (s.half == "either", place[s.key]))
            taken += left[:1]
        if len(taken) == 2 and has_clearance(job, p, Pair(*taken)):
            filled.append((p, Pair(*taken)))
            gone |= {s.key for s in taken}
    free = [(p, pair) for p, pair in filled if not locked_twice(p)]
    broken = sum(len(broken_rules(job, p, pair)) + has_thin(job, p, pair) for p, pair in free)
    sides = Counter(deciding_side(job, p, pair) for p, pair in free)
    return filled, broken + min(sides["upper"], sides["lower"]) + _broken_in_row(job, kind, filled)


def _broken_in_row(job: Job, kind: str, filled: list[tuple[Position, Pair]]) -> int:
    """Bores too far from the one before; and the fewest free ones without which the rest would be in line."""
    rows = [p for p in job.positions if p.kind == kind]
    axes = [(rows.index(p), axis(p, pair)) for p, pair in filled]
    only_step = with_rules(job, line_nm={})
    only_line = with_rules(job, neighbour_step_nm={})
    steps = sum(
        not go_together(only_step, kind, one, other, neighbours=True)
        for (i, one), (j, other) in combinations(axes, 2)
        if abs(i - j) == 1
    )
    free = [a for _, a in axes if not a.locked]
    fixed = [a for _, a in axes if a.locked]
    for fewer in range(len(free) + 1):
        for left in combinations(free, len(free) - fewer):
            pairs = [*combinations(left, 2), *product(left, fixed)]
            if all(go_together(only_line, kind, one, other, neighbours=False) for one, other in pairs):
                return steps + fewer
    raise AssertionError("no bores at all lie in line")


def by_hand(job: Job, kind: str) -> list[tuple[Position, Pair]]:
    """Positions in file order each take the pair with the smallest deviation that obeys all hard rules."""
    place = {s.key: at for at, s in enumerate(job.shells)}
    filled: list[tuple[Position, Pair]] = []
    gone: set[tuple[str, str]] = set()
    side: str | None = None
    # Bores locked in both halves are what they are, also for those before them.
    locked = [(p, pair) for p in job.positions if p.kind == kind and locked_twice(p) for pair in possible_pairs(job, p)]

    def waiting(filled: list[tuple[Position, Pair]]) -> list[tuple[Position, Pair]]:
        return [(p, pair) for p, pair in locked if all(p is not q for q, _ in filled)]

    for p in job.positions:
        if p.kind != kind:
            continue
        if locked_twice(p):
            filled += [(q, pair) for q, pair in locked if q is p]
            continue
        open_pairs = [
            pair
            for pair in possible_pairs(job, p)
            if not gone & {pair.upper.key, pair.lower.key}
            and {side, deciding_side(job, p, pair)} != {"upper", "lower"}
            and not any(True for _ in misfits(job, kind, [*filled, *waiting(filled), (p, pair)]))
        ]
        if open_pairs:
            chosen = min(
                open_pairs,
                key=lambda pair: (
                    abs(clearance_nm(p, pair) - p.target_nm),
                    abs(pair.upper.wall_nm - pair.lower.wall_nm),
                    place[pair.upper.key],
                    place[pair.lower.key],
                ),
            )
            filled.append((p, chosen))
            gone |= {chosen.upper.key, chosen.lower.key}
            side = side or deciding_side(job, p, chosen)
    return filled
