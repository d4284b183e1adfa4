"""The picture of `fitmatch range`: how clearances lie between the smallest and the largest."""

from collections.abc import Callable
from itertools import cycle
from typing import TYPE_CHECKING, Final

from fitmatch.intake.stacks import Drawings
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.data.ranges import curve
from fitmatch.report.plots.paper import INK, PALE, Panel, legend_beside, plain, sheet
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.scale import usual
from fitmatch.report.text.ranges import assumed, no_clearance, rests_on, rows_told
from fitmatch.report.words.stacks import row_name
from fitmatch.study.drawings.ranges import Range

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

# Strokes and greys tell the rows apart; when they begin again the line is thicker.
_STROKES: Final = (("-", INK), ("--", INK), ("-.", INK), (":", INK), ("-", PALE), ("--", PALE))


def ranges_picture(found: Range, drawings: Drawings, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer."""
    notes = [*no_clearance(found.rows), *rows_told(found, unit), assumed(found), *rests_on(drawings)]
    panels = [_densities(found, unit), _chances(found, unit)]
    return sheet(clean(drawings.title) or "What the limits allow", notes, panels, ending)


def _densities(found: Range, unit: str) -> Panel:
    def draw(axes: "Axes") -> None:
        _curves(axes, found, unit, lambda density, _: density * NM_PER_UNIT[unit])
        axes.set_ylabel(f"density, 1/{unit}")

    return Panel("how likely each clearance is", draw)


def _chances(found: Range, unit: str) -> Panel:
    def draw(axes: "Axes") -> None:
        _curves(axes, found, unit, lambda _, below: below)
        axes.set_yticks([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
        axes.set_ylabel("chance of less")
        legend_beside(axes)

    return Panel("chance that the clearance is smaller", draw)


def _curves(axes: "Axes", found: Range, unit: str, height: Callable[[float, float], float]) -> None:
    """One curve for each row, of what `height` makes of density and chance; min and max as lines across."""
    per_unit = NM_PER_UNIT[unit]
    strokes = cycle((dashes, ink, width) for width in (1.0, 2.2) for dashes, ink in _STROKES)
    for row, (dashes, ink, width) in zip(found.rows, strokes, strict=False):
        points = list(curve(row))
        clearances, heights = [at / per_unit for at, _, _ in points], [height(*point[1:]) for point in points]
        label = plain(clean(row_name(row)))
        axes.plot(clearances, heights, linestyle=dashes, color=ink, linewidth=width, label=label)
    limits = [(name, nm) for row in found.rows for name, nm in (("min", row.stack.min_nm), ("max", row.stack.max_nm))]
    different = [(name, nm) for name, nm in dict.fromkeys(limits) if nm is not None]
    axes.set_ylim(0.0, axes.get_ylim()[1] * (1.05 + 0.05 * len(different)))  # room for the names of limits
    for at, (name, nm) in enumerate(different):
        axes.axvline(nm / per_unit, color=INK, linewidth=0.6)
        place, beside = (nm / per_unit, 1.0), ("data", "axes fraction")
        text = f"{name} {usual(unit, nm)}"
        axes.annotate(
            text, place, xycoords=beside, xytext=(2, -8 - 9 * at), textcoords="offset points", fontsize=7,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
        )  # fmt: skip
    axes.locator_params(axis="x", nbins=6)
    axes.set_xlabel(f"clearance, {unit}, diametral")
