"""A plan as one JSON document, described by assignment.schema.json beside this file."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Final

from fitmatch.lengths import two_digits
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Cure, JobPlan, OtherPlan, Plan, Reason, Unfilled
from fitmatch.records.job import Job
from fitmatch.records.parts import SIDES, Position, Shell, Size
from fitmatch.report.data.doubts import doubt_values
from fitmatch.report.data.values import (
    chance_value,
    figures_value,
    half_value,
    placement_value,
    proof_value,
    uncertainty_value,
)
from fitmatch.report.shared.axis import in_a_row, row_of
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import Number, Value, document, half_length, joined, length, named_values, written
from fitmatch.report.shared.housings import moves
from fitmatch.report.shared.readings import corrected_sizes, corrected_wall, forms
from fitmatch.report.shared.states import marks_of, missing_of, unmeasured_shells
from fitmatch.report.words.reasons import flag_words, words_of
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added


def plan_document(plan: Plan, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break. With several jobs, what belongs to one has its
    name as `job`."""
    known = {one.job.name: Certainty(one) for one in plan.plans}
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": plan.job.title if plan.alone else "; ".join(one.job.title or one.job.name for one in plan.plans),
            "unit": unit,
            "strategy": plan.strategy,
            "slack": length(plan.slack_nm, unit),
            **({"prefer": plan.prefer} if plan.prefer else {}),
            **({} if plan.alone else {"priority": plan.priority}),
            "status": str(plan.status),
            **({} if plan.alone else {"complete": plan.complete, "jobs": _jobs(plan, known, unit)}),
            **_positions(plan, known, unit),
            "kinds": _kinds(plan, plan.plans[0], known, unit) if plan.alone else _groups(plan, unit),
            "baselines": {
                name: {
                    label: figures_value(other.figures, unit) | {"rules_broken": other.rules_broken}
                    for label, other in labels.items()
                }
                for name, labels in plan.baselines.items()
            },
            **({"one_box": single} if (single := {g.group.label: g.one_box for g in plan.groups if g.one_box}) else {}),
            **_beside(plan, unit),
            "leftover": [*_unused(plan.job, plan.left_in_files, unit)],
            "held": [*_unused(plan.job, plan.held, unit)],
            "warnings": plan.warnings,
            "digest": plan.plans[0].digest if plan.alone else None,
            **_shelf(plan),
        }
    )


def _shelf(plan: Plan) -> dict[str, Value]:
    """What stays on the shelf by kind, if the shelf was asked."""
    if plan.job.shelved is None:
        return {}
    left = Counter(shell.kind for shell in plan.leftover if shell.is_shelved)
    return {"shelf": {"leftover": dict(left), **(_shelf_readings(plan.plans[0]) if plan.alone else {})}}


def _shelf_readings(one: JobPlan) -> dict[str, Value]:
    """The digest of the readings of its shells on the shelf, if the shelf was asked."""
    return {} if one.job.shelved is None else {"readings": one.digest_of_shelved}


def _jobs(plan: Plan, known: Mapping[str, Certainty], unit: str) -> Value:
    return [
        {
            "job": one.job.name,
            "title": one.job.title,
            "complete": one.is_complete(),
            "complete_kinds": [kind for kind in one.job.kinds if one.is_complete(kind)],
            "kinds": _kinds(plan, one, known, unit),
            "digest": one.digest,
            **_shelf_readings(one),
        }
        for one in plan.plans
    ]


def _groups(plan: Plan, unit: str) -> dict[str, Value]:
    return {
        g.group.label: figures_value(g.figures, unit)
        | proof_value(g.proof, unit)
        | {"jobs": [one.job.name for one in plan.members(g.group)], "complete": g.complete}
        for g in plan.groups
    }


