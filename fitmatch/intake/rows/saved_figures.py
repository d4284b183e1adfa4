"""What a saved plan says of its own figures and of how far they were proven, for whoever shows that very plan again.

A document may lack any of it: it is then not said.
"""

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, Final, NamedTuple

from fitmatch.intake.rows.saved_plan import SavedPlan
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import SIDES
from fitmatch.records.placements import KindFigures, Placement
from fitmatch.records.plans import Baseline, Proof

_COUNTED: Final = ("filled", "below", "above", "counted", "boxes")
_SAME_NM: Final = 1  # lengths are written to half a nanometre
_MOST_DIGITS: Final = 30


class Said(NamedTuple):
    """`proofs` and `baselines` by kind, those by the name of the way of choosing first. `elsewhere`: shells that went
    to other jobs; `waits_for`: by kind, the other jobs that were not complete in it. `told_of`: the positions that it
    fills or says are empty."""

    version: str
    strategy: str
    slack_nm: int
    proofs: Mapping[str, Proof]
    baselines: Mapping[str, Mapping[str, Baseline]]
    elsewhere: frozenset[ShellKey]
    waits_for: Mapping[str, tuple[str, ...]]
    told_of: frozenset[str]
    figures: Mapping[str, Mapping[str, Decimal]]  # by position, in the unit of the document
    per_unit: int
    wrong_stamps: tuple[str, ...]  # what it has for its number, date or time and none can be

    def contradicts(self, placement: Placement) -> bool:
        """Whether a figure of this position is another than its shells and the readings give. What was learned of the
        seating since makes no difference."""
        position, told = placement.position, self.figures.get(placement.position.name, {})
        assert position.journal is not None and position.housing_bore is not None
        unseated = placement.clearance_nm - position.seating_nm
        if "seating" in told and "clearance" in told:
            told = {**told, "clearance": told["clearance"] - told["seating"]}
        else:
            told = {name: value for name, value in told.items() if name != "clearance"}
        found = {
            "journal": position.journal.mean_nm,
            "housing_bore": position.housing_bore.mean_nm,
            "wall_sum": placement.wall_sum_nm,
            "clearance": unseated,
        }
        return any(abs(told[name] * self.per_unit - nm) > _SAME_NM for name, nm in found.items() if name in told)


def said(plan: SavedPlan, job: Job) -> Said:
    """What the plan, saved for this job, says of itself."""
    document: Mapping[str, Any] = json.loads(plan.data.decode("utf-8-sig"), parse_float=_decimal)
    unit = document.get("unit")
    per_unit = NM_PER_UNIT[unit if unit in ("in", "mm") else job.unit]
    jobs = _rows(document, "jobs")
    own = next((one for one in jobs if one.get("job") == plan.job), document)
    placed, empty = ([p for p in _rows(document, key) if p.get("job") == plan.job] for key in ("positions", "unfilled"))
    return Said(
        str(document.get("version", "")),
        str(document.get("strategy", "")),
        _whole(document.get("slack"), per_unit) or 0,
        {kind: _proof(value) for kind, value in _table(own, "kinds").items() if isinstance(value, dict)},
        {} if jobs else _baselines(document, per_unit),
        frozenset(_elsewhere(document, plan.job)),
        {
            kind: waiting
            for kind in job.kinds
            if (waiting := tuple(str(one.get("job")) for one in jobs if one is not own and _waits(one, kind)))
        },
        frozenset(str(p.get("position")) for p in (*placed, *empty)),
        {str(p.get("position")): {k: Decimal(v) for k, v in p.items() if _is_number(v)} for p in placed},
        per_unit,
        tuple(
            f"plan_{what}"
            for what, read in (("number", plan.number), ("date", plan.date), ("time", plan.time))
            if read is None and document.get(f"plan_{what}") is not None
        ),
    )


def _waits(other: Mapping[str, Any], kind: str) -> bool:
    """Whether another job has the kind and is not complete in it."""
    complete = other.get("complete_kinds")
    return kind in _table(other, "kinds") and not (isinstance(complete, list) and kind in complete)


def _elsewhere(document: Mapping[str, Any], name: object) -> Iterator[ShellKey]:
    for placed in (p for p in _rows(document, "positions") if p.get("job") != name):
        for shell in (placed.get(side) for side in SIDES):
            if isinstance(shell, dict):
                yield str(shell.get("box")), str(shell.get("shell"))


def _proof(value: Mapping[str, Any]) -> Proof:
    """Without the bound of a level, whose unit depends on the level."""
    level = value.get("level")
    return Proof(value.get("proven") is True, level if isinstance(level, str) else None)


def _baselines(document: Mapping[str, Any], per_unit: int) -> dict[str, dict[str, Baseline]]:
    found: dict[str, dict[str, Baseline]] = {}
    for name, kinds in _table(document, "baselines").items():
        for kind, value in (kinds if isinstance(kinds, dict) else {}).items():
            if isinstance(value, dict) and all(type(value.get(count)) is int for count in _COUNTED):
                broken = value.get("rules_broken")
                figures = KindFigures(**{field: _figure(value, field, per_unit) for field in KindFigures._fields})
                found.setdefault(name, {})[kind] = Baseline(figures, broken if type(broken) is int else 0)
    return found


def _figure(value: Mapping[str, Any], field: str, per_unit: int) -> Any:
    if field.endswith("_nm2"):
        return _whole(value.get(field.removesuffix("_nm2")), per_unit**2)
    return _whole(value.get(field.removesuffix("_nm")), per_unit) if field.endswith("_nm") else value.get(field)


def _whole(value: Any, per_unit: int) -> int | None:
    return round(Decimal(value) * per_unit) if _is_number(value) else None


def _decimal(text: str) -> Decimal | None:
    """A number exactly as it is written; None: nobody needs one so large or so small."""
    try:
        return Decimal(text)
    except InvalidOperation:
        return None


def _is_number(value: object) -> bool:
    """Whether it is a number, and none so large that it would take long to write out."""
    return (isinstance(value, Decimal) or type(value) is int) and Decimal(value).adjusted() < _MOST_DIGITS


def _table(document: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = document.get(key)
    return value if isinstance(value, dict) else {}


def _rows(document: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    value = document.get(key)
    return [row for row in value if isinstance(row, dict)] if isinstance(value, list) else []
