"""The picture of `fitmatch range`: how clearances lie between the smallest and the largest."""

from io import BytesIO
from itertools import cycle
from typing import Final

from fitmatch.intake.stacks import Drawings
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.data.ranges import curve
from fitmatch.report.words.stacks import row_name
from fitmatch.study.drawings.ranges import Range

_STYLES: Final = (
    ("-", "#1b4f8a"),
    ("--", "#a23b00"),
    ("-.", "#1d6b3a"),
    (":", "#5b2c83"),
    ((0, (7, 2, 1, 2)), "#333333"),
)


def ranges_picture(found: Range, drawings: Drawings, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer. Lines differ by dashes, not by colour alone."""
    import matplotlib
    from matplotlib.figure import Figure

    per_unit = NM_PER_UNIT[unit]
    figure = Figure(figsize=(8.4, 4.6), layout="constrained")
    axes = figure.subplots()
    for row, (dashes, colour) in zip(found.rows, cycle(_STYLES), strict=False):
        points = list(curve(row))
        clearances = [at / per_unit for at, _, _ in points]
        heights = [density * per_unit for _, density, _ in points]
        axes.plot(clearances, heights, linestyle=dashes, color=colour, label=row_name(row))
    limits = {(which, nm) for row in found.rows for which, nm in (("min", row.stack.min_nm), ("max", row.stack.max_nm))}
    for which, nm in sorted(limits, key=str):
        if nm is not None:
            axes.axvline(nm / per_unit, color="black", linewidth=0.9)
            axes.annotate(which, (nm / per_unit, 1.0), xycoords=("data", "axes fraction"), xytext=(2, -10),
                          textcoords="offset points", fontsize=8)  # fmt: skip
    axes.set_ylim(bottom=0)
    axes.set_xlabel(f"clearance, diametral [{unit}]")
    axes.set_ylabel(f"density [1/{unit}]")
    figure.legend(loc="outside right upper", frameon=False, fontsize=8)
    axes.set_title(drawings.title or "Clearances that the limits allow", fontsize=10, loc="left")
    under = f"each part {found.shape} between its limits, shared {found.shared:g}; at 20 °C, without seating"
    if drawings.digest is not None:
        under += f"\njob.toml {drawings.digest}"
    figure.supxlabel(under, fontsize=7, x=0.01, ha="left")
    out = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "fitmatch", "svg.fonttype": "none"}):
        figure.savefig(out, format=ending, dpi=150, metadata={"Date": None} if ending == "svg" else None)
    return out.getvalue()