def _positions(plan: Plan, known: Mapping[str, Certainty], unit: str) -> dict[str, Value]:
    """What is said about positions, and the shells whose wall is not yet measured."""

    def told(values: Callable[[JobPlan], Iterable[dict[str, Value]]]) -> list[Value]:
        return [({"job": one.job.name} if one.job.name else {}) | value for one in plan.plans for value in values(one)]

    unmeasured = told(
        lambda one: (
            {"position": p.name, "kind": p.kind, "missing": _missing(one.job, p)} for p in one.unmeasured_positions
        )
    )
    unmeasured += [
        {"shell": s.name, "box": s.box, "kind": s.kind, "half": s.half, "missing": ["wall"]}
        for s in unmeasured_shells(plan.job)
    ]
    reasons = told(lambda one: (_reason(reason, unit) for reason in one.reasons))
    return {
        "positions": told(lambda one: (_placed(one, p, unit, known[one.job.name]) for p in one.placements)),
        "unfilled": told(lambda one: (_unfilled(u, unit) for u in one.unfilled)),
        **({"reasons": reasons} if reasons else {}),
        "unmeasured": unmeasured,
        "flags": told(lambda one: _flags(one, unit)),
        "doubts": told(lambda one: doubt_values(one.doubts, unit)),
        **({} if all(one.looked_through for one in plan.plans) else {"doubts_complete": False}),
    }


def _missing(job: Job, position: Position) -> list[Value]:
    features, shells = missing_of(job, position)
    return [*features, *(["wall"] if shells else [])]


def _flags(one: JobPlan, unit: str) -> Iterator[dict[str, Value]]:
    """Those of positions, then those of shells."""
    for flag in one.flags:
        yield {"position": flag.position, "code": flag.code, "text": flag_words(flag, unit)}
    for stray in one.strays:
        text = words_of(stray.what, unit)
        for s in stray.shells:
            yield {"position": None, "shell": s.name, "box": s.box, "code": "mark-fits-no-position", "text": text}


def _unfilled(unfilled: Unfilled, unit: str) -> dict[str, Value]:
    position = unfilled.position
    return {"position": position.name, "kind": position.kind, "why": words_of(unfilled.why, unit)}


def _kinds(plan: Plan, one: JobPlan, known: Mapping[str, Certainty], unit: str) -> dict[str, Value]:
    """The kinds of one job."""
    proofs, certainty = plan.proofs_of(one), known[one.job.name]
    return {
        kind: figures_value(figures, unit)
        | ({"limits_from": source} if (source := one.job.fits[kind].limits_from) else {})
        | ({"singles": sum(p.preferred for p in one.of_kind(kind))} if plan.prefer else {})
        | _row(one, kind, unit)
        | _moves(one, kind, unit)
        | proof_value(proofs[kind], unit)
        | ({"joint_chance": chance_value(certainty.joint_chance(kind))} if certainty.known else {})
        | _worth(one, kind, unit)
        for kind, figures in one.figures.items()
    }


def _moves(plan: JobPlan, kind: str, unit: str) -> dict[str, Value]:
    """Where housings may move: which do, including those of unfilled positions, and what leaving them would have
    given."""
    if kind not in plan.staying:
        return {}
    moved: list[Value] = [{"housing": housing, "to": name} for housing, name in moves(plan, kind)]
    return {"moves": moved, "staying": figures_value(plan.staying[kind], unit)}


def _row(plan: JobPlan, kind: str, unit: str) -> dict[str, Value]:
    """How well the bores of a kind line up, if a rule or offsets ask for it."""
    if not in_a_row(plan.job, kind):
        return {}
    step, line = row_of(plan, kind)
    return {"largest_step": half_length(step, unit), "out_of_line": half_length(line, unit)}


def _placed(plan: JobPlan, placement: Placement, unit: str, certainty: Certainty) -> dict[str, Value]:
    """With what is added if the job says how it was measured."""
    more = placement_value(placement, unit)
    if plan.doubted.concerns(placement.position, placement):
        more["readings_in_doubt"] = True
    uncertainty = certainty.of(placement)
    if uncertainty is not None:
        chance = chance_value(certainty.chance(placement))
        more["uncertainty"] = uncertainty_value(uncertainty, unit) | {"chance": chance, "unknown": uncertainty.unknown}
        more["verdict"] = certainty.verdict(placement)
    for side, shell in zip(SIDES, (placement.upper, placement.lower), strict=True):
        if (one := plan.shelved.get(shell.key)) is not None:
            more[side] = half_value(placement, side, unit) | {
                "number": one.number,
                "location": one.location,
                "described": one.described,
            }
    corrected = dict(corrected_sizes(plan.job, placement.position))
    for side, shell in zip(SIDES, (placement.upper, placement.lower), strict=True):
        if wall := corrected_wall(plan.job, shell):
            corrected[side] = wall
    if corrected:
        more["corrections"] = {what: _corrected(found, unit) for what, found in corrected.items()}
    found_forms = forms(plan, placement.position, placement)
    if found_forms:
        more["form"] = {what: named_values(form._asdict(), unit) for what, form in found_forms}
    return more


