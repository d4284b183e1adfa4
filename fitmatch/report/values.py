"""Placements and figures as JSON values, of the answer and of other plans beside it."""

from fitmatch.parts import SIDES, Shell
from fitmatch.placements import KindFigures, Placement
from fitmatch.report.emit import Value, area, half_length, length
from fitmatch.report.facts import clearance_over_coating, clearance_to_metal, is_coated, within_want


def placement_value(placement: Placement, unit: str) -> dict[str, Value]:
    """A position that has shells, without what tells of measuring; a wished band and an offset only where given."""
    position = placement.position
    assert position.journal is not None and position.housing_bore is not None
    coated, within = is_coated(placement), within_want(placement)
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
        "uncertainty": {"standard": None, "expanded": None, "degrees_of_freedom": None, "chance": None},
        "verdict": None,
        "wall_difference": length(placement.wall_difference_nm, unit),
        "axis_shift": half_length(placement.twice_axis_shift_nm, unit),
        "clearance_over_coating": length(clearance_over_coating(placement), unit) if coated else None,
        "clearance_to_metal": length(clearance_to_metal(placement), unit) if coated else None,
        **({} if within is None else {**wish, "within_want": within}),
        **({} if position.offset_nm is None else {"offset": length(position.offset_nm, unit)}),
    }


def figures_value(figures: KindFigures, unit: str) -> dict[str, Value]:
    wish: dict[str, Value] = {}
    if figures.below_want is not None:
        wish = {
            "below_want": figures.below_want,
            "want_shortfall": length(figures.want_shortfall_nm, unit),
            "above_want": figures.above_want,
            "want_excess": length(figures.want_excess_nm, unit),
        }
    return {
        "filled": figures.filled,
        "below": figures.below,
        "shortfall": length(figures.shortfall_nm, unit),
        "above": figures.above,
        "excess": length(figures.excess_nm, unit),
        "counted": figures.counted,
        "worst_deviation": length(figures.worst_deviation_nm, unit),
        "sum_squared_deviation": area(figures.sum_squared_deviation_nm2, unit),
        "spread": length(figures.spread_nm, unit),
        "mean_clearance": length(figures.mean_clearance_nm, unit),
        "boxes": figures.boxes,
        **wish,
    }


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
