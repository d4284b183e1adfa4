"""What a saved plan says of its own figures and of how far they were proven, for whoever shows that very plan again.

A document may lack any of it: it is then not said.
"""

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, Final, NamedTuple

from fitmatch.intake.saved.saved_plan import SavedPlan
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import Baseline, Proof
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import SIDES

_COUNTED: Final = ("filled", "below", "above", "counted", "boxes")
_SAME_NM: Final = 1  # lengths are written to half a nanometre
_MOST_DIGITS: Final = 30


class Together(NamedTuple):
    """A kind of several jobs that was decided together: their names, how many positions they have, and its figures
    over all of them."""

    jobs: tuple[str, ...]
    positions: int
    figures: KindFigures


class Said(NamedTuple):
    """`proofs` and `baselines` by kind, those by the name of the way of choosing first; the baselines of a plan of
    several jobs are for those of `together`. `elsewhere`: shells that went
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
    jobs: tuple[str, ...]  # what it calls several jobs
    together: Mapping[str, Together]  # of several jobs, by kind
    uncertain: Mapping[str, tuple[float, bool]]  # by position, expanded, in nm; and whether it is at least that
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
    labels = dict(_labels(document, plan.job, _table(own, "kinds"))) if jobs else None
    placed, empty = ([p for p in _rows(document, key) if p.get("job") == plan.job] for key in ("positions", "unfilled"))
    return Said(
        str(document.get("version", "")),
        str(document.get("strategy", "")),
        _whole(document.get("slack"), per_unit) or 0,
        {kind: _proof(value) for kind, value in _table(own, "kinds").items() if isinstance(value, dict)},
        _baselines(document, per_unit, labels),
        frozenset(_elsewhere(document, plan.job)),
        {
            kind: waiting
            for kind in job.kinds
            if (waiting := tuple(str(one.get("job")) for one in jobs if one is not own and _waits(one, kind)))
        },
        frozenset(str(p.get("position")) for p in (*placed, *empty)),
        {str(p.get("position")): {k: Decimal(v) for k, v in p.items() if _is_number(v)} for p in placed},
        per_unit,
        tuple(str(one.get("job")) for one in jobs),
        dict(_together(document, per_unit, labels or {})),
        {str(p.get("position")): u for p in placed if (u := _uncertain(p.get("uncertainty"), per_unit)) is not None},
        tuple(
            f"plan_{what}"
            for what, read in (("number", plan.number), ("date", plan.date), ("time", plan.time))
            if read is None and document.get(f"plan_{what}") is not None
        ),
    )


def _labels(document: Mapping[str, Any], job: str | None, kinds: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What a plan of several jobs calls what it decided together, and the kind of this job that is in it."""
    for label, value in _table(document, "kinds").items():
        if isinstance(value, dict) and isinstance(value.get("jobs"), list) and job in value["jobs"]:
            # With families in its name where jobs that have the kind share none.
            named = [kind for kind in kinds if label == kind or label.startswith(f"{kind} ")]
            if named:
                yield label, max(named, key=len)


def _together(document: Mapping[str, Any], per_unit: int, labels: Mapping[str, str]) -> Iterator[tuple[str, Together]]:
    for label, kind in labels.items():
        value = _table(document, "kinds")[label]
        if (figures := _figures(value, per_unit)) is not None:
            rows = (p for key in ("positions", "unfilled", "unmeasured") for p in _rows(document, key))
            number = sum("position" in p and p.get("kind") == kind and p.get("job") in value["jobs"] for p in rows)
            yield kind, Together(tuple(map(str, value["jobs"])), number, figures)


def _uncertain(value: object, per_unit: int) -> tuple[float, bool] | None:
    if not isinstance(value, dict) or not _is_number(value.get("expanded")):
        return None
    return float(Decimal(value["expanded"]) * per_unit), bool(value.get("unknown"))


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


def _baselines(
    document: Mapping[str, Any], per_unit: int, labels: Mapping[str, str] | None
) -> dict[str, dict[str, Baseline]]:
    """By way of choosing and kind; `labels`: what several jobs call the kinds, None for a job alone."""
    found: dict[str, dict[str, Baseline]] = {}
    for name, kinds in _table(document, "baselines").items():
        for label, value in (kinds if isinstance(kinds, dict) else {}).items():
            kind = label if labels is None else labels.get(label)
            if kind is not None and (figures := _figures(value, per_unit)) is not None:
                broken = value.get("rules_broken")
                found.setdefault(name, {})[kind] = Baseline(figures, broken if type(broken) is int else 0)
    return found


def _figures(value: Any, per_unit: int) -> KindFigures | None:
    if not isinstance(value, dict) or not all(type(value.get(count)) is int for count in _COUNTED):
        return None
    return KindFigures(**{field: _figure(value, field, per_unit) for field in KindFigures._fields})


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
