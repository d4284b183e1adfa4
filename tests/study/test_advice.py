"""Advice: each change, made in the job and solved again, gives the figures stated; nothing unsafe is proposed."""

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import pytest
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    describe,
    guarded_job,
    make_job,
    make_position,
    make_shell,
    make_shells,
    moving_job,
    random_job,
    row_job,
    wishing_job,
)
from made.pools import random_pool
from made.seeds import seeds

import fitmatch
from fitmatch.problems import NotPossible
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import Band, Fit, Position, Shell, Size, room
from fitmatch.records.pools import Pool
from fitmatch.rules.one_half.min_wall import MinWall
from fitmatch.study.advice.advised import ACTIONS, Advice, Advised, AdvisedJobs, Order, Run
from fitmatch.study.advice.orders import boxes_together

MAKERS = [random_job, wishing_job, row_job, moving_job, guarded_job]


def drawn(make: Callable[..., Job], seed: int) -> Job:
    """A random job in which metal may be taken off."""
    rng = random.Random(f"advice {seed}")
    job = make(rng)
    drawing = {kind: dict(job.drawing.get(kind, {})) for kind in job.kinds}
    for kind in job.kinds:
        bores = [p.housing_bore.mean_nm for p in job.positions if p.kind == kind and p.housing_bore]
        if bores and rng.random() < 0.8:
            drawing[kind].setdefault("housing_bore", Band(min(bores) - 2 * STEP, max(bores) + 3 * STEP))
    return replace(job, drawing=drawing, polish_max_nm=rng.choice([None, 2 * STEP, 8 * STEP]))


def advised(job: Job | Pool) -> AdvisedJobs | None:
    """None for a job that has no limits at all."""
    try:
        return fitmatch.advise(job)
    except NotPossible:
        assert all(p.min_nm is None and p.max_nm is None for one in job.jobs for p in one.positions)
        return None


def moved(size: Size | None, by: int) -> Size:
    assert size is not None
    return replace(size, mean_nm=size.mean_nm + by, smallest_nm=size.smallest_nm + by, largest_nm=size.largest_nm + by)


def changed(jobs: Sequence[Job], one: Advised, advice: Advice) -> tuple[Job, ...]:
    """The jobs with the advice followed, worked out here once more."""
    key, amount = one.position.key, advice.amount_nm
    if advice.action in ("one-half", "both-halves"):
        new = list(bought(jobs[0], advice))
        return tuple(replace(job, shells=(*job.shells, *new)) for job in jobs)

    def followed(p: Position) -> Position:
        if isinstance(amount, Run):
            size = advice.what["journal_nm"]
            assert isinstance(size, int) and p.journal is not None
            ground = replace(p.journal, mean_nm=size, smallest_nm=size, largest_nm=size)
            return replace(p, journal=ground) if (p.job, p.kind) == (key[0], one.position.kind) else p
        housing = key[0], advice.what.get("housing") or key[1]
        if p.key != (key if advice.action == "polish" else housing) or amount is None:
            return p
        if advice.action == "polish":
            return replace(p, journal=moved(p.journal, -amount))
        return replace(p, housing_bore=moved(p.housing_bore, amount if advice.action == "hone" else -amount))

    return tuple(replace(job, positions=tuple(map(followed, job.positions))) for job in jobs)


def bought(job: Job, advice: Advice) -> Iterator[Shell]:
    """The shells of an advice, measured like the others."""
    what = advice.what
    wall, marks = what["wall_nm"], what["marks"]
    assert isinstance(wall, int) and isinstance(marks, dict)
    like = [s.measured_as for s in job.shells if s.kind == what["kind"] and s.measured_as is not None]
    for half in ("upper", "lower") if what["half"] == "both" else (str(what["half"]),):
        mine = marks[half] if what["half"] == "both" else marks
        read = {column: some[0].casefold() for column, some in mine.items()}
        cells = tuple(read.get(column, "") for column in job.shell_columns)
        family = read.get("family", "")
        how = like[0] if like else None
        yield make_shell(
            f"bought {half}",
            half,
            wall,
            box="bought",
            kind=str(what["kind"]),
            marks=cells,
            family=family,
            measured_as=how,
        )


