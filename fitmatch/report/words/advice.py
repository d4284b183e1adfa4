"""Advice in words: what to do, what it gives, and what each sort of it risks."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.study.advice.advised import Advice, Reached, Run
from fitmatch.wording import listed

_READINGS: Final = {"journal": "journal", "housing_bore": "housing bore"}
RISKS: Final[Mapping[str, str]] = {
    "measure": "Most misfits are readings: take them again, without looking at what would fit.",
    "box": "A box not opened may hold no such half; open it, measure it, and run this again.",
    "one-half": "Buy by measuring: a step is a name, its walls scatter. Halves of two steps shift the axis.",
    "both-halves": "Buy by measuring; only shells that the bearing maker lists for this engine.",
    "other-pin": "Only housings that the engine maker lets change places; keep every cap on its own housing.",
    "polish": (
        "Polishing spoils roundness and straightness, and gains little; many advise against it. Never more than `most`; "
        "clean the oilways."
    ),
    "hone": (
        "Honing changes the crush; past the band the shell comes loose and spins. Mains only in line with the others."
    ),
    "resize": (
        "A cap face is cut and the bore honed back into its band; never a fracture-split cap. Mains only in line with "
        "the others."
    ),
    "grind": (
        "Fillets, hardened depth and the maker's smallest size limit it; all journals of the kind are ground. Let the "
        "grinder finish to shells that were measured."
    ),
}
METAL: Final = ("polish", "hone", "resize", "grind")
AFTER_METAL: Final = (
    "Taking off metal is for a qualified machinist, to the engine maker's limits. Afterwards the plan is void: measure "
    "the part again, write the new readings in the job, and assign again."
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
            parts = [_READINGS[name] for name in what["readings"]]
            parts += ["the walls of " + listed([whole(name) for name in what["shells"]])] if what["shells"] else []
            yield f"Measure again: {listed(parts)}."
        case "box":
            yield f"Open another box{_of_step(what)}: {_half(what, scale)}{_chance(advice.chance)}."
        case "one-half":
            goes_to = f" for {whole(what['for'])}"
            yield f"One half{_of_step(what)}{goes_to}: {_half(what, scale)}."
        case "both-halves":
            yield f"Both halves{_of_step(what)}: {_half(what, scale)}."
        case "other-pin":
            own = f"; its own goes to {whole(what['journal'])}" if what["journal"] else ""
            yield f"Another pin: the housing of {whole(what['housing'])} comes here{own}."
        case "polish" | "hone" | "resize":
            assert isinstance(amount, int) and advice.most_nm is not None
            size = what["journal_nm" if action == "polish" else "housing_bore_nm"]
            told = {"polish": "Polish the journal by", "hone": "Hone the bore by", "resize": "Make the bore smaller by"}
            most = f" ({scale.amount(advice.most_nm)} at most)" if advice.most_nm > amount else ""
            yield f"{told[action]} {scale.amount(amount)} {scale.step}{most}, to {scale.with_unit(size)}."
        case "grind":
            yield _grind(what, amount, scale)


def _grind(what: Mapping[str, Any], amount: object, scale: Scale) -> str:
    journals = f"all {clean(what['kind'])} journals"
    if isinstance(amount, Run):
        sizes = scale.with_unit(amount.lowest_nm), scale.with_unit(amount.highest_nm)
        return f"Grind {journals} to one size from {' to '.join(sizes)}: all lie inside with these shells."
    return (
        f"Grind {journals} to the next undersize that the makers list, with its thicker shells: buy and measure those "
        "first, then run this again for the final size."
    )


def _reached(reached: Reached, scale: Scale) -> str:
    p = reached.placement
    return f"Gives {scale.with_unit(p.clearance_nm)}, off {scale.steps(p.deviation_nm, sign=True)} {scale.step}."


def _half(what: Mapping[str, Any], scale: Scale) -> str:
    """What to look for: the half, its wall, and what must stand on it."""
    half, wall = what["half"], scale.with_unit(what["wall_nm"])
    low, high = what["lowest_nm"], what["highest_nm"]
    will_do = f" ({scale.length(low)} to {scale.length(high)} will do)" if low < high else ""
    which = "upper and lower half with walls of" if half == "both" else f"{half} half with a wall of"
    reads = _reads(what["marks"])
    return f"{which} {wall}{will_do}{f', {reads}' if reads else ''}"


def _reads(marks: Mapping[str, Any]) -> str:
    if set(marks) == {"upper", "lower"}:
        upper, lower = (_reads(marks[side]) for side in ("upper", "lower"))
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
