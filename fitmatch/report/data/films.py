"""Oil films as one JSON document, described by films.schema.json, and as CSV."""

from typing import Final

from fitmatch.intake.bearings import Runs
from fitmatch.report.shared.emit import Number, Value, document, length, rows_text
from fitmatch.report.words.films import beside, flow_of
from fitmatch.study.film.films import FilmTable, Row
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added
_LENGTHS: Final = ("clearance", "journal", "width")
_GIVEN: Final = ("position", "state", "clearance", "journal", "width", "lands", "speed_rpm", "load_n",
                 "feed_pressure_mpa", "inlet_temperature_c", "heat_capacity_j_kg_k",
                 "high_shear_mpa_s")  # fmt: skip
_FOUND: Final = tuple(name for name in Row._fields if name not in ("bearing", "cautions"))


def films_document(found: FilmTable, runs: Runs, unit: str) -> str:
    """The whole document, clearance, journal and width in `unit`, ending in a line break."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": runs.title,
            "unit": unit,
            "caution": " ".join(beside(found.rows)),
            "rows": [film_value(row, unit) for row in found.rows],
            "left_out": runs.left_out,
            "empty": runs.empty,
            "outside": runs.outside,
            "warnings": runs.warnings,
            "digest": runs.digest,
        }
    )


def films_rows(found: FilmTable, unit: str) -> str:
    """One CSV row per film."""
    rows = ({**film_value(row, unit), "cautions": " ".join(row.cautions)} for row in found.rows)
    return rows_text((*_GIVEN, *_FOUND, "flow", "cautions"), _LENGTHS, unit, rows)


def film_value(row: Row, unit: str) -> dict[str, Value]:
    """One film, with what was given of its bearing."""
    bearing = row.bearing
    return {
        "position": bearing.position,
        "state": bearing.state,
        "clearance": length(bearing.clearance_nm, unit),
        "journal": length(bearing.journal_nm, unit),
        "width": length(bearing.width_nm, unit),
        "lands": bearing.lands,
        "speed_rpm": figure(bearing.speed_rpm),
        "load_n": figure(bearing.load_n),
        "feed_pressure_mpa": figure(bearing.feed_pressure_mpa),
        "inlet_temperature_c": figure(bearing.oil.inlet_c),
        "heat_capacity_j_kg_k": figure(bearing.oil.heat_capacity_j_kg_k),
        "high_shear_mpa_s": figure(bearing.oil.high_shear_mpa_s),
        **{name: figure(getattr(row, name)) for name in _FOUND},
        "flow": flow_of(row),
        "cautions": row.cautions,
    }


def figure(value: float | None) -> Number | None:
    """Seven digits: more would only look exact."""
    return None if value is None else Number(f"{value:.7g}")
