"""The part that is kept with the engine, on one page: what was read with what, what was fitted, what was found then."""

from collections.abc import Iterable, Iterator, Sequence
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.gauging.assembled import Check, Verdict
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, Gauge
from fitmatch.records.parts import SIDES, Position, Shell, Size
from fitmatch.records.placements import Placement
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.scale import NOTHING, UNITS, scale_for, usual
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    MEASURE_FIRST,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    one_line,
    side_of,
)
from fitmatch.report.sheet.amounts import Run, in_full, mean_of, runs
from fitmatch.report.sheet.assembly import limits_of
from fitmatch.report.sheet.source import COULD_GO_THERE, Shown
from fitmatch.report.words.doubts import looks_wrong
from fitmatch.report.words.reasons import words_of
from fitmatch.report.words.with_shells_in import VERDICTS, amount_off, limit_broken, way_off
from fitmatch.wording import listed

if TYPE_CHECKING:
    from fitmatch.shelf.records import EnginePosition


class Fitted(NamedTuple):
    """A shell as it stands on the record. `number`: that on the shelf; `read`: what its wall came from. Both are empty
    where there is nothing to say."""

    side: str
    name: tuple[Run, ...]
    box: str
    wall: str
    part: str
    number: str = ""
    read: str = ""


class Line(NamedTuple):
    """One position; its two sizes each with the readings behind it. `assembled`: what was read with the shells in, as a
    clearance; empty: to be written in by hand. `sure` is None where there is no such column. `marks`: what is out of
    limits, or not as it should be."""

    position: str
    sizes: tuple[tuple[str, str], ...]
    halves: tuple[Fitted, ...]
    clearance: str
    sure: str | None
    assembled: str
    marks: tuple[str, ...]


class KindRecorded(NamedTuple):
    """One kind: its limits, if all positions have the same, and where they come from; its positions. `ask`: what else
    is to be written in by hand."""

    kind: str
    limits: str
    limits_from: str
    seating: str
    lines: tuple[Line, ...]
    ask: tuple[str, ...] = ()


class Recorded(NamedTuple):
    """The whole part. `unit` in words; `own`: the user's own keys; `gauges`: each with what is known of it; `ask`: what
    is to be written in by hand at the top."""

    unit: str
    step: str
    own: tuple[tuple[str, str], ...]
    kinds: tuple[KindRecorded, ...]
    gauges: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]
    ask: tuple[str, ...] = ()


def recorded(shown: Shown) -> Recorded:
    """The record of a plan, without anything that costs money."""
    job = shown.plan.job
    scale, lines = scale_for(job.unit, [p.clearance_nm for p in shown.plan.placements]), _Lines(shown)
    return Recorded(
        UNITS[job.unit],
        scale.step,
        tuple(job.record.items()),
        tuple(_kind(shown, kind, lines) for kind in shown.kinds),
        tuple(_gauges(job)),
        tuple(grounds([shown.plan], scale)),
    )


def _kind(shown: Shown, kind: str, lines: "_Lines") -> KindRecorded:
    job = shown.plan.job
    fit = job.fits[kind]
    return KindRecorded(
        kind,
        common_limits((p.position for p in shown.plan.of_kind(kind)), job.unit),
        fit.limits_from or "",
        f"{in_full(fit.seating_nm, job.unit)} {job.unit}" if fit.seating_nm else "",
        tuple(lines.of(position) for position in job.positions if position.kind == kind),
    )


def common_limits(positions: "Iterable[Position | EnginePosition]", unit: str) -> str:
    """The limits that all of these have."""
    limits = {limits_of(p, unit) for p in positions}
    return limits.pop() if len(limits) == 1 else "by position"


