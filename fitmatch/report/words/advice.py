"""Advice in words: what to do, what it gives, and what each sort of it risks."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from fitmatch.lengths import NM_PER_UNIT, exact, fixed, round_half_even
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import Scale, with_range
from fitmatch.study.advice.advised import Advice, Reached, Run
from fitmatch.wording import listed

_READINGS: Final = {"journal": "journal", "housing_bore": "housing bore"}
RISKS: Final[Mapping[str, str]] = {
    "measure": "most misfits are readings; read again without knowing what would fit",
    "box": "it may hold no such half; open it, measure it, and run this again",
    "one-half": "measure before you buy: walls of one step scatter",
    "both-halves": "only shells that the bearing maker lists for this engine",
    "other-pin": "only where the engine maker allows it; every cap stays on its housing",
    "polish": "spoils roundness and straightness; many advise against it; clean oilways",
    "hone": "changes the crush, and past its band a shell spins; mains in line only",
    "resize": "never a fracture-split cap; the cap face is cut, the bore honed into its band",
    "grind": "fillets, case depth and smallest size limit it; the crank comes out",
}
METAL: Final = ("polish", "hone", "resize", "grind")
AFTER_METAL: Final = (
    "Metal is taken off by a qualified machinist, to the maker's limits. Then this plan is void: measure the part "
    "again, and assign again."
)


def advice_words(advice: Advice, scale: Scale) -> str:
    """One or two sentences."""
    what: Mapping[str, Any] = advice.what
    told = " ".join(_sentences(advice.action, what, advice, scale))
    return f"{told} {_reached(advice.reached, scale)}" if advice.reached is not None else told


def _sentences(action: str, what: Mapping[str, Any], advice: Advice, scale: Scale) -> Iterator[str]:
    amount = advice.amount_nm
    match action:
        case "measure":
            missing = [_READINGS[name] for name in what["missing"]]
            again = [_READINGS[name] for name in what["readings"] if name not in what["missing"]]
            again += ["the walls of " + listed([whole(name) for name in what["shells"]])] if what["shells"] else []
            for head, parts in (("Measure", missing), ("Measure again", again)):
                if parts:
                    yield f"{head}: {listed(parts)}."
        case "box":
            yield f"Open another box{_of_step(what)}: {_half(what, scale)}{_chance(advice.chance)}."
        case "one-half":
            goes_to = f" for {whole(what['for'])}" if what["for"] else ""
            yield f"One half{_of_step(what)}{goes_to}: {_half(what, scale)}."
        case "both-halves":
            yield f"Both halves{_of_step(what)}: {_half(what, scale)}."
        case "other-pin":
            own = f"; its own goes to {whole(what['journal'])}" if what["journal"] else ""
            yield f"Another pin: the housing of {whole(what['housing'])} comes here{own}."
        case "polish" | "hone" | "resize":
            size = advice.size
            assert isinstance(amount, int) and isinstance(size, int) and advice.most_nm is not None
            told = {"polish": "Polish the journal by", "hone": "Hone the bore by", "resize": "Make the bore smaller by"}
            least, most = _inward(amount, advice.most_nm, scale)
            to = f"{scale.with_unit(size)}{_at_the_gauge(what, size, scale)}"
            yield f"{told[action]} {least}{f', {most} at most' if most != least else ''}, to {to}."
        case "grind":
            yield _grind(what, amount, scale)


def _grind(what: Mapping[str, Any], amount: object, scale: Scale) -> str:
    journals = f"all {clean(what['kind'])} journals"
    if isinstance(amount, Run):
        sizes = f"{' to '.join(_inward(*amount, scale))}{_at_the_gauge(what, amount, scale)}"
        return f"Grind {journals} to one size from {sizes}: all lie inside with these shells."
    return (
        f"Grind {journals} to the next undersize that the makers list, with its thicker shells: buy and measure those "
        "first, then run this again for the final size."
    )


def _at_the_gauge(what: Mapping[str, Any], size: object, scale: Scale) -> str:
    """What the gauge of the part shows of the size, where that is something else."""
    reads = what["reads_nm"]
    if reads == size:
        return ""
    if reads is None:
        return " at 20 C"
    gauge = f"gauge {whole(what['gauge'])}" if what["gauge"] else "the gauge"
    shown = " to ".join(_inward(*reads, scale)) if isinstance(reads, Run) else scale.with_unit(reads)
    return f" at 20 C ({gauge} reads {shown})"


def sizes_words(advice: Iterable[Advice]) -> str:
    """How the sizes to machine to in this advice are to be understood; empty where there are none."""
    sized = [(one.size, one.what["reads_nm"]) for one in advice if "reads_nm" in one.what]
    if not sized:
        return ""
    if all(reads == size for size, reads in sized):
        return "Sizes to machine to are as your gauges read: check with the same gauge, at the same temperature."
    told = (
        "Sizes to machine to are corrected, at 20 C: with another gauge, at another temperature or after a gauge was "
        "set anew, correct its readings first."
    )
    if any(reads is not None for _, reads in sized):
        told += " What a gauge reads is at the temperatures of job.toml, with the zero error that it had."
    return told


def _inward(low_nm: int, high_nm: int, scale: Scale) -> tuple[str, str]:
    """Both ends rounded towards each other, as an end that is short by a rounding does not do; in full where nothing
    would be left between them."""
    per, power = NM_PER_UNIT[scale.unit], 10**scale.decimals
    low, high = -(-low_nm * power // per), high_nm * power // per
    if low > high:
        return f"{exact(low_nm, scale.unit)} {scale.unit}", f"{exact(high_nm, scale.unit)} {scale.unit}"
    first, last = (fixed(round_half_even(digits * per, power), scale.unit, scale.decimals) for digits in (low, high))
    return f"{first} {scale.unit}", f"{last} {scale.unit}"


def _reached(reached: Reached, scale: Scale) -> str:
    p = reached.placement
    return f"Gives {scale.with_unit(p.clearance_nm)}, off {scale.steps(p.deviation_nm, sign=True)} {scale.step}."


def _half(what: Mapping[str, Any], scale: Scale) -> str:
    """What to look for: the half, its wall, and what must stand on it."""
    half = what["half"]
    wall = with_range(what["wall_nm"], what["lowest_nm"], what["highest_nm"], scale.unit)
    which = "upper and lower half with walls of" if half == "both" else f"{half} half with a wall of"
    reads = reads_words(what["marks"])
    return f"{which} {wall}{f', {reads}' if reads else ''}"


def reads_words(marks: Mapping[str, Any]) -> str:
    """What must stand on a half, or on both; empty if nothing must."""
    if set(marks) == {"upper", "lower"}:
        upper, lower = (reads_words(marks[side]) for side in ("upper", "lower"))
        return upper if upper == lower else f"upper {upper or 'unmarked'}, lower {lower or 'unmarked'}"
    told = []
    for column, some in marks.items():
        named = [clean(mark) for mark in some if mark]
        if column == "coating":
            told.append("coated" if named else "uncoated")
        elif named:
            told.append(f"{clean(column)} {' or '.join(named)}")
    return ", ".join(told)


def _of_step(what: Mapping[str, Any]) -> str:
    return f" of step {whole(what['step'])}" if what["step"] else ""


def _chance(chance: float | None) -> str:
    return "" if chance is None else f"; the chance that it holds one is about {chance:.2f}"
