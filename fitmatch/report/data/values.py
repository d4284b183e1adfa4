"""Placements and figures as JSON values, for the answer and for other plans."""

from typing import TYPE_CHECKING

from fitmatch.fit.model.order import Unit
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import Proof
from fitmatch.records.parts import SIDES, Shell
from fitmatch.report.shared.emit import Number, Value, area, half_length, length, named_values
from fitmatch.report.shared.states import is_coated
from fitmatch.report.words.levels import FIGURES

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty.combining import Uncertainty


def placement_value(placement: Placement, unit: str) -> dict[str, Value]:
    """A position that has shells, without what concerns measuring; a wanted band and an offset only if given."""
    position = placement.position
    assert position.journal is not None and position.housing_bore is not None
    coated = is_coated(placement)
    within_want = not placement.want_shortfall_nm and not placement.want_excess_nm
    wish = {"want_min": length(position.want_min_nm, unit), "want_max": length(position.want_max_nm, unit)}
    return {
        "position": position.name,
        "kind": position.kind,
        "housing": position.housing or position.name,
        "pin": position.pin,
        **{side: half_value(placement, side, unit) for side in SIDES},
        "journal": length(position.journal.mean_nm, unit),
        "housing_bore": length(position.housing_bore.mean_nm, unit),
        "wall_sum": length(placement.wall_sum_nm, unit),
        "seating": length(position.seating_nm, unit),
        "clearance": length(placement.clearance_nm, unit),
        "target": length(position.target_nm, unit),
        "deviation": length(placement.deviation_nm, unit),
        "min": length(position.min_nm, unit),
        "max": length(position.max_nm, unit),
        "limit_low": length(placement.limit_low_nm, unit),
        "limit_high": length(placement.limit_high_nm, unit),
        "clearance_tightest": length(placement.clearance_tightest_nm, unit),
        "within_limits": placement.within_limits,
        "uncertainty": uncertainty_value(None, unit) | {"chance": None},
        "verdict": None,
        "wall_difference": length(placement.wall_difference_nm, unit),
        "axis_shift": half_length(placement.twice_axis_shift_nm, unit),
        "clearance_over_coating": length(placement.clearance_over_coating_nm, unit) if coated else None,
        "clearance_to_metal": length(placement.clearance_to_metal_nm, unit) if coated else None,
        **({**wish, "within_want": within_want} if position.wishes else {}),
        **({} if position.offset_nm is None else {"offset": length(position.offset_nm, unit)}),
    }


def uncertainty_value(uncertainty: "Uncertainty | None", unit: str) -> dict[str, Value]:
    """Of one clearance; null where nothing is known."""
    if uncertainty is None:
        return {"standard": None, "expanded": None, "degrees_of_freedom": None}
    return {
        "standard": length(uncertainty.standard_nm, unit),
        "expanded": length(uncertainty.expanded_nm, unit),
        "degrees_of_freedom": uncertainty.degrees_of_freedom,
    }


def figures_value(figures: KindFigures, unit: str) -> dict[str, Value]:
    """The figures of the wanted band only if there is one; otherwise they are all None."""
    values = named_values(figures._asdict(), unit)
    if figures.below_want is None:
        for name in ("below_want", "want_shortfall", "above_want", "want_excess"):
            del values[name]
    return values


def proof_value(proof: Proof, unit: str) -> dict[str, Value]:
    """How far an answer is proven, and where it was stopped."""
    return {"proven": proof.proven, "level": proof.level, "bound": _bound(proof, unit)}


def _bound(proof: Proof, unit: str) -> Number | int | None:
    if proof.level is None or proof.bound is None:
        return None
    match FIGURES[proof.level].unit:
        case Unit.COUNT:
            return proof.bound
        case Unit.LENGTH:
            return length(proof.bound, unit)
        case Unit.SQUARE:
            return area(proof.bound, unit)


def chance_value(chance: float | None) -> Number | None:
    return None if chance is None else Number(f"{chance:.4f}")


def half_value(placement: Placement, side: str, unit: str) -> dict[str, Value]:
    """The upper or the lower shell of a bore."""
    shell: Shell = getattr(placement, side)
    return {
        "shell": shell.name,
        "box": shell.box,
        "wall": length(shell.wall_nm, unit),
        "coating": length(shell.coating_nm, unit) if shell.coating_nm else None,
        "locked": getattr(placement.position, side) is not None,
    }