def assert_reached(plan: Plan, one: Advised, advice: Advice, told: str) -> None:
    """The position is inside, as told, and its kind has the figures stated."""
    assert advice.reached is not None
    (placed,) = (p for p in plan.placements if p.position.key == one.position.key)
    assert placed.within_limits and advice.reached.placement.within_limits, told
    mine = next(g for g in plan.groups if placed in [p for m in plan.members(g.group) for p in m.placements]
                and g.group.kind == one.position.kind)  # fmt: skip
    assert mine.figures == advice.reached.figures, told


def failing_before(plan: Plan) -> dict[object, tuple[int, int]]:
    return {p.position.key: (p.shortfall_nm, p.excess_nm) for p in plan.placements}


@pytest.mark.parametrize("make", MAKERS)
@seeds(2, 6)
def test_each_advice_followed_and_solved_again_gives_its_figures(seeds: list[int], make: Callable[..., Job]) -> None:
    """By `assign` of the changed job; and no other position of the kind misses its limits by more than before."""
    for seed in seeds:
        job = drawn(make, seed)
        found = advised(job)
        if found is None or found.answer is None:
            continue
        before = failing_before(found.answer)
        for one in found.positions:
            assert [ACTIONS.index(a.action) for a in one.advice] == sorted(ACTIONS.index(a.action) for a in one.advice)
            for advice in one.advice:
                told = f"seed {seed}, {one.position.name}, {advice}\n{describe(job)}"
                if advice.reached is None:
                    assert advice.action in ("measure", "box", "grind"), told
                    continue
                plan = fitmatch.assign(changed([job], one, advice)[0])
                assert_reached(plan, one, advice, told)
                if advice.action != "other-pin":
                    after = failing_before(plan)
                    mine = [p.key for p in job.positions if p.kind == one.position.kind and p.key in before]
                    assert all(key in after for key in mine), told
                    assert all(a <= b for key in mine if key != one.position.key
                               for a, b in zip(after[key], before[key], strict=True)), told  # fmt: skip


@pytest.mark.parametrize("make", MAKERS)
@seeds(2, 6)
def test_metal_is_taken_off_only_where_that_is_allowed_and_helps(seeds: list[int], make: Callable[..., Job]) -> None:
    """Polishing up to the most that is written; bores inside their band; never more clearance where there is too much,
    nor less where there is too little; nothing for positions that are inside, and only to measure those in doubt."""
    for seed in seeds:
        job = drawn(make, seed)
        found = advised(job)
        for one in found.positions if found is not None else ():
            sorts = {a.action for a in one.advice}
            assert not one.in_doubt or sorts == {"measure"}
            assert not one.is_inside or one.in_doubt or sorts <= {"other-pin"}
            band = job.drawing.get(one.position.kind, {}).get("housing_bore")
            for a in one.advice:
                if a.action in ("polish", "hone"):
                    assert one.placed is None or one.placed.shortfall_nm > 0
                if a.action == "resize":
                    assert one.placed is None or one.placed.excess_nm > 0
                if a.action == "polish":
                    assert job.polish_max_nm and isinstance(a.amount_nm, int) and a.most_nm is not None
                    assert 0 < a.amount_nm <= a.most_nm <= job.polish_max_nm
                if a.action in ("hone", "resize"):
                    bore = one.position.housing_bore
                    assert band is not None and bore is not None and isinstance(a.amount_nm, int)
                    way = 1 if a.action == "hone" else -1
                    for by in (a.amount_nm, a.most_nm or 0):
                        after = moved(bore, way * by)
                        assert after.mean_nm in band
                        assert after.largest_nm <= band.high_nm if way > 0 else after.smallest_nm >= band.low_nm


