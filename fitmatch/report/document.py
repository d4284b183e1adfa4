"""A plan as one JSON document, described by assignment.schema.json beside this file."""

from collections.abc import Sequence
from typing import Final

from fitmatch import __version__
from fitmatch.fit.order import Unit
from fitmatch.measuring import Form
from fitmatch.parts import Shell
from fitmatch.plans import Baseline, Placement, Plan, Proof
from fitmatch.pools import PoolPlan, is_complete
from fitmatch.report.beside_values import beside_values, reason_value
from fitmatch.report.certainty import Certainty
from fitmatch.report.doubts import doubt_values
from fitmatch.report.emit import Number, Value, area, document, half_length, length, two_digits
from fitmatch.report.facts import (
    unmeasured_shells,
)
from fitmatch.report.inline import in_a_row, row_of
from fitmatch.report.levels import FIGURES
from fitmatch.report.moves import moves
from fitmatch.report.readings import Corrected, corrected_sizes, corrected_wall, forms
from fitmatch.report.values import figures_value, placement_value

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added


def plan_document(plan: Plan, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    certainty = Certainty(plan)
    return document(
        {
            **_head(plan, plan.job.title, unit),
            "status": str(plan.status),
            **_positions([plan], [certainty], unit),
            "kinds": _kinds(plan, certainty, unit),
            "baselines": {
                name: {kind: _baseline(baseline, unit) for kind, baseline in kinds.items()}
                for name, kinds in plan.baselines.items()
            },
            **beside_values(plan, unit),
            **_shelf(plan, unit),
            "digest": plan.job.digest,
        }
    )


def pool_document(pool: PoolPlan, unit: str) -> str:
    """The same for several jobs that share their shells: what belongs to one of them carries its name as `job`."""
    first, certainties = pool.plans[0], [Certainty(plan) for plan in pool.plans]
    names = [plan.job.name for plan in pool.plans]
    return document(
        {
            **_head(first, "; ".join(plan.job.title or plan.job.name for plan in pool.plans), unit),
            "priority": pool.priority,
            "status": str(pool.status),
            "complete": pool.complete,
            "jobs": [
                {
                    "job": plan.job.name,
                    "title": plan.job.title,
                    "complete": is_complete(plan),
                    "complete_kinds": [kind for kind in plan.job.kinds if is_complete(plan, kind)],
                    "kinds": _kinds(plan, certainty, unit),
                    "digest": plan.job.digest,
                }
                for plan, certainty in zip(pool.plans, certainties, strict=True)
            ],
            **_positions(pool.plans, certainties, unit),
            "kinds": {
                g.group.label: figures_value(g.figures, unit)
                | _proof(g.proof, unit)
                | {"jobs": [names[i] for i in g.group.members], "complete": g.complete}
                for g in pool.groups
            },
            "baselines": {
                name: {g.group.label: _baseline(g.baselines[name], unit) for g in pool.groups}
                for name in pool.groups[0].baselines
            },
            **beside_values(pool, unit),
            **_shelf(first, unit),
            "digest": None,
        }
    )


def _head(plan: Plan, title: str, unit: str) -> dict[str, Value]:
    return {
        "schema": SCHEMA,
        "version": __version__,
        "title": title,
        "unit": unit,
        "strategy": plan.strategy,
        "slack": length(plan.slack_nm, unit),
    }


def _positions(plans: Sequence[Plan], certainties: Sequence[Certainty], unit: str) -> dict[str, Value]:
    """What is told of positions, and the shells that wait for their wall."""
    positions: list[Value] = []
    unfilled: list[Value] = []
    unmeasured: list[Value] = []
    flags: list[Value] = []
    reasons: list[Value] = []
    doubts: list[Value] = []
    for plan, certainty in zip(plans, certainties, strict=True):
        job: dict[str, Value] = {"job": plan.job.name} if plan.job.name else {}
        positions += [job | placement_value(p, unit) | _measured(plan, p, unit, certainty) for p in plan.placements]
        unfilled += [job | {"position": u.position.name, "kind": u.position.kind, "why": u.why} for u in plan.unfilled]
        unmeasured += [
            job | {"position": p.name, "kind": p.kind, "missing": p.missing} for p in plan.unmeasured_positions
        ]
        reasons += [job | reason_value(reason, unit) for reason in plan.reasons]
        flags += [job | {"position": f.position, "code": f.code, "text": f.text} for f in plan.flags]
        doubts += [job | doubt for doubt in doubt_values(plan.doubts, unit)]
    unmeasured += [
        {"shell": s.name, "box": s.box, "kind": s.kind, "half": s.half, "missing": ["wall"]}
        for s in unmeasured_shells(plans[0])
    ]
    return {
        "positions": positions,
        "unfilled": unfilled,
        **({"reasons": reasons} if reasons else {}),
        "unmeasured": unmeasured,
        "flags": flags,
        "doubts": doubts,
    }


def _kinds(plan: Plan, certainty: Certainty, unit: str) -> dict[str, Value]:
    return {
        kind: figures_value(figures, unit)
        | _row(plan, kind, unit)
        | _moves(plan, kind, unit)
        | _proof(plan.proofs.get(kind, Proof()), unit)
        | _joint(certainty, kind)
        | _worth(plan, kind, unit)
        for kind, figures in plan.figures.items()
    }


def _shelf(plan: Plan, unit: str) -> dict[str, Value]:
    return {
        "leftover": [_unused(plan, s, unit) for s in plan.leftover],
        "held": [_unused(plan, s, unit) | {"hold": s.hold} for s in plan.held],
    }


def _moves(plan: Plan, kind: str, unit: str) -> dict[str, Value]:
    """Where housings may move: which do, those of unfilled positions too, and what staying would have given."""
    if kind not in plan.staying:
        return {}
    moved: list[Value] = [{"housing": m.housing, "to": m.position} for m in moves(plan, kind)]
    return {"moves": moved, "staying": figures_value(plan.staying[kind], unit)}


def _row(plan: Plan, kind: str, unit: str) -> dict[str, Value]:
    """How evenly the bores of a kind lie in a row, where a rule or offsets ask."""
    if not in_a_row(plan.job, kind):
        return {}
    row = row_of(plan, kind)
    step, line = row.largest_step, row.out_of_line
    return {
        "largest_step": None if step is None else half_length(step, unit),
        "out_of_line": None if line is None else half_length(line, unit),
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
    corrected: list[tuple[str, Corrected | None]] = [
        *corrected_sizes(plan.job, placement.position),
        ("upper", corrected_wall(plan.job, placement.upper)),
        ("lower", corrected_wall(plan.job, placement.lower)),
    ]
    if any(found for _, found in corrected):
        more["corrections"] = {what: _corrected(found, unit) for what, found in corrected if found}
    found_forms = forms(plan, placement.position, placement)
    if found_forms:
        more["form"] = {what: _form(form, unit) for what, form in found_forms}
    return more


def _corrected(found: Corrected, unit: str) -> Value:
    return {
        "readings": [length(nm, unit) for nm in found.readings_nm],
        "mean": length(found.mean_nm, unit),
        "zero_error": length(found.zero_nm, unit),
        "ball": length(found.ball_nm, unit),
        "temperature": length(found.temperature_nm, unit),
        "size": length(found.size_nm, unit),
    }


def _form(form: Form, unit: str) -> Value:
    return {
        "taper": length(form.taper_nm, unit),
        "barrel": length(form.barrel_nm, unit),
        "out_of_round": length(form.out_of_round_nm, unit),
        "larger": form.larger,
    }


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


def _unused(plan: Plan, shell: Shell, unit: str) -> dict[str, Value]:
    corrected = corrected_wall(plan.job, shell)
    return {
        "shell": shell.name,
        "box": shell.box,
        "kind": shell.kind,
        "half": shell.half,
        "wall": length(shell.wall_nm, unit),
        "grade": shell.grade,
        **({"corrections": _corrected(corrected, unit)} if corrected else {}),
    }


def _baseline(baseline: Baseline, unit: str) -> Value:
    return figures_value(baseline.figures, unit) | {"rules_broken": baseline.rules_broken}


def _proof(proof: Proof, unit: str) -> dict[str, Value]:
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
