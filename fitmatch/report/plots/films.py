"""The picture of `fitmatch film`: the thinnest film, and how warm it is, against clearance."""

from collections.abc import Callable, Iterable, Sequence
from itertools import cycle, product
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from fitmatch.intake.bearings import Runs
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.names import natural
from fitmatch.records.study.bearings import Bearing
from fitmatch.report.plots.paper import INK, PALE, Panel, legend_beside, plain, sheet
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.states import DANGER
from fitmatch.report.text.films import cautions, how_hot, left_out, oils, outside_limits, what_was_given
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
_BENDS: Final = 0.63  # of the height: below it the lines to the points are upright
_NAMES: Final = 0.68  # of the height where the names begin
_CROSS: Final[Any] = {"marker": "x", "markersize": 7, "markeredgewidth": 0.8, "color": INK, "linestyle": "none"}
_LEADER: Final = "leader"  # names the lines from names to points
_CROSSED: Final = "needs attention, see below"


class _Name(NamedTuple):
    """What is written above a point, or above several that are near each other, from the left."""

    rows: tuple[Row, ...]

    def text(self, most: int) -> str:
        """In so many lines at most, with as many of the names as go there and the number of the others; below, whether
        they are not to be assembled."""
        names = [whole(name) for name in sorted({row.bearing.position or "" for row in self.rows}, key=natural)]
        for shown in range(len(names), 0, -1):
            more = [whole(f"{len(names) - shown} more")] if shown < len(names) else []
            lines = wrap(", ".join([*names[:shown], *more]), _LETTERS)
            if len(lines) <= most:
                break
        else:
            lines = [f"{len(names)} positions"] if len(names) > 1 else lines[:most]
        outside = [_outside(row) for row in self.rows]
        danger = DANGER if all(outside) else f"some {DANGER}" if any(outside) else ""
        return "\n".join(plain(clean(line)) for line in [*lines, *wrap(danger, _LETTERS)])


def most_curves(runs: Runs) -> int:
    """How many curves can be told apart in one diagram."""
    return len(_MARKS) * len(_FILLINGS if runs.digest else _DASHES)


def curves(runs: Runs) -> int:
    """How many the fullest diagram has."""
    return max((len(_curves(some)) for some in _by_kind(runs.bearings).values()), default=0)


