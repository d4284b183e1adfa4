"""A plan as one JSON document, described by assignment.schema.json beside this file."""

from typing import Final

from fitmatch import __version__
from fitmatch.parts import Baseline, KindFigures, Placement, Plan, Proof, Shell
from fitmatch.report.emit import Number, Value, area, document, half_length, length
from fitmatch.report.facts import clearance_over_coating, clearance_to_metal, is_coated, unmeasured_shells
from fitmatch.report.levels import LEVELS, Worth

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added


def plan_document(plan: Plan, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    unmeasured: list[Value] = [
        {"position": p.name, "kind": p.kind, "missing": p.missing} for p in plan.unmeasured_positions
    ]
    unmeasured += [
        {"shell": s.name, "box": s.box, "kind": s.kind, "half": s.half, "missing": ["wall"]}
        for s in unmeasured_shells(plan)
    ]
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": plan.job.title,
            "unit": unit,
            "strategy": plan.strategy,
            "slack": length(plan.slack_nm, unit),
            "status": str(plan.status),
            "positions": [_position(p, unit) for p in plan.placements],
            "unfilled": [{"position": u.position.name, "kind": u.position.kind, "why": u.why} for u in plan.unfilled],
            "unmeasured": unmeasured,
            "flags": [{"position": f.position, "code": f.code, "text": f.text} for f in plan.flags],
            "doubts": [],
            "kinds": {
                kind: _figures(figures, unit) | _proof(plan.proofs.get(kind, Proof()), unit)
                for kind, figures in plan.figures.items()
            },
            "baselines": {
                name: {kind: _baseline(baseline, unit) for kind, baseline in kinds.items()}
                for name, kinds in plan.baselines.items()
            },
            "leftover": [_unused(s, unit) for s in plan.leftover],
            "held": [_unused(s, unit) | {"hold": s.hold} for s in plan.held],
            "digest": plan.job.digest,
        }
    )


def _position(placement: Placement, unit: str) -> Value:
    position = placement.position
    assert position.journal is not None and position.housing_bore is not None
    coated = is_coated(placement)
    return {
        "position": position.name,
        "kind": position.kind,
        "housing": position.name,
        "pin": position.pin,
        "upper": _placed(placement.upper, unit),
        "lower": _placed(placement.lower, unit),
        "journal": length(position.journal.mean_nm, unit),
        "housing_bore": length(position.housing_bore.mean_nm, unit),
        "wall_sum": length(placement.wall_sum_nm, unit),
        "seating": length(position.seating_nm, unit),
        "clearance": length(placement.clearance_nm, unit),
        "target": length(position.target_nm, unit),
        "deviation": length(placement.deviation_nm, unit),
        "min": length(position.min_nm, unit),
        "max": length(position.max_nm, unit),
        "limit_low": length(position.min_nm, unit),
        "limit_high": length(position.max_nm, unit),
        "clearance_tightest": length(placement.clearance_tightest_nm, unit),
        "within_limits": placement.within_limits,
        "uncertainty": {"standard": None, "expanded": None, "degrees_of_freedom": None, "chance": None},
        "verdict": None,
        "wall_difference": length(placement.wall_difference_nm, unit),
        "axis_shift": half_length(placement.twice_axis_shift_nm, unit),
        "clearance_over_coating": length(clearance_over_coating(placement), unit) if coated else None,
        "clearance_to_metal": length(clearance_to_metal(placement), unit) if coated else None,
    }


def _placed(shell: Shell, unit: str) -> Value:
    return {
        "shell": shell.name,
        "box": shell.box,
        "wall": length(shell.wall_nm, unit),
        "coating": length(shell.coating_nm, unit) if shell.coating_nm else None,
    }


def _unused(shell: Shell, unit: str) -> dict[str, Value]:
    return {
        "shell": shell.name,
        "box": shell.box,
        "kind": shell.kind,
        "half": shell.half,
        "wall": length(shell.wall_nm, unit),
        "grade": shell.grade,
    }


def _figures(figures: KindFigures, unit: str) -> dict[str, Value]:
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
    }


def _proof(proof: Proof, unit: str) -> dict[str, Value]:
    return {"proven": proof.proven, "level": proof.level, "bound": _bound(proof, unit)}


def _bound(proof: Proof, unit: str) -> Number | int | None:
    if proof.level is None or proof.bound is None:
        return None
    match LEVELS[proof.level].worth:
        case Worth.COUNT:
            return proof.bound
        case Worth.LENGTH:
            return length(proof.bound, unit)
        case Worth.SQUARE:
            return area(proof.bound, unit)


def _baseline(baseline: Baseline, unit: str) -> Value:
    return _figures(baseline.figures, unit) | {"rules_broken": baseline.rules_broken}