@seeds(4, 8)
def test_the_most_that_may_come_off_still_leaves_it_inside(seeds: list[int]) -> None:
    """And with a nanometre less than the least, the shells of the plan leave it outside."""
    seen = 0
    for seed in seeds:
        rng = random.Random(f"most {seed}")
        room_nm = 2 * WALL + TARGET - rng.choice([3, 4, 5]) * STEP - rng.randrange(STEP)
        p = make_position("R1", room_nm, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP)
        assert p.housing_bore is not None
        band = Band(p.housing_bore.mean_nm - 50 * STEP, p.housing_bore.mean_nm + 50 * STEP)
        job = make_job([p], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])])
        job = replace(job, drawing={"rod": {"housing_bore": band}}, polish_max_nm=50 * STEP)
        (one,) = fitmatch.advise(job).positions
        for advice in one.advice:
            if advice.action in ("polish", "hone"):
                seen += 1
                assert isinstance(advice.amount_nm, int) and advice.most_nm is not None
                for by, inside in ((0, True), (-1, False)):
                    other = advice._replace(amount_nm=advice.amount_nm + by)
                    (placed,) = fitmatch.assign(changed([job], one, other)[0]).placements
                    assert placed.within_limits is inside
                for by, inside in ((0, True), (1, False)):
                    other = advice._replace(amount_nm=advice.most_nm + by)
                    (placed,) = fitmatch.assign(changed([job], one, other)[0]).placements
                    assert placed.within_limits is inside
    assert seen == 2 * len(seeds)


def all_inside(job: Job, kind: str, size: int) -> bool:
    """Whether all positions of the kind lie inside with their journals ground to this size."""
    rows = (
        replace(p, journal=replace(p.journal, mean_nm=size, smallest_nm=size, largest_nm=size))
        if p.kind == kind and p.journal
        else p
        for p in job.positions
    )
    plan = fitmatch.assign(replace(job, positions=tuple(rows)))
    mine = [p for p in plan.placements if p.position.kind == kind]
    return len(mine) == sum(p.kind == kind for p in job.positions) and all(p.within_limits for p in mine)


@seeds(2, 8)
def test_the_run_of_ground_sizes_is_the_widest_and_exact(seeds: list[int]) -> None:
    """Against every size at which a pair of shells enters or leaves the limits of some bore, each tried by itself."""
    runs = 0
    for seed in seeds:
        rng = random.Random(f"ground {seed}")
        width = rng.choice([STEP, 2 * STEP])
        rooms = [2 * WALL + TARGET + rng.choice([-6, -5, -4, 3, 4]) * STEP + rng.randrange(3) for _ in range(3)]
        positions = [
            make_position(f"R{n}", nm, min_nm=TARGET - width, max_nm=TARGET + width, low=rng.choice([0, 100]))
            for n, nm in enumerate(rooms, 1)
        ]
        walls = [WALL + rng.choice([-2, -1, 0, 1, 2, 4]) * STEP for _ in range(8)]
        job = make_job(positions, [*make_shells("upper", walls[:4]), *make_shells("lower", walls[4:])])
        found = fitmatch.advise(job)
        told = {
            advice.amount_nm
            for one in found.positions
            for advice in one.advice
            if advice.action == "grind" and isinstance(advice.amount_nm, Run)
        }
        top = min(p.journal.smallest_nm for p in job.positions if p.journal)
        bores = [p.housing_bore for p in job.positions if p.housing_bore]
        sums = {u + v for u in walls[:4] for v in walls[4:]}
        edges = {b.mean_nm - TARGET - width - s for b in bores for s in sums}
        edges |= {b.smallest_nm - TARGET + width - s + 1 for b in bores for s in sums}
        starts = sorted({at for at in edges if at <= top})
        best: tuple[int, int, int] | None = None
        begun = None
        for at, after in zip(starts, [*starts[1:], top + 1], strict=True):
            if not all_inside(job, "rod", at):
                begun = None
                continue
            begun = at if begun is None else begun
            if best is None or after - 1 - begun >= best[0]:
                best = after - 1 - begun, begun, after - 1
        if any(one.in_doubt for one in found.positions):
            assert not told
        elif any(not one.is_inside for one in found.positions):
            wanted = set() if best is None else {Run(best[1], best[2])}
            assert told == wanted, f"seed {seed}\n{describe(job)}"
            runs += len(told)
    assert runs


