"""A plan as a table: one row per position in file order, whether it was filled or not."""

from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Final

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan, Plan
from fitmatch.records.parts import SIDES, Position
from fitmatch.report.data.values import half_value, placement_value
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import Table, Value, length, named_values, rows_text
from fitmatch.report.shared.states import DANGER, marks_of, missing_of, missing_words, not_yet_fitted, one_line
from fitmatch.report.words.reasons import flag_words, words_of
from fitmatch.rules.positions.movable import is_movable

_WORDS: Final = (
    "position",
    "kind",
    "state",
    *(f"{side}_{what}" for side in SIDES for what in ("box", "shell", "locked")),
)
_LENGTHS: Final = (
    "upper_wall",
    "lower_wall",
    "journal",
    "housing_bore",
    "wall_sum",
    "seating",
    "clearance",
    "clearance_tightest",
    "target",
    "deviation",
    "min",
    "max",
    "limit_low",
    "limit_high",
    "wall_difference",
    "axis_shift",
    "clearance_over_coating",
    "clearance_to_metal",
)


def plan_rows(plan: Plan, unit: str) -> str:
    """The whole table as CSV."""
    return _csv(plan_table(plan, unit), unit)


def leftover_rows(plan: Plan, unit: str) -> str:
    """The shells that are left over, for the store, as CSV."""
    return _csv(leftover_table(plan, unit), unit)


def _csv(table: Table, unit: str) -> str:
    return rows_text(table.columns, table.lengths, unit, table.rows)


def plan_table(plan: Plan, unit: str) -> Table:
    """One row per position. Several jobs one after the other, with the name of the job before each position; columns
    for housing, offset, wanted band and uncertainty only if a job has any."""
    certainties = [Certainty(one) for one in plan.plans]
    jobs = [one.job for one in plan.plans]
    further: list[str] = []
    if any(is_movable(job, kind) for job in jobs for kind in job.kinds):
        further.append("housing")
    if any(p.offset_nm is not None for job in jobs for p in job.positions):
        further.append("offset")
    if any(p.wishes for job in jobs for p in job.positions):
        further += ["want_min", "want_max", "within_want"]
    if any(certainty.known for certainty in certainties):
        further += ["uncertainty", "verdict"]
    columns = [*([] if plan.alone else ["job"]), *_WORDS, *_LENGTHS, *further, "remark"]
    lengths = (*_LENGTHS, "offset", "want_min", "want_max", "uncertainty")
    rows = [row for one, certainty in zip(plan.plans, certainties, strict=True) for row in _rows(one, certainty, unit)]
    return Table(columns, lengths, rows)


def leftover_table(plan: Plan, unit: str) -> Table:
    """The shells that are left over: one row each, a column for every matched column."""
    marks = plan.job.matched_columns
    rows = [
        {name: marks_of(plan.job, s).get(name, "") for name in marks}
        | {"shell": s.name, "box": s.box, "kind": s.kind, "half": s.half, "wall": length(s.wall_nm, unit)}
        | {"grade": s.grade or "", "family": s.family}
        for s in plan.left_in_files
    ]
    columns = ["shell", "box", "kind", "half", "wall", "grade", "family"]
    return Table([*columns, *(name for name in marks if name not in columns)], ("wall",), rows)


def _rows(plan: JobPlan, certainty: Certainty, unit: str) -> Iterator[Mapping[str, Value]]:
    placed = plan.by_position()
    why = {u.position.key: words_of(u.why, unit) for u in plan.unfilled}
    for position in plan.job.positions:
        placement = placed.get(position.key)
        if placement is not None:
            yield _filled(plan, placement, certainty, unit)
        elif position.key in why:
            yield _empty(position, unit) | {"state": "not filled", "remark": one_line(why[position.key])}
        else:
            remark = missing_words(missing_of(plan.job, position))
            yield _empty(position, unit) | {"state": "not yet measured", "remark": remark}


def _filled(plan: JobPlan, placement: Placement, certainty: Certainty, unit: str) -> dict[str, Value]:
    position, uncertainty = placement.position, certainty.of(placement)
    why = not_yet_fitted(plan, position.kind)
    remarks = [f"fit none yet: {why}"] if why else []
    remarks += [one_line(flag_words(flag, unit)) for flag in plan.flags if flag.position == position.name]
    halves = {f"{side}_{what}": value for side in SIDES for what, value in half_value(placement, side, unit).items()}
    return {
        **placement_value(placement, unit),
        **halves,
        "job": position.job,
        "state": "filled" if placement.within_limits else DANGER,
        "uncertainty": None if uncertainty is None else length(uncertainty.expanded_nm, unit),
        "verdict": certainty.verdict(placement),
        "remark": "; ".join(remarks),
    }


def _empty(position: Position, unit: str) -> dict[str, Value]:
    journal, bore = position.journal, position.housing_bore
    lengths = [field.name for field in fields(position) if field.name.endswith("_nm")]
    return {
        "job": position.job,
        "position": position.name,
        "kind": position.kind,
        "housing": position.housing or position.name,
        "journal": None if journal is None else length(journal.mean_nm, unit),
        "housing_bore": None if bore is None else length(bore.mean_nm, unit),
        **named_values({name: getattr(position, name) for name in lengths}, unit),
    }
