"""The phrases of rules, with their slots filled in."""

from fitmatch.facts import Fact
from fitmatch.lengths import exact_half, with_unit
from fitmatch.report.shared.states import one_line
from fitmatch.rules.registry import REGISTRY


def phrase(code: str, fact: Fact, unit: str) -> str:
    """What the rule named by the fact says under this code, lengths in `unit` to the last digit, as walls are compared
    with exactly these figures. The user's own words in it may contain line breaks."""
    sort = next(sort for sort in REGISTRY if sort.key == fact.code)
    slots = {name: _shown(name, value, unit) for name, value in fact.slots.items()}
    return one_line(sort.phrases[code].format(**slots))


def _shown(name: str, value: object, unit: str) -> str:
    match value:
        case int() if name.endswith("_twice_nm"):
            return f"{exact_half(value, unit)} {unit}"
        case int() if name.endswith("_nm"):
            return with_unit(value, unit)
        case float():
            return f"{value:g}"
        case (str(), str()) if name == "shell":
            return "/".join(value)
        case tuple():
            each = (f"{one[0]} {_shown(name, one[1], unit)}" if isinstance(one, tuple) else str(one) for one in value)
            return (" or " if name == "any_of" else ", ").join(each)
    return str(value) or "blank"
