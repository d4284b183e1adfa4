"""Advice in every form, of jobs with every rule."""

import csv
import json
import random
from collections.abc import Callable
from dataclasses import replace
from io import StringIO

import pytest
from made.jobs import STEP, guarded_job, moving_job, random_job, row_job, wishing_job
from made.pools import random_pool
from oracles.schemas import OF_ADVISED

import fitmatch
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool
from fitmatch.report.data.advised import advised_document, advised_rows
from fitmatch.report.shared.layout import page
from fitmatch.report.text.advice import advised_text


@pytest.mark.parametrize("make", [random_job, wishing_job, row_job, moving_job, guarded_job, random_pool])
def test_every_form_tells_the_same_advice(make: Callable[..., Job | Pool]) -> None:
    """No line of the text is wider than the page, the document obeys its schema, and CSV has a row for each advice."""
    for seed in range(4):
        task = make(random.Random(f"advised {seed}"))
        jobs = tuple(replace(job, polish_max_nm=4 * STEP) for job in task.jobs)
        task = jobs[0] if isinstance(task, Job) else replace(task, jobs=jobs)
        try:
            found = fitmatch.advise(task)
        except InputError:  # a guard that leaves no clearance
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