def _corrected(found: Size, unit: str) -> Value:
    readings = tuple(reading.nm for reading in found.readings)
    offs = found.zero_nm, found.ball_nm, found.temperature_nm
    return _corrections(readings, found.raw_mean_nm, offs, found.mean_nm, unit)


@lru_cache(maxsize=65_536)  # of a million shells many read alike
def _corrections(readings: tuple[int, ...], mean: int, offs: tuple[int, int, int], size: int, unit: str) -> Number:
    zero, ball, temperature = offs
    return written(
        {
            "readings": [length(nm, unit) for nm in readings],
            "mean": length(mean, unit),
            "zero_error": length(zero, unit),
            "ball": length(ball, unit),
            "temperature": length(temperature, unit),
            "size": length(size, unit),
        }
    )


def _worth(plan: JobPlan, kind: str, unit: str) -> dict[str, Value]:
    """Expected true figures, two significant digits."""
    if kind not in plan.worth:
        return {}
    worth = plan.worth[kind]
    return {
        "expected": {
            "worst_deviation": Number(two_digits(worth.worst_deviation_nm, unit)),
            "spread": Number(two_digits(worth.spread_nm, unit)),
            "trials": worth.trials,
            "against_by_hand": worth.by_hand,
        }
    }


def _unused(job: Job, shells: Iterable[Shell], unit: str) -> Iterator[Number]:
    """Shells that are not placed. Of a million many read alike, and equal readings are one object: what does not name a
    shell is written out once."""
    known: dict[tuple[object, ...], Number] = {}
    for s in shells:
        alike = s.kind, s.half, s.wall_nm, s.grade, s.marks, s.hold, id(s.measured)
        if alike not in known:
            known[alike] = written(_nameless(job, s, unit))
        yield joined(written({"shell": s.name, "box": s.box}), known[alike])


def _nameless(job: Job, shell: Shell, unit: str) -> dict[str, Value]:
    corrected = corrected_wall(job, shell)
    return {
        "kind": shell.kind,
        "half": shell.half,
        "wall": length(shell.wall_nm, unit),
        "grade": shell.grade,
        **({"marks": marks} if (marks := marks_of(job, shell)) else {}),
        **({"corrections": _corrected(corrected, unit)} if corrected else {}),
        **({"hold": shell.hold} if shell.hold is not None else {}),
    }


def _beside(plan: Plan, unit: str) -> dict[str, Value]:
    """Alternatives by kind and the explanation of a position, if requested, and what failed its check."""
    found: dict[str, Value] = {"faults": dict(plan.faults)} if plan.faults else {}
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


def _reason(reason: Reason, unit: str) -> dict[str, Value]:
    """What keeps a position outside its limits, and what would fix it."""
    return {
        "position": reason.position.name,
        "kind": reason.position.kind,
        "together": reason.together,
        "reduced": reason.reduced,
        "in_doubt": reason.in_doubt,
        "cures": [_cure(cure, unit) for cure in reason.cures],
        "cures_complete": reason.cures_complete,
        "not_offered": [named_values(one._asdict(), unit) for one in reason.not_offered],
    }


def _cure(cure: Cure, unit: str) -> Value:
    factor = None if cure.factor is None else Number(f"{cure.factor:g}")
    fields = cure._asdict()
    marks = dict(fields.pop("marks"))
    first: dict[str, Value] = {"change": cure.change, "name": cure.name}
    value = first | named_values(fields, unit) | {"factor": factor}
    if cure.change in SIDES:
        family = marks.pop("family", None)
        value |= {"marks": {column: " or ".join(some) for column, some in marks.items()}, "family": family}
    return value
