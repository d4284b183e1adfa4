"""What is wrong where a rule is broken, in words: one phrase for each rule, by the name it has in job.toml."""

from collections.abc import Mapping
from typing import Final

from fitmatch.facts import Fact
from fitmatch.lengths import exact

BROKEN: Final[Mapping[str, str]] = {
    "match": "the {column} of {shell} is {has}, not {wants}",
    "family": "{shell} is of family {has}, not {wants}",
    "wall_difference": "its two walls differ by {difference}, and wall_difference allows {allowed}",
    "same_in_bore": "its two halves differ in {column}",
    "thick_half": "its thicker half is not the {side} one: walls differ by {difference}, {allowed} may pass",
    "neighbour_step": "its axis shift changes by {step} from {one} to {other}, and neighbour_step allows {allowed}",
    "line": "offset and axis shift of {low} and {high} differ by {apart}, and line allows {allowed}",
}


def broken(rule: Fact, unit: str) -> str:
    """The phrase of a broken rule, lengths to the last digit: walls are held against these very figures."""
    shown = {}
    for name, value in rule.slots.items():
        if isinstance(value, int):
            twice = name.endswith("_twice_nm")
            shown[name.removesuffix("_nm").removesuffix("_twice")] = (
                f"{exact(value if twice else 2 * value, unit)} {unit}"
            )
        else:
            shown[name] = (" or ".join(value) if isinstance(value, tuple) else str(value)) or "blank"
    return BROKEN[rule.code].format_map(shown)
