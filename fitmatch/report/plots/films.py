"""The picture of `fitmatch film`: the thinnest film, and how warm it is, against clearance."""

from itertools import cycle
from typing import TYPE_CHECKING, Final

from fitmatch.intake.bearings import Runs
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.plots.paper import INK, Panel, plain, sheet
from fitmatch.report.shared.layout import clean
from fitmatch.report.text.films import what_was_given
from fitmatch.report.words.films import beside
from fitmatch.study.film.films import FilmTable, Row

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

_MARKS: Final = (("o", "-"), ("s", "--"), ("^", "-."), ("D", ":"), ("v", "-"), ("x", "--"))


def films_picture(found: FilmTable, runs: Runs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for one answer: films of a sweep as curves, those of a plan as points
    with the names of their positions."""
    panels = [_panel("thinnest film", "um", "min_film_thickness_um", found, unit)]
    if any(row.effective_temperature_c is not None for row in found.rows):
        panels.append(_panel("temperature of the film", "°C", "effective_temperature_c", found, unit))
    notes = [*beside(found.rows), *what_was_given(found.rows, unit)]
    if runs.digest:
        notes.append(f"Inputs' digest: {runs.digest}")
    return sheet(clean(runs.title) or "Steady oil films", notes, panels, ending)


def _panel(title: str, of: str, name: str, found: FilmTable, unit: str) -> Panel:
    def draw(axes: "Axes") -> None:
        curves = _curves(found)
        for (label, rows), (mark, dashes) in zip(curves.items(), cycle(_MARKS), strict=False):
            known = [row for row in rows if getattr(row, name) is not None]
            clearances = [row.bearing.clearance_nm / NM_PER_UNIT[unit] for row in known]
            values = [getattr(row, name) for row in known]
            in_plan = any(row.bearing.position for row in known)
            axes.plot(clearances, values, marker=mark, markersize=3, linestyle="none" if in_plan else dashes, color=INK,
                      linewidth=0.9, label=label)  # fmt: skip
            for row, at, value in zip(known, clearances, values, strict=True):
                if row.bearing.position:
                    axes.annotate(plain(clean(row.bearing.position)), (at, value), xytext=(3, 3),
                                  textcoords="offset points")  # fmt: skip
        axes.set_xlabel(f"clearance, {unit}, diametral")
        axes.set_ylabel(of)
        if len(curves) > 1:
            axes.legend()

    return Panel(title, draw)


def _curves(found: FilmTable) -> dict[str, list[Row]]:
    """Rows that differ in their clearance alone, by what they have in common."""
    curves: dict[str, list[Row]] = {}
    for row in found.rows:
        bearing = row.bearing
        viscosity = "" if bearing.oil.viscosity_mpa_s is None else f", {bearing.oil.viscosity_mpa_s:g} mPa s"
        curves.setdefault(f"{bearing.speed_rpm:g} rpm{viscosity}", []).append(row)
    return curves
