"""What stands beside an answer, as JSON values: small reasons, the next best plans, one position explained."""

from fitmatch.parts import SIDES
from fitmatch.plans import Cure, OtherPlan, Plan, Reason
from fitmatch.report.emit import Number, Value, length
from fitmatch.report.values import figures_value, placement_value


def beside_values(plan: Plan, unit: str) -> dict[str, Value]:
    """Alternatives by kind and the explanation of a position, where they were asked for."""
    found: dict[str, Value] = {}
    if plan.alternatives:
        found["alternatives"] = {
            kind: {"complete": some.complete, "plans": [_other_plan(other, unit) for other in some.plans]}
            for kind, some in plan.alternatives.items()
        }
    told = plan.explanation
    if told is not None:
        pair = told.pair and {side: {"shell": s.name, "box": s.box} for side, s in zip(SIDES, told.pair, strict=True)}
        found["explanation"] = {
            **({"job": told.position.job} if told.position.job else {}),
            "position": told.position.name,
            "kind": told.position.kind,
            "runner_up": told.runner_up and _other_plan(told.runner_up, unit),
            "with": pair,
            "insisted": told.insisted and _other_plan(told.insisted, unit),
        }
    return found


def _other_plan(other: OtherPlan, unit: str) -> dict[str, Value]:
    return figures_value(other.figures, unit) | {
        **({"complete": other.complete} if other.complete is not None else {}),
        "proven": other.proven,
        "against_plan": other.against_plan,
        "positions": [
            ({"job": p.position.job} if p.position.job else {}) | placement_value(p, unit) for p in other.placements
        ],
    }


def reason_value(reason: Reason, unit: str) -> dict[str, Value]:
    """What keeps a position out, and what would put it inside."""
    return {
        "position": reason.position.name,
        "kind": reason.position.kind,
        "together": reason.together,
        "reduced": reason.reduced,
        "cures": [_cure(cure, unit) for cure in reason.cures],
        "cures_complete": reason.cures_complete,
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
