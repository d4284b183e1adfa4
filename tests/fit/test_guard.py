"""Guards: limits drawn in by a multiple of the uncertainty of the very pair, as the definition has it."""

import importlib
import json
import random
from collections import Counter
from dataclasses import replace
from math import ceil, sqrt
from pathlib import Path
from statistics import NormalDist

import pytest
from made.commands import Ran
from made.few_pairs import look_at_few
from made.intake_jobs import GAUGES, METRIC_ROD, write_job
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    describe,
    guarded_job,
    make_job,
    make_position,
    make_shell,
    measured_by,
    remeasured,
    with_given,
)
from made.seeds import seeds
from oracles import oracle
from oracles.rulebook import Rules, rules_of, with_rules
from scipy import stats

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.checker import check
from fitmatch.fit.classes.guards import check_guard
from fitmatch.gauging.uncertainty.combining import Uncertainty
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.uncertainty.judging import INSIDE, chance_inside, largest_guard, verdict
from fitmatch.intake.reading import read_job
from fitmatch.problems import FaultInFitmatch, InputError
from fitmatch.records.answers.placements import Margin
from fitmatch.records.answers.plans import Plan, Status
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Measuring
from fitmatch.records.parts import Size
from fitmatch.report.data.document import plan_document

SURE = NormalDist().inv_cdf(0.95) / NormalDist().inv_cdf(0.975)  # 1.645 u of U = 1.96 u

JOB = METRIC_ROD + "[rules]\nguard = {guard}\n" + GAUGES
POSITIONS = "position,kind,journal,housing_bore\nR1,rod,50.000,54.045\nR2,rod,50.000,54.032\n"
SHELLS = "shell,kind,half,wall\n" + "".join(f"{i},rod,either,2.000\n" for i in range(1, 5))


@pytest.fixture
def few_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the plans are worth is not asked here."""
    monkeypatch.setattr(importlib.import_module("fitmatch.fit.answer.expected"), "TRIALS", 2)


def folder_of(folder: Path, guard: float, job: str = JOB) -> Path:
    return write_job(folder, job.format(guard=guard), POSITIONS, SHELLS)


def one_rod(
    room: int = 2 * WALL + TARGET,
    *,
    low: int | None,
    high: int | None,
    guard: float,
    scatter: int = 500,
    stray: int = 0,
    limit: int | None = None,
) -> Job:
    """One rod and two shells, every size read once, with a scatter of `scatter` in every reading."""
    bench = make_position("R1", room, min_nm=low, max_nm=high, low=stray)
    assert bench.journal is not None and bench.housing_bore is not None
    position = replace(
        bench,
        journal=replace(bench.journal, measured_as=measured_by("mic")),
        housing_bore=replace(bench.housing_bore, measured_as=measured_by("mic")),
    )
    shells = [make_shell(half, half, WALL, measured_as=measured_by("ball")) for half in ("upper", "lower")]
    gauges = {name: Gauge(name, repeatability_nm=scatter, limit_nm=limit) for name in ("mic", "ball")}
    return make_job([position], shells, rules=Rules(guard=guard), measuring=Measuring(gauges=gauges), unit="mm")


def uncertainty(job: Job) -> Uncertainty:
    upper, lower = job.shells
    found = ErrorModel(job).combined(job.positions[0], upper.measured_as, lower.measured_as)
    assert found is not None
    return found


def refused(job: Job) -> str | None:
    """Why, or None."""
    try:
        check_guard([job])
    except InputError as error:
        assert [p.code for p in error.problems] == ["guard-too-wide"] * len(error.problems)
        return str(error)
    return None


def choices(plan: Plan) -> list[object]:
    return [(p.position.name, p.upper.key, p.lower.key, p.within_limits) for p in plan.placements]


def assert_best(strategy: str, seeds: list[int]) -> tuple[int, int]:
    """Jobs in which margins differ from pair to pair, jobs whose answer the guard changes."""
    differ = changed = 0
    for seed in seeds:
        rng = random.Random(f"guard {strategy} {seed}")
        job, slack_nm = guarded_job(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP, 2 * STEP])
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        for kind in job.kinds:
            found = oracle.levels_of(plan, kind, with_boxes=strategy == "keep-sets")
            wanted = oracle.best(job, kind, strategy, slack_nm)
            assert found == wanted, f"seed {seed}, {strategy}, slack {slack_nm}, {kind}\n{describe(job)}"
        assert plan.status is (Status.PROVEN if plan.placements else Status.NONE), f"seed {seed}"
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"
        for p in plan.placements:
            assert p.margin == oracle.margins_nm(job, p.position, oracle.Pair(p.upper, p.lower)), f"seed {seed}"
        differ += len({p.margin for p in plan.placements}) > 1
        unguarded = best_plan(with_rules(job, guard=0.0), strategy, slack_nm=slack_nm)
        changed += choices(plan) != choices(unguarded)
    return differ, changed


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(25, 60)
def test_guarded_answers_are_the_best_of_all_plans(seeds: list[int], strategy: str) -> None:
    """Margins that differ from pair to pair: every strategy has the figures of the best plan on every level."""
    differ, changed = assert_best(strategy, seeds)
    assert differ >= len(seeds) / 4 and changed >= len(seeds) / 10  # the jobs do put the guard to the test


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(12, 30)
def test_narrowing_first_changes_no_guarded_answer(
    seeds: list[int], strategy: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where windows hold many pairs the search starts among few, with a guard too."""
    look_at_few(monkeypatch)
    assert_best(strategy, seeds)


