"""The parts of the text report behind every clearance: its sum, its limits, its coatings."""

from typing import Final

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.parts import SIDES, Shell, Size
from fitmatch.records.shelf.shelved import ShelvedShell
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import is_coated
from fitmatch.rules.positions.guard import guard_of

_POSITION: Final = Column[Placement]("position", lambda p: whole(p.position.name), "left", wraps=True)


def sums(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """housing bore - journal - walls + seating = clearance, in numbers."""
    placements = plan.of_kind(kind)
    if not placements:
        return []
    seated = any(p.position.seating_nm for p in placements)
    rows = table(
        placements,
        _POSITION,
        Column("housing bore", lambda p: _mean(p.position.housing_bore, scale)),
        Column("- journal", lambda p: _mean(p.position.journal, scale)),
        Column("- walls", lambda p: scale.length(p.wall_sum_nm)),
        Column("+ seating", lambda p: scale.length(p.position.seating_nm, sign=True), shown=seated),
        Column("= clearance", lambda p: scale.length(p.clearance_nm)),
        Column(f"axis shift, {scale.step}", lambda p: scale.axis(p.twice_axis_shift_nm)),
    )
    return [*paragraph(clean(kind).upper()), *rows]


def limits(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """Every clearance between its limits, where the heading of the kind cannot say it for all positions: they differ in
    target, min or max, a guard draws them in, or repeated readings make the tightest clearance another than the mean
    one."""
    placements = plan.of_kind(kind)
    positions = [p for p in plan.job.positions if p.kind == kind]
    wished = any(p.wishes for p in positions)
    alike = len({(p.target_nm, p.min_nm, p.max_nm, p.want_min_nm, p.want_max_nm) for p in positions}) == 1
    guarded = guard_of(plan.job) > 0
    as_headed = alike and not guarded and all(p.clearance_tightest_nm == p.clearance_nm for p in placements)
    if not placements or as_headed:
        return []
    with_guard = "\nwith guard" if guarded else ""
    rows = table(
        placements,
        _POSITION,
        Column(f"min{with_guard}", lambda p: scale.length(p.limit_low_nm)),
        Column("clearance at the tightest", lambda p: scale.length(p.clearance_tightest_nm)),
        Column("wanted\nfrom", lambda p: scale.length(p.position.want_min_nm), shown=wished),
        Column("target", lambda p: scale.length(p.position.target_nm)),
        Column("clearance", lambda p: scale.length(p.clearance_nm)),
        Column("wanted\nto", lambda p: scale.length(p.position.want_max_nm), shown=wished),
        Column(f"max{with_guard}", lambda p: scale.length(p.limit_high_nm)),
    )
    return [*paragraph(clean(kind).upper()), *rows]


def coated(plan: JobPlan, scale: Scale) -> list[str]:
    """Both clearances of every bore in which a shell is coated."""
    return table(
        [p for p in plan.placements if is_coated(p)],
        _POSITION,
        Column("coating,\nupper shell", lambda p: _coating(p.upper, scale)),
        Column("coating,\nlower shell", lambda p: _coating(p.lower, scale)),
        Column("clearance over\nthe coating", lambda p: scale.length(p.clearance_over_coating_nm)),
        Column("clearance to\nthe metal", lambda p: scale.length(p.clearance_to_metal_nm)),
    )


def _mean(size: Size | None, scale: Scale) -> str:
    assert size is not None
    return scale.length(size.mean_nm)


def _coating(shell: Shell, scale: Scale) -> str:
    return scale.length(shell.coating_nm) if shell.coating_nm else "none"


def from_shelf(plan: JobPlan) -> list[str]:
    """Which shells of the shelf it places, where they lie, and when they were measured."""
    rows = [
        (one, p.position.name, side)
        for p in plan.placements
        for side, shell in zip(SIDES, (p.upper, p.lower), strict=True)
        if (one := plan.shelved.get(shell.key)) is not None
    ]
    return table(
        rows,
        Column("number", lambda row: str(row[0].number)),
        Column("shell", lambda row: whole(f"{row[0].box}/{row[0].shell}"), "left", wraps=True),
        Column("for", lambda row: f"{whole(row[1])} {row[2]}", "left", wraps=True),
        Column("location", lambda row: clean(row[0].location) or NOTHING, "left", wraps=True),
        Column("measured", lambda row: _measured(row[0]), "left", wraps=True),
    )


def _measured(one: ShelvedShell) -> str:
    if one.day_known or not one.day:
        return one.day or NOTHING
    return f"not known, taken in {one.day}"
