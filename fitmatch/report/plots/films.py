"""The picture of `fitmatch film`: the thinnest film, and how warm it is, against clearance."""

from collections.abc import Iterable, Sequence
from itertools import cycle, product
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from fitmatch.intake.bearings import Runs
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.names import natural
from fitmatch.records.bearings import Bearing
from fitmatch.report.plots.paper import INK, PALE, Panel, legend_beside, plain, sheet
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.states import DANGER
from fitmatch.report.text.films import cautions, how_hot, oils, outside_limits, what_was_given
from fitmatch.report.words.films import COMPARES, STATES, mark
from fitmatch.study.film.films import FilmTable, Row

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

# Five marks with four strokes, or of a plan with three fillings: that many curves before one looks like another.
_MARKS: Final = ("o", "s", "^", "D", "v")
_DASHES: Final = ("-", "--", "-.", ":")
_FILLINGS: Final = ("white", INK, PALE)
_LEAST_K: Final = 10.0  # shown of the temperatures: smaller differences are to look small
_NEAR: Final = 0.04  # of all clearances: names of points that are so near stand together
_LETTERS: Final = 14  # of a name on one line; names stand upright above the points
_LINES: Final = 3
_LINE: Final = 0.045  # of the width of a diagram that one line of a name takes
_POINTS: Final = 0.62  # of the height of a diagram with names that is left for the points
_CROSS: Final[Any] = {"marker": "x", "markersize": 6, "color": INK, "linestyle": "none"}


class _Name(NamedTuple):
    """What is written above a point, or above several that are near each other; `y` is that of the first, None where
    they have no figure. `danger`: not to be assembled."""

    x: float
    y: float | None
    names: tuple[str, ...]
    danger: bool

    def text(self, most: int) -> str:
        """In so many lines at most, with as many of the names as go there and the number of the others; below, that
        they are not to be assembled."""
        names = [whole(name) for name in sorted(self.names, key=natural)]
        for shown in range(len(names), 0, -1):
            more = [whole(f"{len(names) - shown} more")] if shown < len(names) else []
            lines = wrap(", ".join([*names[:shown], *more]), _LETTERS)
            if len(lines) <= most:
                break
        else:
            lines = [f"{len(names)} positions"] if len(names) > 1 else lines[:most]
        return "\n".join(plain(clean(line)) for line in [*lines, *wrap(DANGER * self.danger, _LETTERS)])


def most_curves(runs: Runs) -> int:
    """How many curves can be told apart in one diagram."""
    return len(_MARKS) * len(_FILLINGS if runs.digest else _DASHES)


def curves(runs: Runs) -> int:
    """How many the fullest diagram has."""
    return max((len(_curves(some)) for some in _by_kind(runs.bearings).values()), default=0)