@pytest.mark.usefixtures("few_draws")
def test_guarded_baselines_are_judged_by_guarded_limits() -> None:
    """What by-hand and as-boxed give is compared with the same limits."""
    for seed in range(60):
        job = guarded_job(random.Random(f"guarded baselines {seed}"))
        plan = best_plan(job)
        for kind in job.kinds:
            for name, filled in (("as-boxed", oracle.as_boxed(job, kind)[0]), ("by-hand", oracle.by_hand(job, kind))):
                wanted = oracle.kind_figures(job, filled)
                figures = plan.baselines[name][kind].figures
                assert {field: getattr(figures, field) for field in wanted} == wanted, f"seed {seed}, {name}, {kind}"


# --- what a guard is -------------------------------------------------------------------------------------------------


@pytest.mark.deep
def test_guard_0_changes_nothing() -> None:
    """A job whose gauges are known gives with guard 0 the same shells and limits as without gauges."""
    for seed in range(60):
        job = guarded_job(random.Random(f"guard 0 {seed}"))
        known = with_rules(job, guard=0.0)
        bare = replace(
            known,
            positions=tuple(
                replace(p, journal=_bare(p.journal), housing_bore=_bare(p.housing_bore)) for p in job.positions
            ),
            shells=tuple(remeasured(s, None) for s in job.shells),
            measuring=Measuring(),
        )
        plan, plain = best_plan(known), best_plan(bare)
        for kind in job.kinds:
            assert oracle.levels_of(plan, kind) == oracle.levels_of(plain, kind)
        assert {p.margin for p in plan.placements} <= {(0, 0)}
        assert [(p.limit_low_nm, p.limit_high_nm) for p in plan.placements] == [
            (p.position.min_nm, p.position.max_nm) for p in plan.placements
        ]
        assert plan.figures == plain.figures


def _bare(size: Size | None) -> Size | None:
    return size and replace(size, measured_as=None)


def test_limits_as_written_and_limits_as_compared(tmp_path: Path) -> None:
    """`min` and `max` stay as written, `limit_low` and `limit_high` are drawn in by 0.84 U rounded inward, and
    `within_limits` follows them: 32 um is above min and below the guarded limit."""
    plan = best_plan(read_job(folder_of(tmp_path, 0.84)))
    found = json.loads(plan_document(plan, "mm"))
    u = 1_000 * sqrt(9 + 2 / 3)  # scatter and settings, and the micrometer's limit at journal and bore
    margin = ceil(0.84 * stats.t.ppf(0.975, 66) * u)  # (9 + 2/3)^2 / (1/29 + 2^2/29 + 6^2/29) = 66.1
    assert margin == 5_215
    for p in found["positions"]:
        assert (p["min"], p["max"]) == (0.030, 0.060)
        assert (p["limit_low"], p["limit_high"]) == (0.035215, 0.054785)
    assert [(p["clearance_tightest"], p["within_limits"]) for p in found["positions"]] == [
        (0.045, True),
        (0.032, False),
    ]
    rod = found["kinds"]["rod"]
    assert (rod["filled"], rod["below"], rod["shortfall"], rod["counted"]) == (2, 1, 0.003215, 1)
    plain = best_plan(read_job(folder_of(tmp_path / "plain", 0)))
    assert [p.within_limits for p in plain.placements] == [True, True]