def test_boxes_needed_together_hold_both_halves_of_one_family() -> None:
    """An upper and a lower half of one step come from one box; halves of another family never do, whichever job they
    are for."""
    keys = [("a", "R1"), ("a", "R2"), ("b", "R1")]
    fits = {name: {"rod": Fit("rod", TARGET, family=(name,))} for name in "ab"}
    shells = [
        replace(make_shell(f"{half}{n}", half, WALL), box=family, family=family, step="std")
        for family, count in (("a", 2), ("b", 3))
        for half in ("upper", "lower")
        for n in range(count)
    ]
    jobs = [replace(make_job([], shells), name=name, fits=fits[name]) for name in "ab"]

    def order(half: str, *at: int) -> Order:
        places = tuple(keys[n] for n in at)
        return Order("rod", half, "std", (WALL,), places, {"family": (places[0][0],)}, (0.5,) * len(places))

    found = list(boxes_together(jobs, [order("upper", 0, 1), order("lower", 1), order("upper", 2, 2, 2, 2)]))
    assert [(one.family, one.boxes, one.positions) for one in found] == [
        (("a",), 1, (keys[0], keys[1])),
        (("b",), 2, (keys[2],)),
    ]


@seeds(2, 4)
def test_several_jobs_are_advised_together(seeds: list[int]) -> None:
    """Each advice followed in the pool gives its figures; what is ordered is what the positions were told."""
    for seed in seeds:
        pool = random_pool(random.Random(f"advice {seed}"))
        pool = replace(pool, jobs=tuple(replace(job, polish_max_nm=4 * STEP) for job in pool.jobs))
        found = advised(pool)
        if found is None:
            continue
        for one in found.positions:
            for advice in one.advice:
                if advice.reached is not None and advice.action != "other-pin":
                    plan = fitmatch.assign(replace(pool, jobs=changed(pool.jobs, one, advice)))
                    assert_reached(plan, one, advice, f"seed {seed}, {one.position.key}, {advice}")
        ordered = sorted(name for order in found.orders for name in order.positions)
        boxed = [o for o in found.positions for a in o.advice if a.action == "box"]
        assert ordered == sorted(o.position.key for o in boxed)


@pytest.mark.parametrize("make", MAKERS)
@seeds(3, 8)
def test_what_is_wanted_is_arithmetic_also_without_shells(seeds: list[int], make: Callable[..., Job]) -> None:
    """Housing bore - journal + seating, less target, max and min."""
    for seed in seeds:
        job = drawn(make, seed)
        for shells in (job.shells, ()):
            unlocked = tuple(replace(p, upper=None, lower=None) if not shells else p for p in job.positions)
            found = advised(replace(job, positions=unlocked, shells=shells))
            for one in found.positions if found is not None else ():
                p = one.position
                if p.missing:
                    assert one.wanted is None and one.advice[0].what["readings"] == p.missing
                    continue
                assert one.wanted is not None and p.target_nm is not None
                assert one.wanted.wall_sum_nm == room(p) - p.target_nm
                assert one.wanted.lowest_nm == (None if p.max_nm is None else room(p) - p.max_nm)
                assert one.wanted.highest_nm == (None if p.min_nm is None else room(p) - p.min_nm)
                if not shells:
                    assert one.wanted.steps is None and not one.advice


def test_a_position_in_doubt_is_only_measured() -> None:
    """Whatever would help it by its readings."""
    low = [make_position(f"R{n}", 2 * WALL + TARGET, min_nm=TARGET - STEP, max_nm=TARGET + STEP) for n in range(2, 9)]
    odd = make_position("R1", 2 * WALL + TARGET + 250 * STEP, min_nm=TARGET - STEP, max_nm=TARGET + STEP)
    shells = [*make_shells("upper", [WALL] * 9), *make_shells("lower", [WALL] * 9)]
    one, *others = fitmatch.advise(make_job([odd, *low], shells)).positions
    assert one.in_doubt and [a.action for a in one.advice] == ["measure"]
    assert one.advice[0].what["readings"] == ("housing_bore",)
    assert all(not o.advice for o in others)