def films_picture(found: FilmTable, runs: Runs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for one answer: films of a sweep as curves, those of a plan kind by kind
    as points with the names of their positions, and a cross where a film has a caution or its position is not to be
    assembled."""
    rows = {row.bearing: row for row in found.rows}
    panels = [
        panel
        for kind, bearings in _by_kind(rows).items()
        for panel in _panels(f"{clean(kind)}: " if kind else "", [rows[bearing] for bearing in bearings], unit)
    ]
    attention = [f"NEEDS ATTENTION (x): {clean(text)}" for text in cautions(found.rows, unit)]
    notes = [*outside_limits(runs), *attention, COMPARES, *what_was_given(found.rows, unit), *oils(found.rows)]
    notes += how_hot(runs)
    if runs.digest:
        notes.append(f"Inputs' digest: {runs.digest}")
    return sheet(clean(runs.title) or "Steady oil films", notes, panels, ending)


def _by_kind(bearings: Iterable[Bearing]) -> dict[str, list[Bearing]]:
    """Of a sweep without a job all are of one kind without a name."""
    found: dict[str, list[Bearing]] = {}
    for bearing in bearings:
        found.setdefault(bearing.kind or "", []).append(bearing)
    return found


def _panels(told: str, rows: Sequence[Row], unit: str) -> list[Panel]:
    """The film and, where it depends on heat, its temperature."""
    film, title = "min_film_thickness_um", "thinnest film"
    if any(row.bearing.slope_nm for row in rows):
        film, title = "edge_film_thickness_um", "thinnest film, at the tighter end"
    heated = any(row.bearing.oil.heats for row in rows)
    panels = [_panel(f"{told}{title}", "um", film, rows, unit, legend=not heated)]
    if heated:
        name = "effective_temperature_c"
        panels.append(_panel(f"{told}temperature of the film", "°C", name, rows, unit, legend=True))
    return panels


def _panel(title: str, of: str, name: str, rows: Sequence[Row], unit: str, *, legend: bool) -> Panel:
    def draw(axes: "Axes") -> None:
        per_unit = NM_PER_UNIT[unit]
        at = {row.bearing: row for row in rows}
        several = _curves(at)
        for (label, bearings), shape, dashes, filling in zip(
            several.items(), cycle(_MARKS), cycle(_DASHES), cycle(_FILLINGS), strict=False
        ):
            some = [at[bearing] for bearing in bearings]
            known = [row for row in some if getattr(row, name) is not None]
            x = [row.bearing.clearance_nm / per_unit for row in known]
            y = [getattr(row, name) for row in known]
            in_plan = any(bearing.position for bearing in bearings)
            stroke = "none" if in_plan else dashes
            # What has a caution leaves a gap in the curve: a pale stroke and crosses are not taken for good figures.
            good = [float("nan") if mark(row) else value for row, value in zip(known, y, strict=True)]
            axes.plot(x, good, marker=shape, markersize=4, color=INK, linestyle=stroke, linewidth=0.9, label=label,
                      markeredgewidth=0.7, markerfacecolor=filling if in_plan else INK)  # fmt: skip
            doubted = [place for row, *place in zip(known, x, y, strict=True) if mark(row)]
            if doubted:
                axes.plot(x, y, color=PALE, linestyle=stroke, linewidth=0.9, zorder=0)
                axes.plot(*zip(*doubted, strict=True), **_CROSS)
            lost = [row.bearing.clearance_nm / per_unit for row in some if getattr(row, name) is None]
            if lost:
                axes.plot(lost, [0.0] * len(lost), transform=axes.get_xaxis_transform(), clip_on=False, **_CROSS)
        axes.margins(x=0.1)
        values = [value for row in rows if (value := getattr(row, name)) is not None]
        _heights(axes, of, values, named=any(bearing.position for bearing in at))
        _write(axes, rows, name, per_unit)
        axes.locator_params(axis="x", nbins=7)
        without = "" if len(values) == len(rows) else " (x on the edge: no figure)"
        axes.set_xlabel(f"clearance, {unit}, diametral{without}")
        axes.set_ylabel(of)
        if legend and len(several) > 1:
            legend_beside(axes)

    return Panel(title, draw)


def _heights(axes: "Axes", of: str, values: Sequence[float], *, named: bool) -> None:
    """What is shown of the heights: films from zero, temperatures from about the lowest; with room above for names."""
    if not values:
        axes.set_yticks([])
        return
    low, high = min(values), max(values)
    if of == "um":
        low = min(low, 0.0)
    elif high - low < _LEAST_K:
        low = (low + high - _LEAST_K) / 2
        high = low + _LEAST_K
    high = max(high, low + 0.1)
    share = _POINTS if named else 0.93
    bottom = low - (0.0 if low == 0 else 0.07 * (high - low))
    axes.set_ylim(bottom, bottom + (high - bottom) / share)


def _curves(bearings: Iterable[Bearing]) -> dict[str, list[Bearing]]:
    """Those that differ in their clearance alone, or in their position, by what they have in common and others have
    not."""
    bearings = list(bearings)
    speeds = len({b.speed_rpm for b in bearings}) > 1
    viscosities = len({b.oil.viscosity_mpa_s for b in bearings}) > 1
    hot = any(b.state != "cold" for b in bearings)
    found: dict[str, list[Bearing]] = {}
    for b in bearings:
        parts = [f"{b.speed_rpm:g} rpm"] if speeds else []
        parts += [f"{b.oil.viscosity_mpa_s:g} mPa s"] if viscosities else []
        parts += [STATES[b.state]] if hot else []
        found.setdefault(", ".join(parts), []).append(b)
    return found


def _named(rows: Sequence[Row], name: str, per_unit: int, reach: float) -> list[_Name]:
    """The positions of rows of one state, those whose clearances are near each other together, whatever the speed, but
    those that are not to be assembled and those without a figure apart."""
    found: list[_Name] = []
    for row in sorted(rows, key=lambda row: (row.bearing.clearance_nm, -(getattr(row, name) or 0.0))):
        if row.bearing.position is None:
            continue
        danger = row.bearing.within_limits is False
        one = _Name(row.bearing.clearance_nm / per_unit, getattr(row, name), (row.bearing.position,), danger)
        for at, near in enumerate(found):
            alike = (near.y is None, near.danger) == (one.y is None, danger)
            if alike and one.x - near.x <= reach:
                found[at] = near._replace(names=tuple(dict.fromkeys(near.names + one.names)))
                break
        else:
            found.append(one)
    return found


def _write(axes: "Axes", rows: Sequence[Row], name: str, per_unit: int) -> None:
    """The names upright above the points of each state, beside each other, each with a thin line to its highest point.
    Where there is no room for all, more of them stand together."""
    low, high = axes.get_xlim()
    states = [[row for row in rows if row.bearing.state == state] for state in STATES]
    for most, near in product((_LINES, 1), (1.0, 2.0, 4.0, 8.0)):
        reach = near * _NEAR * (high - low)
        names = sorted((one for some in states for one in _named(some, name, per_unit, reach)), key=lambda one: one.x)
        texts = [one.text(most) for one in names]
        takes = [_LINE * (text.count("\n") + 1) for text in texts]
        if sum(takes) <= 1:
            break
    wanted = [(one.x - low) / (high - low) for one in names]
    for one, text, place in zip(names, texts, _apart(wanted, takes), strict=True):
        axes.annotate(
            text,
            (one.x, 0.0 if one.y is None else one.y),
            xycoords=axes.get_xaxis_transform() if one.y is None else "data",
            xytext=(place, _POINTS + 0.06),
            textcoords="axes fraction",
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=6.5,
            arrowprops={"arrowstyle": "-", "color": PALE, "linewidth": 0.5, "shrinkA": 1, "shrinkB": 3},
        )


def _apart(wanted: Sequence[float], takes: Sequence[float]) -> list[float]:
    """Places near those wanted, in their order, none over another and, if there is room, none beyond 0 and 1."""
    places: list[float] = []
    end = 0.0
    for place, width in zip(wanted, takes, strict=True):
        places.append(max(place, end + width / 2))
        end = places[-1] + width / 2
    start = 1.0
    for at in reversed(range(len(places))):
        if places[at] + takes[at] / 2 <= start:
            break
        places[at] = start - takes[at] / 2
        start = places[at] - takes[at] / 2
    return places
