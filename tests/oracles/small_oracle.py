"""Small reasons and cures by their definition: could a position be inside its limits, in some variant of the jobs, with
no other position of the kind worse off than in the answer? Answered by looking at every plan. Only for tiny jobs.

A place is the name of a job, empty for one alone, and of a position.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise, product

from made.jobs import describe
from oracles import oracle
from oracles.rulebook import rules_of, with_rules

from fitmatch.records.answers.plans import Cure, JobPlan, Plan, Reason
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, Position, Shell
from fitmatch.records.pools import groups_of

Place = tuple[str, str]
Jobs = list[Job]
NEW = "new"  # the box of one more half
MAKERS = {"min", "max", "accept", "drawing", "family", "hold", "holds"}  # and matched columns: never offered
UNHEARD = "never heard of"  # a mark that no cell has


class Group:
    """What one kind of an answer decides together: the jobs as read, and how bad each filled position is."""

    def __init__(self, plans: Sequence[JobPlan], kind: str) -> None:
        self.kind = kind
        self.jobs = [plan.read for plan in plans]
        self.reasons = {(plan.job.name, r.position.name): r for plan in plans for r in plan.reasons}
        self.reasons = {place: r for place, r in self.reasons.items() if r.position.kind == kind}
        placed = [(plan, p) for plan in plans for p in plan.placements if p.position.kind == kind]
        self.answer = {
            (plan.job.name, p.position.name): misfit(plan.job, p.position, oracle.Pair(p.upper, p.lower))
            for plan, p in placed
        }
        inside = {(plan.job.name, p.position.name) for plan, p in placed if p.within_limits}
        self.failing = [
            (job.name, p.name)
            for job in self.jobs
            for p in job.positions
            if p.kind == kind and oracle.measured(job, p) and (job.name, p.name) not in inside
        ]

    def position(self, place: Place, jobs: Jobs | None = None) -> Position:
        return next(p for job in jobs or self.jobs if job.name == place[0] for p in job.positions if p.name == place[1])


def groups(answer: Plan) -> list[Group]:
    jobs = [plan.job for plan in answer.plans]
    return [Group([answer.plans[i] for i in group.members], group.kind) for group in groups_of(jobs)]


def misfit(job: Job, p: Position, pair: oracle.Pair) -> tuple[int, ...]:
    short = oracle.shortfall_nm(job, p, pair)
    over = oracle.excess_nm(p, pair, oracle.margins_nm(job, p, pair)[1])
    return int(short > 0), short, over, *oracle.missed_wish(p, pair)


def is_worse(now: tuple[int, ...], before: tuple[int, ...]) -> bool:
    """In any figure, whatever is gained in another."""
    return any(a > b for a, b in zip(now, before, strict=True))


# --- whether it is possible -------------------------------------------------------------------------------------------


def possible(
    group: Group,
    jobs: Jobs,
    place: Place,
    plenty: Collection[str] = (),
    free: Collection[str] = (),
    *,
    to_drawing: bool = False,
) -> bool:
    """`plenty`: sides whose halves are not counted; `free`: which of `min` and `max` do not bind the position;
    `to_drawing`: it takes no shell outside the drawing but a locked one."""
    orders = product(*([housed for housed, _ in oracle.every_housing(job, group.kind)] for job in jobs))
    return any(_possible(group, list(housed), place, plenty, free, to_drawing) for housed in orders)


def _possible(
    group: Group, jobs: Jobs, place: Place, plenty: Collection[str], free: Collection[str], to_drawing: bool
) -> bool:
    kind = group.kind
    classes: dict[object, int] = {}
    stock: Counter[int] = Counter()
    of: dict[tuple[str, str], int] = {}
    reserved = set().union(*(oracle.locked_keys(job) for job in jobs))
    for s in jobs[0].shells:
        alike = (
            s.key
            if s.key in reserved or s.box == NEW
            else (s.kind, s.half, s.wall_nm, s.marks, s.family, s.hold, s.measured_as)
        )
        of[s.key] = classes.setdefault(alike, len(classes))
        stock[of[s.key]] += 1
    reached = {((), (None,) * len(jobs), (oracle._Row(),) * len(jobs))}
    for i, job in enumerate(jobs):
        in_row = kind in rules_of(job).neighbour_step_nm or kind in rules_of(job).line_nm
        for p in job.positions:
            if p.kind != kind:
                continue
            mine = (job.name, p.name) == place
            answer = group.answer.get((job.name, p.name))
            ways = set()
            for pair in pairs_of(job, p, plenty):
                bad = misfit(job, p, pair)
                if mine and ((bad[1] and "min" not in free) or (bad[2] and "max" not in free)):
                    continue
                if mine and to_drawing and not all(in_drawing(job, s) or s.key in (p.upper, p.lower) for s in pair):
                    continue
                if not mine and (is_worse(bad, answer) if answer is not None else not is_sure(job, p)):
                    continue
                counted = zip(("upper", "lower"), pair, strict=True)
                drawn = tuple(of[s.key] for side, s in counted if side not in plenty)
                ways.add((drawn, oracle.deciding_side(job, p, pair), oracle.axis(p, pair) if in_row else None))
            if not mine and answer is None and not ways:
                ways.add(((), None, None))  # it may stay empty
            fresh = set()
            for (used, sides, rows), (drawn, side, axis) in product(reached, ways):
                row = oracle._row_with(job, kind, rows[i], axis) if in_row else rows[i]
                if row is None or (sides[i] and side and sides[i] != side):
                    continue
                total = tuple(sorted(used + drawn))
                if all(total.count(c) <= stock[c] for c in drawn):
                    now = (*sides[:i], sides[i] or side, *sides[i + 1 :])
                    fresh.add((total, now, (*rows[:i], row, *rows[i + 1 :])))
            reached = fresh
    return bool(reached)


def is_sure(job: Job, p: Position) -> bool:
    """Whether shells locked in both halves are in wherever their housing leaves a clearance."""
    return p.kind in rules_of(job).movable and oracle.locked_twice(p)


def pairs_of(job: Job, p: Position, plenty: Collection[str]) -> Iterator[oracle.Pair]:
    """Possible pairs; where halves are not counted, a shell of either half may stand on both sides."""
    yield from oracle.possible_pairs(job, p)
    if plenty and oracle.fillable(job, p) and not oracle.locked_twice(p):
        lowers = {s.key for s in oracle.candidates(job, p, "lower")}
        for s in oracle.candidates(job, p, "upper"):
            pair = oracle.Pair(s, s)
            broken = oracle.broken_rules(job, p, pair) or oracle.has_thin(job, p, pair)
            if s.key in lowers and oracle.has_clearance(job, p, pair) and not broken:
                yield pair


# --- what can be dropped ----------------------------------------------------------------------------------------------


def without(jobs: Jobs, kind: str, bond: str) -> Jobs:
    """The jobs with one thing dropped in all of them."""
    if bond == "locks":  # except those that break a rule and are excused: dropping must take nothing away
        free = {(j.name, p.name) for j in jobs for p in j.positions if p.kind == kind and not excused(j, p)}
        return unlocked(jobs, free)
    return [_without(job, kind, bond) for job in jobs]


def unlocked(jobs: Jobs, places: Collection[Place], sides: Sequence[str] = ("upper", "lower")) -> Jobs:
    """A shell that is locked no more is free for the other jobs too."""
    changed = [
        replace(
            job,
            positions=tuple(
                replace(p, **dict.fromkeys(sides)) if (job.name, p.name) in places else p for p in job.positions
            ),
        )
        for job in jobs
    ]
    own = [{key for p in job.positions for key in (p.upper, p.lower) if key} for job in jobs]
    left = [{key for p in job.positions for key in (p.upper, p.lower) if key} for job in changed]
    freed = set().union(*own) - set().union(*left)
    return [replace(job, reserved=job.reserved - freed) for job in changed]


def _without(job: Job, kind: str, bond: str) -> Job:
    rules = rules_of(job)
    match bond:
        case "wall_difference":
            return with_rules(job, wall_difference_nm=None)
        case "min_wall":
            return with_rules(job, min_wall_nm=_not(kind, rules.min_wall_nm))
        case "thick_half":
            return with_rules(job, thick_half=_not(kind, rules.thick_half))
        case "neighbour_step":
            return with_rules(job, neighbour_step_nm=_not(kind, rules.neighbour_step_nm))
        case "line":
            return with_rules(job, line_nm=_not(kind, rules.line_nm))
        case "guard":
            return with_rules(job, guard=0.0)
        case "family":
            return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})
        case "holds":
            return replace(job, shells=tuple(replace(s, hold=None) if s.kind == kind else s for s in job.shells))
    rule, _, column = bond.partition(" ")
    if rule == "same_in_bore":
        return with_rules(job, same_in_bore=tuple(name for name in rules.same_in_bore if name != column))
    changes = {
        "drawing": lambda p: {"accept": p.accept or "so be it"},
        "movable_within": lambda _: {"within": ()},
        "match finish": lambda _: {"wants_upper": (ANY,), "wants_lower": (ANY,)},
    }
    return replace(job, positions=tuple(replace(p, **changes[bond](p)) if p.kind == kind else p for p in job.positions))


def _not(kind: str, limits: object) -> dict[str, object]:
    return {k: v for k, v in dict(limits).items() if k != kind}


def excused(job: Job, p: Position) -> bool:
    """Whether the locked shells alone break a rule, of a position that is measured."""
    known = {s.key: s for s in job.shells}
    if not oracle.measured(job, p):
        return False
    for side, lock in (("upper", p.upper), ("lower", p.lower)):
        if lock is not None and (not oracle.matches(job, known[lock], p, side) or oracle.is_thin(job, p, known[lock])):
            return True
    if not oracle.locked_twice(p):
        return False
    pair = oracle.Pair(known[p.upper], known[p.lower])
    one_side = rules_of(job).thick_half.get(p.kind) == "same" and oracle.thicker_half(job, pair) is not None
    return one_side or bool(oracle.broken_rules(job, p, pair)) or _locks_break_the_row(job, p.kind)


def _locks_break_the_row(job: Job, kind: str) -> bool:
    known = {s.key: s for s in job.shells}
    axes: list[oracle.Axis | None] = []
    for p in job.positions:
        if p.kind == kind:
            locked = oracle.locked_twice(p) and oracle.measured(job, p)
            pair = oracle.Pair(known[p.upper], known[p.lower]) if locked else None
            axes.append(oracle.axis(p, pair)._replace(locked=False) if pair else None)
    there = [axis for axis in axes if axis is not None]
    beside = [(a, b) for a, b in pairwise(axes) if a is not None and b is not None]
    return any(not oracle.go_together(job, kind, a, b, neighbours=True) for a, b in beside) or any(
        not oracle.go_together(job, kind, a, b, neighbours=False) for a in there for b in there
    )


def names_of_bonds(jobs: Jobs, kind: str, position: Position) -> set[str]:
    """Everything that binds the position, by definition."""
    mine = [(job, p) for job in jobs for p in job.positions if p.kind == kind]
    names = {"uppers", "lowers"}
    names |= {limit for limit in ("min", "max") if getattr(position, f"{limit}_nm") is not None}
    names |= {"drawing" for job, p in mine if oracle.measured(job, p) and not oracle.fillable(job, p)}
    names |= {"locks" for _, p in mine if p.upper or p.lower}
    names |= {"holds" for s in jobs[0].shells if s.hold and s.kind == kind and s.wall_nm is not None}
    for job in jobs:
        rules = rules_of(job)
        names |= {"wall_difference"} if rules.wall_difference_nm is not None else set()
        names |= {"min_wall"} if kind in rules.min_wall_nm else set()
        names |= {"thick_half"} if kind in rules.thick_half else set()
        names |= {"neighbour_step"} if kind in rules.neighbour_step_nm else set()
        names |= {"line"} if kind in rules.line_nm else set()
        names |= {f"same_in_bore {column}" for column in rules.same_in_bore}
        names |= {f"match {column}" for column in job.matched_columns}
        names |= {"family"} if job.fits[kind].family is not None else set()
        names |= {"movable_within"} if kind in rules.movable and rules.movable_within else set()
        names |= {"guard"} if rules.guard else set()
    return names


def only_with(group: Group, place: Place, in_force: Collection[str]) -> bool:
    """Whether it is possible when nothing but these binds."""
    position = group.position(place)
    let_go = names_of_bonds(group.jobs, group.kind, position) - set(in_force)
    jobs = group.jobs
    for name in sorted(let_go - {"min", "max", "uppers", "lowers"}, key=lambda name: name != "locks"):
        jobs = without(jobs, group.kind, name)
    plenty = [side for side in ("upper", "lower") if f"{side}s" in let_go]
    if possible(group, jobs, place, plenty, let_go):
        return True
    return "locks" in let_go and possible(group, unlocked(jobs, {place}), place, plenty, let_go)


# --- what is asserted -------------------------------------------------------------------------------------------------


def assert_reason(group: Group, place: Place, reason: Reason, what: str) -> None:
    """With all of it the position cannot be inside, without any one it can; and it has one part only if one does."""
    assert reason.reduced, what
    names = set(reason.together)
    if names == {"priority"}:  # it could be inside, had the jobs before it not taken the better shells
        assert place[0] != group.jobs[0].name and possible(group, group.jobs, place), what
        return
    assert names <= names_of_bonds(group.jobs, group.kind, reason.position), what
    assert len(names) == len(reason.together)
    if not names:
        assert not only_with(group, place, ()), what
        return
    if not only_with(group, place, ()):  # there is no half at all of that side
        usable = [s for s in group.jobs[0].shells if s.kind == group.kind and s.wall_nm is not None]
        for name in names:
            assert not any(s.half in (name.removesuffix("s"), "either") for s in usable), what
        return
    assert not only_with(group, place, names), what
    for name in names:
        assert only_with(group, place, names - {name}), what
        if len(names) > 1:
            assert only_with(group, place, {name}), f"{name} would be enough; {what}"


def in_drawing(job: Job, shell: Shell) -> bool:
    band = job.drawing.get(shell.kind, {}).get("wall")
    return band is None or shell.wall_nm in band


def changed(group: Group, place: Place, change: str, to: float | None = None, name: str | None = None) -> Jobs:
    """The jobs after one change other than one more half: a limit or rule at `to`, otherwise dropped."""
    jobs, kind = group.jobs, group.kind

    def at(job: Job, row: str, **changes: object) -> Job:
        return replace(job, positions=tuple(replace(p, **changes) if p.name == row else p for p in job.positions))

    def mine(job: Job) -> Job:
        match change:
            case "min" | "max":
                return at(job, place[1], **{f"{change}_nm": to})
            case "wall_difference" | "thick_half_from":
                return with_rules(job, **{f"{change}_nm": to})
            case "neighbour_step" | "line" | "min_wall":
                key = f"{change}_nm"
                return with_rules(job, **{key: {**getattr(rules_of(job), key), kind: to}})
            case "guard":
                return with_rules(job, guard=to)
            case "accept":
                return at(job, name or place[1], accept="so be it")
        return _without(job, kind, change)

    match change:
        case "hold":
            return [
                replace(j, shells=tuple(replace(s, hold=None) if name_of(s) == name else s for s in j.shells))
                for j in jobs
            ]
        case "lock":
            for side in ("upper", "lower"):
                locked = ((j.name, p.name) for j in jobs for p in j.positions if _lock(p, side) == name)
                for one in locked:
                    return unlocked(jobs, {one}, [side])
    return [mine(job) if job.name == place[0] else job for job in jobs]


def _lock(p: Position, side: str) -> str | None:
    lock = getattr(p, side)
    return lock and f"{lock[0]}/{lock[1]}"


def name_of(s: Shell) -> str:
    return f"{s.box}/{s.name}"


def with_shell(group: Group, half: str, wall: int | None, marks: Sequence[str], family: str) -> Jobs:
    """The jobs with one more half; a job whose drawing does not allow its wall may not use it."""
    new = Shell("new", NEW, group.kind, half, wall, tuple(marks), family)
    held = replace(new, hold="not to the drawing")
    return [replace(job, shells=(*job.shells, new if in_drawing(job, new) else held)) for job in group.jobs]


def families_of(group: Group) -> list[str]:
    return sorted({f for job in group.jobs for f in job.fits[group.kind].family or ("",)})


def works(group: Group, place: Place, cure: Cure, nm: int | None = None) -> bool:
    """Of one more half whatever is not described may be anything, and any one of several marks is enough."""
    to = cure.to_nm if nm is None else nm
    if cure.change not in ("upper", "lower"):
        to = cure.factor if cure.factor is not None else to
        return possible(group, changed(group, place, cure.change, to, cure.name), place, to_drawing=True)
    told = dict(cure.marks)
    families = told.pop("family", (UNHEARD,))
    columns = group.jobs[0].shell_columns
    assert told.keys() <= set(columns)
    ways = product(*(told.get(column, (UNHEARD,)) for column in columns), families)
    variants = (with_shell(group, cure.change, to, way[:-1], way[-1]) for way in ways)
    return all(possible(group, jobs, place, to_drawing=True) for jobs in variants)


def assert_cures(group: Group, place: Place, reason: Reason, what: str) -> None:
    """Every cure works, is the least of its sort and for the shop to make, and none that would work is missing; the
    same for what is reported and not offered."""
    job = next(job for job in group.jobs if job.name == place[0])
    position, kind = reason.position, group.kind
    assert reason.cures_complete and not reason.in_doubt, what
    if possible(group, group.jobs, place):
        assert (reason.cures, reason.not_offered) == ((Cure("priority"),), ()), what
        return
    changes = [cure.change for cure in reason.cures]
    assert not MAKERS & set(changes) and not any(change.startswith("match") for change in changes), what
    shells_first = sorted(changes, key=lambda change: change not in ("upper", "lower"))
    assert changes == shells_first, what
    for cure in reason.cures:
        assert works(group, place, cure), f"{cure} does not work; {what}"
        if cure.by_nm is not None:
            less = cure.to_nm + (1 if cure.change == "min_wall" else -1)
            assert not works(group, place, cure, less), f"less than {cure} does; {what}"
        for end in (cure.low_nm, cure.high_nm):
            if end is not None:
                assert works(group, place, cure, end), f"{end} of {cure}; {what}"
    told = set(changes)
    bonds = names_of_bonds([job], kind, position)
    for name in bonds - MAKERS - {"uppers", "lowers", "locks"}:
        if not name.startswith("match"):
            helps = possible(group, changed_to_none(group, place, name), place, to_drawing=True)
            assert helps == ({"thick_half": "thick_half_from"}.get(name, name) in told), f"{name}; {what}"
    freed = {cure.name for cure in reason.cures if cure.change == "lock"}
    for each in group.jobs:
        for lock in (_lock(p, side) for p in each.positions if p.kind == kind for side in ("upper", "lower")):
            if lock is not None:
                helps = works(group, place, Cure("lock", name=lock))
                assert helps == (lock in freed), f"lock {lock}; {what}"
    _assert_not_offered(group, place, reason, what)
    if oracle.fillable(job, position) and not oracle.locked_twice(position):
        _assert_no_shell_is_missing(group, place, told, what)


def changed_to_none(group: Group, place: Place, name: str) -> Jobs:
    return [_without(job, group.kind, name) if job.name == place[0] else job for job in group.jobs]


def _assert_not_offered(group: Group, place: Place, reason: Reason, what: str) -> None:
    job, position, kind = next(job for job in group.jobs if job.name == place[0]), reason.position, group.kind
    assert {one.change for one in reason.not_offered} <= {"min", "max", "accept", "hold"}, what
    missed = {one.change: one.by_nm for one in reason.not_offered if one.by_nm is not None}
    for limit, sign in (("min", -1), ("max", 1)):
        now = getattr(position, f"{limit}_nm")
        if now is None or not possible(group, group.jobs, place, free=(limit,)):
            alone = now is not None and reason.together == (limit,)
            assert missed.get(limit) == (missed_by_all(group, place, limit) if alone else None), f"{limit}; {what}"
        else:
            least = [changed(group, place, limit, now + sign * by) for by in (missed[limit], missed[limit] - 1)]
            assert [possible(group, jobs, place) for jobs in least] == [True, False], f"{limit}; {what}"
    held = {one.name: one.why for one in reason.not_offered if one.change == "hold"}
    for s in group.jobs[0].shells:
        if s.hold is not None and s.kind == kind and s.wall_nm is not None:
            helps = possible(group, changed(group, place, "hold", name=name_of(s)), place, to_drawing=True)
            alike = [o for o in group.jobs[0].shells if o.hold and _features(o) == _features(s)]
            assert helps == any(held.get(name_of(o)) == o.hold for o in alike), f"{s}; {what}"
    accepted = {one.name or place[1] for one in reason.not_offered if one.change == "accept"}
    for p in job.positions if "drawing" in names_of_bonds([job], kind, position) else ():
        mine = p.kind == kind and (p.name == place[1] or kind in rules_of(job).movable)
        if mine and oracle.measured(job, p) and not oracle.fillable(job, p):
            helps = possible(group, changed(group, place, "accept", name=p.name), place, to_drawing=True)
            assert helps == (p.name in accepted), f"accept {p.name}; {what}"


def missed_by_all(group: Group, place: Place, limit: str) -> int | None:
    """The least by which any pair that is allowed in the position misses this limit, the other being kept; None if
    there is none that misses it, or one that does not."""
    job, found = next(job for job in group.jobs if job.name == place[0]), set()
    for housed, _ in oracle.every_housing(job, group.kind):
        position = next(p for p in housed.positions if p.name == place[1])
        for pair in pairs_of(housed, position, ()):
            _, short, over, *_ = misfit(housed, position, pair)
            miss, other = (short, over) if limit == "min" else (over, short)
            found |= set() if other else {miss}
    return min(found, default=0) or None


def _assert_no_shell_is_missing(group: Group, place: Place, told: set[str], what: str) -> None:
    """Of a half that is not offered no wall helps that would be on target or that there is, whatever it reads."""
    job, position = next(job for job in group.jobs if job.name == place[0]), group.position(place)
    cells = [s.marks for s in job.shells]
    cells += [wants for j in group.jobs for p in j.positions for wants in (p.wants_upper, p.wants_lower)]
    marks = product(*({c[i] for c in cells if len(c) > i} - {ANY} | {""} for i in range(len(job.shell_columns))))
    ways = list(product(marks, families_of(group)))
    for half, other in (("upper", "lower"), ("lower", "upper")):
        if half in told or getattr(position, half) is not None:
            continue
        ideal = position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm - position.target_nm
        walls = {ideal - s.wall_nm for s in oracle.candidates(job, position, other)}
        walls |= {s.wall_nm for s in job.shells if s.kind == group.kind and s.wall_nm is not None}
        for wall, way in product(walls, ways):
            jobs = with_shell(group, half, wall, *way)
            assert not possible(group, jobs, place, to_drawing=True), f"{half} {wall} {way}; {what}"


def _features(s: Shell) -> object:
    return s.kind, s.half, s.wall_nm, s.marks, s.family, s.measured_as


def assert_small(answer: Plan, what: str) -> Counter[str]:
    """Every failing position has a reason that is right, with all its cures; the changes they name."""
    seen: Counter[str] = Counter()
    for group in groups(answer):
        assert list(group.reasons) == group.failing, what
        for place, reason in group.reasons.items():
            told = f"{what}, {place}, {reason}\n" + "\n".join(map(describe, group.jobs))
            in_rows = any(rules_of(job).neighbour_step_nm or rules_of(job).line_nm for job in group.jobs)
            if in_rows and not reason.reduced:  # the question was given up as too hard
                seen["given up"] += 1
                continue
            assert_reason(group, place, reason, told)
            if in_rows and not reason.cures_complete:
                seen["given up"] += 1
                continue
            assert_cures(group, place, reason, told)
            seen.update(cure.change for cure in reason.cures)
            seen.update(f"not offered: {one.change}" for one in reason.not_offered)
            seen["reasons"] += 1
    return seen
