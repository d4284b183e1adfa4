"""What a study of boxes assumed, and what it leaves out, in sentences."""

from collections.abc import Iterator, Sequence
from typing import Final

from fitmatch.facts import Fact
from fitmatch.records.parts import SIDES
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import NOTHING, Scale, steps, usual
from fitmatch.report.words.refusals import refused
from fitmatch.study.boxes.scatter import FEWEST_BOXES
from fitmatch.study.boxes.steps import Step
from fitmatch.study.boxes.studied import KindStudied, MixStudied, Studied
from fitmatch.wording import listed

LEFT_OUT: Final = (
    "No figure knows of walls that are not normal, of a maker who has changed the process since, of bores that take "
    "another form when tightened, or of mistakes in reading. What is in a sealed box is known when it is measured; the "
    "engine and bearing maker's limits come before any figure here."
)
_MOST_EMPTY: Final = 3  # positions of a mix that are named
_FROM: Final = {
    "written": "as written",
    "drawing": "from the drawing limits, three standard deviations either side of the middle, half of the variance "
    "between boxes",
    "other-steps": "as in open boxes of other steps",
    "rounding": "what rounding may hide, as readings show less",
}
_FEW: Final = 7  # degrees of freedom or fewer: the scatter may be twice as large, at 95 %
_MOST_LOCKED: Final = 3  # positions that are named
_FLOOR_FROM: Final = {
    "gauges": "the standard uncertainty of a clearance",
    "known-part": "what is known of the standard uncertainty of a clearance",
    "grid": "one step of the readings, as nothing is known of the gauges",
}


def opened(mix: MixStudied) -> str:
    """The boxes of a mix."""
    return " + ".join(f"{count} {whole(step)}" for step, count in mix.opened.items()) or "none more"


def best_of_each(mixes: Sequence[MixStudied]) -> str:
    """Which of the mixes of a number of boxes is shown."""
    limited, priced = any(mix.inside for mix in mixes), any(mix.price for mix in mixes)
    told = "Of each number of boxes the mix likeliest to " + ("be all inside, then to " if limited else "")
    told += "fill all, then off least"
    if priced:
        told += (
            ", or the cheapest of those that differ from it by less than counts, or by less than these draws can tell"
        )
    return told


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
    mean_from = {
        "written": _FROM["written"],
        "measured": f"measured on {counted(walls.shells, 'shell')}",
        "drawing": "the middle of the drawing limits",
    }[walls.mean_from]
    within = _FROM.get(walls.within_from, "")
    if walls.freedom is not None:
        source = "measured" if walls.within_from == "measured" else f"measured {within}"
        within = f"{source}, {_freedom(walls.freedom)}"
    between = {
        "assumed": f"ASSUMED, as fewer than {FEWEST_BOXES} boxes are open",
        "measured": f"measured on {walls.boxes} boxes",
    }.get(walls.between_from, _FROM.get(walls.between_from, ""))
    if walls.between_freedom is not None:
        between += f", {_freedom(walls.between_freedom)}"
    return (
        f"mean wall {' and '.join(means)} {scale.unit}, {mean_from}; scatter in a box "
        f"{steps(scale.unit, round(walls.within_nm))}, {within}; between boxes "
        f"{steps(scale.unit, round(walls.between_nm))}, {between}"
    )


def _freedom(degrees: int) -> str:
    few = ": FEW, it may be twice as large or more" if degrees <= _FEW else ""
    return f"{degrees} degree{'' if degrees == 1 else 's'} of freedom{few}"