def test_the_step_that_comes_nearest_is_named() -> None:
    """By the mean walls of each step, and a box is chanced by how its walls scatter."""
    shells = [
        make_shell(f"{half[0]}{n}{step}", half, WALL + off + n * STEP, step=step, box=f"box {step}", marks=())
        for half in ("upper", "lower")
        for step, off in (("std", 0), ("+0.001", 5 * STEP))
        for n in (0, 1)
    ]
    wide = make_position("R1", 2 * WALL + 11 * STEP + TARGET, min_nm=TARGET - 50 * STEP, max_nm=TARGET + 50 * STEP)
    (one,) = fitmatch.advise(make_job([wide], shells)).positions
    assert one.wanted is not None and one.wanted.steps is not None
    assert (one.wanted.steps.upper, one.wanted.steps.lower) == ("+0.001", "+0.001")
    # All shells of the second step are gone: another box of it is the likeliest to help.
    few = [s for s in shells if s.step == "std"] + [replace(s, hold="sold") for s in shells if s.step != "std"]
    tight = make_position("R1", 2 * WALL + 11 * STEP + TARGET, min_nm=TARGET - 6 * STEP, max_nm=TARGET + 6 * STEP)
    (one,) = fitmatch.advise(make_job([tight], few)).positions
    (box,) = (a for a in one.advice if a.action == "box")
    assert box.what["step"] == "+0.001" and box.chance is not None and box.chance > 0.5 and box.reached is None


def test_frame_has_a_row_for_each_advice() -> None:
    """And one for each position that needs none."""
    found = fitmatch.advise(drawn(random_job, 3))
    frame = found.to_frame("mm")
    assert len(frame) == sum(max(1, len(one.advice)) for one in found.positions)
    assert {"position", "action", "amount", "clearance"} <= set(frame.columns)


@pytest.mark.parametrize("bound", ["thinnest", "thickest", "min_wall"])
def test_both_halves_keep_to_the_walls_allowed(bound: str) -> None:
    """The nearest wall to the ideal that the drawing and `min_wall` allow is told, and both ends of the range do."""
    off = 20 * STEP if bound == "thickest" else -20 * STEP
    limits = {"min_nm": TARGET - 16 * STEP, "max_nm": TARGET + 16 * STEP}
    job = make_job(
        [make_position("R1", 2 * WALL + 2 * off + TARGET, **limits)],
        [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])],
    )
    edge = WALL + off + (-3 * STEP if bound == "thickest" else 3 * STEP)
    band = Band(edge - 200 * STEP, edge) if bound == "thickest" else Band(edge, edge + 200 * STEP)
    if bound == "min_wall":
        job = replace(job, rules=(*job.rules, MinWall("rod", edge)))
    else:
        job = replace(job, drawing={"rod": {"wall": band}})
    (one,) = fitmatch.advise(job).positions
    (advice,) = (a for a in one.advice if a.action == "both-halves")
    ends = (edge, advice.what["highest_nm"]) if bound != "thickest" else (advice.what["lowest_nm"], edge)
    assert advice.what["wall_nm"] == edge and (advice.what["lowest_nm"], advice.what["highest_nm"]) == ends
    for wall in ends:
        other = advice._replace(what={**advice.what, "wall_nm": wall})
        (placed,) = fitmatch.assign(changed([job], one, other)[0]).placements
        assert placed.within_limits


@pytest.mark.parametrize("kind", ["main", "Front mains", "rod"])
@pytest.mark.parametrize("off", [-20, 20])
def test_no_main_is_honed_or_made_smaller_alone(kind: str, off: int) -> None:
    """Mains are bored in line; the same bore of another kind may be."""
    limits = {"min_nm": TARGET - STEP, "max_nm": TARGET + STEP}
    position = make_position("M1", 2 * WALL + off * STEP + TARGET, kind=kind, **limits)
    shells = [make_shell(half, half, WALL, kind=kind) for half in ("upper", "lower")]
    assert position.housing_bore is not None
    band = Band(position.housing_bore.mean_nm - 50 * STEP, position.housing_bore.mean_nm + 50 * STEP)
    job = replace(make_job([position], shells), drawing={kind: {"housing_bore": band}})
    (one,) = fitmatch.advise(job).positions
    worked = {a.action for a in one.advice} & {"hone", "resize"}
    assert worked == ({"hone" if off < 0 else "resize"} if kind == "rod" else set())
