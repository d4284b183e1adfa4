"""The registry of rules: whatever is silently left out of search, checker, reasons, cures or baselines is caught.

A rule that is added needs jobs in which it binds (`JOBS`), or these tests fail.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from made.intake_jobs import write_job
from made.jobs import STEP, WALL, believed, guarded_job, moving_job, random_job, row_job
from oracles import oracle
from oracles.all_plans import assert_baselines
from oracles.rulebook import rules_of, with_rules
from oracles.small_oracle import assert_small

from fitmatch.facts import Fact
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.solver.stopping import Stop
from fitmatch.fit.why.conflicts import with_reasons
from fitmatch.intake.reading import read_job
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.job import ENDLESS, Job, Rule
from fitmatch.rules import in_force, registry
from fitmatch.rules.one_half.family import Family
from fitmatch.rules.one_half.holds import Holds
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.one_half.min_wall import MinWall
from fitmatch.rules.positions import drawing
from fitmatch.rules.positions.drawing import Drawing
from fitmatch.rules.positions.guard import Guard
from fitmatch.rules.positions.in_rows import Line, NeighbourStep
from fitmatch.rules.positions.limits_at import LimitsAt
from fitmatch.rules.positions.locks import Locks
from fitmatch.rules.positions.movable import Movable
from fitmatch.rules.registry import REGISTRY, SETTINGS, known_keys
from fitmatch.rules.two_halves.same_in_bore import SameInBore
from fitmatch.rules.two_halves.thick_half import ThickHalf
from fitmatch.rules.two_halves.wall_difference import WallDifference

Patch = pytest.MonkeyPatch
MOST_JOBS = 2_000


def _thin(rng: random.Random) -> Job:
    job = random_job(rng)
    return with_rules(job, min_wall_nm={kind: WALL - rng.choice([0, STEP]) for kind in job.kinds})


def _guarded(rng: random.Random) -> Job:
    return guarded_job(rng, both_limits=True)


def _in_row(rng: random.Random) -> Job:
    return row_job(rng)


def _moving(rng: random.Random) -> Job:
    """Few enough positions that every order of the housings can be looked at."""
    while True:
        job = moving_job(rng)
        if not rules_of(job).guard and len(job.positions) <= 3:
            return job


# Of every rule jobs in which it often binds. limits_at keeps nothing out: it says how limits are judged.
JOBS: dict[type[Rule], Callable[[random.Random], Job]] = {
    Drawing: random_job,
    Locks: random_job,
    Holds: random_job,
    WallDifference: random_job,
    MinWall: _thin,
    ThickHalf: random_job,
    NeighbourStep: _in_row,
    Line: _in_row,
    SameInBore: random_job,
    Match: random_job,
    Family: random_job,
    Movable: _moving,
    Guard: _guarded,
}
KEEP_OUT = [sort for sort in REGISTRY if sort is not LimitsAt]
# What a lock or a hold says of a shell, and a drawing of a bore, no other rule is asked about; a guard and movable
# housings reshape the model.
ABOUT_SHELLS = [sort for sort in KEEP_OUT if sort not in (Drawing, Locks, Holds, Movable, Guard)]


# The jobs that show it soonest when reasons, cures or what is offered leave a rule out; without them many pass by.
TELLING: dict[type[Rule], tuple[int, ...]] = {
    Drawing: (8, 29),
    Locks: (2, 24),
    Holds: (14, 28),
    WallDifference: (10, 16),
    ThickHalf: (33,),
    NeighbourStep: (3, 8),
    Line: (2, 8),
    SameInBore: (16, 17, 53),
    Match: (11, 19, 26),
    Movable: (195, 241),
}


def jobs_of(sort: type[Rule]) -> Iterator[tuple[int, Job]]:
    """Random jobs for a rule, with their seeds, first those that tell."""
    first = TELLING.get(sort, ())
    for seed in (*first, *(seed for seed in range(MOST_JOBS) if seed not in first)):
        yield seed, JOBS[sort](random.Random(f"{sort.key} {seed}"))


def test_every_rule_is_looked_at() -> None:
    """Every rule of the registry has jobs here, a key of its own, and phrases for what it says."""
    assert set(JOBS) == set(KEEP_OUT)
    assert len({sort.key for sort in REGISTRY}) == len(REGISTRY)
    assert len(set(known_keys())) == len(list(known_keys()))
    for sort in ABOUT_SHELLS:
        assert "broken" in sort.phrases, sort


def leave_out_of_search(sort: type[Rule], patch: Patch) -> None:
    """The search does not know the rule; its setting stands in the job all the same."""
    honest = in_force.in_force
    for module in ("fitmatch.fit.classes.demands", "fitmatch.fit.answer.baselines"):
        patch.setattr(
            f"{module}.in_force",
            lambda job, kind: tuple(rule for rule in honest(job, kind) if not isinstance(rule, sort)),
        )
    rows = in_force.row_rules
    patch.setattr(
        "fitmatch.fit.classes.axis_rows.row_rules",
        lambda job, kind: [one for one in rows(job, kind) if not isinstance(one.rule, sort)],
    )


def wrong(job: Job) -> bool:
    """Whether the answer breaks a rule or is not the best, by the oracle."""
    plan = best_plan(job)
    return bool(oracle.faults_of(plan)) or any(
        oracle.levels_of(plan, kind) != oracle.best(job, kind) for kind in job.kinds
    )


@pytest.mark.parametrize("sort", ABOUT_SHELLS, ids=lambda sort: sort.key)
def test_left_out_of_the_search(sort: type[Rule], monkeypatch: Patch) -> None:
    """The program's own check refuses some answer, and with that check off the oracle does."""
    leave_out_of_search(sort, monkeypatch)
    refused = False
    for _, job in jobs_of(sort):
        try:
            best_plan(job)
        except FaultInFitmatch:
            refused = True
            break
    assert refused
    monkeypatch.setattr("fitmatch.fit.answer.best_plan.check", lambda _: None)
    assert any(wrong(job) for _, job in jobs_of(sort))