def next_box(one: KindStudied, found: Studied, scale: Scale) -> str:
    """From which number of boxes on more are pointless, or why nothing can be said of it."""
    kind, slots = clean(one.kind), one.verdict.slots
    match one.verdict.code:
        case "stuck":
            whose = "its row" if len(one.stuck) == 1 else "their rows"
            told = "; ".join(_stuck(name, why) for name, why in one.stuck.items())
            return (
                f"{kind}: NO BOX CAN MEND THIS: {told}. See to that before you buy any. All figures here are of all "
                f"{one.positions} positions; to see what boxes do for the others alone, study them without {whose}."
            )
        case "short":
            most = _number(slots["boxes"])
            beside = " and those that are open" if one.open_boxes else ""
            return (
                f"{kind}: TOO FEW SHELLS: {most}, the most there can be here,{beside} hold halves for {slots['room']} "
                f"of {one.positions} positions. Some stay empty however many of these are opened."
            )
        case "never-full":
            return (
                f"{kind}: NO MIX OF THESE BOXES FILLS ALL {one.positions} POSITIONS in any draw; {slots['filled']} at "
                "the most."
            )
        case "too-few-draws":
            return f"{kind}: fewer than {slots['least']} draws cannot tell how many boxes are worth it."
        case "too-few-full":
            return (
                f"{kind}: NO VERDICT: no mix fills all {one.positions} positions in more than {slots['full']} of "
                f"{counted(found.draws, 'draw')}, and fewer than {slots['least']} cannot tell how many boxes are worth "
                "it."
            )
    return _worth(one, found, scale)


def _worth(one: KindStudied, found: Studied, scale: Scale) -> str:
    mine = [mix for mix in found.mixes if mix.kind == one.kind]
    chances = "the chance to be filled, inside or close" if found.tolerance_nm else "the chance to be filled or inside"
    what = _FLOOR_FROM[one.floor_from]
    if one.floor_from == "grid" and one.unknown:
        what = "one step of the readings, as not enough is known of the gauges"
    saved = f"{amount(scale.two_digits(one.floor_nm), scale)} of the worst deviation, {what},"
    if any(mix.empty for mix in mine):
        saved += " in draws that fill all positions,"
    if one.enough is None:
        return (
            f"{clean(one.kind)}: every box of this budget may be worth it, that is gain {saved} or one hundredth of "
            f"{chances}."
        )
    gain = f"less than {saved} and less than one hundredth of {chances}"
    if one.as_well is not None:
        less = next(mix for mix in mine if mix.opened == one.as_well)
        taken = next(mix for mix in mine if mix.best and mix.boxes == one.enough)
        return (
            f"{clean(one.kind)}: CHEAPEST THAT DOES AS WELL: {opened(less)}, {money(less.price)}. Against it "
            f"{opened(taken)}, {money(taken.price)}, and the best of {_number(one.enough)} gain less than counts, or "
            f"than these draws can tell. To pay more than {money(taken.price)} for more than {_number(one.enough)} is "
            f"POINTLESS: against {opened(taken)} that gains {gain}."
        )
    number = (_number(one.enough) if one.enough else "the open boxes").upper()
    if one.enough and len(one.steps) > 1:
        number += next(f" ({opened(mix)})" for mix in mine if mix.best and mix.boxes == one.enough)
    return (
        f"{clean(one.kind)}: MORE THAN {number}: POINTLESS. However many more of this budget are opened, together they "
        f"gain {gain}."
    )


def locked(one: KindStudied, scale: Scale) -> str:
    """That no box changes positions whose halves are both locked, where it is said what boxes do for the others."""
    if not one.locked or one.verdict.code not in ("enough", "worth"):
        return ""
    told = [
        whole(name) if off is None else f"{whole(name)}, {amount(scale.steps(abs(off)), scale)} off,"
        for name, off in list(one.locked.items())[:_MOST_LOCKED]
    ]
    if more := len(one.locked) - len(told):
        told.append(f"{more} more")
    are = "is locked and stays" if len(one.locked) == 1 else "are locked and stay"
    return (
        f"{clean(one.kind)}: {listed(told)} {are} so whatever is opened: counted in every figure above, left out "
        "of what is said of more boxes."
    )


