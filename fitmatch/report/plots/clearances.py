"""The clearance of every position between its limits."""

from typing import TYPE_CHECKING, Final

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.parts import Position
from fitmatch.records.plans import JobPlan
from fitmatch.report.plots.paper import INK, PALE, Panel, plain
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.states import DANGER

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes

_MOST_NAMES: Final = 30  # more would stand on each other


def clearances(told: str, one: JobPlan, kind: str, unit: str) -> Panel:
    """For one kind of a job: limits as bars, targets as strokes, clearances as dots with their uncertainty, as crosses
    where they are outside; the row of a position that is not filled is empty."""

    def draw(axes: "Axes") -> None:
        placed, certainty, per_unit = one.by_position(), Certainty(one), NM_PER_UNIT[unit]
        rows = [(position, placed.get(position.key)) for position in one.job.positions if position.kind == kind]
        axes.use_sticky_edges = False  # a limit is not the end of the diagram
        known = False
        for at, (_, p) in enumerate(rows):
            if p is None:
                continue
            clearance, target = p.clearance_nm / per_unit, (p.position.target_nm or 0) / per_unit
            low, high = p.limit_low_nm, p.limit_high_nm
            if low is not None and high is not None:
                axes.barh(at, (high - low) / per_unit, left=low / per_unit, height=0.5, color="0.9", edgecolor=PALE)
            for end in (low, high):
                if end is not None:
                    axes.plot([end / per_unit] * 2, [at - 0.25, at + 0.25], color=INK, linewidth=1)
            axes.plot([target] * 2, [at - 0.25, at + 0.25], color=INK, linewidth=1, linestyle=":")
            uncertainty = certainty.of(p)
            known |= uncertainty is not None
            axes.errorbar(
                clearance,
                at,
                xerr=None if uncertainty is None else uncertainty.expanded_nm / per_unit,
                marker="o" if p.within_limits else "x",
                markersize=4,
                color=INK,
                capsize=2,
                linewidth=1,
            )
        if len(rows) <= _MOST_NAMES:
            axes.set_yticks(range(len(rows)), [_named(position, filled=p is not None) for position, p in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        bars = ", whiskers U" if known else ""
        axes.locator_params(axis="x", nbins=6)
        outside = "" if all(p.within_limits for _, p in rows if p is not None) else f"; x: outside, {DANGER}"
        axes.set_xlabel(f"clearance, {unit} (bar: limits, dotted: target{bars}{outside})")

    return Panel(f"{told}: clearances by strategy target", draw)


def _named(position: Position, *, filled: bool) -> str:
    name = plain(clean(position.name))
    return name if filled else f"{name}, not filled"
