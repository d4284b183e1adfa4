"""The levels of an answer's proof in a machinist's words, and what the bound of an unproven answer refers to."""

from typing import Final

from fitmatch.fit.model.order import ALL, Unit
from fitmatch.records.answers.plans import Proof
from fitmatch.report.shared.scale import Scale

WORDS: Final = {
    "engines_complete": "engines complete in the kind",
    "positions_inside": "positions inside their limits",
    "positions_filled": "positions filled",
    "positions_below": "positions below their min",
    "shortfall": "total shortfall below min",
    "excess": "total excess over max",
    "positions_below_want": "positions below the wanted band",
    "want_shortfall": "total shortfall below the wanted band",
    "positions_above_want": "positions above the wanted band",
    "want_excess": "total excess over the wanted band",
    "worst_deviation": "worst deviation from target",
    "sum_squared_deviation": "sum of squared deviations",
    "spread": "spread",
    "boxes": "boxes drawn from",
    "singles": "single shells of the shelf used",
    "housings_staying": "housings that stay in their own positions",
    "total_clearance": "total clearance",
    "total_wall_difference": "total wall difference",
}
FIGURES: Final = {figure.name: figure for figure in ALL}


def in_words(proof: Proof, scale: Scale) -> str:
    """Where an unproven answer was stopped, and how much better another could be at most."""
    if proof.level is None:
        return "stopped early"
    figure = FIGURES[proof.level]
    text = f"stopped at the {WORDS[figure.name]}"
    if proof.bound is None:
        return text
    better = "more" if figure.more else "less"
    return f"{text}, which cannot be {better} than {_amount(figure.unit, proof.bound, scale)}"


def _amount(unit: Unit, bound: int, scale: Scale) -> str:
    if unit is Unit.COUNT:
        return str(bound)
    if unit is Unit.LENGTH:
        return f"{scale.steps(bound)} {scale.step}"
    return f"{scale.squares(bound)} {scale.step} squared"
