"""The rules about the row of bores, `neighbour_step` and `line`, against every plan there is and by hand."""

import random
from dataclasses import replace

import pytest
from made.few_pairs import look_at_few
from made.jobs import STEP, TARGET, WALL, describe, make_job, make_position, make_shells, row_job
from made.seeds import seeds
from oracles import oracle
from oracles.all_plans import assert_baselines, assert_best
from oracles.rulebook import Rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.classes.axis_rows import ANYWHERE, Shifts
from fitmatch.fit.solver.program import Program
from fitmatch.fit.solver.stopping import Stop
from fitmatch.fit.why.conflicts import with_reasons
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.job import Job
from fitmatch.records.parts import Position
from fitmatch.report.words.reasons import flag_words

ROOM = 2 * WALL + TARGET


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(6, 40)
def test_rows_are_the_best_of_all_plans(seeds: list[int], strategy: str) -> None:
    """With rules about the row, alone or together with all others, the plan has the figures of the best plan,
    and the baselines obey or count what they must."""
    for seed in seeds:
        rng = random.Random(f"row {strategy} {seed}")
        job, slack_nm = row_job(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"
        assert_baselines(job, plan, seed)


@pytest.mark.parametrize("strategy", ["target", "even"])
@seeds(5, 20)
def test_narrowing_first_changes_no_row(seeds: list[int], strategy: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where windows hold many pairs the search starts among few, also with rules about the row."""
    look_at_few(monkeypatch)
    for seed in seeds:
        job = row_job(random.Random(f"narrow row {seed}"), both_limits=True)
        assert_best(job, best_plan(job, strategy), strategy, 0, seed)


# --- by hand ---------------------------------------------------------------------------------------------------------


def mains(*offsets: int | None, **more: object) -> list[Position]:
    """Mains that all want two nominal walls, with these offsets in steps."""
    limits = {"min_nm": TARGET - 9 * STEP, "max_nm": TARGET + 9 * STEP}
    return [
        make_position(f"M{i}", ROOM, kind="main", offset_nm=None if n is None else n * STEP, **limits, **more)
        for i, n in enumerate(offsets, 1)
    ]


def halves(uppers: list[int], lowers: list[int]) -> list[oracle.Shell]:
    return [
        shell
        for half, walls in (("upper", uppers), ("lower", lowers))
        for shell in make_shells(half, [WALL + n * STEP for n in walls], kind="main")
    ]


def shifts(job: Job) -> list[int | None]:
    """Twice the axis shift of every position, in steps."""
    placed = {p.position.name: p.twice_axis_shift_nm // STEP for p in best_plan(job).placements}
    return [placed.get(p.name) for p in job.positions]


def rules(step: int | None = None, line: int | None = None) -> Rules:
    """Limits in steps of the axis shift, for mains."""
    return Rules(
        wall_difference_nm=None,
        neighbour_step_nm={} if step is None else {"main": step * STEP},
        line_nm={} if line is None else {"main": line * STEP},
    )


def test_a_step_costs_quality() -> None:
    """On target the two mains would shift by 2 and by -2; a step of 1 allows twice that to change by 2 only."""
    shells = halves([-2, 2], [2, -2])  # pairs: -2 and 2 shift by 4, 2 and -2 by -4, the even ones by 0
    assert sorted(shifts(make_job(mains(None, None), shells, rules=rules()))) == [-4, 4]
    assert shifts(make_job(mains(None, None), shells, rules=rules(step=3))) == [0, 0]
    assert sorted(shifts(make_job(mains(None, None), shells, rules=rules(step=4)))) == [-4, 4]  # the limit is allowed


def test_an_empty_bore_parts_its_neighbours() -> None:
    """A step is between neighbouring rows that are both filled: an unmeasured one between two frees both."""
    shells = halves([-2, 2], [2, -2])
    three = mains(None, None, None)
    three[1] = replace(three[1], journal=None)
    found = shifts(make_job(three, shells, rules=rules(step=0)))
    assert found[1] is None and sorted([found[0], found[2]]) == [-4, 4]


def test_a_line_counts_offsets() -> None:
    """A housing that is off the line is brought back by the walls, whatever their sign."""
    shells = halves([-1, 1], [1, -1])  # on target: shifts of 2 and -2, twice the shift in steps
    assert shifts(make_job(mains(-1, 1), shells, rules=rules(line=0))) == [2, -2]
    assert shifts(make_job(mains(1, -1), shells, rules=rules(line=0))) == [-2, 2]
    # Without offsets the same shells are out of line by 2 steps, and only the even pairs obey.
    assert shifts(make_job(mains(0, 0), shells, rules=rules(line=1))) == [0, 0]


def test_locked_shells_are_constants() -> None:
    """A bore locked in both halves is obeyed by its neighbour; two locked ones are excused and named."""
    shells = halves([-2, 2], [2, -2])
    locked = mains(None, None)
    locked[0] = replace(locked[0], upper=("box-1", "u1"), lower=("box-1", "l1"))
    plan = best_plan(make_job(locked, shells, rules=rules(step=0)))
    assert [p.position.name for p in plan.placements] == ["M1"]
    (reason,) = with_reasons(plan, Stop()).reasons
    assert reason.together == ("locks", "neighbour_step")
    locked[1] = replace(locked[1], upper=("box-1", "u2"), lower=("box-1", "l2"))
    for limits, rule in ((rules(step=0), "neighbour_step"), (rules(line=0), "line")):
        plan = best_plan(make_job(locked, shells, rules=limits))
        assert len(plan.placements) == 2 and plan.needs_attention
        (flag,) = plan.flags
        assert flag.code == "lock-breaks-rule" and rule in flag_words(flag, "in")


def test_a_half_locked_bore_obeys() -> None:
    """Only both halves locked excuse a bore: with one locked the other half is chosen to suit."""
    shells = halves([-2, 0], [2, 0])
    half = mains(None, None)
    half[0] = replace(half[0], upper=("box-1", "u1"))
    assert shifts(make_job(half, shells, rules=rules(step=2))) == [4, 0]
    assert shifts(make_job(half, shells, rules=rules(step=1))) == [2, 2]


# --- switched off ----------------------------------------------------------------------------------------------------


def test_the_check_sees_a_broken_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """With what locked bores leave forgotten in the search alone, the program's own check refuses some answer, and so
    does the oracle. Each rule by itself is forgotten in test_rules.py."""
    with monkeypatch.context() as patch:
        no_constants(patch)
        assert any(refused(seed) for seed in range(600))
    with monkeypatch.context() as patch:
        no_constants(patch)
        patch.setattr("fitmatch.fit.answer.best_plan.check", lambda _: None)
        assert any(faulty(seed) for seed in range(600))


def test_a_row_that_never_lets_go_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """If empty bores bound their neighbours too, some job would be answered worse than it can be."""
    honest = Shifts.add_rows

    def strict(self: Shifts, program: Program, seats: list[tuple[Position, list[tuple[int, int]], bool]]) -> None:
        honest(self, program, [(position, columns, True) for position, columns, _ in seats])

    monkeypatch.setattr(Shifts, "add_rows", strict)
    worse = 0
    for seed in range(600):
        job = row_job(random.Random(f"mutant row {seed}"))
        plan = best_plan(job)
        worse += any(oracle.levels_of(plan, kind) != oracle.best(job, kind) for kind in job.kinds)
        if worse:
            return
    pytest.fail("nothing tells")


def no_constants(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Shifts, "allowed", lambda *_: ANYWHERE)


def refused(seed: int) -> bool:
    try:
        best_plan(row_job(random.Random(f"mutant row {seed}")))
    except FaultInFitmatch:
        return True
    return False


def faulty(seed: int) -> bool:
    return bool(oracle.faults_of(best_plan(row_job(random.Random(f"mutant row {seed}")))))
