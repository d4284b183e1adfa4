"""Doubts about readings in words: what looks wrong, the likeliest mistakes behind it, what to do."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from fitmatch.lengths import with_unit
from fitmatch.records.measuring import Doubt
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.scale import usual

# What happened, and what would distinguish it from others.
OF_ONE: Final[Mapping[str, tuple[str, str]]] = {
    "thimble-turn": ("one thimble turn", "read sleeve and thimble again"),
    "calliper-turn": ("one turn of a dial calliper, 0.100 in", "check with a micrometer"),
    "wrong-frame": ("the wrong micrometer frame or setting standard", "check the frame's range"),
    "indicator-turn": ("one turn of the bore gauge's indicator", "watch the small hand while setting and reading"),
    "digits-transposed": ("two digits swapped", "compare with the paper"),
    "digit-dropped": ("a digit left out", "compare with the paper"),
    "digit-doubled": ("a digit typed twice", "compare with the paper"),
    "decimal-slip": ("the decimal point one place out", "compare with the paper"),
    "wrong-unit": ("a unit other than the file's", "write the unit after the number"),
    "radius": ("a radius instead of a diameter, or twice the diameter", "measure the full diameter"),
    "journal-high": (
        "dirt or oil under the anvils, or a warm part",
        "wipe both, let the part soak to room temperature, and read again: a warm part drifts",
    ),
    "bore-high": (
        "gauge not rocked to its smallest reading, measured at the joint, or fasteners not tightened as for good",
        "rock it again on the crown axis; if it stands, tighten again as the maker says, by torque, angle or stretch, "
        "with bolts that may be used for measuring",
    ),
    "bore-low": (
        ("gauge not on the diameter, or dirt, a burr or oil film in the bore"),
        "wipe, rock it again in both planes",
    ),
    "wall-low": (
        "measured off the crown, or before the shell was coated",
        "measure at the crown, 90 degrees from the joint",
    ),
    "wall-high": ("dirt or oil film on the shell", "wipe it and read again"),
    "flat-anvil": ("a flat anvil on the concave face", "use a ball anvil"),
    "ball-left-in": ("the ball's diameter not subtracted", "zero with the ball in place"),
    "groove-or-hole": ("measured in a groove or an oil hole", "measure on the land"),
    "undersize": (
        "a journal ground to another undersize",
        "look at the mark on the crank web, and note it in the column `undersize`",
    ),
    "other-group": ("a reading of another kind, box or grade", "check which part it belongs to"),
    "gauge-setting": (
        "the gauge set differently than for the others, or moved",
        "check it on its standard, set it again, and measure all of the kind in one session",
    ),
    "two-sizes": (
        "parts of two sizes, or two gauges that disagree",
        "look at the marks on the parts, and note them in the column `undersize`, `grade` or `step`",
    ),
    "two-hands": (
        "two people whose readings differ",
        "both measure it again, one after the other, and agree on the feel",
    ),
    "shells-for-another-grind": (
        "a shell for another undersize of the journal",
        "look at the mark on its back",
    ),
    "sign-reversed": (
        "the indicator's sign read the wrong way round",
        "a bore larger than the setting turns many indicators backwards: try it by hand",
    ),
    "digit-misread": ("one digit misread, such as 6 for 9 or 1 for 7", "compare with the paper"),
    "cap-exchanged": (
        "cap swapped with another or fitted the wrong way round",
        "look at the numbers on cap and housing, and feel for a step at the joint",
    ),
    "unknown": ("no known mistake gives this number", "measure it twice"),
}
OF_SITTINGS: Final[Mapping[str, str]] = {
    "ball-left-in": "the ball's diameter not subtracted; zero the micrometer with the ball in place",
    "ball-twice": "the ball's diameter subtracted twice",
    "flat-anvil": "a flat anvil on the concave face; use a ball anvil",
    "shells-for-another-grind": "shells for another undersize than the journals have; look at both marks",
    "labels-exchanged": "the labels of two boxes exchanged; compare marks on the shells with the boxes",
    "wall-low": "all walls measured off the crown; measure 90 degrees from the joint",
    "gauge-setting": "the gauge set differently than for other boxes; check it on its standard",
    "thimble-turn": "one thimble turn; read sleeve and thimble again",
    "wrong-frame": "the wrong micrometer frame or setting standard",
    "unknown": "a whole session of readings is off; check gauge and standard",
}

_OF_MANY: Final = ("copied", "sitting", "step", "clusters")  # doubts that are not about one reading
_AGAINST: Final[Mapping[str, str]] = {
    "off-its-repeats": " compared with its repeats",
    "step": " compared with those before",
    "clusters": " compared with the others",
}
_MOST_SHOWN: Final = 4


def doubt_lines(doubts: Sequence[Doubt], unit: str, own_unit: str) -> list[str]:
    """One item for each doubt, of those with the same likely causes one for all: what looks wrong and where, the cause,
    what to do. `own_unit`: the job's; where `unit` is another one, what was typed is told in that as well."""
    alike: dict[tuple[str, str, tuple[str, ...]], list[Doubt]] = {}
    for d in doubts:
        alike.setdefault((d.what.code, d.feature, likely(d)), []).append(d)
    lines = []
    for (_, _, causes), some in alike.items():
        wrong = [looks_wrong(d, unit) for d in some]
        todo = list(dict.fromkeys(map(measure_again, some)))
        if len(some) == 1:
            told = f"{wrong[0]}: {'; or '.join(causes)}; {todo[0]} [{_where(some[0], unit, own_unit)}]"
        else:
            each = (f"{text} [{_where(d, unit, own_unit)}]" for text, d in zip(wrong, some, strict=True))
            again = todo[0] if len(todo) == 1 else "measure them again"
            told = f"{'; '.join(each)}: {'; or '.join(causes)}; {again}"
        lines.append(clean(told))
    return lines