class _Lines:
    """Makes the lines of one plan."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._plan = plan = shown.plan
        self._unit = plan.job.unit
        self._scale = scale_for(self._unit, [p.clearance_nm for p in plan.placements])
        self._certainty = Certainty(plan)
        self._placed = plan.by_position()
        self._empty = {u.position.key for u in plan.unfilled}

    def of(self, position: Position) -> Line:
        """The line of one position."""
        unit, placement, checks = self._unit, self._placed.get(position.key), self._shown.checks_of(position)
        sure = None if placement is None else self._certainty.of(placement)
        halves = () if placement is None else (placement.upper, placement.lower)
        return Line(
            position.name,
            tuple((mean_of(getattr(position, feature), unit), self._read(position, feature)) for feature in DIAMETERS),
            tuple(_fitted(position, side, shell, unit) for side, shell in zip(SIDES, halves, strict=False)),
            NOTHING if placement is None else usual(unit, placement.clearance_nm),
            NOTHING if sure is None else self._scale.steps(ceil(sure.expanded_nm)),
            ", ".join(usual(unit, check.assembled_nm) for check in checks),
            tuple(dict.fromkeys(self._marks(position, placement, checks))),
        )

    def _marks(self, position: Position, placement: Placement | None, checks: Sequence[Check]) -> Iterator[str]:
        if placement is None:
            yield NOT_FILLED if position.key in self._empty else NOT_MEASURED
        elif not placement.within_limits:
            yield DANGER
        for doubt in self._shown.doubts_of(position):
            yield f"{IN_DOUBT}, {MEASURE_FIRST}: {one_line(looks_wrong(doubt, self._unit))}"
        for doubt in self._shown.doubts_beside(position):
            yield f"{COULD_GO_THERE}: {one_line(looks_wrong(doubt, self._unit))}"
        for check in checks:
            if not check.within_limits:
                yield f"{NOT_TO_BE_RUN}: {limit_broken(check, self._scale)}"
            if check.verdict != Verdict.AGREES:
                off = f"{amount_off(check, self._scale)} {self._scale.step} {way_off(check)}"
                yield f"{VERDICTS[check.verdict]}: assembled is {off} than calculated"
        if position.housing:
            yield f"housing of {position.housing}"
        for flag in self._plan.flags:
            if flag.position == position.name and flag.what.code != "misfit":
                yield one_line(words_of(flag.what, self._unit))

    def _read(self, position: Position, feature: str) -> str:
        """The readings of a size where there is more than one, or one that is not the size itself; with the gauge,
        where it is not the one that the kind is measured with."""
        size: Size | None = getattr(position, feature)
        if size is None or (len(size.readings) < 2 and size.mean_nm == size.raw_mean_nm):
            return ""
        values = " ".join(in_full(reading.nm, self._unit) for reading in size.readings)
        usual_gauge = self._plan.job.measuring.measured.get(position.kind, {}).get(feature)
        other = size.gauges not in ((), (usual_gauge,))
        return f"{values} by {listed(size.gauges)}" if values and other else values


def _fitted(position: Position, side: str, shell: Shell, unit: str) -> Fitted:
    return Fitted(
        side_of(position.kind, side), runs(shell.name), shell.box, usual(unit, shell.wall_nm or 0), shell.part
    )


def _gauges(job: Job) -> Iterator[tuple[str, str]]:
    uses: dict[str, list[str]] = {}
    for kind, features in job.measuring.measured.items():
        for feature, name in features.items():
            uses.setdefault(name, []).append(f"{kind} {feature.replace('_', ' ')}")
    for name, gauge in job.measuring.gauges.items():
        yield name, told_of_gauge(gauge, gauge.unit or job.unit, uses.get(name, ()))


def told_of_gauge(gauge: Gauge, unit: str, uses: Iterable[str]) -> str:
    """What is known of a gauge, and what it is used for."""
    lengths = (("resolution", gauge.resolution_nm), ("limit +/-", gauge.limit_nm), ("zero error", gauge.own_zero_nm))
    told = [*uses, *(f"{what} {usual(unit, nm)} {unit}" for what, nm in lengths if nm)]
    return ", ".join([*told, f"set with {gauge.set_with}"] if gauge.set_with else told)
