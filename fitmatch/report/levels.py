"""The levels of an answer's proof in a machinist's words, and what the bound of an unproven one is a bound of."""

from enum import Enum, auto
from typing import Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.plans import Proof
from fitmatch.report.scale import Scale


class Worth(Enum):
    COUNT = auto()
    LENGTH = auto()
    SQUARE = auto()  # a length squared


class Level(NamedTuple):
    words: str
    worth: Worth
    largest_wins: bool = False


LEVELS: Final = {
    "engines_complete": Level("engines complete in the kind", Worth.COUNT, largest_wins=True),
    "positions_inside": Level("positions inside their limits", Worth.COUNT, largest_wins=True),
    "positions_filled": Level("positions filled", Worth.COUNT, largest_wins=True),
    "positions_below": Level("positions below their min", Worth.COUNT),
    "shortfall": Level("total shortfall below min", Worth.LENGTH),
    "excess": Level("total excess over max", Worth.LENGTH),
    "positions_below_want": Level("positions below the wished band", Worth.COUNT),
    "want_shortfall": Level("total shortfall below the wished band", Worth.LENGTH),
    "positions_above_want": Level("positions above the wished band", Worth.COUNT),
    "want_excess": Level("total excess over the wished band", Worth.LENGTH),
    "worst_deviation": Level("worst deviation from target", Worth.LENGTH),
    "sum_squared_deviation": Level("sum of squared deviations", Worth.SQUARE),
    "spread": Level("spread", Worth.LENGTH),
    "boxes": Level("boxes drawn from", Worth.COUNT),
    "housings_staying": Level("housings that stay where they are", Worth.COUNT, largest_wins=True),
    "total_clearance": Level("total clearance", Worth.LENGTH, largest_wins=True),
    "total_wall_difference": Level("total wall difference", Worth.LENGTH),
}


def in_words(proof: Proof, scale: Scale) -> str:
    """Where an unproven answer was stopped, and how much better another could be at most."""
    if proof.level is None:
        return "stopped early"
    level = LEVELS[proof.level]
    text = f"stopped while proving the {level.words}"
    if proof.bound is None:
        return text
    better = "more" if level.largest_wins else "less"
    return f"{text}, which cannot be {better} than {_amount(level.worth, proof.bound, scale)}"


def _amount(worth: Worth, bound: int, scale: Scale) -> str:
    if worth is Worth.COUNT:
        return str(bound)
    if worth is Worth.LENGTH:
        return f"{scale.steps(bound)} {scale.step}"
    return f"{bound / NM_PER_UNIT[scale.step] ** 2:.1f} {scale.step} squared"
