"""Plans of a search that is stopped: found early by exchanges, no worse than by hand, as good as a search by swaps."""

import random
from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell, random_job
from made.stops import StopAfter
from oracles.rulebook import Rules
from ways import searching
from ways.lots import job_of, lot
from ways.own import plan_of
from ways.score import Figures, score

from fitmatch.fit.answer.baselines import by_hand, rules_broken_by
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.exchanges import Exchanges
from fitmatch.fit.answer.stopped import best_of
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import placed, shares_placed
from fitmatch.fit.model.order import LEVELS_0_AND_1, SQUARES, STRATEGIES, WORST, value
from fitmatch.fit.model.pairs import Choice
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.placements import Placement, figures_of
from fitmatch.records.job import Job
from fitmatch.records.pools import TOGETHER

TARGET_FIGURES = (*LEVELS_0_AND_1, WORST, SQUARES)


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


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.deep) for seed in range(1, 6))])
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


@pytest.mark.parametrize("positions", [60, *(pytest.param(n, marks=pytest.mark.deep) for n in (80, 100))])
def test_as_good_as_swaps(positions: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Scarce shells off any grid: stopped with its first plan, the answer has a worst deviation no larger than a search
    by swaps has, and in that case hardly more in the sum of squares."""
    some, stop, choice = lot(positions, plenty=False, grid_nm=1), Stop(), Exchanges.choice
    told: list[Figures] = []
    searching.by_swaps(some, lambda plan, proven="": told.append(score(some, plan)), rounds=4)

    def stopping(self: Exchanges) -> Choice:
        stop.request()
        return choice(self)

    monkeypatch.setattr(Exchanges, "choice", stopping)
    plan = best_plan(job_of(some), stop=stop)
    found, best = score(some, plan_of(some, plan.placements)), min(told)
    assert not plan.proven
    assert (*found[:7], found.squares_nm2) <= (*best[:7], best.squares_nm2 * 1.01)


def test_same_again() -> None:
    """The same job gives the same plan, pair for pair."""
    kind = Kind([job_of(lot(40, plenty=False, grid_nm=1))], "rod")
    chosen = []
    for _ in range(2):
        exchanges = Exchanges(kind, by_hand(kind), Stop())
        exchanges.improve()
        chosen.append(exchanges.choice())
    assert chosen[0] == chosen[1]


def test_nothing_to_exchange() -> None:
    """Where by hand no position gets a shell there is nothing to improve, and no plan."""
    kind = Kind([job_of(lot(40, plenty=False, grid_nm=1))], "rod")
    exchanges = Exchanges(kind, [], Stop())
    exchanges.improve()
    assert not exchanges.choice()


@pytest.mark.parametrize("seed", range(8))
def test_order_of_the_strategy(seed: int) -> None:
    """Of the plans proven for all strategies each strategy ranks first one that is as good as its own."""
    job = random_job(random.Random(f"ranked {seed}"), both_limits=True)
    kind = Kind([job], job.positions[0].kind)
    plans = {strategy: best_plan(job, strategy, slack_nm=0) for strategy in STRATEGIES}
    own = {s: (kind, [p for p in plan.placements if p.position.kind == kind.name]) for s, plan in plans.items()}
    for strategy, mine in own.items():
        _, first = best_of(list(own.values()), strategy, 0, TOGETHER)
        assert figures_of(first) == figures_of(mine[1])
