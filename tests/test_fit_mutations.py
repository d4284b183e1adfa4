"""The tests can tell: each rule, level and tie switched off in the optimizer is caught on tiny random jobs.

A switch that nothing catches would mean that the comparison with full enumeration looks the other way.
"""

import random
from collections.abc import Callable, Sequence

import oracle
import pytest
from jobs import STEP, TARGET, WALL, make_job, make_position, make_shells, random_job, wishing_job
from rulebook import Rules

from fitmatch.fit import filling, levels, measures
from fitmatch.fit.answering import best_plan
from fitmatch.fit.bores import Bore
from fitmatch.fit.candidates import Kind
from fitmatch.fit.search import Search
from fitmatch.fit.terms import Terms
from fitmatch.parts import Job
from fitmatch.problems import FaultInFitmatch

Patch = pytest.MonkeyPatch
MOST_JOBS = 3_000


def without_check(patch: Patch) -> None:
    """Let a wrong answer out, so that it is the comparison that must see it."""
    patch.setattr("fitmatch.fit.answering.check", lambda _: None)


def no_same_side(patch: Patch) -> None:
    """The thicker halves of a kind need not agree."""
    patch.setattr(Terms, "one_thick_side", property(lambda _: False))


def no_counting(patch: Patch) -> None:
    """A pair of one class needs only one shell of it."""
    patch.setattr("fitmatch.fit.candidates.may_share", lambda *_: True)


def zero_clearance(patch: Patch) -> None:
    """A clearance of zero is a fill."""
    patch.setattr(Bore, "sum_high", property(lambda bore: bore.tightest_nm))


def limits_at_the_mean(patch: Patch) -> None:
    """min is checked at the means."""
    patch.setattr("fitmatch.fit.candidates.tightest_room", lambda position, _: levels_room(position))


def levels_room(position: object) -> int:
    from fitmatch.parts import room

    return room(position)  # type: ignore[arg-type]


def level_off(name: str) -> Callable[[Patch], None]:
    """The level is passed over: neither proven nor kept."""

    def passed_over(honest: Callable[..., int]) -> Callable[..., int]:
        def passing(search: Search, level: str, *arguments: object) -> int:
            if level == name:
                return max((abs(p.deviation_nm) for p in search.choice if p.inside), default=0)
            return honest(search, level, *arguments)

        return passing

    def switch(patch: Patch) -> None:
        for owner, move in (
            (Search, "minimise"),
            (Search, "narrow_worst"),
            (levels, "least_worst_within"),
            (levels, "narrow_spread"),
        ):
            patch.setattr(owner, move, passed_over(getattr(owner, move)))
        if name == measures.SQUARES:
            patch.setattr(levels, "_least_squares", lambda *_: None)

    switch.__doc__ = f"The level {name} is passed over."
    return switch


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
        patch.setattr(module, "fill_most", lambda search: None)


# Rules of the registry are switched off in test_rules.py.
RULES = [no_same_side, no_counting, zero_clearance, limits_at_the_mean, greedy_fill]
LEVELS = [
    (measures.INSIDE, "target"),
    (measures.FILLED, "target"),
    (measures.BELOW, "target"),
    (measures.SHORTFALL, "target"),
    (measures.EXCESS, "target"),
    (measures.WORST, "target"),
    (measures.SQUARES, "target"),
    (measures.SPREAD, "target"),
    (measures.CLEARANCE, "target"),
    (measures.DIFFERENCE, "target"),
    (measures.SPREAD, "even"),
    (measures.WORST, "even"),
    (measures.SQUARES, "even"),
]


def two_rods(ideal: tuple[int, int], lowers: list[int], **limits: int) -> Job:
    """Two rods and equal uppers, so that the lowers alone decide; sizes in steps from the first rod's ideal."""
    rods = [make_position(f"R{i}", 2 * WALL + TARGET + steps * STEP, **limits) for i, steps in enumerate(ideal, 1)]
    shells = make_shells("upper", [WALL, WALL]) + make_shells("lower", [WALL + steps * STEP for steps in lowers])
    return make_job(rods, shells, rules=Rules(wall_difference_nm=None))


# A level that decides too rarely for chance to show it soon: fewer below min, but by more.
TELLING = [two_rods((0, 4), [1, 5], min_nm=TARGET, max_nm=TARGET)]


# The same of the wished band: fewer below it, but by more; and fewer above.
WISHFUL = [
    two_rods((0, 4), [1, 5], want_min_nm=TARGET),
    two_rods((0, -4), [-1, -5], want_max_nm=TARGET),
]


def caught(strategy: str, make: Callable[..., Job] = random_job, telling: Sequence[Job] = tuple(TELLING)) -> bool:
    """Whether some job shows a plan that is not the best, or that the oracle or the program calls faulty."""
    for seed in range(-len(telling), MOST_JOBS):
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


@pytest.mark.parametrize(("name", "strategy"), LEVELS)
def test_a_level_switched_off_is_caught(name: str, strategy: str, monkeypatch: Patch) -> None:
    """Without this level or tie some random job is answered with a plan that is not the best."""
    without_check(monkeypatch)
    level_off(name)(monkeypatch)
    assert caught(strategy)


@pytest.mark.parametrize(
    "name", [measures.BELOW_WANT, measures.WANT_SHORTFALL, measures.ABOVE_WANT, measures.WANT_EXCESS]
)
def test_a_wish_switched_off_is_caught(name: str, monkeypatch: Patch) -> None:
    """Without this figure of the wished band some job is answered with a plan that is not the best."""
    without_check(monkeypatch)
    at = [level for level, _ in filling.WISH].index(name)
    monkeypatch.setattr(filling, "WISH", filling.WISH[:at] + filling.WISH[at + 1 :])
    # That all can have their best at once says nothing of single figures: let the search prove them one by one.
    honest = filling.fill_at_best
    monkeypatch.setattr(
        filling, "fill_at_best", lambda s, within, *, wished: not wished and honest(s, within, wished=False)
    )
    assert caught("target", wishing_job, WISHFUL)


def test_boxes_switched_off_are_caught(monkeypatch: Patch) -> None:
    """Without counting boxes, keep-sets draws on more of them than it need."""
    without_check(monkeypatch)
    first_boxes(monkeypatch)
    assert caught("keep-sets")


def test_nothing_switched_off_is_not_caught() -> None:
    """The honest optimizer passes the very comparison that catches the switches."""
    for seed in range(100):
        job = random_job(random.Random(f"mutant {seed}"))
        plan = best_plan(job)
        assert not oracle.faults_of(plan)
        for kind in job.kinds:
            assert oracle.levels_of(plan, kind, with_boxes=False) == oracle.best(job, kind, "target", 0)