def _where(doubt: Doubt, unit: str, own_unit: str) -> str:
    """File, row and column, and what was typed there."""
    where = f"{doubt.file}:{doubt.row}" if doubt.row else doubt.file
    if not doubt.column or doubt.what.code in _OF_MANY:
        return where
    typed = doubt.typed or with_unit(doubt.reading_nm, own_unit)
    if unit != own_unit and not typed.endswith(f" {unit}"):
        typed += f" ({with_unit(doubt.reading_nm, unit)})"
    return f"{where}: {doubt.column} reads {typed}"


def looks_wrong(doubt: Doubt, unit: str) -> str:
    """What looks wrong, such as "M3 journal reads 0.0250 in low"."""
    slots: Mapping[str, Any] = doubt.what.slots
    feature = doubt.feature.replace("_", " ")
    item = f"{doubt.item} {feature}"
    match doubt.what.code:
        case "copied":
            return f"{item} has exactly the same readings as {slots['other']}"
        case "step":
            item = f"every {feature} from {doubt.item} to {slots['last']}"
        case "clusters":
            item = f"every {feature} of {_some(slots['items'])}"
        case "sitting":
            item = f"every {_sitting(doubt)}"
    nm: int = slots["error_nm"]
    off = f"{usual(unit, abs(nm), fewer=1)} {unit} {'high' if nm > 0 else 'low'}"
    return f"{item} reads {off}{_AGAINST.get(doubt.what.code, '')}"


def likely(doubt: Doubt) -> tuple[str, ...]:
    """The mistakes that explain it, the likeliest first."""
    match doubt.what.code:
        case "copied":
            return ("a copied row",)
        case "sitting":
            return tuple(OF_SITTINGS[name] for name in doubt.signatures)
    return tuple("{} ({})".format(*OF_ONE[name]) for name in doubt.signatures)


def measure_again(doubt: Doubt) -> str:
    """What to do about it."""
    match doubt.what.code:
        case "step" | "clusters":
            return f"measure every {_sitting(doubt)} again in one session, the gauge set anew"
        case "sitting":
            return f"measure a few of {_sitting(doubt)} again with another gauge"
    return f"measure {doubt.item} again"


def _sitting(doubt: Doubt) -> str:
    slots = doubt.what.slots
    return f"{slots['half']} {doubt.feature.replace('_', ' ')} of {slots['of']}".lstrip()


def _some(items: Sequence[str]) -> str:
    """The first of them by name, and how many others."""
    if len(items) > _MOST_SHOWN:
        return f"{', '.join(items[: _MOST_SHOWN - 1])} and {len(items) - _MOST_SHOWN + 1} others"
    return f"{', '.join(items[:-1])} and {items[-1]}"
