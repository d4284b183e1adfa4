"""Comparisons: every row stands at the figures of `assign` for the same question, and every trade-off is exact."""

import random
from collections.abc import Callable
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
    make_shells,
    moving_job,
    random_job,
    row_job,
    wishing_job,
)
from made.pools import random_pool
from made.seeds import seeds
from oracles import oracle
from oracles.rulebook import Rules

import fitmatch
from fitmatch.fit.solver.stopping import Stop
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.parts import Fit
from fitmatch.records.pools import Pool
from fitmatch.rules.registry import OF_PARTS
from fitmatch.study.comparison.compared import Compared, Found, PlanRow

MAKERS = [random_job, wishing_job, row_job, moving_job, guarded_job]


def rows_of(compared: Compared, kind: str) -> dict[str, PlanRow]:
    return {row.plan: row for row in compared.plans if row.found.kind == kind}


def assert_same(found: Found, job: Job | Pool, told: object, strategy: str = "target") -> None:
    """A row is what `assign` gives for this job."""
    plan = fitmatch.assign(job, strategy)
    assert found.proof.proven and plan.proofs[found.kind].proven
    assert found.figures == plan.figures[found.kind], f"{told}\n{describe(job.jobs[0])}"


@pytest.mark.parametrize("make", MAKERS)
@seeds(2, 6)
def test_every_row_of_plans_is_what_assign_gives(seeds: list[int], make: Callable[..., Job]) -> None:
    """Strategies and baselines, of jobs with every rule; `even` is left out for kinds that lack limits."""
    for seed in seeds:
        job = make(random.Random(f"plans {seed}"), both_limits=seed % 2 == 0)
        compared = fitmatch.compare(job)
        for kind in job.kinds:
            rows = rows_of(compared, kind)
            limited = all(p.min_nm is not None and p.max_nm is not None for p in job.positions if p.kind == kind)
            assert list(rows) == ["target", *(["even"] if limited else []), "keep-sets", "as-boxed", "by-hand"]
            for strategy in rows.keys() - {"as-boxed", "by-hand"}:
                mine = replace(job, positions=tuple(p for p in job.positions if p.kind == kind))
                assert_same(rows[strategy].found, mine, seed, strategy)
            for name in ("as-boxed", "by-hand"):
                baseline = fitmatch.assign(job).baselines[name][kind]
                assert (rows[name].found.figures, rows[name].rules_broken) == baseline


