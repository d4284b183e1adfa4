"""Plans of a search that is stopped: found early by exchanges, never worse than by hand, as good as a search by swaps."""

import random
from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell
from oracles.rulebook import Rules
from test_stopped import StopAfter
from ways import searching
from ways.lots import Lot, job_of, lot
from ways.own import plan_of
from ways.racing import Report
from ways.score import Figures, score

from fitmatch.fit.answer.baselines import by_hand, rules_broken_by
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.exchanges import Exchanges
from fitmatch.fit.answer.stopped import Early, best_of
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import placed
from fitmatch.fit.model.order import LEVELS_0_AND_1, SQUARES, WORST, value
from fitmatch.fit.model.groups import shares_placed
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.job import Job
from fitmatch.records.placements import Placement

TARGET_FIGURES = (*LEVELS_0_AND_1, WORST, SQUARES)


class StopOnceFound(Stop):
    """Stops as soon as exchanges have found a plan."""

    early: Early | None = None

    def seconds_left(self) -> float | None:
        if self.early is not None and self.early.choice is not None:
            self.request()
        return super().seconds_left()


@pytest.fixture
def once_found(monkeypatch: pytest.MonkeyPatch) -> StopOnceFound:
    """A stop that comes with the first plan of exchanges."""
    stop, begin = StopOnceFound(), Early.__init__

    def begun(self: Early, *given: object) -> None:
        begin(self, *given)  # type: ignore[arg-type]
        stop.early = self

    monkeypatch.setattr(Early, "__init__", begun)
    return stop


def figures(kind: Kind, placements: list[Placement]) -> list[int]:
    """By levels 0 and 1 and the strategy `target`; smaller is better."""
    return [value(figure, shares_placed(kind, placements)) for figure in TARGET_FIGURES]


def bound_job(rng: random.Random) -> Job:
    """Forty bores with limits so narrow that by hand some stay outside, wanted bands, locks, halves of either side and
    marks in which the halves of a bore must agree."""
    positions, shells = [], []
    for i in range(40):
        room = 2 * WALL + TARGET + round(rng.gauss(0, 4_000))
        asked = {"want_min_nm": TARGET - 1_500, "want_max_nm": TARGET + 1_500} if rng.random() < 0.5 else {}
        positions.append(make_position(f"R{i}", room, min_nm=TARGET - 4_000, max_nm=TARGET + 4_000, **asked))
    for i in range(90):
        half = ("upper", "lower", "either")[i % 3 if rng.random() < 0.2 else i % 2]
        wall = WALL + round(rng.gauss(0, 1_800))
        shells.append(make_shell(f"S{i}", half, wall, box=f"box-{i // 16}", marks=(rng.choice("ab"),)))
    for at, side in ((3, "upper"), (11, "lower")):
        shell = next(s for s in shells if s.half == side)
        positions[at] = replace(positions[at], **{side: shell.key})
    rules = Rules(wall_difference_nm=2 * STEP, same_in_bore=("series",))
    return make_job(positions, shells, rules=rules, shell_columns=("series",))


@pytest.mark.parametrize("seed", range(3))
def test_rules_are_kept(seed: int) -> None:
    """Whatever rules judge single bores, exchanges break none, use no shell twice and are never worse than by hand."""
    job = bound_job(random.Random(f"early {seed}"))
    kind = Kind([job], "rod")
    hand = by_hand(kind)
    exchanges = Exchanges(kind, hand, Stop())
    exchanges.improve()
    _, found = placed(kind, exchanges.choice())
    used = [shell.key for p in found for shell in (p.upper, p.lower)]
    assert len(used) == len(set(used)) and rules_broken_by(job, found) == 0
    assert {p.position.key for p in found} == {p.position.key for p in hand}
    assert figures(kind, found) < figures(kind, hand)


@pytest.mark.parametrize("times", [0, 50, 200, 1_000])
def test_stopped_at_any_time(times: int) -> None:
    """A search that is stopped anywhere gives a plan that passes the check and is no worse than by hand."""
    for job in (bound_job(random.Random("early stopped")), job_of(lot(40, plenty=False, grid_nm=1))):
        kind = Kind([job], "rod")
        plan = best_plan(job, stop=StopAfter(times))
        assert figures(kind, list(plan.placements)) <= figures(kind, by_hand(kind))


class _Told:
    """The best that a peer has told of."""

    def __init__(self) -> None:
        self.best: Figures | None = None
