"""The part that is kept with the engine, on one page: what was read with what, what was fitted, what was found then."""

from collections.abc import Iterator
from typing import NamedTuple

from fitmatch.gauging.assembled import Check, Verdict
from fitmatch.records.measuring import DIAMETERS
from fitmatch.records.parts import Position, Shell
from fitmatch.records.placements import Placement
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    one_line,
    side_of,
)
from fitmatch.report.sheet.amounts import Run, in_full, mean_in_full, runs
from fitmatch.report.sheet.assembly import limits_of
from fitmatch.report.sheet.source import Shown
from fitmatch.report.words.reasons import words_of


class Fitted(NamedTuple):
    """A shell as it stands on the record."""

    side: str
    name: tuple[Run, ...]
    box: str
    wall: str
    part: str


class Line(NamedTuple):
    """One position. `assembled`: what was read with the shells in, as a clearance; empty: to be written in by hand.
    `marks`: what is out of limits, or not as it should be. `read`: the readings behind its sizes."""

    position: str
    journal: str
    housing_bore: str
    halves: tuple[Fitted, ...]
    clearance: str
    sure: str
    assembled: str
    marks: tuple[str, ...]
    read: str


class KindRecorded(NamedTuple):
    """One kind: its limits, if all positions have the same, and where they come from; its positions."""

    kind: str
    limits: str
    limits_from: str
    seating: str
    lines: tuple[Line, ...]


class Recorded(NamedTuple):
    """The whole part. `own`: the user's own keys; `gauges`: each with what is known of it."""

    unit: str
    step: str
    own: tuple[tuple[str, str], ...]
    kinds: tuple[KindRecorded, ...]
    gauges: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]


def recorded(shown: Shown) -> Recorded:
    """The record of a plan, without anything that costs money."""
    job = shown.plan.job
    scale, certainty = scale_for(job.unit, [p.clearance_nm for p in shown.plan.placements]), Certainty(shown.plan)
    return Recorded(
        job.unit,
        scale.step,
        tuple(job.record.items()),
        tuple(_kind(shown, kind, scale, certainty) for kind in job.kinds),
        tuple(_gauges(shown, scale)),
        tuple(grounds([shown.plan], scale)),
    )


def _kind(shown: Shown, kind: str, scale: Scale, certainty: Certainty) -> KindRecorded:
    job = shown.plan.job
    placed = shown.plan.by_position()
    fit = job.fits[kind]
    limits = {limits_of(p, job.unit) for p in shown.plan.of_kind(kind)}
    return KindRecorded(
        kind,
        limits.pop() if len(limits) == 1 else "by position",
        fit.limits_from or "",
        f"{in_full(fit.seating_nm, job.unit)} {job.unit}" if fit.seating_nm else "",
        tuple(
            _line(shown, position, placed.get(position.key), scale, certainty)
            for position in job.positions
            if position.kind == kind
        ),
    )


def _line(shown: Shown, position: Position, placement: Placement | None, scale: Scale, certainty: Certainty) -> Line:
    unit, found = shown.plan.job.unit, None if placement is None else certainty.of(placement)
    checks = _checks(shown, position)
    halves = () if placement is None else (placement.upper, placement.lower)
    return Line(
        position.name,
        mean_in_full(position.journal, unit),
        mean_in_full(position.housing_bore, unit),
        tuple(_fitted(position, side, shell, unit) for side, shell in zip(("upper", "lower"), halves, strict=False)),
        NOTHING if placement is None else in_full(placement.clearance_nm, unit),
        NOTHING if found is None else scale.steps(round(found.expanded_nm)),
        ", ".join(in_full(check.assembled_nm, unit) for check in checks),
        tuple(dict.fromkeys(_marks(shown, position, placement, checks))),
        "; ".join(_read(position, unit)),
    )


def _fitted(position: Position, side: str, shell: Shell, unit: str) -> Fitted:
    return Fitted(side_of(position.kind, side), runs(shell.name), shell.box, in_full(shell.wall_nm, unit), shell.part)


def _checks(shown: Shown, position: Position) -> list[Check]:
    """What was read at a position with the very shells of the plan in it."""
    if shown.compared is None:
        return []
    placed = shown.plan.by_position().get(position.key)
    pair = None if placed is None else (placed.upper.key, placed.lower.key)
    checks = shown.compared.checks
    return [c for c in checks if c.reading.position == position.name and (c.reading.upper, c.reading.lower) == pair]


def _marks(shown: Shown, position: Position, placement: Placement | None, checks: list[Check]) -> Iterator[str]:
    if placement is None:
        measured = any(u.position.key == position.key for u in shown.plan.unfilled)
        yield NOT_FILLED if measured else NOT_MEASURED
    elif not placement.within_limits:
        yield DANGER
    if placement in shown.plan.in_doubt:
        yield IN_DOUBT
    for check in checks:
        if not check.within_limits:
            yield NOT_TO_BE_RUN
        if check.verdict != Verdict.AGREES:
            yield "assembled is apart from calculated"
    if position.housing:
        yield f"housing of {position.housing}"
    for flag in shown.plan.flags:
        if flag.position == position.name and flag.what.code != "misfit":
            yield one_line(words_of(flag.what, shown.plan.job.unit))


def _read(position: Position, unit: str) -> Iterator[str]:
    """Every reading of journal and bore where there is more than one, or one that is not the size itself."""
    for feature in DIAMETERS:
        size = getattr(position, feature)
        if size is not None and size.readings and (len(size.readings) > 1 or size.mean_nm != size.raw_mean_nm):
            values = " ".join(in_full(reading.nm, unit) for reading in size.readings)
            by = f" by {' and '.join(size.gauges)}" if size.gauges else ""
            yield f"{feature.replace('_', ' ')}{by} {values}"


def _gauges(shown: Shown, scale: Scale) -> Iterator[tuple[str, str]]:
    job = shown.plan.job
    uses: dict[str, list[str]] = {}
    for kind, features in job.measuring.measured.items():
        for feature, name in features.items():
            uses.setdefault(name, []).append(f"{kind} {feature.replace('_', ' ')}")
    for name, gauge in job.measuring.gauges.items():
        lengths = (
            ("resolution", gauge.resolution_nm),
            ("limit +/-", gauge.limit_nm),
            ("zero error", gauge.own_zero_nm),
        )
        told = [*uses.get(name, [])]
        told += [f"{what} {in_full(nm, scale.unit)} {scale.unit}" for what, nm in lengths if nm]
        told += [f"set with {gauge.set_with}"] if gauge.set_with else []
        yield name, ", ".join(told)
