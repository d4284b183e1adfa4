"""Oil films as one JSON document, described by films.schema.json, and as CSV."""

from collections.abc import Iterator
from typing import Final

from fitmatch.gauging.sizes.materials import MATERIALS
from fitmatch.intake.bearings import Hot, Runs
from fitmatch.report.shared.emit import Number, Value, document, length, rows_text
from fitmatch.report.shared.states import DANGER
from fitmatch.report.words.films import beside, flow_of, how_hot_is_known
from fitmatch.study.film.films import FilmTable, Row
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added
_GIVEN: Final = (
    *("position", "kind", "state", "within_limits", "remark", "clearance", "journal", "width", "slope", "lands"),
    *("speed_rpm", "load_n", "feed_pressure_mpa", "constant_viscosity_mpa_s", "oil_40_mm2_s", "oil_100_mm2_s"),
    *("oil_table", "oil_margin_k", "high_shear_mpa_s", "density_15_kg_m3", "density_slope_kg_m3_k"),
    *("heat_capacity_j_kg_k", "inlet_temperature_c"),
)
LENGTHS: Final = ("clearance", "journal", "width", "slope")
_FOUND: Final = tuple(name for name in Row._fields if name not in ("bearing", "cautions"))
COLUMNS: Final = (*_GIVEN, *_FOUND, "flow", "cautions", "caution")


def films_document(found: FilmTable, runs: Runs, unit: str) -> str:
    """The whole document, clearance, journal, width and slope in `unit`, ending in a line break."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": runs.title,
            "unit": unit,
            "caution": " ".join(beside(found.rows, how_hot_is_known(runs.bearings))),
            "rows": [film_value(row, unit) for row in found.rows],
            "hot": [_hot(hot) for hot in runs.hot],
            "left_out": runs.left_out,
            "empty": runs.empty,
            "outside": runs.outside,
            "warnings": runs.warnings,
            "digest": runs.digest,
        }
    )


def films_rows(found: FilmTable, unit: str) -> str:
    """One CSV row per film, each with what such a film cannot tell."""
    return rows_text(COLUMNS, LENGTHS, unit, film_records(found, unit))


def film_records(found: FilmTable, unit: str) -> Iterator[dict[str, Value]]:
    """The cells of each film by column; what is said of hot clearances is the same in every hot row."""
    hot = how_hot_is_known(row.bearing for row in found.rows)
    for row in found.rows:
        yield {
            **film_value(row, unit),
            "oil_table": ", ".join(f"{at:g}: {viscosity:g}" for at, viscosity in row.bearing.oil.table),
            "cautions": " ".join(row.cautions),
            "caution": " ".join(beside([row], hot if row.bearing.state != "cold" else ())),
        }


def film_value(row: Row, unit: str) -> dict[str, Value]:
    """One film, with what was given of its bearing."""
    bearing, oil = row.bearing, row.bearing.oil
    return {
        "position": bearing.position,
        "kind": bearing.kind,
        "state": bearing.state,
        "within_limits": bearing.within_limits,
        "remark": DANGER if bearing.within_limits is False else None,
        "clearance": length(bearing.clearance_nm, unit),
        "journal": length(bearing.journal_nm, unit),
        "width": length(bearing.width_nm, unit),
        "slope": length(bearing.slope_nm, unit),
        "lands": bearing.lands,
        "speed_rpm": figure(bearing.speed_rpm),
        "load_n": figure(bearing.load_n),
        "feed_pressure_mpa": figure(bearing.feed_pressure_mpa),
        "constant_viscosity_mpa_s": figure(oil.viscosity_mpa_s),
        "oil_40_mm2_s": figure(oil.oil_40_mm2_s),
        "oil_100_mm2_s": figure(oil.oil_100_mm2_s),
        "oil_table": [[figure(at), figure(viscosity)] for at, viscosity in oil.table] or None,
        "oil_margin_k": figure(oil.margin_k) if oil.heats else None,
        "high_shear_mpa_s": figure(oil.high_shear_mpa_s),
        "density_15_kg_m3": figure(oil.density_kg_m3),
        "density_slope_kg_m3_k": figure(oil.density_slope_kg_m3_k),
        "heat_capacity_j_kg_k": figure(oil.heat_capacity_j_kg_k),
        "inlet_temperature_c": figure(oil.inlet_c),
        **{name: figure(getattr(row, name)) for name in _FOUND},
        "flow": flow_of(row),
        "cautions": row.cautions,
    }


def _hot(hot: Hot) -> dict[str, Value]:
    """What the hot clearances of a kind are estimated from."""
    return {
        "kind": hot.kind,
        "housing_temperature_c": figure(hot.housing_c),
        "journal_temperature_c": figure(hot.journal_c),
        "housing_expansion_per_k": figure(hot.housing_per_k),
        "journal_expansion_per_k": figure(hot.journal_per_k),
        "shell_expansion_per_k": figure(float(MATERIALS["steel"])),
    }


def figure(value: float | None) -> Number | None:
    """Seven digits: more would only look exact."""
    return None if value is None else Number(f"{value:.7g}")
