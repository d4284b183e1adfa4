"""The picture of `fitmatch range`: how clearances lie between the smallest and the largest."""

from collections.abc import Callable
from itertools import cycle
from typing import TYPE_CHECKING, Final

from fitmatch.intake.stacks import Drawings
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.data.ranges import curve
from fitmatch.report.plots.paper import INK, PALE, Panel, plain, sheet
from fitmatch.report.shared.layout import clean
from fitmatch.report.text.ranges import assumed
from fitmatch.report.words.stacks import row_name
from fitmatch.study.drawings.ranges import Range

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

# Strokes and greys tell the rows apart; when they begin again the line is thicker.
_STROKES: Final = (("-", INK), ("--", INK), ("-.", INK), (":", INK), ("-", PALE), ("--", PALE))


def ranges_picture(found: Range, drawings: Drawings, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer."""
    notes = [assumed(found), "Limits at 20 °C; seating is left out."]
    if drawings.digest is not None:
        notes.append(f"Digest of job.toml: {drawings.digest}")
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
        axes.set_ylabel("chance of less")
        axes.legend()

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
    for name, nm in dict.fromkeys(limits):
        if nm is not None:
            axes.axvline(nm / per_unit, color=INK, linewidth=0.6)
            place, beside = (nm / per_unit, 1.0), ("data", "axes fraction")
            axes.annotate(name, place, xycoords=beside, xytext=(2, -8), textcoords="offset points")
    axes.set_ylim(bottom=0)
    axes.locator_params(axis="x", nbins=6)
    axes.set_xlabel(f"clearance, {unit}, diametral")
