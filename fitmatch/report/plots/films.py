"""The picture of `fitmatch film`: the thinnest film, and how warm it is, against clearance."""

from io import BytesIO
from itertools import cycle
from typing import Final

from fitmatch.intake.bearings import Runs
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.data.films import COMPARES
from fitmatch.study.film.films import FilmTable, Row

_MARKS: Final = (("o", "-"), ("s", "--"), ("^", "-."), ("D", ":"), ("v", "-"))


def films_picture(found: FilmTable, runs: Runs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer. Curves differ by marks and dashes."""
    import matplotlib
    from matplotlib.figure import Figure

    heated = any(row.temperature_rise_k is not None for row in found.rows)
    figure = Figure(figsize=(8.4, 6.4 if heated else 4.2), layout="constrained")
    panels = figure.subplots(2 if heated else 1, 1, squeeze=False)[:, 0]
    shown = [("min_film_thickness_um", "thinnest film [um]"), ("effective_temperature_c", "film at [°C]")]
    for axes, (name, label) in zip(panels, shown, strict=False):
        for (what, rows), (mark, dashes) in zip(_curves(found).items(), cycle(_MARKS), strict=False):
            known = [row for row in rows if getattr(row, name) is not None]
            clearances = [row.bearing.clearance_nm / NM_PER_UNIT[unit] for row in known]
            line = "none" if known and known[0].bearing.position else dashes
            axes.plot(clearances, [getattr(row, name) for row in known], marker=mark, markersize=3, linestyle=line,
                      color="black", linewidth=0.9, label=what)  # fmt: skip
            for row, at in zip(known, clearances, strict=True):
                if row.bearing.position:
                    axes.annotate(row.bearing.position, (at, getattr(row, name)), xytext=(3, 3), fontsize=7,
                                  textcoords="offset points")  # fmt: skip
        axes.set_ylabel(label)
        axes.spines[["top", "right"]].set_visible(False)
    panels[-1].set_xlabel(f"clearance, diametral [{unit}]")
    panels[0].set_title(runs.title or "Steady oil films", fontsize=10, loc="left")
    if len(_curves(found)) > 1:
        panels[0].legend(frameon=False, fontsize=8)
    under = COMPARES + (f"\nInputs' digest: {runs.digest}" if runs.digest else "")
    figure.supxlabel(under, fontsize=7, x=0.01, ha="left")
    out = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "fitmatch", "svg.fonttype": "none"}):
        figure.savefig(out, format=ending, dpi=150, metadata={"Date": None} if ending == "svg" else None)
    return out.getvalue()


def _curves(found: FilmTable) -> dict[str, list[Row]]:
    """Rows that differ in their clearance alone, by what they have in common."""
    curves: dict[str, list[Row]] = {}
    for row in found.rows:
        bearing = row.bearing
        viscosity = "" if bearing.oil.viscosity_mpa_s is None else f", {bearing.oil.viscosity_mpa_s:g} mPa s"
        curves.setdefault(f"{bearing.speed_rpm:g} rpm{viscosity}", []).append(row)
    return curves