def misread(one: KindStudied, draws: int) -> str:
    """Which drawn bores are refused by what is read of them."""
    if not one.misread:
        return ""
    most = list(one.misread.items())[:_MOST_EMPTY]
    texts = [f"{whole(name)} in {count:,}" for name, count in most]
    if more := len(one.misread) - len(most):
        texts.append(f"{more} more in no more than that")
    return (
        f"{clean(one.kind)}, bore inside its drawing limits but read outside them and so refused, in how many of "
        f"{counted(draws, 'draw')}: {listed(texts)}."
    )


def _stuck(name: str, why: Fact) -> str:
    if why.code == "bore-refused":
        side = "above" if why.slots["above"] else "below"
        return f"{whole(name)} cannot be filled whatever is opened: the housing bore is {side} its drawing limits"
    locks = why.slots["locks"]
    told = f", being locked to {listed([whole(lock) for lock in locks])}" if isinstance(locks, tuple) and locks else ""
    what = "filled" if why.code == "never-filled" else "inside its limits"
    return f"{whole(name)} is {what} in no draw, whatever is opened{told}"


def left_empty(mixes: Sequence[MixStudied], one: KindStudied, draws: int) -> str:
    """How many draws leave which positions empty, mix by mix; nothing where only those do that no box can
    help."""
    told = []
    for mix in mixes:
        if empty := [(name, count) for name, count in mix.empty.items() if name not in one.stuck]:
            most = empty[:_MOST_EMPTY]
            texts = [f"{whole(name)} in {'all' if count == draws else f'{count:,}'}" for name, count in most]
            if more := len(empty) - len(most):
                texts.append(f"{more} more in no more than that")
            told.append(f"{opened(mix)}: {listed(texts)}")
    return f"{clean(one.kind)}, left empty, in how many of {counted(draws, 'draw')}: {'; '.join(told)}." if told else ""


def amount(digits: str, scale: Scale) -> str:
    """A length of so many steps."""
    return "1 tenth" if (scale.step, digits) == ("tenths", "1") else f"{digits} {scale.step}"


def money(thousandths: float | None) -> str:
    """A price with two decimals."""
    return NOTHING if thousandths is None else f"{thousandths / 1000:.2f}"


def counted(number: int, what: str) -> str:
    """So many of what is counted."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _number(boxes: object) -> str:
    return "1 box" if boxes == 1 else f"{boxes} boxes"


def not_studied(found: Studied, unit: str) -> list[str]:
    """The kinds and steps that could not be studied, and why."""
    return [f"LEFT OUT: {clean(str(why.slots['kind']))}: {refused(why, unit)}." for why in found.left_out]


def precise(found: Studied, scale: Scale) -> str:
    """Whether the precision asked for was reached, and of which mixes not."""
    if found.precision_nm is None:
        return ""
    wanted = f"Precision of {amount(scale.amount(found.precision_nm), scale)}"
    several = len(found.kinds) > 1
    none, wide = list[str](), list[str]()
    for mix in found.imprecise:
        some = none if mix.worst.mean is None or mix.spread.mean is None else wide
        some.append(f"{clean(mix.kind)} {opened(mix)}" if several else opened(mix))
    told = [
        *([f"no mean, as some draw leaves a position empty: {listed(none)}"] if none else []),
        *([f"not known so well: {listed(wide)}"] if wide else []),
    ]
    return f"{wanted} NOT REACHED by all; {'; '.join(told)}." if told else f"{wanted} reached."


def measured_so(found: Studied) -> str:
    """How readings were drawn."""
    known = [one for one in found.kinds if one.floor_from != "grid" or one.unknown]
    if not known:
        return "Readings were taken as true, as job.toml tells nothing of gauges: true figures are worse."
    told = (
        "True sizes and what the gauges would read of them were drawn, each plan chosen by the readings and judged by "
    )
    told += "the true sizes."
    if unknown := list(dict.fromkeys(clean(what) for one in known for what in one.unknown)):
        told += f" True figures are worse, as this is not known: {listed(unknown)}."
    return told
