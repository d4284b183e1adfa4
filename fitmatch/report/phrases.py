"""The phrases of rules with their slots filled in."""

from fitmatch.facts import Fact
from fitmatch.lengths import exact
from fitmatch.parts import Rule
from fitmatch.report.layout import clean


def filled(rule: Rule | type[Rule], fact: Fact, unit: str) -> str:
    """The rule's phrase for this fact, lengths in `unit` to the last digit: walls are held against these figures."""
    slots = {name: _shown(name, value, unit) for name, value in fact.slots.items()}
    return rule.phrases[fact.code].format(**slots)


def _shown(name: str, value: object, unit: str) -> str:
    match value:
        case int() if name.endswith("_twice_nm"):
            return f"{exact(value, unit)} {unit}"
        case int() if name.endswith("_nm"):
            return f"{exact(2 * value, unit)} {unit}"
        case float():
            return f"{value:g}"
        case (str(), str()) if name == "shell":
            return "/".join(map(clean, value))
        case tuple():
            last = " or " if name == "any_of" else ", "
            return last.join(
                f"{clean(one[0])} {_shown(name, one[1], unit)}" if isinstance(one, tuple) else clean(str(one))
                for one in value
            )
    return clean(str(value)) or "blank"
