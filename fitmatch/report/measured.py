"""The parts of the text report about measuring: raw readings and what was taken off them, and the form of the parts."""

from collections.abc import Callable, Sequence

from fitmatch.gauging.formlimits import worst_meet
from fitmatch.measuring import Form
from fitmatch.parts import Size
from fitmatch.plans import JobPlan
from fitmatch.report.layout import Column, clean, paragraph, table, whole
from fitmatch.report.placing import shell_name
from fitmatch.report.readings import corrected_sizes, corrected_wall, forms
from fitmatch.report.scale import Scale

_SOAK = (
    "Sizes are brought to 20 degrees Celsius. No formula corrects a part that has not soaked: it is not at the "
    "temperature of the room, and not the same throughout."
)
_NOT_MEASURED = "-"
_OF_FORM = {"journal": "journal", "housing_bore": "housing bore", "upper": "upper wall", "lower": "lower wall"}


def corrections(plan: JobPlan, scale: Scale) -> list[str]:
    """Raw readings, their means and each correction: of every diameter, and of the walls of the plan."""
    heated = plan.job.measuring.temperature is not None
    diameters = [
        (whole(position.name), feature.replace("_", " "), corrected)
        for position in plan.job.positions
        for feature, corrected in corrected_sizes(plan.job, position)
    ]
    walls = [
        (shell_name(shell), corrected)
        for placement in plan.placements
        for shell in (placement.upper, placement.lower)
        if (corrected := corrected_wall(plan.job, shell)) is not None
    ]
    lines: list[str] = []
    if heated or any(_worth_showing(corrected) for _, _, corrected in diameters):
        lines += table(
            [
                Column("position", [name for name, _, _ in diameters], "left", wraps=True),
                Column("", [feature for _, feature, _ in diameters], "left"),
                *_steps_of([corrected for _, _, corrected in diameters], "= size", scale, heated=heated),
            ]
        )
    if any(_worth_showing(corrected) for _, corrected in walls):
        lines += table(
            [
                Column("shell", [name for name, _ in walls], "left", wraps=True),
                *_steps_of([corrected for _, corrected in walls], "= wall as\nmeasured", scale, heated=False),
            ]
        )
    if heated and diameters:
        lines += paragraph(_SOAK)
    return lines


def form(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """What the readings say about the form of journals, housing bores and placed walls; `-` is not measured."""
    placed = plan.by_position()
    rows = [
        (position, what, found)
        for position in plan.job.positions
        if position.kind == kind
        for what, found in forms(plan, position, placed.get(position.key))
    ]
    walls = any(found != Form() for _, what, found in rows if what in ("upper", "lower"))
    rows = [row for row in rows if walls or row[1] not in ("upper", "lower")]
    if not rows:
        return []
    lines = table(
        [
            Column("position", [whole(p.name) for p, _, _ in rows], "left", wraps=True),
            Column("", [_OF_FORM[what] for _, what, _ in rows], "left"),
            Column(f"taper\n{scale.step}", [_steps(f.taper_nm, scale) for _, _, f in rows]),
            Column(f"barrel\n{scale.step}", [_steps(f.barrel_nm, scale) for _, _, f in rows]),
            Column(f"out-of-round\n{scale.step}", [_out_of_round(f, scale) for _, _, f in rows]),
            Column("larger diameter", [f.larger or "" for _, _, f in rows], "left", wraps=True),
        ]
    )
    if not walls:
        lines += paragraph("The form of the walls was not measured: it takes two stations at the crown.")
    lines += [
        line
        for name in worst_meet(plan.job, kind)
        for line in paragraph(
            f"{clean(name)}: the most out-of-round journal runs in the most out-of-round housing bore of its kind."
        )
    ]
    return [*paragraph(clean(kind).upper()), *lines]


def _worth_showing(size: Size) -> bool:
    """Not where a single reading is the size as it stands."""
    return size.mean_nm != size.raw_mean_nm or len(size.readings) > 1


def _steps_of(rows: Sequence[Size], size: str, scale: Scale, *, heated: bool) -> list[Column]:
    """From readings to a size, a column each; what no row has is left out."""

    def column(head: str, show: Callable[[Size], int], *, sign: bool = False) -> Column:
        return Column(head, [scale.length(show(row), sign=sign) for row in rows])

    columns = []
    if any(row.gauges for row in rows):
        columns.append(Column("gauge", [" and ".join(map(whole, r.gauges)) for r in rows], "left", wraps=True))
    if any(len(row.readings) > 1 for row in rows):
        as_read = [" ".join(scale.length(reading.nm) for reading in row.readings) for row in rows]
        columns.append(Column("as read", as_read, "left", wraps=True))
    columns.append(column("mean\nas read", lambda r: r.raw_mean_nm))
    if any(row.zero_nm for row in rows):
        columns.append(column("- zero\nerror", lambda r: r.zero_nm))
    if any(row.ball_nm for row in rows):
        columns.append(column("- ball", lambda r: r.ball_nm))
    if heated:
        columns.append(column("+ to\n20 C", lambda r: r.temperature_nm, sign=True))
    return [*columns, column(size, lambda r: r.mean_nm)]


def _steps(nm: int | None, scale: Scale) -> str:
    return _NOT_MEASURED if nm is None else scale.steps(nm, sign=True)


def _out_of_round(found: Form, scale: Scale) -> str:
    return _NOT_MEASURED if found.out_of_round_nm is None else scale.steps(found.out_of_round_nm)
