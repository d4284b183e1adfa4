"""fitmatch itself, and the two baselines that it shows beside every answer."""

import time
from collections.abc import Iterable

from ways.lots import Lot, Plan, job_of
from ways.racing import FIGURES, Report

from fitmatch.fit.answer.baselines import as_boxed, by_hand
from fitmatch.fit.assign import assign
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Status

SPARE_S = 2.25  # for what is done when the search has stopped: 1.5 s with 100,000 shells, and some to spare


class _ByProcessor(Stop):
    """A time limit by processor time, as every peer has."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self._last = time.process_time() + seconds

    def seconds_left(self) -> float:
        left = self._last - time.process_time()
        if left <= 0:
            raise Stopped
        return left


def boxed(lot: Lot, report: Report) -> None:
    """The shells as they come out of their boxes."""
    report(plan_of(lot, as_boxed(Kind([job_of(lot)], "rod"))))


def hand(lot: Lot, report: Report) -> None:
    """Position by position the pair nearest to the target."""
    report(plan_of(lot, by_hand(Kind([job_of(lot)], "rod"))))


def fitmatch(seconds: float, lot: Lot, report: Report) -> None:
    """All that `assign` does between the files and the printed answer: baselines and the check of the plan included."""
    answer = assign(job_of(lot), stop=_ByProcessor(seconds - SPARE_S))
    plan = plan_of(lot, answer.placements)
    if answer.status is Status.PROVEN:
        for figure in FIGURES:
            report(plan, figure)
    else:
        report(plan)


def plan_of(lot: Lot, placements: Iterable[Placement]) -> Plan:
    """What fitmatch placed, by the places in the lot."""
    place = {(half, f"{half[0]}{i}"): i for half in ("upper", "lower") for i in range(len(lot.uppers))}
    plan: Plan = [None] * len(lot.bores)
    for p in placements:
        plan[p.position.row - 2] = place["upper", p.upper.name], place["lower", p.lower.name]
    return plan
