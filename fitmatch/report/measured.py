"""The parts of the text report about measuring: raw readings and what was taken off them, and the form of the parts."""

from fitmatch.gauging.formlimits import worst_meet
from fitmatch.measuring import DIAMETERS, Form
from fitmatch.parts import Plan, Position, Shell, Size
from fitmatch.report.layout import Column, clean, paragraph, table
from fitmatch.report.scale import Scale

_SOAK = (
    "Sizes are brought to 20 degrees Celsius. No formula corrects a part that has not soaked: it is not at the "
    "temperature of the room, and not the same throughout."
)
_NOT_MEASURED = "-"


def corrections(plan: Plan, scale: Scale) -> list[str]:
    """Raw means and each correction, of every diameter and wall in the plan that has any."""
    heated = plan.job.measuring.temperature is not None
    sizes = [
        (position, feature, size)
        for position in plan.job.positions
        for feature in DIAMETERS
        if (size := getattr(position, feature)) is not None and size.raw_mean_nm is not None
    ]
    blocks = []
    if sizes:
        blocks += _sizes(sizes, scale, heated=heated)
    blocks += _walls(plan, scale)
    if heated and sizes:
        blocks += paragraph(_SOAK)
    return blocks


def form(plan: Plan, kind: str, scale: Scale) -> list[str]:
    """What the readings say about the form of journals and housing bores; `-` is not measured."""
    forms = plan.job.measuring.position_forms
    rows = [
        (position, feature, found)
        for position in plan.job.positions
        if position.kind == kind
        for feature, found in sorted(forms.get(position.name, {}).items(), key=lambda item: DIAMETERS.index(item[0]))
    ]
    if not rows:
        return []
    lines = table(
        [
            Column("position", [clean(p.name) for p, _, _ in rows], "left", wraps=True),
            Column("", [feature.replace("_", " ") for _, feature, _ in rows], "left"),
            Column(f"taper\n{scale.step}", [_steps(f.taper_nm, scale) for _, _, f in rows]),
            Column(f"barrel\n{scale.step}", [_steps(f.barrel_nm, scale) for _, _, f in rows]),
            Column(f"out-of-round\n{scale.step}", [_out_of_round(f, scale) for _, _, f in rows]),
            Column("larger diameter", [f.larger or "" for _, _, f in rows], "left"),
        ]
    )
    lines += [
        line
        for name in worst_meet(plan.job, kind)
        for line in paragraph(
            f"{clean(name)}: the most out-of-round journal runs in the most out-of-round housing bore of its kind."
        )
    ]
    return [*paragraph(clean(kind).upper()), *lines]


def _sizes(sizes: list[tuple[Position, str, Size]], scale: Scale, *, heated: bool) -> list[str]:
    columns = [
        Column("position", [clean(p.name) for p, _, _ in sizes], "left", wraps=True),
        Column("", [feature.replace("_", " ") for _, feature, _ in sizes], "left"),
        Column("mean\nas read", [scale.length(size.raw_mean_nm or 0) for _, _, size in sizes]),
        Column("- zero\nerror", [scale.length(_zero(size)) for _, _, size in sizes]),
    ]
    if any(_ball(size) for _, _, size in sizes):
        columns.append(Column("- ball", [scale.length(_ball(size)) for _, _, size in sizes]))
    if heated:
        columns.append(Column("+ to\n20 C", [scale.length(s.temperature_nm, sign=True) for _, _, s in sizes]))
    columns.append(Column("= size", [scale.length(size.mean_nm) for _, _, size in sizes]))
    return table(columns)


def _walls(plan: Plan, scale: Scale) -> list[str]:
    """Walls are corrected alike where the same gauge took them: one line for each."""
    shells: dict[tuple[str, int, int], Shell] = {}
    for placement in plan.placements:
        for shell in (placement.upper, placement.lower):
            how = shell.measured_as
            if how is not None and (how.zero_nm or how.ball_nm):
                shells.setdefault((" and ".join(how.gauges), how.zero_nm, how.ball_nm), shell)
    lines = []
    for gauges, zero, ball in shells:
        taken = [f"zero error {scale.length(zero)}"] if zero else []
        taken += [f"ball {scale.length(ball)}"] if ball else []
        lines += paragraph(f"Taken off every wall read with {clean(gauges)}: {', '.join(taken)} {scale.unit}.")
    return lines


def _zero(size: Size) -> int:
    return size.measured_as.zero_nm if size.measured_as else 0


def _ball(size: Size) -> int:
    return size.measured_as.ball_nm if size.measured_as else 0


def _steps(nm: int | None, scale: Scale) -> str:
    return _NOT_MEASURED if nm is None else scale.steps(nm, sign=True)


def _out_of_round(found: Form, scale: Scale) -> str:
    return _NOT_MEASURED if found.out_of_round_nm is None else scale.steps(found.out_of_round_nm)