@pytest.mark.parametrize("off", [0, 1])
def test_the_guarded_limits_themselves_are_inside(off: int) -> None:
    """A clearance at a guarded limit is inside, one nanometre beyond it is not; on both sides."""
    margin = ceil(0.84 * uncertainty(one_rod(low=0, high=None, guard=0.84)).expanded_nm)
    for low, high in ((TARGET - margin + off, TARGET + 50_000), (TARGET - 50_000, TARGET + margin - off)):
        (placement,) = best_plan(one_rod(low=low, high=high, guard=0.84)).placements
        assert placement.margin == (margin, margin)
        assert placement.within_limits is (off == 0)
        assert placement.shortfall_nm + placement.excess_nm == off


@pytest.mark.parametrize("scatter", [37, 500, 1_234])
@pytest.mark.parametrize("side", ["min", "max"])
def test_guard_084_gives_95_percent_at_a_limit(scatter: int, side: str) -> None:
    """A clearance at a limit guarded with 0.84 conforms with at least 95 %.

    With 46 degrees of freedom U = 2.013 u, so that 0.84 U = 1.691 u; for a normal error it is 1.646 u. ISO
    14253-1:2017 has 95 % by default, as 1.65 u (from memory); JCGM 106:2012, guard band r U with U = 2 u: r = 0.8224
    gives 0.95000 and r = 0.83 gives 0.95154 (own arithmetic, as is 1.6449 / 1.96 = 0.8392).
    """
    assert 0.8392 < SURE < 0.84
    margin = ceil(0.84 * uncertainty(one_rod(low=0, high=None, guard=0.84, scatter=scatter)).expanded_nm)
    low, high = (TARGET - margin, None) if side == "min" else (None, TARGET + margin)
    job = one_rod(low=low, high=high, guard=0.84, scatter=scatter)
    (placement,) = best_plan(job).placements
    assert placement.within_limits
    chance = chance_inside(placement, uncertainty(job), uncertainty(job))
    assert chance is not None and 0.95 <= chance < 0.956 and verdict(chance) == INSIDE
    u = sqrt(8) * scatter  # the micrometer's setting cancels, that of the walls' gauge counts twice
    assert chance == pytest.approx(stats.t.cdf(margin / u, 46), abs=1e-6)


@pytest.mark.parametrize(("r", "conformance"), [(0.5, 0.84134), (0.8224, 0.95), (0.83, 0.95154), (1.0, 0.97725)])
def test_conformance_at_guards_of_2_u(r: float, conformance: float) -> None:
    """The chance at an acceptance limit that is 2 r u inside the tolerance, one-sided normal (JCGM 106:2012, guard
    band r U with U = 2 u; the figures are own arithmetic)."""
    u = 2_000_000  # fine steps, so that rounding to a nanometre does not show
    margin = round(2 * r * u)
    assert chance_at(margin, u) == pytest.approx(conformance, abs=1e-5)


def chance_at(margin: int, u: int) -> float | None:
    placement = best_plan(one_rod(low=TARGET, high=None, guard=0.0)).placements[0]
    moved = replace(placement, position=replace(placement.position, min_nm=TARGET - margin))
    known = Uncertainty(float(u), None, 2.0 * u, ())
    return chance_inside(moved, known, known)


# --- what is refused -------------------------------------------------------------------------------------------------


def test_a_guard_that_leaves_no_clearance_is_refused() -> None:
    """The mistake names U, the band and the largest guard; with that one the job is read, with 0.01 more it is not."""
    job = one_rod(low=TARGET - 4_000, high=TARGET + 4_000, guard=3.0, scatter=500)
    text = refused(job)
    assert text == (
        "job.toml: rules.guard: 3 leaves no clearance between the limits of R1 (rod): at R1 the uncertainty U is 2.85 "
        "um, or more with other shells, and from min to max there are 8.00 um; the largest guard that leaves every "
        "position a clearance is 1.4"
    )
    with pytest.raises(InputError, match=r"the largest guard that leaves every position a clearance is 1\.4"):
        best_plan(job)
    assert refused(guarded(job, 1.4)) is None and best_plan(guarded(job, 1.4)).placements[0].within_limits
    assert refused(guarded(job, 1.41)) is not None


