"""The picture of `fitmatch range`: how clearances lie between the smallest and the largest."""

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
    per_unit = NM_PER_UNIT[unit]

    def draw(axes: "Axes") -> None:
        strokes = cycle((dashes, ink, width) for width in (1.0, 2.2) for dashes, ink in _STROKES)
        for row, (dashes, ink, width) in zip(found.rows, strokes, strict=False):
            points = list(curve(row))
            clearances, densities = [at / per_unit for at, _, _ in points], [density for _, density, _ in points]
            axes.plot(clearances, [density * per_unit for density in densities], linestyle=dashes, color=ink,
                      linewidth=width, label=plain(clean(row_name(row))))  # fmt: skip
        limits = [
            (name, nm) for row in found.rows for name, nm in (("min", row.stack.min_nm), ("max", row.stack.max_nm))
        ]
        for name, nm in dict.fromkeys(limits):
            if nm is not None:
                axes.axvline(nm / per_unit, color=INK, linewidth=0.6)
                axes.annotate(name, (nm / per_unit, 1.0), xycoords=("data", "axes fraction"), xytext=(2, -8),
                              textcoords="offset points")  # fmt: skip
        axes.set_ylim(bottom=0)
        axes.set_xlabel(f"clearance, {unit}, diametral")
        axes.set_ylabel(f"density, 1/{unit}")
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))

    notes = [assumed(found), "Limits at 20 °C; seating is left out."]
    if drawings.digest is not None:
        notes.append(f"Digest of job.toml: {drawings.digest}")
    title = clean(drawings.title) or "What the limits allow"
    return sheet(title, notes, [Panel("clearances that the limits allow", draw)], ending)
