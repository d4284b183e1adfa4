"""A comparison in every form, of jobs with every rule and of some that have nothing to compare."""

import csv
import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from made.jobs import (
    TARGET,
    WALL,
    guarded_job,
    make_job,
    make_position,
    make_shell,
    moving_job,
    random_job,
    row_job,
    wishing_job,
)
from made.pools import random_pool
from made.seeds import seeds
from oracles.schemas import OF_COMPARED

import fitmatch
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool
from fitmatch.report.comparison.report import compared_text
from fitmatch.report.data.compared import compared_document, compared_rows
from fitmatch.report.plots.compared import compared_picture
from fitmatch.report.shared.layout import page

BORE = make_position("R1", 2 * WALL + TARGET)
PAIR = [make_shell("u", "upper", WALL), make_shell("l", "lower", WALL)]
NOTHING = {
    "no shell": make_job([BORE], []),
    "no reading": make_job([replace(BORE, journal=None)], PAIR),
    "no wall": make_job([BORE], [PAIR[0], make_shell("l", "lower", None)]),
    "on hold": make_job([BORE], [replace(PAIR[0], hold="rust"), PAIR[1]]),
    "no clearance": make_job([make_position("R1", 2 * WALL)], PAIR),
}


def in_every_form(task: Job | Pool, *widths: int) -> str:
    """The text, after every form was made of the comparison with all its tables."""
    for against in ("boxes", "spread"):
        compared = fitmatch.compare(task, rules=True, boxes=True, against=against)
        for unit in ("in", "mm"):
            for width in widths:
                with page(width):
                    text = compared_text(compared, unit)
                assert max(map(len, text.splitlines())) <= width
            OF_COMPARED.validate(json.loads(compared_document(compared, unit)))
            rows = compared_rows(compared, unit).splitlines()
            assert len(rows) == 1 + sum(map(len, tables_of(task, compared.to_frame().to_dict("records"))))
    assert compared_picture(compared, "mm", ".svg").startswith(b"<?xml")
    return text


def tables_of(task: Job | Pool, frame: list[dict[str, object]]) -> tuple[list[object], list[object]]:
    """The rows of the frame, and all positions, which only CSV has."""
    return list(frame), [position for job in task.jobs for position in job.positions]


@pytest.mark.parametrize("widths", [(80,), pytest.param((100, 120), marks=pytest.mark.deep)], ids=["80", "wider"])
@pytest.mark.parametrize("make", [random_job, wishing_job, row_job, moving_job, guarded_job])
@seeds(1, 2)
def test_every_form_of_every_job(seeds: list[int], make: Callable[..., Job], widths: Sequence[int]) -> None:
    """No line is wider than the page, JSON obeys its schema, CSV has every row of the frame and every clearance."""
    for seed in seeds:
        in_every_form(make(random.Random(f"forms {seed}")), *widths)


@seeds(1, 2)
def test_every_form_of_a_pool(seeds: list[int]) -> None:
    """The same of several jobs that share their shells."""
    for seed in seeds:
        in_every_form(random_pool(random.Random(f"forms {seed}")), 80)


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_to_compare_is_compared_all_the_same(name: str) -> None:
    """A job of which no position can be filled has its rows, all empty, and says that it needs attention."""
    assert "NEEDS ATTENTION" in in_every_form(NOTHING[name], 80)
    rows = fitmatch.compare(NOTHING[name]).plans
    assert {(row.found.figures.filled, row.found.figures.worst_deviation_nm) for row in rows} == {(0, None)}


def test_a_position_that_is_not_filled_is_told_in_every_form() -> None:
    """Beside how many are filled, with no chance that all are inside; in both pictures too."""
    whole = fitmatch.read_job(Path(__file__).parents[2] / "samples" / "metrology-bench")
    assert all(row.joint_chance is not None for row in fitmatch.compare(whole).plans)
    count = len(whole.positions)
    late = [s for s in whole.shells if s.half == "upper"][count - 1 :]
    held = tuple(replace(s, hold="rust") if s in late else s for s in whole.shells)
    compared = fitmatch.compare(replace(whole, shells=held))
    assert f"{count - 1} of {count}" in compared_text(compared, "mm")
    for row in json.loads(compared_document(compared, "mm"))["plans"]:
        assert (row["filled"], row["positions"], row["joint_chance"]) == (count - 1, count, None)
    assert set(compared.to_frame()["positions"]) == {count}
    assert ",positions,filled," in compared_rows(compared, "mm").splitlines()[0]
    (empty,) = [u.position.name for u in compared.answers[0].plans[0].unfilled]
    rows = {row["position"]: row for row in csv.DictReader(StringIO(compared_rows(compared, "mm"))) if row["position"]}
    assert list(rows) == [p.name for p in whole.positions]
    assert rows[empty]["clearance [mm]"] == "" and "shells are short" in rows[empty]["why"]
    assert all(row["clearance [mm]"] and not row["why"] for name, row in rows.items() if name != empty)
    picture = compared_picture(compared, "mm", ".svg").decode()
    assert f"{empty}, not filled" in picture and "1 not filled" in picture