@pytest.mark.parametrize("make", MAKERS)
@seeds(1, 4, slow=[1])
def test_every_further_row_is_what_assign_gives(seeds: list[int], make: Callable[..., Job]) -> None:
    """For the job with that target, without that rule, with these boxes alone."""
    for seed in seeds:
        rng = random.Random(f"rows {seed}")
        job = make(rng)
        kind = job.kinds[0]
        low = max((p.min_nm or 1 for p in job.positions if p.kind == kind), default=1)
        high = min((p.max_nm or 2 * TARGET for p in job.positions if p.kind == kind), default=TARGET)
        targets = sorted({max(1, low), (low + high) // 2, high}) if 0 < low <= high else []
        compared = fitmatch.compare(job, kind=kind, targets_nm=targets, rules=True, boxes=True)
        for target in compared.targets or ():
            aimed = (replace(p, target_nm=target.target_nm) for p in job.positions)
            assert_same(target.found, replace(job, positions=tuple(aimed)), f"{seed}, target {target.target_nm}")
        for rule in compared.rules or ():
            without = [r for r in job.rules if r.key != rule.rule or not r.binds(kind)]
            changed = replace(job, rules=tuple(without))
            if rule.rule == "movable_within":
                changed = replace(job, positions=tuple(replace(p, within=()) for p in job.positions))
            assert_same(rule.found, changed, f"{seed}, without {rule.rule}")
        for boxes in compared.boxes or ():
            left = tuple(s for s in job.shells if s.box in boxes.opened or s.kind != kind)
            assert_same(boxes.found, replace(job, shells=left), f"{seed}, boxes {boxes.opened}")


@pytest.mark.parametrize("make", [random_job, row_job, moving_job])
@seeds(6, 12)
def test_only_the_shops_own_rules_are_let_go(seeds: list[int], make: Callable[..., Job]) -> None:
    """Each in force once a kind; never drawing limits, locks, holds, families or matched columns."""
    never = {sort.key for sort in OF_PARTS} | {"match", "family", "limits_at"}
    seen = set[str]()
    for seed in seeds:
        job = make(random.Random(f"own {seed}"))
        rows = [(row.found.kind, row.rule) for row in fitmatch.compare(job, rules=True).rules or ()]
        assert len(rows) == len(set(rows))
        in_force = {(kind, rule.key) for kind in job.kinds for rule in job.rules if rule.binds(kind) and rule.name}
        assert {(kind, key) for kind, key in in_force if key not in never} == set(rows)
        seen |= {rule for _, rule in rows}
    assert len(seen) > 2 and not seen & never


@pytest.mark.parametrize("against", ["boxes", "spread"])
@pytest.mark.parametrize("make", MAKERS)
@seeds(2, 8)
def test_a_trade_off_is_every_plan_that_none_beats_in_both(
    seeds: list[int], make: Callable[..., Job], against: str
) -> None:
    """Against full enumeration of tiny jobs, each point proven."""
    for seed in seeds:
        job = make(random.Random(f"trade {seed}"))
        points = fitmatch.compare(job, against=against).trade_off
        assert points is not None
        for kind in job.kinds:
            mine = [p for p in points if p.found.kind == kind]
            assert all(p.found.proof.proven for p in mine)
            other = "boxes" if against == "boxes" else "spread_nm"
            found = [(p.found.figures.worst_deviation_nm or 0, getattr(p.found.figures, other) or 0) for p in mine]
            assert sorted(found) == oracle.trade_off(job, kind, against), f"seed {seed}, {kind}\n{describe(job)}"


@pytest.mark.parametrize("against", ["boxes", "spread"])
@seeds(2, 8)
def test_a_trade_off_has_as_many_points_as_there_are(seeds: list[int], against: str) -> None:
    """Of thick shells with wide limits there are several, and all are found."""
    most = 0
    for seed in seeds:
        rng = random.Random(f"points {seed}")
        shells = []
        for box in range(1, 4):
            for half in ("upper", "lower"):
                walls = [WALL + 4 * STEP + rng.randint(-10, 10) * STEP // 2 for _ in range(2)]
                shells += make_shells(half, walls, box=f"box-{box}")
        fit = Fit("rod", TARGET, None, TARGET - 15 * STEP, TARGET + 15 * STEP)
        ends = {"min_nm": fit.min_nm, "max_nm": fit.max_nm}
        rooms = [2 * WALL + TARGET + rng.randint(-4, 4) * STEP // 2 for _ in range(3)]
        positions = [make_position(f"R{i}", room, **ends) for i, room in enumerate(rooms)]
        job = make_job(positions, shells, fits={"rod": fit}, rules=Rules(wall_difference_nm=None))
        points = [p.found.figures for p in fitmatch.compare(job, against=against).trade_off or ()]
        other = "boxes" if against == "boxes" else "spread_nm"
        assert sorted((p.worst_deviation_nm, getattr(p, other)) for p in points) == oracle.trade_off(
            job, "rod", against
        )
        most = max(most, len(points))
    assert most > 1


@seeds(2, 7)
def test_a_pool_is_compared_as_it_is_assigned(seeds: list[int]) -> None:
    """Several jobs that share their shells: the rows of each group, by its label."""
    for seed in seeds:
        pool = random_pool(random.Random(f"pool {seed}"))
        compared = fitmatch.compare(pool, boxes=True)
        plan = fitmatch.assign(pool)
        assert {row.found.kind for row in compared.plans} == set(plan.figures)
        for label, figures in plan.figures.items():
            rows = rows_of(compared, label)
            assert rows["target"].found.figures == figures
            for name in ("as-boxed", "by-hand"):
                assert rows[name].found.figures == plan.baselines[name][label].figures
        every = {row.found.kind: row.found.figures for row in compared.boxes or ()}  # the last has all boxes
        assert all(every[label] == figures for label, figures in plan.figures.items() if label in every)


@pytest.mark.parametrize("against", ["boxes", "spread"])
@seeds(2, 7)
def test_a_trade_off_of_a_pool_ends_at_its_strategies(seeds: list[int], against: str) -> None:
    """The smallest worst deviation is that of `target`, the fewest boxes or the smallest spread that of the strategy
    which asks for it; each point is better than the one before in one figure and worse in the other."""
    for seed in seeds:
        pool = random_pool(random.Random(f"trade {seed}"), both_limits=True)
        points = fitmatch.compare(pool, against=against).trade_off or ()
        assert all(point.found.proof.proven for point in points)
        other = "boxes" if against == "boxes" else "spread_nm"
        least = fitmatch.assign(pool).figures
        if against == "boxes":
            ends = fitmatch.assign(pool, "keep-sets", slack_nm=1 << 40).figures
        else:
            ends = fitmatch.assign(pool, "even").figures
        for label in least:
            mine = [p.found.figures for p in points if p.found.kind == label]
            found = sorted((f.worst_deviation_nm or 0, getattr(f, other) or 0) for f in mine)
            assert found[0][0] == (least[label].worst_deviation_nm or 0), seed
            assert found[-1] == (ends[label].worst_deviation_nm or 0, getattr(ends[label], other) or 0), seed
            assert [b for _, b in found] == sorted({b for _, b in found}, reverse=True), seed
            assert len({a for a, _ in found}) == len(found), seed


def jobs_of(*rooms: int) -> list[Job]:
    """Jobs with the same shells and one position each."""
    shells = make_shells("upper", [WALL, WALL + STEP]) + make_shells("lower", [WALL, WALL - STEP])
    fit = Fit("rod", TARGET, None, TARGET - 4 * STEP, TARGET + 4 * STEP)
    ends = {"min_nm": fit.min_nm, "max_nm": fit.max_nm}
    made = [make_job([make_position("R1", 2 * WALL + room, **ends)], shells, fits={"rod": fit}) for room in rooms]
    return [replace(job, folder=job.folder / f"engine-{i}") for i, job in enumerate(made, 1)]


def test_each_job_as_if_it_had_the_shells_alone() -> None:
    """A list of jobs gives the rows of each, as if the others were not there, with its name."""
    jobs = jobs_of(TARGET, TARGET + 2 * STEP)
    compared = fitmatch.compare(jobs, against="boxes")
    assert compared.names == ("engine-1", "engine-2")
    for name, job in zip(compared.names, jobs, strict=True):
        alone = fitmatch.compare(job, against="boxes")
        for mine, other in ((compared.plans, alone.plans), (compared.trade_off, alone.trade_off)):
            rows = [row for row in mine or () if row.found.job == name]
            assert [row._replace(found=row.found._replace(job="")) for row in rows] == list(other or ())


@pytest.mark.deep
def test_of_many_boxes_each_is_left_out_and_the_two_that_are_missed_least() -> None:
    """With more than eight boxes; the pair is the best of all pairs."""
    rng = random.Random(15)
    shells = []
    for box in range(1, 11):
        for half in ("upper", "lower"):
            shells += make_shells(half, [WALL + rng.randint(-6, 6) * STEP // 2], box=f"box-{box}")
    fit = Fit("rod", TARGET, None, TARGET - 8 * STEP, TARGET + 8 * STEP)
    ends = {"min_nm": fit.min_nm, "max_nm": fit.max_nm}
    positions = [make_position(f"R{i}", 2 * WALL + TARGET + rng.randint(-4, 4) * STEP // 2, **ends) for i in range(4)]
    job = make_job(positions, shells, fits={"rod": fit})
    *alone, pair = fitmatch.compare(job, boxes=True).boxes or ()
    every = {s.box for s in shells}
    assert [every - set(row.opened) for row in alone] == [{f"box-{n}"} for n in range(1, 11)]
    for row in (*alone, pair):
        assert_same(row.found, replace(job, shells=tuple(s for s in shells if s.box in row.opened)), row.opened)

    def cost(opened: set[str]) -> tuple[object, ...]:
        figures = fitmatch.Kernel(job, "rod").solve(boxes=opened).figures
        return -figures["positions_filled"], *(
            figures[n] for n in ("worst_deviation", "sum_squared_deviation", "spread")
        )

    pairs = [{one, other} for one in every for other in every if one < other]
    assert len(every - set(pair.opened)) == 2
    assert cost(set(pair.opened)) == min(cost(every - two) for two in pairs)


def test_the_box_of_a_locked_shell_is_always_opened() -> None:
    """A choice without it is named with the box that it lacks, and not solved."""
    shells = [s for box in ("a", "b") for half in ("upper", "lower") for s in make_shells(half, [WALL] * 2, box=box)]
    positions = [make_position("R1", 2 * WALL + TARGET, upper=("b", "u1")), make_position("R2", 2 * WALL + TARGET)]
    compared = fitmatch.compare(make_job(positions, shells), boxes=True)
    assert [row.opened for row in compared.boxes or ()] == [("b",), ("a", "b")]
    assert [(row.opened, row.locked) for row in compared.left_out] == [(("a",), ("b",))]


@seeds(4, 15)
def test_equal_is_symmetric_and_by_kind(seeds: list[int]) -> None:
    """A plan is never among its own equals, and two plans that count different numbers of positions are not equal
    unless they are one and the same."""
    marked = 0
    for seed in seeds:
        compared = fitmatch.compare(guarded_job(random.Random(f"equal {seed}"), both_limits=True))
        for kind in {row.found.kind for row in compared.plans}:
            rows = rows_of(compared, kind)
            for name, row in rows.items():
                assert name not in row.equal
                for other in row.equal:
                    marked += 1
                    assert name in rows[other].equal
                    assert rows[other].found.figures.counted == row.found.figures.counted
    assert marked


def test_a_target_that_these_shells_serve_best_is_marked() -> None:
    """The smallest worst deviation, then the smallest squares; of equals both."""
    (job,) = jobs_of(TARGET)
    steps = [TARGET - 2 * STEP, TARGET - STEP, TARGET, TARGET + 2 * STEP]
    rows = fitmatch.compare(job, targets_nm=steps).targets or ()
    assert [row.best for row in rows] == [False, True, True, False]
    assert [row.found.figures.worst_deviation_nm for row in rows] == [STEP, 0, 0, STEP]


def test_questions_that_make_no_sense_are_refused() -> None:
    """Unknown kinds and trade-offs, targets outside the limits, one sweep for kinds that aim at different things."""
    (job,) = jobs_of(TARGET)
    main = make_position("M1", 2 * WALL + TARGET + STEP, kind="main", target=TARGET + STEP)
    both = make_job([*job.positions, main], job.shells, fits=job.fits)
    for ask, code in (
        (lambda: fitmatch.compare(job, kind="cam"), "no-kind"),
        (lambda: fitmatch.compare(job, targets_nm=[TARGET + 5 * STEP]), "target-outside"),
        (lambda: fitmatch.compare(both, targets_nm=[TARGET]), "kinds-differ"),
    ):
        with pytest.raises(NotPossible) as refused:
            ask()
        assert refused.value.why.code == code
    assert len(fitmatch.compare(both, kind="rod", targets_nm=[TARGET]).targets or ()) == 1
    with pytest.raises(ValueError, match="unknown trade-off 'worst'"):
        fitmatch.compare(job, against="worst")
    with pytest.raises(ValueError, match="unknown strategy 'worst/spread'"):  # an order is no strategy
        fitmatch.assign(job, "worst/spread")


def test_without_time_nothing_is_called_proven() -> None:
    """Strategies fall back on the plan by hand; further tables are cut short, and that is said."""
    (job,) = jobs_of(TARGET)
    stop = Stop()
    stop.request()
    compared = fitmatch.compare(job, targets_nm=[TARGET], rules=True, boxes=True, against="spread", stop=stop)
    assert not compared.proven and not compared.complete and compared.needs_attention
    rows = rows_of(compared, "rod")
    assert [name for name, row in rows.items() if not row.found.proof.proven] == ["target", "even", "keep-sets"]
    assert rows["target"].found.figures == rows["by-hand"].found.figures
    assert compared.targets == compared.rules == compared.boxes == ()


def test_the_frame_has_every_row_of_every_table() -> None:
    """Lengths are floats in the unit; a column that a table lacks is missing there."""
    (job,) = jobs_of(TARGET)
    compared = fitmatch.compare(job, targets_nm=[TARGET], rules=True, boxes=True, against="spread")
    frame = compared.to_frame("mm")
    assert frame["table"].value_counts().to_dict() == {"plans": 5, "targets": 1, "rules": 1, "boxes": 1, "trade_off": 1}
    assert frame.loc[frame["table"] == "targets", "target"].tolist() == [TARGET / 1e6]
    assert frame.loc[0, "mean_clearance"] == TARGET / 1e6