def test_a_refused_bore_left_out_of_the_search(monkeypatch: Patch) -> None:
    """The same of the drawing limits."""
    monkeypatch.setattr("fitmatch.fit.classes.candidates.bore_refused", lambda *_: False)
    with pytest.raises(FaultInFitmatch):
        for _, job in jobs_of(Drawing):
            best_plan(job)
    monkeypatch.setattr("fitmatch.fit.answer.best_plan.check", lambda _: None)
    assert any(wrong(job) for _, job in jobs_of(Drawing))


def told_wrong(sort: type[Rule]) -> bool:
    """Whether some reason or cure is not what it should be."""
    for seed, job in jobs_of(sort):
        if rules_of(job).guard and sort is not Guard:
            continue
        try:
            assert_small(with_reasons(believed(best_plan(job)), Stop()), f"seed {seed}")
        except AssertionError:
            return True
    return False


REASONED = [sort for sort in KEEP_OUT if sort is not Guard]


@pytest.mark.parametrize("sort", REASONED, ids=lambda sort: sort.key)
def test_left_out_of_the_reasons(sort: type[Rule], monkeypatch: Patch) -> None:
    """Some small reason is not enough, or lacks what keeps the position out."""
    honest = registry.bonds
    monkeypatch.setattr(
        "fitmatch.fit.why.conflicts.bonds",
        lambda jobs, kind: (bond for bond in honest(jobs, kind) if bond.name.partition(" ")[0] != sort.key),
    )
    assert told_wrong(sort)


# A mark or a family is only named in the reason: there is no other shell to name.
TOLD_OF = [sort for sort in REASONED if sort not in (Match, Family)]
MAKERS = [Drawing, Holds, Match, Family]


@pytest.mark.parametrize("sort", TOLD_OF, ids=lambda sort: sort.key)
def test_left_out_of_the_cures(sort: type[Rule], monkeypatch: Patch) -> None:
    """Some cure that would work is missing, or something that would help but is not offered."""
    for name in ("SETTINGS", "OF_PARTS"):
        sorts = tuple(other for other in getattr(registry, name) if other is not sort)
        monkeypatch.setattr(f"fitmatch.fit.why.cures.{name}", sorts)
    assert told_wrong(sort)


def test_what_is_never_offered() -> None:
    """What the makers decide, and holds, are not for the shop to drop; all other rules are."""
    assert [sort for sort in REGISTRY if not sort.offered] == [sort for sort in REGISTRY if sort in MAKERS]


@pytest.mark.parametrize("sort", MAKERS, ids=lambda sort: sort.key)
def test_offered_after_all(sort: type[Rule], monkeypatch: Patch) -> None:
    """Some cure drops what is never to be dropped."""
    monkeypatch.setattr(sort, "offered", True)
    assert told_wrong(sort)


@pytest.mark.parametrize("sort", [Match, Family, SameInBore], ids=lambda sort: sort.key)
def test_one_more_half_that_does_not_read_it(sort: type[Rule], monkeypatch: Patch) -> None:
    """Some half that is offered is not described completely, and would be kept out by what it does not read."""
    monkeypatch.setattr(sort, "reads", lambda *_: iter(()))
    assert told_wrong(sort)


def test_one_more_half_off_its_drawing(monkeypatch: Patch) -> None:
    """Some half that is offered is outside the drawing limits."""
    monkeypatch.setattr("fitmatch.fit.why.cures.walls_drawn", lambda *_: (0, ENDLESS))
    assert told_wrong(Drawing)


