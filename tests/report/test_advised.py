"""Advice in every form, of jobs with every rule."""

import csv
import json
import random
import re
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from io import StringIO

import pytest
from made.jobs import STEP, guarded_job, moving_job, random_job, row_job, wishing_job
from made.pools import random_pool
from made.seeds import seeds
from oracles.schemas import OF_ADVISED

import fitmatch
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool
from fitmatch.report.data.advised import advised_document, advised_rows
from fitmatch.report.shared.layout import page
from fitmatch.report.shared.scale import PLACES, Scale
from fitmatch.report.text.advice import advised_text
from fitmatch.report.words.advice import advice_words
from fitmatch.study.advice.advised import Advice


@pytest.mark.parametrize("make", [random_job, wishing_job, row_job, moving_job, guarded_job, random_pool])
@seeds(2, 4)
def test_every_form_tells_the_same_advice(seeds: list[int], make: Callable[..., Job | Pool]) -> None:
    """No line of the text is wider than the page, the document obeys its schema, and CSV has a row for each advice."""
    for seed in seeds:
        task = make(random.Random(f"advised {seed}"))
        jobs = tuple(replace(job, polish_max_nm=4 * STEP) for job in task.jobs)
        task = jobs[0] if isinstance(task, Job) else replace(task, jobs=jobs)
        try:
            found = fitmatch.advise(task)
        except NotPossible:  # no limits
            continue
        count = sum(len(one.advice) for one in found.positions)
        for unit in ("in", "mm"):
            document = json.loads(advised_document(found, unit))
            OF_ADVISED.validate(document)
            assert sum(len(one["advice"]) for one in document["positions"]) == count
            rows = list(csv.DictReader(StringIO(advised_rows(found, unit))))
            assert sum(bool(row["action"]) for row in rows) == count and len(rows) == len(found.to_frame(unit))
            for width in (80, 120):
                with page(width):
                    text = advised_text(found, unit, full=True)
                assert max(map(len, text.splitlines())) <= width
                assert all(one.position.name in text for one in found.positions)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_walls_as_printed_still_do(unit: str) -> None:
    """The range that will do is rounded inward, and the wall told lies inside it."""
    per = NM_PER_UNIT[unit]
    for low, high in ((1_974_920, 1_979_000), (1_974_920, 1_974_929), (1_974_921, 1_974_922), (1_974_923, 1_974_987)):
        for wall in (low, high):
            what = {"half": "lower", "wall_nm": wall, "lowest_nm": low, "highest_nm": high, "marks": {}, "step": None}
            told = advice_words(Advice("one-half", {**what, "for": None}), Scale(unit, PLACES[unit]))
            at, least, most = (round(Decimal(text) * per) for text in re.findall(r"\d+\.\d+", told))
            assert low <= least <= at <= most <= high, told
