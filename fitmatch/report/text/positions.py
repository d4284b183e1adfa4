"""The part of the text report that goes to the bench: which shell goes where, the sum behind every clearance, its
limits."""

from collections.abc import Callable, Sequence
from math import ceil
from typing import Final

from fitmatch.records.keys import full_name
from fitmatch.records.parts import Position, Shell, Size
from fitmatch.records.placements import Placement
from fitmatch.records.plans import JobPlan
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER, clearance_over_coating, clearance_to_metal, is_coated
from fitmatch.rules.positions.guard import guard_of

NOT_FILLED = "NOT FILLED"
NOT_MEASURED = "NOT YET MEASURED"
_POSITION: Final = Column[Placement]("position", lambda p: whole(p.position.name), "left", wraps=True)


def shell_name(shell: Shell) -> str:
    return whole(full_name(shell.key))


def placed_shell(placement: Placement, side: str) -> str:
    """The name of the upper or lower shell of a bore, and whether the user locked it there."""
    shell: Shell = getattr(placement, side)
    return f"{shell_name(shell)} locked" if getattr(placement.position, side) is not None else shell_name(shell)


def which_shell_goes_where(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """Every position of the kind in file order, also those that stay empty."""
    placed = plan.by_position()
    positions = [p for p in plan.job.positions if p.kind == kind]
    remarks = {p.key: _remark(plan, p, placed.get(p.key)) for p in positions}
    moved = any(p.housing is not None for p in positions)

    def of(show: Callable[[Placement], str]) -> Callable[[Position], str]:
        return lambda position: show(placed[position.key]) if position.key in placed else NOTHING

    heading = f"{clean(kind).upper()}: which shell goes where ({target_and_limits(positions, scale)})"
    rows = table(
        positions,
        Column("position", lambda p: whole(p.name), "left", wraps=True),
        Column("its\nhousing", lambda p: whole(p.housing or p.name), "left", wraps=True, shown=moved),
        Column("upper\nshell", of(lambda p: placed_shell(p, "upper")), "left", wraps=True),
        Column("its\nwall", of(lambda p: scale.length(p.upper.wall_nm))),
        Column("lower\nshell", of(lambda p: placed_shell(p, "lower")), "left", wraps=True),
        Column("its\nwall", of(lambda p: scale.length(p.lower.wall_nm))),
        Column("clearance", of(lambda p: scale.length(p.clearance_nm))),
        Column(f"off target\n{scale.step}", of(lambda p: scale.steps(p.deviation_nm, sign=True))),
        Column("", lambda p: remarks[p.key], "left", shown=any(remarks.values())),
    )
    return [*paragraph(heading), *rows]


def how_sure(plan: JobPlan, kind: str, scale: Scale, certainty: Certainty) -> list[str]:
    """Every clearance with its uncertainty and verdict, where the job tells how it was measured.

    A table of its own: beside names, walls and warnings it would not fit the page.
    """
    rows = plan.of_kind(kind)
    if not certainty.known or all(certainty.of(p) is None for p in rows):
        return []
    lines = table(
        rows,
        Column("position", lambda p: clean(p.position.name), "left", wraps=True),
        Column("clearance", lambda p: scale.length(p.clearance_nm)),
        Column(f"+/- {scale.step}", lambda p: _expanded(certainty, p, scale)),
        Column("verdict", lambda p: certainty.verdict(p) or NOTHING, "left"),
    )
    return [
        *paragraph(f"{clean(kind).upper()}: how sure the clearances are"),
        *lines,
        *_legend(plan, rows, certainty),
        *_no_limit(plan, kind, rows),
    ]


def _no_limit(plan: JobPlan, kind: str, rows: Sequence[Placement]) -> list[str]:
    """Which gauges have no stated error limit: what they read wrong throughout is then counted nowhere."""
    if plan.job.fits[kind].seating_u_nm is not None:
        return []  # a seating learned from assembled checks stands for the errors that gauges share
    used = {
        gauge
        for p in rows
        for size in (p.upper.measured, p.lower.measured, p.position.journal, p.position.housing_bore)
        if size is not None
        for gauge in size.gauges
    }
    silent = sorted(name for name in used if not plan.job.measuring.gauges[name].limit_nm)
    if not silent:
        return []
    return paragraph(
        f"No error limit is stated for {', '.join(map(clean, silent))}: what such a gauge reads wrong throughout is "
        "not in +/-; write its limit."
    )


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
        Column("wished\nfrom", lambda p: scale.length(p.position.want_min_nm), shown=wished),
        Column("target", lambda p: scale.length(p.position.target_nm)),
        Column("clearance", lambda p: scale.length(p.clearance_nm)),
        Column("wished\nto", lambda p: scale.length(p.position.want_max_nm), shown=wished),
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
        Column("clearance over\nthe coating", lambda p: scale.length(clearance_over_coating(p))),
        Column("clearance to\nthe metal", lambda p: scale.length(clearance_to_metal(p))),
    )


