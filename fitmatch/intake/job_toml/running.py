"""The `[film.KIND]` tables of job.toml: how the bearings of a kind run."""

from collections.abc import Collection
from typing import Any

from fitmatch.intake.common.quantities import CellError
from fitmatch.intake.common.running import FIELDS, FIGURES, LENGTHS, figure_of, oil_point, oil_table
from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.values import Values
from fitmatch.records.study.bearings import Running


def read_running(values: Values, kinds: Collection[str]) -> dict[str, Running]:
    """By kind, what is given and plausible; what is missing is asked for by `fitmatch film`."""
    return values.by_kind(("film",), kinds, lambda path: _running(values, path))


def _running(values: Values, path: Path) -> Running:
    values.refuse_unknown(path)
    found: dict[str, Any] = {FIELDS[key]: values.length((*path, key), quantity) for key, quantity in LENGTHS.items()}
    found |= {FIELDS[key]: _figure(values, (*path, key)) for key in FIGURES}
    found["table"] = _table(values, (*path, "oil_table"))
    return Running(**found)


def _table(values: Values, path: Path) -> tuple[tuple[float, float], ...] | None:
    points = values.items(path, oil_point, 'write a list of texts, such as ["40: 90", "100: 9.4"]', filled=True)
    if points is None:
        return None
    try:
        return oil_table(points)
    except CellError as error:
        values.report(error.code, str(error), *path)
        return None


def _figure(values: Values, path: Path) -> float | None:
    text = values.number(path)
    if text is None:
        return None
    try:
        return figure_of(path[-1], text)
    except CellError as error:
        values.report(error.code, str(error), *path)
        return None