def films_picture(found: FilmTable, runs: Runs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for one answer: films of a sweep as curves, those of a plan kind by kind
    as points with the names of their positions, and a cross through those that have a caution or whose position is not
    to be assembled."""
    rows = {row.bearing: row for row in found.rows}
    panels = [
        panel
        for kind, bearings in _by_kind(rows).items()
        for panel in _panels(f"{clean(kind)}: " if kind else "", [rows[bearing] for bearing in bearings], unit)
    ]
    attention = [f"NEEDS ATTENTION (x): {text}" for text in cautions(found.rows, unit)]
    notes = [f"WARNING: {clean(text)}" for text in runs.warnings]
    notes += [*outside_limits(runs), *left_out(runs), *attention, COMPARES, *what_was_given(found.rows, unit)]
    notes += [*oils(found.rows), *how_hot(runs)]
    if runs.digest:
        notes.append(f"Inputs' digest: {runs.digest}")
    without = Panel("no position has a film", lambda axes: axes.set_axis_off())
    return sheet(clean(runs.title) or "Steady oil films", notes, panels or [without], ending)


def _by_kind(bearings: Iterable[Bearing]) -> dict[str, list[Bearing]]:
    """Of a sweep without a job all are of one kind without a name."""
    found: dict[str, list[Bearing]] = {}
    for bearing in bearings:
        found.setdefault(bearing.kind or "", []).append(bearing)
    return found


def _panels(told: str, rows: Sequence[Row], unit: str) -> list[Panel]:
    """The film and, where it depends on heat, its temperature."""
    sloped = any(row.bearing.slope_nm for row in rows)
    heated = any(row.bearing.oil.heats for row in rows)
    title = f"{told}thinnest film{', at the tighter end' if sloped else ''}"
    panels = [_panel(title, "um", _thinnest, rows, unit, legend=not heated)]
    if heated:
        panels.append(_panel(f"{told}temperature of the film", "°C", _warmest, rows, unit, legend=True))
    return panels


def _thinnest(row: Row) -> float | None:
    """At the tighter end; None where there is no figure, or no film."""
    film = row.edge_film_thickness_um
    return None if film is None or film <= 0 else film


def _warmest(row: Row) -> float | None:
    """None where there is no figure, or nothing can be told of an oil that hot."""
    at = row.effective_temperature_c
    return None if at is None or at > row.bearing.oil.drawn_to_c else at


def _outside(row: Row) -> bool:
    return row.bearing.within_limits is False


def _panel(
    title: str, of: str, value: Callable[[Row], float | None], rows: Sequence[Row], unit: str, *, legend: bool
) -> Panel:
    def draw(axes: "Axes") -> None:
        per_unit = NM_PER_UNIT[unit]
        at = {row.bearing: row for row in rows}
        several = _curves(at)
        for (label, bearings), shape, dashes, filling in zip(
            several.items(), cycle(_MARKS), cycle(_DASHES), cycle(_FILLINGS), strict=False
        ):
            in_plan = any(bearing.position for bearing in bearings)
            stroke, face = ("none", filling) if in_plan else (dashes, INK)
            shown: Any = {"marker": shape, "markersize": 4, "color": INK, "linewidth": 0.9, "markeredgewidth": 0.7,
                          "markerfacecolor": face}  # fmt: skip
            some = [at[bearing] for bearing in bearings]
            known = [(row, row.bearing.clearance_nm / per_unit, y) for row in some if (y := value(row)) is not None]
            x, heights = [place for _, place, _ in known], [height for *_, height in known]
            # What has a caution leaves a gap in the curve: a pale stroke and crosses are not taken for good figures.
            good = [float("nan") if mark(row) else height for row, _, height in known]
            axes.plot(x, good, linestyle=stroke, label=label, **shown)
            doubted = [place for row, *place in known if mark(row)]
            if doubted:
                axes.plot(x, heights, color=PALE, linestyle=stroke, linewidth=0.9, zorder=0)
                _crossed(axes, doubted, shown)
            lost = [(row.bearing.clearance_nm / per_unit, 0.0) for row in some if value(row) is None]
            if lost:
                _crossed(axes, lost, shown, transform=axes.get_xaxis_transform(), clip_on=False)
        crossed = any(map(mark, rows))
        if crossed:
            axes.plot([], [], label=_CROSSED, **_CROSS)
        axes.margins(x=0.1)
        values = [height for row in rows if (height := value(row)) is not None]
        _heights(axes, of, values, named=any(bearing.position for bearing in at))
        _write(axes, rows, value, per_unit)
        axes.locator_params(axis="x", nbins=7)
        without = "" if len(values) == len(rows) else " (x on the edge: no figure, or no film)"
        axes.set_xlabel(f"clearance, {unit}, diametral{without}")
        axes.set_ylabel(of)
        if legend and (len(several) > 1 or crossed):
            legend_beside(axes)

    return Panel(title, draw)


def _crossed(axes: "Axes", places: Sequence[Sequence[float]], shown: Any, **more: Any) -> None:
    """The mark of its curve at each place, and a cross through it."""
    x, y = zip(*places, strict=True)
    axes.plot(x, y, linestyle="none", **shown, **more)
    axes.plot(x, y, **_CROSS, **more)


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


def _named(rows: Sequence[Row], reach_nm: float, *, mixed: bool) -> list[_Name]:
    """The names of the points from the left, neighbours together whose clearances are near each other; those that are
    not to be assembled apart, unless `mixed`."""
    found: list[_Name] = []
    for row in sorted(rows, key=lambda row: (row.bearing.clearance_nm, _outside(row))):
        last = found[-1].rows if found else ()
        near = last and row.bearing.clearance_nm - last[0].bearing.clearance_nm <= reach_nm
        if near and (mixed or _outside(last[0]) is _outside(row)):
            found[-1] = _Name((*last, row))
        else:
            found.append(_Name((row,)))
    return found


def _write(axes: "Axes", rows: Sequence[Row], value: Callable[[Row], float | None], per_unit: int) -> None:
    """The names upright above the points, beside each other, each with a thin line to every point of its own, which is
    upright as far as the points go: none crosses another. Where there is no room for all, more of them stand
    together."""
    rows = [row for row in rows if row.bearing.position is not None]
    if not rows:
        return
    low, high = axes.get_xlim()
    bottom, top = axes.get_ylim()
    axes.set_xlim(low, high)
    axes.set_ylim(bottom, top)
    for mixed, most, near in (*product((False,), (_LINES, 1), (1.0, 2.0, 4.0, 8.0)), (True, 1, 8.0)):
        names = _named(rows, near * _NEAR * (high - low) * per_unit, mixed=mixed)
        texts = [one.text(most) for one in names]
        takes = [_LINE * (text.count("\n") + 1) for text in texts]
        if sum(takes) <= 1:
            break

    def across(row: Row) -> float:
        return (row.bearing.clearance_nm / per_unit - low) / (high - low)

    def up(row: Row) -> float:
        height = value(row)
        return 0.0 if height is None else (height - bottom) / (top - bottom)

    # Equal clearances begin at one place, whichever name they are under: names keep the order of their first points.
    wanted = [across(one.rows[0]) for one in names]
    for one, text, place in zip(names, texts, _apart(wanted, takes), strict=True):
        written: Any = {"rotation": 90, "ha": "center", "va": "bottom", "fontsize": 6.5}
        axes.text(place, _NAMES, text, transform=axes.transAxes, **written)
        for row in one.rows:
            x = [across(row), across(row), place]
            y = [up(row), _BENDS, _NAMES - 0.01]
            axes.plot(x, y, transform=axes.transAxes, color=PALE, linewidth=0.5, zorder=0, gid=_LEADER)


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