def guarded(job: Job, guard: float) -> Job:
    return with_rules(job, guard=guard)


def test_just_the_guards_that_leave_no_clearance_are_refused() -> None:
    """Of random jobs, their guard made wider and wider, those and only those in which no two shells leave some position
    a clearance between its guarded limits."""
    seen = Counter[bool]()
    for seed in range(60):
        job = guarded_job(random.Random(f"wider {seed}"), both_limits=seed % 2 == 0)
        for times in (1, 2, 4, 8):
            wider = guarded(job, times * rules_of(job).guard)
            seen[(left := oracle.guard_leaves_clearance(wider))] += 1
            assert (refused(wider) is None) == left, f"seed {seed}, {times} times\n{describe(wider)}"
    assert min(seen[True], seen[False]) > 40


@pytest.mark.parametrize("stray", [0, 700, 1_301])
def test_the_largest_guard_is_the_largest(stray: int) -> None:
    """Of jobs of many widths the guard that is named is accepted and 0.01 more is not; what readings scatter over
    between the tightest clearance and the mean one counts."""
    for width in range(2_000, 9_000, 37):
        job = one_rod(low=TARGET - width // 2, high=TARGET + width - width // 2, guard=9.0, stray=stray)
        text = refused(job)
        assert text is not None
        largest = float(text.rsplit(" ", 1)[1])
        assert refused(guarded(job, largest)) is None, (width, largest)
        assert refused(guarded(job, round(largest + 0.01, 2))) is not None, (width, largest)


def test_the_largest_guard_by_whole_nanometres() -> None:
    """Margins are whole nanometres and hundredths no exact floats: neither may make the named guard too large, or
    smaller than need be."""
    position = one_rod(low=0, high=None, guard=0.0).positions[0]
    for expanded, width in ((1_000.0, 580), (1_000.0, 2_300), (100.0, 115), (50.0, 57), (50.0, 1)):
        limited = replace(position, min_nm=TARGET, max_nm=TARGET + width)
        largest = largest_guard(limited, 0, *[Uncertainty(expanded / 1.96, None, expanded, ())] * 2)
        assert largest is not None
        assert 2 * ceil(largest * expanded) <= width < 2 * ceil(round(largest + 0.01, 2) * expanded), (expanded, width)


def test_one_line_for_each_kind() -> None:
    """For each kind the position that allows least is named, and everywhere the guard that would do for all."""
    job = one_rod(low=TARGET - 4_000, high=TARGET + 4_000, guard=3.0)
    (rod,) = job.positions
    positions = [rod, *(replace(rod, name=f"R{n}", max_nm=TARGET + 2_000 + n) for n in range(2, 9))]
    positions.append(replace(rod, name="M1", kind="main", min_nm=TARGET - 1_000))
    positions.append(replace(rod, name="M2", kind="main", max_nm=TARGET + 40_000))
    shells = (*job.shells, *(replace(s, kind="main", name=f"m-{s.name}") for s in job.shells))
    text = refused(replace(job, positions=tuple(positions), shells=shells))
    assert text is not None
    rods, mains = text.splitlines()
    assert "the limits of R1, R2, R3, R4, R5 and others (rod): at R2 the" in rods and "there are 6.00 um;" in rods
    assert "the limits of M1 (main): at M1 the" in mains and "there are 5.00 um;" in mains
    assert rods.endswith("every position a clearance is 0.87") and mains.endswith("every position a clearance is 0.87")


def test_limits_narrower_than_the_readings_scatter() -> None:
    """Where the readings alone scatter over more than the limits leave, no guard helps."""
    text = refused(one_rod(low=TARGET - 400, high=TARGET + 400, guard=0.1, stray=900))
    assert text is not None and text.endswith(
        "0.80 um, and its places differ by 0.90 um; no guard leaves every position a clearance, so leave it out"
    )


def test_a_position_is_refused_only_if_no_way_of_measuring_helps() -> None:
    """One pair of shells measured well enough leaves the position a clearance; what is compared is the very pair's."""
    job = one_rod(low=TARGET - 2_000, high=TARGET + 2_000, guard=1.5)
    assert refused(job) is not None
    fine = [replace(remeasured(s, measured_by("ball", 100)), name=f"{s.name}-2") for s in job.shells]
    better = replace(job, shells=(*job.shells, *fine))
    mic, ball = (better.measuring.gauges[name] for name in ("mic", "ball"))
    often = {"ball": ball._replace(standard_reads_nm=(500, -500) * 50), "mic": mic._replace(repeatability_nm=50)}
    better = replace(better, measuring=Measuring(gauges=often))
    assert refused(better) is None
    (placement,) = best_plan(better).placements
    assert placement.within_limits and {placement.upper.name, placement.lower.name} == {"upper-2", "lower-2"}


def test_a_guard_without_any_gauge_is_refused() -> None:
    """Nothing says what the gauges are: no uncertainty, no guard."""
    job = replace(one_rod(low=0, high=None, guard=0.84), measuring=Measuring())
    assert refused(job) == (
        "job.toml: rules.guard: a guard needs a known uncertainty, and some of it is missing: the "
        "gauges; state that, or leave "
        "guard out"
    )


@pytest.mark.parametrize("last", [False, True])
def test_a_guard_with_one_shell_of_unknown_scatter_is_refused(last: bool) -> None:
    """No pair may be judged by a lower bound, wherever its shells are in the file."""
    job = one_rod(low=TARGET - 9_000, high=TARGET + 9_000, guard=0.84)
    odd = make_shell("odd", "upper", WALL, measured_as=measured_by("tube"))
    shells = (*job.shells, odd) if last else (odd, *job.shells)
    gauges = {**job.measuring.gauges, "tube": Gauge("tube")}
    text = refused(replace(job, shells=shells, measuring=Measuring(gauges=gauges)))
    assert text is not None and "the scatter of tube" in text


@pytest.mark.parametrize("options", [(), ("--json", "--save")])
def test_the_command_refuses_with_status_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...]
) -> None:
    """A guard that is too wide, and one that nothing can be known of: status 2, nothing on standard output, no file."""
    wide = folder_of(tmp_path / "wide", 4.0)
    ran = Ran(capsys, "assign", wide, *options)
    assert (ran.status, ran.out) == (2, "")
    assert "job.toml:6: rules.guard: 4 leaves no clearance between the limits of R1 and R2 (rod): at R1 " in ran.err
    assert "U is 6.21 um, or more with other shells, and from min to max there are 30.00 um;" in ran.err
    assert ran.err.count("rules.guard") == 1 and ran.err.rstrip().endswith(" a clearance is 2.41")
    assert not (wide / "assignment.json").exists()
    unknown = folder_of(tmp_path / "unknown", 0.84, JOB.replace("[gauge.ball]\nrepeatability = 0.001", "[gauge.ball]"))
    ran = Ran(capsys, "assign", unknown, *options)
    assert (ran.status, ran.out) == (2, "")
    assert "a guard needs a known uncertainty, and some of it is missing: the scatter of ball" in ran.err
    assert not (unknown / "assignment.json").exists()
    assert Ran(capsys, "assign", folder_of(tmp_path / "largest", 2.41), *options).status == 1  # R2 is beyond it


# --- judged by somebody else -----------------------------------------------------------------------------------------


def test_the_checker_refuses_other_margins() -> None:
    """A margin a nanometre off at either limit, one left out and an unwanted one are all found."""
    guard = best_plan(one_rod(low=TARGET - 2_400, high=TARGET + 9_000, guard=0.84))
    check(guard)
    low, high = guard.placements[0].margin
    assert low == high == 2_392
    others = [(guard, (low + i, high + j)) for i, j in ((1, 0), (0, 1), (-1, 0), (0, -1), (-low, -high))]
    for plan, other in (*others, (best_plan(guarded(guard.job, 0.0)), (low, high))):
        assert plan.placements[0].margin != other
        with pytest.raises(FaultInFitmatch):
            check(with_given(plan, placements=(replace(plan.placements[0], margin=Margin(*other)),)))
