"""The `[film.KIND]` tables of job.toml: how the bearings of a kind run."""

from collections.abc import Collection

from fitmatch.intake.common.quantities import CellError
from fitmatch.intake.common.running import FIELDS, FIGURES, LENGTHS, figure_of
from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.values import Values
from fitmatch.records.bearings import Running


def read_running(values: Values, kinds: Collection[str]) -> dict[str, Running]:
    """By kind, what is given and plausible; what is missing is asked for by `fitmatch film`."""
    return values.by_kind(("film",), kinds, lambda path: _running(values, path))


def _running(values: Values, path: Path) -> Running:
    values.refuse_unknown(path)
    found: dict[str, float | None] = {
        FIELDS[key]: values.length((*path, key), quantity) for key, quantity in LENGTHS.items()
    }
    found |= {FIELDS[key]: _figure(values, (*path, key)) for key in FIGURES}
    return Running(**found)  # type: ignore[arg-type]  # lengths and lands are whole


def _figure(values: Values, path: Path) -> float | None:
    text = values.number(path)
    if text is None:
        return None
    try:
        return figure_of(path[-1], text)
    except CellError as error:
        values.report(error.code, str(error), *path)
        return None
