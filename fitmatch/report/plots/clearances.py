"""The clearance of every position between its limits."""

from typing import TYPE_CHECKING, Final

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.parts import Position
from fitmatch.report.plots.paper import INK, PALE, Panel, plain
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.states import DANGER

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty.combining import Uncertainty
    from fitmatch.report.plots.paper import Axes

MOST_NAMES: Final = 30  # more would stand on each other


def clearances(told: str, one: JobPlan, kind: str, unit: str, strategy: str) -> Panel:
    """For one kind of a job by this strategy: limits as bars, targets as strokes, clearances as dots with their
    uncertainty, as crosses where they are outside; a position that is not filled has no dot."""

    def draw(axes: "Axes") -> None:
        placed, certainty = one.by_position(), Certainty(one)
        rows = [(position, placed.get(position.key)) for position in one.job.positions if position.kind == kind]
        known = [None if p is None else certainty.of(p) for _, p in rows]
        for at, ((position, p), uncertainty) in enumerate(zip(rows, known, strict=True)):
            between_limits(axes, at, position, p, uncertainty, unit)
        if len(rows) <= MOST_NAMES:
            axes.set_yticks(range(len(rows)), [_named(position, filled=p is not None) for position, p in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        bars = ", whiskers U" if any(known) else ""
        axes.locator_params(axis="x", nbins=6)
        outside = "" if all(p.within_limits for _, p in rows if p is not None) else f"\nx: outside, {DANGER}"
        axes.set_xlabel(f"clearance, {unit} (bar: limits, dotted: target{bars}){outside}")

    return Panel(f"{told}: clearances by strategy {strategy}", draw)


def between_limits(
    axes: "Axes", at: int, position: Position, p: Placement | None, uncertainty: "Uncertainty | None", unit: str
) -> None:
    """One row: the limits, drawn in if a guard does so, the target, and the clearance if the position is filled."""
    per_unit = NM_PER_UNIT[unit]
    axes.use_sticky_edges = False  # a limit is not the end of the diagram
    low, high = (position.min_nm, position.max_nm) if p is None else (p.limit_low_nm, p.limit_high_nm)
    if low is not None and high is not None:
        axes.barh(at, (high - low) / per_unit, left=low / per_unit, height=0.5, color="0.9", edgecolor=PALE)
    for end, dashes in ((low, "-"), (high, "-"), (position.target_nm, ":")):
        if end is not None:
            axes.plot([end / per_unit] * 2, [at - 0.25, at + 0.25], color=INK, linewidth=1, linestyle=dashes)
    if p is not None:
        axes.errorbar(
            p.clearance_nm / per_unit,
            at,
            xerr=None if uncertainty is None else uncertainty.expanded_nm / per_unit,
            marker="o" if p.within_limits else "x",
            markersize=4,
            color=INK,
            capsize=2,
            linewidth=1,
        )


def _named(position: Position, *, filled: bool) -> str:
    name = plain(clean(position.name))
    return name if filled else f"{name}, not filled"
