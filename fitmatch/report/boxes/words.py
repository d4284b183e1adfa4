"""What a study of boxes assumed, and what it leaves out, in sentences."""

from collections.abc import Iterator
from typing import Final

from fitmatch.records.parts import SIDES
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import Scale, steps, usual
from fitmatch.study.boxes.scatter import FEWEST_BOXES
from fitmatch.study.boxes.steps import Step
from fitmatch.study.boxes.studied import KindStudied, MixStudied, Studied
from fitmatch.wording import listed

LEFT_OUT: Final = (
    "No figure knows of walls that are not normal, of a maker who has changed the process since, of bores that take "
    "another form when tightened, or of mistakes in reading. What is in a sealed box is known when it is measured; the "
    "engine and bearing maker's limits come before any figure here."
)
_FROM: Final = {
    "written": "as written",
    "drawing": "from the drawing limits, three standard deviations either side of the middle, half of the variance "
    "between boxes",
    "other-steps": "as in open boxes of other steps",
}


def opened(mix: MixStudied) -> str:
    """The boxes of a mix."""
    return " + ".join(f"{count} {whole(step)}" for step, count in mix.opened.items()) or "none more"


def drawn_so(one: KindStudied, scale: Scale) -> Iterator[str]:
    """What boxes of each step were taken to hold, and how positions were drawn."""
    for step in one.steps:
        yield f"{clean(one.kind)}, {clean(step.name)}: {_box(step)}; {_walls(step, scale)}."
    if one.any_marks:
        yield f"{clean(one.kind)}: shells of new boxes were taken to agree with every column that is compared."
    if one.drawn:
        names = listed([whole(name) for name in one.drawn])
        yield (
            f"{clean(one.kind)}: {names} not measured: drawn within the drawing limits, which are three standard "
            "deviations from the middle."
        )
    if one.left_out:
        names = listed([whole(name) for name in one.left_out])
        yield f"LEFT OUT, neither measured nor with drawing limits: {names}."


def _box(step: Step) -> str:
    counts = [f"{sum(half.half == side for half in step.halves)} {side}" for side in (*SIDES, "either")]
    told = " + ".join(count for count in counts if not count.startswith("0 "))
    how = {"open": "as in an open box", "written": "as written", "assumed": "ASSUMED, one for each position"}
    return f"{told} a box, {how[step.halves_from]}"


def _walls(step: Step, scale: Scale) -> str:
    walls = step.walls
    means = list(dict.fromkeys(usual(scale.unit, round(nm)) for nm in walls.means_nm.values()))
    mean_from = {"measured": f"measured on {walls.shells} shells"}.get(walls.mean_from, _FROM.get(walls.mean_from, ""))
    if walls.mean_from == "drawing":
        mean_from = "the middle of the drawing limits"
    within = _FROM.get(walls.within_from, "")
    if walls.freedom is not None:
        source = "measured" if walls.within_from == "measured" else f"measured {within}"
        within = f"{source}, {walls.freedom} degrees of freedom"
    between = {
        "assumed": f"ASSUMED, as fewer than {FEWEST_BOXES} boxes are open",
        "measured": f"measured on {walls.boxes} boxes",
    }.get(walls.between_from, _FROM.get(walls.between_from, ""))
    return (
        f"mean wall {' and '.join(means)} {scale.unit}, {mean_from}; scatter in a box "
        f"{steps(scale.unit, round(walls.within_nm))}, {within}; between boxes "
        f"{steps(scale.unit, round(walls.between_nm))}, {between}"
    )


def next_box(one: KindStudied, scale: Scale) -> str:
    """From which number of boxes on another one is pointless."""
    floor = scale.two_digits(one.floor_nm)
    what = (
        "the standard uncertainty of a clearance"
        if one.floor_from == "gauges"
        else "one step of the readings, as nothing is known of the gauges"
    )
    if one.enough is None:
        rule = f"{floor} {scale.step} of the worst deviation, {what}, or one hundredth of the chance to be inside"
        return f"{clean(one.kind)}: every box of this budget may be worth it, that is gain {rule}."
    rule = (
        f"{floor} {scale.step} of the worst deviation, {what}, and less than one hundredth of the chance to be inside"
    )
    number = "the open boxes" if not one.enough else "1 box" if one.enough == 1 else f"{one.enough} boxes"
    return f"{clean(one.kind)}: MORE THAN {number.upper()}: POINTLESS. Each further one gains less than {rule}."


def measured_so(found: Studied) -> str:
    """How readings were drawn."""
    known = [one for one in found.kinds if one.floor_from == "gauges" or one.unknown]
    if not known:
        return "Readings were taken as true, as job.toml tells nothing of gauges: true figures are worse."
    told = (
        "True sizes and what the gauges would read of them were drawn, each plan chosen by the readings and judged by "
    )
    told += "the true sizes."
    if unknown := list(dict.fromkeys(clean(what) for one in known for what in one.unknown)):
        told += f" True figures are worse, as this is not known: {listed(unknown)}."
    return told
