"""The parts of the text report about measuring: raw readings and what was taken off them, and the form of the parts."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from fitmatch.gauging.sizes.form_limits import worst_meet
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, Form
from fitmatch.records.parts import Size
from fitmatch.report.shared.box_names import shell_name
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.readings import corrected_sizes, corrected_wall, forms
from fitmatch.report.shared.scale import Scale

_SOAK = (
    "Sizes are brought to 20 degrees Celsius. No formula corrects a part that has not soaked: it is not at the "
    "temperature of the room, and not the same throughout."
)
_ASSUMED = "Coefficients of expansion without a limit are taken as known to 10 %: our own assumption."
_OF_FORM = {"journal": "journal", "housing_bore": "housing bore", "upper": "upper wall", "lower": "lower wall"}


class _Corrected(NamedTuple):
    """The size of a feature, or of a wall, whose feature needs no name."""

    name: str
    feature: str
    size: Size


def corrections(plan: JobPlan, scale: Scale) -> list[str]:
    """Raw readings, their means and each correction: of every diameter, and of the walls of the plan."""
    heated = plan.job.measuring.temperature is not None
    diameters = [
        _Corrected(whole(position.name), feature.replace("_", " "), size)
        for position in plan.job.positions
        for feature, size in corrected_sizes(plan.job, position)
    ]
    walls = [
        _Corrected(shell_name(shell), "", size)
        for placement in plan.placements
        for shell in (placement.upper, placement.lower)
        if (size := corrected_wall(plan.job, shell)) is not None
    ]
    lines: list[str] = []
    if heated or any(map(_worth_showing, diameters)):
        lines += _corrected("position", diameters, "= size", scale, heated=heated)
    if any(map(_worth_showing, walls)):
        lines += _corrected("shell", walls, "= wall as\nmeasured", scale, heated=False)
    if heated and diameters:
        lines += paragraph(f"{_SOAK} {_ASSUMED}" if _some_assumed(plan.job) else _SOAK)
    return lines


def _some_assumed(job: Job) -> bool:
    """Whether the limit of some coefficient of expansion is our own assumption."""
    measuring = job.measuring
    of_parts = (measuring.material_limits.get(kind, {}).keys() for kind in job.kinds)
    of_gauges = (gauge.expansion_limit for gauge in measuring.gauges.values() if gauge.set_with is None)
    return None in of_gauges or any(not of_kind >= set(DIAMETERS) for of_kind in of_parts)


def form(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """What the readings say about the form of journals, housing bores and placed walls; `-` is not measured."""
    placed = plan.by_position()
    rows = [
        (position.name, what, found)
        for position in plan.job.positions
        if position.kind == kind
        for what, found in forms(plan, position, placed.get(position.key))
    ]
    walls = any(found != Form() for _, what, found in rows if what in ("upper", "lower"))
    rows = [row for row in rows if walls or row[1] not in ("upper", "lower")]
    if not rows:
        return []
    if all(found == Form() for _, _, found in rows):
        return paragraph(f"{clean(kind).upper()}: the form was not measured.")
    lines = table(
        rows,
        Column("position", lambda row: whole(row[0]), "left", wraps=True),
        Column("", lambda row: _OF_FORM[row[1]], "left"),
        Column(f"taper\n{scale.step}", lambda row: scale.steps(row[2].taper_nm, sign=True)),
        Column(f"barrel\n{scale.step}", lambda row: scale.steps(row[2].barrel_nm, sign=True)),
        Column(f"out-of-round\n{scale.step}", lambda row: scale.steps(row[2].out_of_round_nm)),
        Column("larger diameter", lambda row: row[2].larger or "", "left", wraps=True),
    )
    if not walls:
        lines += paragraph("The form of the walls was not measured: it takes two stations at the crown.")
    for name in worst_meet(plan.job, kind):
        text = "the most out-of-round journal runs in the most out-of-round housing bore of its kind."
        lines += paragraph(f"{clean(name)}: {text}")
    return [*paragraph(clean(kind).upper()), *lines]


def _worth_showing(row: _Corrected) -> bool:
    """Not where a single reading is the size as it stands."""
    return row.size.mean_nm != row.size.raw_mean_nm or len(row.size.readings) > 1


def _corrected(what: str, rows: Sequence[_Corrected], size: str, scale: Scale, *, heated: bool) -> list[str]:
    """From readings to a size, a column each; what no row has is left out."""

    def as_read(row: _Corrected) -> str:
        return " ".join(scale.length(reading.nm) for reading in row.size.readings)

    def given(show: Callable[[Size], object]) -> bool:
        return any(show(row.size) for row in rows)

    return table(
        rows,
        Column(what, lambda row: f"{row.name} {row.feature}".rstrip(), "left", wraps=True),
        Column(
            "gauge",
            lambda row: " and ".join(map(whole, row.size.gauges)),
            "left",
            wraps=True,
            shown=given(lambda s: s.gauges),
        ),
        Column("as read", as_read, "left", wraps=True, shown=given(lambda s: len(s.readings) > 1), below=True),
        Column("mean\nas read", lambda row: scale.length(row.size.raw_mean_nm)),
        Column("- zero\nerror", lambda row: scale.length(row.size.zero_nm), shown=given(lambda s: s.zero_nm)),
        Column("- ball", lambda row: scale.length(row.size.ball_nm), shown=given(lambda s: s.ball_nm)),
        Column("+ to\n20 C", lambda row: scale.length(row.size.temperature_nm, sign=True), shown=heated),
        Column(size, lambda row: scale.length(row.size.mean_nm)),
    )