def test_a_rule_that_no_amount_lets_out_far_enough_is_let_go(monkeypatch: Patch) -> None:
    """Where no limit that can be written does as much as none, the cure is to let the rule go."""

    def cures(job: Job) -> set[tuple[str, int | None]]:
        reasons = with_reasons(best_plan(job), Stop()).reasons
        return {(c.change, c.to_nm) for r in reasons for c in r.cures if c.change == MinWall.key}

    job = next(job for _, job in jobs_of(MinWall) if cures(job))
    monkeypatch.setattr(MinWall, "amounts", lambda *_: (None,))
    assert cures(job) == {(MinWall.key, None)}


def names_the_guard(job: Job, where: str) -> bool:
    reasons = with_reasons(best_plan(job), Stop()).reasons
    if where == "reasons":
        return any(Guard.key in reason.together for reason in reasons)
    return any(cure.change == Guard.key for reason in reasons for cure in reason.cures)


@pytest.mark.parametrize("where", ["reasons", "cures"])
def test_a_guard_left_out(where: str, monkeypatch: Patch) -> None:
    """Where a guard keeps a position out, reason and cure name it; and they do so because they ask it."""
    job = next(job for _, job in jobs_of(Guard) if names_the_guard(job, where))
    honest = registry.bonds
    monkeypatch.setattr(
        "fitmatch.fit.why.conflicts.bonds", lambda jobs, kind: (b for b in honest(jobs, kind) if b.name != Guard.key)
    )
    monkeypatch.setattr("fitmatch.fit.why.cures.SETTINGS", tuple(s for s in registry.SETTINGS if s is not Guard))
    assert not names_the_guard(job, where)


@pytest.mark.parametrize("sort", ABOUT_SHELLS, ids=lambda sort: sort.key)
def test_left_out_of_the_baselines(sort: type[Rule], monkeypatch: Patch) -> None:
    """Some baseline breaks the rule uncounted."""
    silence(sort, monkeypatch, "fitmatch.fit.answer.baselines")
    for seed, job in jobs_of(sort):
        try:
            assert_baselines(job, best_plan(job), seed)
        except AssertionError:
            return
    pytest.fail("nothing tells")


def silence(sort: type[Rule], patch: Patch, module: str) -> None:
    """What a module counts of broken rules leaves this one out; where it obeys the rule too, it does no longer."""
    rules, rows = in_force.in_force, in_force.row_rules
    patch.setattr(f"{module}.in_force", lambda job, kind: tuple(r for r in rules(job, kind) if not isinstance(r, sort)))
    patch.setattr(
        f"{module}.row_rules", lambda job, kind: [one for one in rows(job, kind) if not isinstance(one.rule, sort)]
    )
    patch.setattr(sort, "plain_to_see", False)


def test_a_rule_that_says_nothing_keeps_nothing_out() -> None:
    """What a rule does not override lets everything pass."""
    rule, job = Rule(), random_job(random.Random("plain"))
    position, shell = job.positions[0], replace(job.shells[0], wall_nm=WALL)
    assert rule.walls == (0, ENDLESS) and rule.differences == (-ENDLESS, ENDLESS)
    assert rule.takes(position, "upper", shell) and rule.share(shell, shell)
    assert rule.near(job.positions) is None and not list(rule.discord(shell, shell))


def test_bores_outside_their_drawing_are_refused_once() -> None:
    """What refuses a bore stands in one module, and the checker's own definition agrees with it."""
    seen = 0
    for _, job in jobs_of(Drawing):
        for position in job.positions:
            if not position.missing and drawing.bore_refused(job, position):
                seen += 1
                assert not oracle.fillable(job, position)
        if seen > 20:
            return
    pytest.fail("no bore is refused")


def test_what_locks_break_is_told_in_registry_order(tmp_path: Path) -> None:
    """A bore whose locked shells break several rules, some of them because of the bore before it, names these in the
    order of the registry."""
    job = 'unit = "in"\n[fit.main]\ntarget = 0.0022\n[rules]\nneighbour_step = { main = "0.1 thou" }\n'
    job += 'wall_difference = "0.3 thou"\n'
    positions = "position,kind,journal,housing_bore,upper,lower\nM1,main,1.8162,1.9421,1,2\nM2,main,1.8162,1.9421,3,4\n"
    shells = "shell,kind,half,wall,series\n1,main,upper,0.0618,s\n2,main,lower,0.0618,s\n"
    shells += "3,main,upper,0.0616,s\n4,main,lower,0.0620,t\n"
    plan = best_plan(read_job(write_job(tmp_path, job, positions, shells)))
    told = [
        flag.what.slots["broken"] for flag in plan.flags if flag.code == "lock-breaks-rule" and flag.position == "M2"
    ]
    order = [sort.key for sort in SETTINGS]
    assert [fact.code for fact in told if isinstance(fact, Fact)] == sorted(
        ["wall_difference", "neighbour_step", "same_in_bore"], key=order.index
    )
