"""The tests can tell: each rule, level and tie switched off in the optimizer is caught on tiny random jobs.

A switch that nothing catches would mean that the comparison with full enumeration looks the other way.
"""

import random
from collections.abc import Callable, Sequence

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shells, random_job, wishing_job
from made.seeds import seeds
from oracles import oracle
from oracles.mutants import level_off
from oracles.rulebook import Rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model import order
from fitmatch.fit.model.order import Figure
from fitmatch.fit.proof import filling, levels
from fitmatch.fit.proof.windows import Windows
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.job import Job

Patch = pytest.MonkeyPatch
MOST_JOBS = 3_000


def without_check(patch: Patch) -> None:
    """Let a wrong answer out, so that it is the comparison that must see it."""
    patch.setattr("fitmatch.fit.answer.best_plan.check", lambda _: None)


def no_same_side(patch: Patch) -> None:
    """The thicker halves of a kind need not agree."""
    patch.setattr(Terms, "one_thick_side", property(lambda _: False))


def no_counting(patch: Patch) -> None:
    """A pair of one class needs only one shell of it."""
    patch.setattr("fitmatch.fit.classes.candidates.may_share", lambda *_: True)


def zero_clearance(patch: Patch) -> None:
    """A clearance of zero is a fill."""
    patch.setattr(Bore, "sum_high", property(lambda bore: bore.tightest_nm))


def limits_at_the_mean(patch: Patch) -> None:
    """min is checked at the means."""
    patch.setattr("fitmatch.fit.classes.classes.tightest_room", lambda position, _: levels_room(position))


def levels_room(position: object) -> int:
    from fitmatch.records.parts import room

    return room(position)  # type: ignore[arg-type]


def first_boxes(patch: Patch) -> None:
    """keep-sets takes all boxes instead of the fewest."""

    class AllAtOnce:
        def __init__(self, kind: Kind, *_: object) -> None:
            self._left = [frozenset(s.box for s in kind.jobs[0].shells)]

        def fewest_untried(self) -> frozenset[str] | None:
            return self._left.pop() if self._left else None

        def rule_out(self, _: frozenset[str]) -> None: ...

    patch.setattr(levels, "BoxSets", AllAtOnce)


def greedy_fill(patch: Patch) -> None:
    """Where not all can have their best at once, the plan by hand has to do."""
    for module in (filling, levels):
        patch.setattr(module, "fill_most", lambda search: Windows(search, {}, []))


# Rules of the registry are switched off in test_rules.py.
RULES = [no_same_side, no_counting, zero_clearance, limits_at_the_mean, greedy_fill]
LEVELS = [
    (order.INSIDE, "target"),
    (order.FILLED, "target"),
    *((figure, "target") for figure in order.LEVEL_1),
    (order.WORST, "target"),
    (order.SQUARES, "target"),
    (order.SPREAD, "target"),
    (order.CLEARANCE, "target"),
    (order.DIFFERENCE, "target"),
    (order.SPREAD, "even"),
    (order.WORST, "even"),
    (order.SQUARES, "even"),
]


def two_rods(ideal: tuple[int, int], lowers: list[int], **limits: int) -> Job:
    """Two rods and equal uppers, so that the lowers alone decide; sizes in steps from the first rod's ideal."""
    rods = [make_position(f"R{i}", 2 * WALL + TARGET + steps * STEP, **limits) for i, steps in enumerate(ideal, 1)]
    shells = make_shells("upper", [WALL, WALL]) + make_shells("lower", [WALL + steps * STEP for steps in lowers])
    return make_job(rods, shells, rules=Rules(wall_difference_nm=None))


# Of levels that decide too rarely for chance to show it soon: fewer below min, but by more; and the one random job of a
# thousand in which a smaller worst deviation has the larger squares.
TELLING = [two_rods((0, 4), [1, 5], min_nm=TARGET, max_nm=TARGET), random_job(random.Random("mutant 905"))]


SOON = (4, 11, 23, 37, 54, 67, 77)  # random jobs that tell, tried first

# The same of the wanted band: fewer below it, but by more; and fewer above.
WISHFUL = [
    two_rods((0, 4), [1, 5], want_min_nm=TARGET),
    two_rods((0, -4), [-1, -5], want_max_nm=TARGET),
]


def caught(strategy: str, make: Callable[..., Job] = random_job, telling: Sequence[Job] = tuple(TELLING)) -> bool:
    """Whether some job shows a plan that is not the best, or that the oracle or the program calls faulty."""
    for seed in (*range(-len(telling), 0), *SOON, *range(MOST_JOBS)):
        rng = random.Random(f"mutant {seed}")
        job, slack_nm = make(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        if seed < 0 and strategy == "target":
            job, slack_nm = telling[seed], 0
        try:
            plan = best_plan(job, strategy, slack_nm=slack_nm)
        except (FaultInFitmatch, AssertionError, KeyError, IndexError):
            return True
        if oracle.faults_of(plan):
            return True
        for kind in job.kinds:
            wanted = oracle.best(job, kind, strategy, slack_nm)
            if oracle.levels_of(plan, kind, with_boxes=strategy == "keep-sets") != wanted:
                return True
    return False


@pytest.mark.parametrize("switch", RULES, ids=lambda s: s.__name__)
def test_a_rule_switched_off_is_caught(switch: Callable[[Patch], None], monkeypatch: Patch) -> None:
    """Without this rule some random job is answered wrongly, and that is seen even with the program's own check off."""
    without_check(monkeypatch)
    switch(monkeypatch)
    assert caught("target")


@pytest.mark.parametrize(("figure", "strategy"), LEVELS, ids=lambda one: getattr(one, "name", one))
def test_a_level_switched_off_is_caught(figure: Figure, strategy: str, monkeypatch: Patch) -> None:
    """Without this level or tie some random job is answered with a plan that is not the best."""
    without_check(monkeypatch)
    level_off(figure)(monkeypatch)
    assert caught(strategy)


@pytest.mark.parametrize("off", order.WISH, ids=lambda figure: figure.name)
def test_a_wish_switched_off_is_caught(off: Figure, monkeypatch: Patch) -> None:
    """Without this figure of the wanted band some job is answered with a plan that is not the best."""
    without_check(monkeypatch)
    for module in (filling, order):
        monkeypatch.setattr(module, "WISH", tuple(figure for figure in module.WISH if figure is not off))
    # That all can have their best at once says nothing of single figures: let the search prove them one by one.
    honest = filling.fill_at_best
    monkeypatch.setattr(
        filling,
        "fill_at_best",
        lambda s, within, *, wished, long=None: None if wished else honest(s, within, wished=False, long=long),
    )
    assert caught("target", wishing_job, WISHFUL)


def test_boxes_switched_off_are_caught(monkeypatch: Patch) -> None:
    """Without counting boxes, keep-sets draws on more of them than it need."""
    without_check(monkeypatch)
    first_boxes(monkeypatch)
    assert caught("keep-sets")


@seeds(30, 100)
def test_nothing_switched_off_is_not_caught(seeds: list[int]) -> None:
    """The honest optimizer passes the very comparison that catches the switches."""
    for seed in seeds:
        job = random_job(random.Random(f"mutant {seed}"))
        plan = best_plan(job)
        assert not oracle.faults_of(plan)
        for kind in job.kinds:
            assert oracle.levels_of(plan, kind, with_boxes=False) == oracle.best(job, kind, "target", 0)
