"""A plan as one JSON document, described by assignment.schema.json beside this file."""

from typing import Final

from fitmatch import __version__
from fitmatch.measuring import DIAMETERS, MeasuredAs
from fitmatch.parts import (
    SIDES,
    Alternative,
    Baseline,
    Cure,
    KindFigures,
    Placement,
    Plan,
    Proof,
    Reason,
    Shell,
    Size,
    Variant,
)
from fitmatch.report.certainty import Certainty
from fitmatch.report.emit import Number, Value, area, document, half_length, length, two_digits
from fitmatch.report.facts import clearance_over_coating, clearance_to_metal, is_coated, unmeasured_shells
from fitmatch.report.levels import LEVELS, Worth

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added


def plan_document(plan: Plan, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    certainty = Certainty(plan)
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
            "positions": [_position(p, unit) | _measured(plan, p, unit, certainty) for p in plan.placements],
            "unfilled": [{"position": u.position.name, "kind": u.position.kind, "why": u.why} for u in plan.unfilled],
            "reasons": [_reason(reason, unit) for reason in plan.reasons],
            "unmeasured": unmeasured,
            "flags": [{"position": f.position, "code": f.code, "text": f.text} for f in plan.flags],
            "doubts": [],
            "kinds": {
                kind: _figures(figures, unit)
                | _proof(plan.proofs.get(kind, Proof()), unit)
                | _joint(certainty, kind)
                | _worth(plan, kind, unit)
                for kind, figures in plan.figures.items()
            },
            "baselines": {
                name: {kind: _baseline(baseline, unit) for kind, baseline in kinds.items()}
                for name, kinds in plan.baselines.items()
            },
            **_alternatives(plan, unit),
            **_explanation(plan, unit),
            "leftover": [_unused(s, unit) for s in plan.leftover],
            "held": [_unused(s, unit) | {"hold": s.hold} for s in plan.held],
            "digest": plan.job.digest,
        }
    )


def _reason(reason: Reason, unit: str) -> Value:
    return {
        "position": reason.position.name,
        "kind": reason.position.kind,
        "together": reason.together,
        "reduced": reason.reduced,
        "cures": None if reason.cures is None else [_cure(cure, unit) for cure in reason.cures],
    }


def _cure(cure: Cure, unit: str) -> Value:
    return {
        "change": cure.change,
        "name": cure.name,
        "to": length(cure.to_nm, unit),
        "by": length(cure.by_nm, unit),
        "factor": None if cure.factor is None else Number(f"{cure.factor:g}"),
        "low": length(cure.low_nm, unit),
        "high": length(cure.high_nm, unit),
    }


def _alternatives(plan: Plan, unit: str) -> dict[str, Value]:
    """The next best plans by kind, where they were asked for."""
    if not plan.alternatives:
        return {}
    kinds: dict[str, Value] = {
        kind: {
            "complete": found.complete,
            "plans": [_beside(other, unit) for other in found.plans],
        }
        for kind, found in plan.alternatives.items()
    }
    return {"alternatives": kinds}


def _explanation(plan: Plan, unit: str) -> dict[str, Value]:
    """One position explained, where it was asked for."""
    told = plan.explanation
    if told is None:
        return {}
    pair = told.pair and {side: {"shell": s.name, "box": s.box} for side, s in zip(SIDES, told.pair, strict=True)}
    return {
        "explanation": {
            "position": told.position.name,
            "kind": told.position.kind,
            "runner_up": told.runner_up and _beside(told.runner_up, unit),
            "with": pair,
            "insisted": told.insisted and _beside(told.insisted, unit),
        }
    }


def _beside(other: Alternative | Variant, unit: str) -> dict[str, Value]:
    """Another plan of a kind beside the answer."""
    return _figures(other.figures, unit) | {
        "proven": other.proven,
        "against_plan": other.against_plan,
        "positions": [_position(p, unit) for p in other.placements],
    }


def _position(placement: Placement, unit: str) -> dict[str, Value]:
    position = placement.position
    assert position.journal is not None and position.housing_bore is not None
    coated = is_coated(placement)
    return {
        "position": position.name,
        "kind": position.kind,
        "housing": position.name,
        "pin": position.pin,
        "upper": _placed(placement.upper, unit, locked=position.upper is not None),
        "lower": _placed(placement.lower, unit, locked=position.lower is not None),
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
    }


def _measured(plan: Plan, placement: Placement, unit: str, certainty: Certainty) -> dict[str, Value]:
    """What a job adds that tells how it was measured: nothing where it does not."""
    more: dict[str, Value] = {}
    uncertainty = certainty.of(placement)
    if uncertainty is not None:
        more["uncertainty"] = {
            "standard": half_length(round(2 * uncertainty.standard_nm), unit),
            "expanded": half_length(round(2 * uncertainty.expanded_nm), unit),
            "degrees_of_freedom": uncertainty.degrees_of_freedom,
            "chance": _chance(certainty.chance(placement)),
            "unknown": uncertainty.unknown,
        }
        more["verdict"] = certainty.verdict(placement)
    corrections = _corrections(placement, unit)
    if corrections:
        more["corrections"] = corrections
    forms = plan.job.measuring.position_forms.get(placement.position.name)
    if forms:
        more["form"] = {
            feature: {
                "taper": length(form.taper_nm, unit),
                "barrel": length(form.barrel_nm, unit),
                "out_of_round": length(form.out_of_round_nm, unit),
                "larger": form.larger,
            }
            for feature, form in forms.items()
        }
    return more


def _corrections(placement: Placement, unit: str) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for feature in DIAMETERS:
        size: Size | None = getattr(placement.position, feature)
        if size is not None and size.raw_mean_nm is not None:
            found[feature] = {
                "readings": [length(nm, unit) for nm in size.raw_nm],
                "mean": length(size.raw_mean_nm, unit),
                **_taken_off(size.measured_as, unit),
                "temperature": length(size.temperature_nm, unit),
            }
    for side, shell in (("upper", placement.upper), ("lower", placement.lower)):
        how = shell.measured_as
        if how is not None and (how.zero_nm or how.ball_nm):
            found[side] = _taken_off(how, unit)
    return found


def _taken_off(how: MeasuredAs | None, unit: str) -> dict[str, Value]:
    """What was taken off the mean of the raw readings."""
    zero, ball = (how.zero_nm, how.ball_nm) if how is not None else (0, 0)
    return {"zero_error": length(zero, unit), "ball": length(ball, unit)}


def _joint(certainty: Certainty, kind: str) -> dict[str, Value]:
    return {"joint_chance": _chance(certainty.joint_chance(kind))} if certainty.known else {}


def _worth(plan: Plan, kind: str, unit: str) -> dict[str, Value]:
    """Expected true figures, two significant digits."""
    if kind not in plan.worth:
        return {}
    worth = plan.worth[kind]
    return {
        "expected": {
            "worst_deviation": two_digits(worth.worst_deviation_nm, unit),
            "spread": two_digits(worth.spread_nm, unit),
            "trials": worth.trials,
            "against_by_hand": worth.by_hand,
        }
    }


def _chance(chance: float | None) -> Number | None:
    return None if chance is None else Number(f"{chance:.4f}")


def _placed(shell: Shell, unit: str, *, locked: bool) -> Value:
    return {
        "shell": shell.name,
        "box": shell.box,
        "wall": length(shell.wall_nm, unit),
        "coating": length(shell.coating_nm, unit) if shell.coating_nm else None,
        "locked": locked,
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
