"""The picture of `fitmatch film`: the thinnest film, and how warm it is, against clearance."""

from collections.abc import Iterator, Sequence
from itertools import cycle
from typing import TYPE_CHECKING, Any, Final

from fitmatch.intake.bearings import Runs
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.names import natural
from fitmatch.report.plots.paper import INK, PALE, Panel, legend_beside, plain, sheet
from fitmatch.report.shared.layout import clean
from fitmatch.report.text.films import STATES, cautions, how_hot, oils, outside_limits, what_was_given
from fitmatch.report.words.films import COMPARES
from fitmatch.study.film.films import FilmTable, Row

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

# Five marks with four strokes: twenty curves before one looks like another.
_MARKS: Final = ("o", "s", "^", "D", "v")
_DASHES: Final = ("-", "--", "-.", ":")
_LEAST_K: Final = 10.0  # shown of the temperatures: smaller differences are to look small
_NEAR: Final = 0.04  # of all clearances: names of points that are so near stand together
_MOST_NAMES: Final = 4
_CROSS: Final[Any] = {"marker": "x", "markersize": 6, "color": INK, "linestyle": "none"}


def films_picture(found: FilmTable, runs: Runs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for one answer: films of a sweep as curves, those of a plan as points
    with the names of their positions, and a cross where a film has a caution."""
    sloped = any(row.bearing.slope_nm for row in found.rows)
    title, name = "thinnest film", "min_film_thickness_um"
    if sloped:
        title, name = "thinnest film, at the tighter end", "edge_film_thickness_um"
    heated = any(row.effective_temperature_c is not None for row in found.rows)
    panels = [_panel(title, "um", name, found, unit, legend=not heated)]
    if heated:
        panels.append(_panel("temperature of the film", "°C", "effective_temperature_c", found, unit, legend=True))
    attention = [f"NEEDS ATTENTION (x): {clean(text)}" for text in cautions(found.rows)]
    notes = [*outside_limits(runs), *attention, COMPARES, *what_was_given(found.rows, unit), *oils(found.rows)]
    notes += how_hot(runs)
    if runs.digest:
        notes.append(f"Inputs' digest: {runs.digest}")
    return sheet(clean(runs.title) or "Steady oil films", notes, panels, ending)


def _panel(title: str, of: str, name: str, found: FilmTable, unit: str, *, legend: bool) -> Panel:
    def draw(axes: "Axes") -> None:
        curves = _curves(found)
        least = 0.0
        for (label, rows), mark, dashes in zip(curves.items(), cycle(_MARKS), cycle(_DASHES), strict=False):
            known = [row for row in rows if getattr(row, name) is not None]
            places = [(row.bearing.clearance_nm / NM_PER_UNIT[unit], getattr(row, name)) for row in known]
            in_plan = any(row.bearing.position for row in rows)
            stroke = "none" if in_plan else dashes
            x = [at for at, _ in places]
            # What has a caution leaves a gap in the curve: a pale stroke and crosses are not taken for good figures.
            good = [float("nan") if row.cautions else y for row, (_, y) in zip(known, places, strict=True)]
            axes.plot(x, good, marker=mark, markersize=3, color=INK, linestyle=stroke, linewidth=0.9, label=label,
                      markerfacecolor="none" if in_plan else INK)  # fmt: skip
            doubted = [place for row, place in zip(known, places, strict=True) if row.cautions]
            if doubted:
                axes.plot(x, [y for _, y in places], color=PALE, linestyle=stroke, linewidth=0.9, zorder=0)
                axes.plot(*zip(*doubted, strict=True), **_CROSS)
            for names, place in _named(known, places):
                axes.annotate(plain(clean(names)), place, xytext=(4, 4), textcoords="offset points", fontsize=7)
            _without_figures(axes, [row for row in rows if getattr(row, name) is None], unit)
            least = min([least, *(y for _, y in places)])
        low, high = axes.get_ylim()
        if of == "um":
            axes.set_ylim(1.1 * least, 1.1 * max(high, 0.0))
        elif high - low < _LEAST_K:
            middle = (low + high) / 2
            axes.set_ylim(middle - _LEAST_K / 2, middle + _LEAST_K / 2)
        axes.margins(x=0.1)
        axes.locator_params(axis="x", nbins=7)
        axes.set_xlabel(f"clearance, {unit}, diametral")
        axes.set_ylabel(of)
        if legend and len(curves) > 1:
            legend_beside(axes)

    return Panel(title, draw)


def _without_figures(axes: "Axes", rows: Sequence[Row], unit: str) -> None:
    """Crosses on the lower edge of the diagram, where films are that have no figure."""
    places = [(row.bearing.clearance_nm / NM_PER_UNIT[unit], 0.0) for row in rows]
    along = axes.get_xaxis_transform()
    if places:
        axes.plot(*zip(*places, strict=True), transform=along, clip_on=False, **_CROSS)
    for names, place in _named(rows, places):
        told = f"{plain(clean(names))}: no figure"
        axes.annotate(told, place, xycoords=along, xytext=(4, 4), textcoords="offset points", fontsize=7)


def _curves(found: FilmTable) -> dict[str, list[Row]]:
    """Rows that differ in their clearance alone, or in their position, by what they have in common."""
    several = {
        name: len({getattr(row.bearing, name) for row in found.rows}) > 1 for name in ("load_n", "width_nm", "state")
    }
    curves: dict[str, list[Row]] = {}
    for row in found.rows:
        bearing = row.bearing
        parts = [f"{bearing.speed_rpm:g} rpm"]
        if bearing.oil.viscosity_mpa_s is not None:
            parts.append(f"{bearing.oil.viscosity_mpa_s:g} mPa s")
        if several["load_n"] or several["width_nm"]:
            parts.append(f"{bearing.load_n:g} N on {bearing.width_nm / 1e6:g} mm")
        if several["state"]:
            parts.append(STATES[bearing.state] or "cold")
        curves.setdefault(", ".join(parts), []).append(row)
    return curves


def _named(rows: Sequence[Row], places: Sequence[tuple[float, float]]) -> Iterator[tuple[str, tuple[float, float]]]:
    """The positions of a curve, those that lie near each other together, with a place for their names."""
    points = sorted((place, row.bearing.position) for row, place in zip(rows, places, strict=True))
    reach = _NEAR * (points[-1][0][0] - points[0][0][0]) if points else 0.0
    near: dict[tuple[float, float], list[str]] = {}  # by the first place of each cluster
    for place, position in points:
        if position is not None:
            first = next((at for at in reversed(near) if place[0] - at[0] <= reach), place)
            near.setdefault(first, []).append(position)
    for place, names in near.items():
        more = [f"{len(names) - _MOST_NAMES} more"] if len(names) > _MOST_NAMES else []
        yield ", ".join([*sorted(names, key=natural)[:_MOST_NAMES], *more]), place
