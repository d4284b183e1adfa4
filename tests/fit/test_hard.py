"""Recorded jobs that are hard for the optimizer, whose best figures HiGHS has proven, but for the largest."""

import time

import pytest
from hard_jobs import ALONE, FOLDER, MAKERS, figures_by, names, read, solved
from oracles.mutants import level_off

from fitmatch.fit.model import order

LONGEST_S = 60  # of processor time; the longest took 30 on a busy machine (measured)
SLOW = (
    *("even-movable-5x8-1nm", "even-movable-6x9-1nm", "even-step-7x20-1nm", "even-step-and-line-5x20-half-um"),
    *("keep-sets-12-boxes-1nm", "movable-8x12-1nm-step", *ALONE),
)
QUICK = ("movable-8x16-um-step", "off-grid-12x12", "scarce-30x28-um", "half-way-10x40-um")
RECORDS = {name: read(name) for name in names()}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.deep] if name in SLOW else []) for name in RECORDS]
)
def test_a_recorded_job_is_proven_at_its_best_figures(name: str) -> None:
    """The plan is called proven, before long, and has the recorded figures of every level, ties included."""
    known = RECORDS[name]
    start = time.process_time()
    plans, proven = solved(known.hard)
    assert proven and time.process_time() - start < LONGEST_S
    assert figures_by(known.hard, plans) == (known.figures, known.ties)


def test_records_are_small_and_say_how_they_were_proven() -> None:
    """All records together stay under a megabyte, each can be made anew and names its proof."""
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 1_000_000
    assert set(RECORDS) == set(MAKERS)
    for name, known in RECORDS.items():
        assert known.hard.why
        assert known.proof.startswith("fitmatch alone" if name in ALONE else "HiGHS")


@pytest.mark.parametrize(
    "figure", [order.SQUARES, order.STAYING, order.CLEARANCE, order.DIFFERENCE], ids=lambda figure: figure.name
)
def test_a_level_passed_over_misses_a_record(figure: order.Figure, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without this level one of the quick records is answered with other figures, so that records can tell."""
    level_off(figure)(monkeypatch)
    for name in QUICK:
        known = RECORDS[name]
        plans, _ = solved(known.hard)
        if figures_by(known.hard, plans) != (known.figures, known.ties):
            return
    pytest.fail("nothing tells")
