"""What drawing limits allow as one JSON document, described by ranges.schema.json, and as CSV."""

from collections.abc import Iterator, Mapping
from typing import Final

from fitmatch.intake.stacks import Drawings
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.parts import Band
from fitmatch.report.shared.emit import Number, Value, document, length, rows_text
from fitmatch.report.words.stacks import row_name
from fitmatch.study.drawings.ranges import Ends, Range, Row
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added
POINTS: Final = 201  # of a distribution, from the smallest clearance to the largest

_LENGTHS: Final = ("worst_min", "worst_max", "root_sum_square_min", "root_sum_square_max", "mean", "standard",
                   "middle_95_min", "middle_95_max", "min", "max")  # fmt: skip
_CHANCES: Final = ("chance", "below_min", "above_max")
_SHARES: Final = ("journal", "housing_bore", "walls", "coating")


def ranges_document(found: Range, drawings: Drawings, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": drawings.title,
            "unit": unit,
            "shape": found.shape,
            "shared": Number(f"{found.shared:g}"),
            "temperature_c": 20,
            "limits_from": dict(drawings.limits_from),
            "by_option": drawings.by_option,
            "decision_rule": "inside is at least min and at most max",
            "rows": [_row(row, unit) for row in found.rows],
            "left_out": drawings.left_out,
            "warnings": drawings.warnings,
            "digest": drawings.digest,
        }
    )


def ranges_rows(found: Range, unit: str) -> str:
    """One CSV row per row."""
    columns = ("name", "coated", "thicker_halves", *_LENGTHS, *_CHANCES, *(f"share_{name}" for name in _SHARES))
    return rows_text(columns, _LENGTHS, unit, (_flat(_row(row, unit)) for row in found.rows))


def distribution_rows(found: Range, unit: str) -> str:
    """The numbers of the picture: for each row, density (per unit of length) and chance of being below at evenly spaced
    clearances."""
    rows = (
        {
            "name": row_name(row),
            "clearance": length(at, unit),
            "density": _density(density, unit),
            "below": _chance(below),
        }
        for row in found.rows
        for at, density, below in curve(row)
    )
    return rows_text(("name", "clearance", "density", "below"), ("clearance",), unit, rows)


def curve(row: Row) -> Iterator[tuple[float, float, float]]:
    """Clearance in nm, its density per nm, and the chance of being below it."""
    import numpy

    reach = row.total.half_width
    offs = numpy.linspace(-reach, reach, POINTS)
    for off, density in zip(offs.tolist(), row.total.densities(offs).tolist(), strict=True):
        yield row.mean_nm + off, density, row.total.below(off)


def _row(row: Row, unit: str) -> dict[str, Value]:
    stack, chance = row.stack, row.chance
    return {
        "name": row_name(row),
        "coated": row.coated,
        "thicker_halves": row.thicker,
        "step": length(stack.step_nm, unit) if stack.step_nm else None,
        "housing_bore": _band(stack.housing_bore, unit),
        "journal": _band(stack.journal, unit),
        "wall": _band(stack.wall, unit),
        "coating": _band(stack.coating, unit) if row.coated else None,
        "min": length(stack.min_nm, unit),
        "max": length(stack.max_nm, unit),
        "worst": _ends(row.worst, unit),
        "root_sum_square": _ends(row.root_sum_square, unit),
        "mean": length(row.mean_nm, unit),
        "standard": length(row.standard_nm, unit),
        "middle_95": _ends(row.middle, unit),
        "chance": None if chance is None else _chance(chance.inside),
        "below_min": None if chance is None else _chance(chance.below),
        "above_max": None if chance is None else _chance(chance.above),
        "grid_change": None if chance is None else Number(f"{chance.change:.1e}"),
        "shares": None if row.shares is None else {name: Number(f"{part:.6f}") for name, part in row.shares.items()},
    }


def _flat(row: Mapping[str, Value]) -> dict[str, Value]:
    """Each table of a row as columns of its own: `worst` to `worst_min` and `worst_max`."""
    flat = dict(row)
    for name in ("worst", "root_sum_square", "middle_95"):
        ends = row[name]
        assert isinstance(ends, Mapping)
        flat |= {f"{name}_{end}": value for end, value in ends.items()}
    shares = row["shares"]
    if isinstance(shares, Mapping):
        flat |= {f"share_{name}": value for name, value in shares.items()}
    return flat


def _band(band: Band, unit: str) -> dict[str, Value]:
    written: dict[str, Value] = {"iso_286": band.iso_286} if band.iso_286 else {}
    return {"min": length(band.low_nm, unit), "max": length(band.high_nm, unit), **written}


def _ends(ends: Ends, unit: str) -> dict[str, Value]:
    return {"min": length(ends.min_nm, unit), "max": length(ends.max_nm, unit)}


def _chance(chance: float) -> Number:
    return Number(f"{min(max(chance, 0.0), 1.0):.7f}")


def _density(density: float, unit: str) -> Number:
    return Number(f"{density * NM_PER_UNIT[unit]:.6g}")
