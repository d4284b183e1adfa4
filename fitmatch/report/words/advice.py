"""Advice in words: what to do, what it gives, and what each sort of it risks."""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from math import ceil, floor
from typing import Any, Final

from fitmatch.lengths import NM_PER_UNIT, exact, fixed
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import Scale, with_range
from fitmatch.study.advice.advised import Advice, Machined, Reached, Sizes
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
    return f"{told} {_reached(advice.action, advice.reached, scale)}" if advice.reached is not None else told


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
            yield f"Open another box{_of_step(what)}: {_half(what, scale)}{box_chance(what['step'], advice.chance)}."
        case "one-half":
            goes_to = f" for {whole(what['for'])}" if what["for"] else ""
            yield f"One half{_of_step(what)}{goes_to}: {_half(what, scale)}."
        case "both-halves":
            yield f"Both halves{_of_step(what)}: {_half(what, scale)}."
        case "other-pin":
            own = f"; its own goes to {whole(what['journal'])}" if what["journal"] else ""
            yield f"Another pin: the housing of {whole(what['housing'])} comes here{own}."
        case "polish" | "hone" | "resize":
            assert isinstance(amount, int) and advice.most_nm is not None and advice.machined is not None
            told = {"polish": "Polish the journal", "hone": "Hone the bore", "resize": "Make the bore smaller"}[action]
            moved = f" (of the housing of {whole(what['housing'])}, which is here now)" if what.get("housing") else ""
            first, last = _ends(amount, advice.most_nm, scale)
            by = f"{first} {scale.unit}{f', {last} {scale.unit} at most' if last != first else ''}"
            yield f"{told}{moved} by {by}, to a size{_machined(advice.machined, scale, 'nearest to the target')}."
            if advice.machined.chances is not None:
                yield _chances(advice.machined.chances)
        case "grind":
            yield _grind(what, advice.machined, scale)


def _grind(what: Mapping[str, Any], machined: Machined | None, scale: Scale) -> str:
    journals = f"all {clean(what['kind'])} journals"
    if machined is not None:
        return (
            f"Grind {journals} to one size{_machined(machined, scale, 'the middle')}: all lie inside with these "
            "shells, at an end perhaps only just."
        )
    return (
        f"Grind {journals} to the next undersize that the makers list, with its thicker shells: buy and measure those "
        "first, then run this again for the final size."
    )


def _machined(machined: Machined, scale: Scale, best: str) -> str:
    """The sizes, what the one to aim at is, and what the gauge of the part shows of them where that is something
    else."""
    sizes, reads = machined.sizes, machined.reads
    told = _sizes(sizes, machined.resolution_nm, scale, best)
    if reads == sizes:
        return told
    if reads is None:
        return f"{told} at 20 C"
    gauge = f"gauge {whole(machined.gauge)}" if machined.gauge else "the gauge"
    return f"{told} at 20 C ({gauge} reads{_sizes(reads, machined.resolution_nm, scale, best)})"


def _chances(chances: tuple[float, float, float]) -> str:
    low, high, best = (f"{chance:.2f}" for chance in chances)
    if low == high == best:
        return f"It is then inside by a chance of about {best}."
    return (
        f"It is then inside by a chance of about {low} at the smallest, {high} at the largest, {best} at the nearest."
    )


def sizes_words(advice: Iterable[Advice]) -> str:
    """How the sizes to machine to in this advice are to be understood; empty where there are none."""
    sized = [(one.machined.sizes, one.machined.reads) for one in advice if one.machined is not None]
    if not sized:
        return ""
    if all(reads == sizes for sizes, reads in sized):
        return "Sizes to machine to are as your gauges read: check with the same gauge, at the same temperature."
    told = (
        "Sizes to machine to are corrected, at 20 C: with another gauge, at another temperature or after a gauge was "
        "set anew, correct its readings first."
    )
    if any(reads is not None for _, reads in sized):
        told += " What a gauge reads is at the temperatures of job.toml, with the zero error that it had."
    return told


def _sizes(sizes: Sizes, resolution_nm: int | None, scale: Scale, named: str) -> str:
    low, high, best = (f"{text} {scale.unit}" for text in _inward(sizes, resolution_nm, scale))
    return f" of {best}" if low == high else f" from {low} to {high}, {named} {best}"


def _ends(low_nm: int, high_nm: int, scale: Scale) -> tuple[str, str]:
    """Two amounts, rounded towards each other."""
    return _inward(Sizes(low_nm, high_nm, low_nm), None, scale)[:2]


def _inward(sizes: Sizes, resolution_nm: int | None, scale: Scale) -> tuple[str, str, str]:
    """Both ends rounded towards each other, as an end that is short by a rounding does not do, and the best one between
    them: as the gauge can show them; to the digits of the report where it is not known or nothing would be left; where
    that is so again, in full."""
    for grid_nm, places in _grids(resolution_nm, scale):
        low, high = ceil(sizes.lowest_nm / grid_nm), floor(sizes.highest_nm / grid_nm)
        if low <= high:
            best = min(max(round(sizes.best_nm / grid_nm), low), high)
            first, last, middle = (fixed(round(at * grid_nm), scale.unit, places) for at in (low, high, best))
            return first, last, middle
    first, last, middle = (exact(nm, scale.unit) for nm in sizes)
    return first, last, middle


def _grids(resolution_nm: int | None, scale: Scale) -> Iterator[tuple[Fraction, int]]:
    """Steps in nanometres, each with the decimals in which its multiples are written out."""
    per = NM_PER_UNIT[scale.unit]
    for places in range(scale.decimals + 1):
        if resolution_nm and resolution_nm * 10**places % per == 0:
            yield Fraction(resolution_nm), places
            break
    yield Fraction(per, 10**scale.decimals), scale.decimals


def _reached(action: str, reached: Reached, scale: Scale) -> str:
    p = reached.placement
    which = "The least gives" if action in METAL[:-1] else "The middle gives" if action == "grind" else "Gives"
    return f"{which} {scale.with_unit(p.clearance_nm)}, off {scale.steps(p.deviation_nm, sign=True)} {scale.step}."


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


def box_chance(step: str | None, chance: float | None) -> str:
    """That a box holds what is wanted of it."""
    if chance is not None:
        return f"; the chance that it holds one is about {chance:.2f}"
    return "; no known step is likely to have it" if step is None else ""