def target_and_limits(positions: Sequence[Position], scale: Scale) -> str:
    """What the kind is fitted to, or that its positions differ in it."""
    words = []
    for name, values in (
        ("target", {p.target_nm for p in positions}),
        ("min", {p.min_nm for p in positions}),
        ("max", {p.max_nm for p in positions}),
    ):
        if len(values) > 1:
            words.append(f"{name} by position")
        elif (nm := values.pop()) is not None:
            words.append(f"{name} {scale.with_unit(nm)}")
        elif name != "target":
            words.append(f"no {name} given")
        if name == "max":
            words += _wished(positions, scale)
        if name == "target" and all(p.aims_at_middle for p in positions):
            words.append("the middle of min and max")
    return ", ".join(map(whole, words))


def _wished(positions: Sequence[Position], scale: Scale) -> list[str]:
    """The wished band, or that positions differ in it; nothing where none is wished."""
    bands = {(p.want_min_nm, p.want_max_nm) for p in positions}
    if bands == {(None, None)}:
        return []
    if len(bands) > 1:
        return ["wished band by position"]
    ((low, high),) = bands
    least = [] if low is None else [f"from {scale.with_unit(low)}"]
    most = [] if high is None else [f"to {scale.with_unit(high)}"]
    return [" ".join(["wished", *least, *most])]


def _remark(plan: JobPlan, position: Position, placement: Placement | None) -> str:
    if placement is None:
        return NOT_FILLED if any(u.position.key == position.key for u in plan.unfilled) else NOT_MEASURED
    if not placement.within_limits:
        return DANGER
    if any(flag.position == position.name for flag in plan.flags):
        return "see below"
    if placement.want_shortfall_nm:
        return "below the wish"
    return "above the wish" if placement.want_excess_nm else ""


def _legend(plan: JobPlan, placements: Sequence[Placement], certainty: Certainty) -> list[str]:
    """What stands under a table with uncertainties, and whether they may be relied on."""
    guarded = ", both as written, without the guard" if guard_of(plan.job) else ""
    lines = paragraph(
        "+/- is the expanded uncertainty of the clearance, 95 %. The verdict goes by the chance that the clearance at "
        f"the tightest is at least min and the mean one at most max{guarded}: inside from 95 %, outside up to 5 %, "
        "doubtful between."
    )
    found = [u for p in placements if (u := certainty.of(p)) is not None]
    unknown = dict.fromkeys(what for u in found for what in u.unknown)
    if unknown:
        named = ", ".join(clean(what) for what in unknown)
        lines += paragraph(f"+/- is only a lower bound, and nothing is judged by it. Not known: {named}.")
    return lines


def _expanded(certainty: Certainty, placement: Placement, scale: Scale) -> str:
    uncertainty = certainty.of(placement)
    return NOTHING if uncertainty is None else scale.steps(ceil(uncertainty.expanded_nm))


def _mean(size: Size | None, scale: Scale) -> str:
    assert size is not None
    return scale.length(size.mean_nm)


def _coating(shell: Shell, scale: Scale) -> str:
    return scale.length(shell.coating_nm) if shell.coating_nm else "none"
