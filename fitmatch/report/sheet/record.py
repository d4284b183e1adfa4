"""The part that is kept with the engine, on one page: what was read with what, what was fitted, what was found then."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from math import ceil
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.gauging.assembled import Check, Verdict
from fitmatch.gauging.bench_check import bench_check, bounds_of
from fitmatch.gauging.sizes.corrections import GAUGE_STEEL
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, Gauge, Reading
from fitmatch.records.parts import SIDES, Position, Shell, Size
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.layout import NO_BREAK
from fitmatch.report.shared.scale import NOTHING, UNITS, Scale, scale_for, usual
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    MEASURE_FIRST,
    NOT_TO_BE_RUN,
    not_yet_fitted,
    one_line,
    side_of,
)
from fitmatch.report.sheet.amounts import Amount, Run, as_read, in_full, judged, mean_of, places, runs, span
from fitmatch.report.sheet.assembly import MICROMETER, lies_at, limits_of, noted_at, pair_of, raw_reading, shown_check
from fitmatch.report.sheet.assembly import Check as BenchCheck
from fitmatch.report.sheet.source import COULD_GO_THERE, Shown
from fitmatch.report.words.doubts import looks_wrong
from fitmatch.report.words.reasons import out_by, words_of
from fitmatch.report.words.with_shells_in import VERDICTS, amount_off, limit_broken, noted_otherwise, way_off
from fitmatch.wording import listed

if TYPE_CHECKING:
    from fitmatch.shelf.answers.engines import EnginePosition

_HELD_AGAINST: Final = "What was read is held against what must be read, what is corrected against min and max."


class Fitted(NamedTuple):
    """A shell as it stands on the record. `lies`: its number on the shelf and, before it was fitted, where it lay;
    `read`: what its wall came from. Both are empty
    where there is nothing to say."""

    side: str
    name: tuple[Run, ...]
    box: str
    wall: str
    part: str
    lies: str = ""
    read: str = ""


class Line(NamedTuple):
    """One position; its two sizes, each with the readings behind it and the gauge, if that needs telling. `sure` is
    None where there is no such column. `assembled`: what was read with the shells in, as the gauge gave it and
    corrected; empty: to be written in by hand. `bench`: what the gauge is set to for that, and what it must read.
    `marks`: what is out of limits or not as it should be, in a word; `notes` say more of it."""

    position: str
    sizes: tuple[tuple[str, str, str], ...]
    halves: tuple[Fitted, ...]
    clearance: str
    sure: str | None
    assembled: str
    marks: tuple[str, ...]
    bench: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class KindRecorded(NamedTuple):
    """One kind: its limits, if all positions have the same, and where they come from; its positions. `ask`: what else
    is to be written in by hand. `not_yet`: why none of its shells may be fitted, empty if they may. `uncounted`: what
    of its coating does not count as wall, empty if all of it does."""

    kind: str
    limits: str
    limits_from: str
    seating: str
    lines: tuple[Line, ...]
    ask: tuple[str, ...] = ()
    not_yet: str = ""
    uncounted: str = ""

    @property
    def numbered(self) -> bool:
        """Whether a shell has its number on the shelf beside its name, for which there must be room."""
        return any(half.lies for line in self.lines for half in line.halves)


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
        (*_grounds(shown, scale), _HELD_AGAINST),
    )


def _grounds(shown: Shown, scale: Scale) -> Iterator[str]:
    """What the figures rest on, for paper: in whole sentences, and to be broken anywhere."""
    measuring = shown.plan.job.measuring
    yield from (f"{line.replace(NO_BREAK, ' ').removesuffix('.')}." for line in grounds([shown.plan], scale))
    of_kinds = {kind: expansions(measuring.materials.get(kind, {})) for kind in shown.kinds if measuring.temperature}
    for told in dict.fromkeys(filter(None, of_kinds.values())):
        whose = [kind for kind, one in of_kinds.items() if one == told]
        yield f"{told[0].upper()}{told[1:]}" + ("." if len(whose) == len(shown.kinds) else f" ({listed(whose)}).")


def _kind(shown: Shown, kind: str, lines: "_Lines") -> KindRecorded:
    job = shown.plan.job
    fit = job.fits[kind]
    return KindRecorded(
        kind,
        common_limits((p.position for p in shown.plan.of_kind(kind)), job.unit),
        fit.limits_from or "",
        f"{in_full(fit.seating_nm, job.unit)} {job.unit}" if fit.seating_nm else "",
        tuple(lines.of(position) for position in job.positions if position.kind == kind),
        not_yet=shown.not_yet(kind),
        uncounted=uncounted(
            {p.position.name: p.uncounted_nm for p in shown.plan.of_kind(kind)}, scale_for(job.unit, ())
        ),
    )


def common_limits(positions: "Iterable[Position | EnginePosition]", unit: str) -> str:
    """The limits that all of these have."""
    limits = {limits_of(p, unit) for p in positions}
    return limits.pop() if len(limits) == 1 else "by position"


def how_assembled(method: str, gauge: str | None, by: str, date: str) -> str:
    """By what a reading with the shells in was taken, by whom and when."""
    what = gauge if gauge and method == "gauge" else method
    return ", ".join(filter(None, [what, f"by {one_line(by)}" if by else "", date]))


def uncounted(by_position: Mapping[str, int], scale: Scale) -> str:
    """What clearances to the metal have beside the walls, which stand on a record over their coating: once for the
    most positions, with those of which it is another amount."""
    if not any(by_position.values()):
        return ""
    ((most, _),) = Counter(nm for nm in by_position.values() if nm).most_common(1)
    others = [
        f"{name} {scale.with_unit(nm)}" if nm else f"{name} none" for name, nm in by_position.items() if nm != most
    ]
    but = f" ({', '.join(others)})" if others else ""
    told = f"{scale.with_unit(most)} of coating does not count as wall: add it{but}"
    return f"{told}. Clearances and limits are to the metal"


def assembled_told(feature: str, read: str, how: str, corrected: str, bench: str) -> str:
    """A clearance or a bore with the shells in, as it was read, and as a clearance; first what it had to be."""
    found = f"{'bore ' if feature == 'bore' else ''}reads {read} ({how}), corrected {corrected}"
    return f"{bench}; {found}" if bench else found


def bench_told(setter: str, set_to: Amount | None, inside: Amount | None) -> str:
    """What the micrometer was set to for a reading, where a gauge was zeroed on it, and what must be read."""
    told = [f"set {setter or MICROMETER} {set_to.own}"] if set_to else []
    return ", ".join([*told, f"must read {inside.own}"] if inside else told)


def expansions(materials: Mapping[str, Fraction]) -> str:
    """The coefficients of expansion that sizes were corrected with, by feature; empty without any."""
    told = [f"{feature.replace('_', ' ')} {_per_kelvin(one)}" for feature, one in materials.items()]
    steel = f"gauges {_per_kelvin(GAUGE_STEEL)} where none is told"
    return f"expansion per kelvin: {', '.join([*told, steel])}" if told else ""


def _per_kelvin(coefficient: Fraction) -> str:
    return f"{float(coefficient * 10**6):g}e-6"


class _Lines:
    """Makes the lines of one plan."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._plan = plan = shown.plan
        self._unit = plan.job.unit
        self._scale = scale_for(self._unit, [p.clearance_nm for p in plan.placements])
        self._certainty = Certainty(plan)
        self._placed = plan.by_position()
        self._model = ErrorModel(plan.job)
        self._finest_of: dict[tuple[str, str, str | None], int | None] = {}

    def of(self, position: Position) -> Line:
        """The line of one position."""
        unit, placement, checks = self._unit, self._placed.get(position.key), self._shown.checks_of(position)
        sure = None if placement is None else self._certainty.of(placement)
        halves = () if placement is None else (placement.upper, placement.lower)
        others = self._shown.checks_otherwise(position)
        read = "; ".join(
            [*map(self._assembled, checks), *(f"with {pair_of(one)} in: {self._assembled(one)}" for one in others)]
        )
        return Line(
            position.name,
            tuple((mean_of(getattr(position, what), unit), *self._read(position, what)) for what in DIAMETERS),
            tuple(self._fitted(position, side, shell) for side, shell in zip(SIDES, halves, strict=False)),
            NOTHING if placement is None else judged(placement.clearance_nm, unit, position),
            NOTHING if sure is None else self._scale.steps(ceil(sure.expanded_nm)),
            read or ("" if self._may_be_read(placement) else NOTHING),
            tuple(self._marks(position)),
            () if read or placement is None or not self._may_be_read(placement) else self._bench(placement),
            tuple(dict.fromkeys(self._notes(position, [*checks, *others]))),
        )

    def _read(self, position: Position, feature: str) -> tuple[str, str]:
        return self._told(position.kind, feature, getattr(position, feature))

    def _may_be_read(self, placement: Placement | None) -> bool:
        """Whether its shells may be fitted, so that something is read."""
        if placement is None or self._shown.noted_otherwise(placement.position):
            return False
        return not not_yet_fitted(self._plan, placement.position.kind)

    def _bench(self, placement: Placement) -> tuple[str, ...]:
        check = self._bench_check(placement)
        must = f"must read {check.inside.own}" if check.inside else "must read: see the engine maker's limits"
        return f"set {check.micrometer} {check.set_to.own}", must

    def _bench_check(self, placement: Placement) -> BenchCheck:
        return shown_check(self._plan.job, bench_check(self._plan.job, placement, self._model))

    def _assembled(self, check: Check) -> str:
        """One reading with the shells in."""
        reading, unit = check.reading, self._unit
        how = how_assembled(reading.method, reading.gauge, reading.by, reading.date)
        corrected = judged(check.assembled_nm, unit, check.placement.position)
        job, gauge = self._plan.job, self._plan.job.measuring.gauges.get(reading.gauge or "")
        bounds, check_by = bounds_of(job, check), self._bench_check(check.placement)
        zeroed = reading.feature == "clearance" and reading.method == "gauge"
        inside = span(bounds.least_nm, bounds.most_nm, (gauge and gauge.unit) or job.unit)
        bench = bench_told(check_by.micrometer, check_by.set_to if zeroed else None, inside)
        return assembled_told(reading.feature, raw_reading(job, reading), how, f"{corrected} {unit}", bench)

    def _marks(self, position: Position) -> Iterator[str]:
        yield from self._shown.states_of(position)
        if position.housing:
            yield f"housing of {position.housing}"

    def _notes(self, position: Position, checks: Sequence[Check]) -> Iterator[str]:
        yield from (f"{state}: {'; '.join(noted_otherwise(facts))}" for state, facts in noted_at(self._shown, position))
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
        for flag in (flag for flag in self._plan.flags if flag.position == position.name):
            if flag.what.code == "misfit":
                yield f"{DANGER}: {out_by(flag.what, self._unit)}"
            else:
                yield one_line(words_of(flag.what, self._unit))

    def _fitted(self, position: Position, side: str, shell: Shell) -> Fitted:
        shelved = self._plan.shelved.get(shell.key)
        lies = "" if shelved is None else lies_at(shelved.number, shelved.location)
        wall = usual(self._unit, shell.touched_nm)
        read = " ".join(filter(None, self._told(position.kind, "wall", shell.measured)))
        bare = shell.coating_nm and shell.measured is not None and shell.measured.mean_nm == shell.metal_nm
        read = f"bare, {read}" if bare and read else "bare" if bare else read
        return Fitted(side_of(position.kind, side), runs(shell.name), shell.box, wall, shell.part, lies, read)

    def _told(self, kind: str, feature: str, size: Size | None) -> tuple[str, str]:
        """The readings of a size where there is more than one, or one that is not the size itself; with the gauge,
        where it is not the one that the kind is measured with."""
        if size is None or (len(size.readings) < 2 and size.mean_nm == size.raw_mean_nm):
            return "", ""
        job = self._plan.job
        values = " ".join(
            self._as_read(gauge, list(some), kind, feature) for gauge, some in groupby(size.readings, _gauge_of)
        )
        usual_gauge = job.measuring.measured.get(kind, {}).get(feature)
        other = size.gauges not in ((), (usual_gauge,))
        return values, f"by {listed(size.gauges)}" if values and other else ""

    def _as_read(self, name: str | None, readings: Sequence[Reading], kind: str, feature: str) -> str:
        """Readings of one gauge; without its resolution as fine as the finest of its kind."""
        job = self._plan.job
        gauge = job.measuring.gauges.get(name or "")
        pairs = [(reading.nm, reading.typed) for reading in readings]
        step = (gauge and gauge.resolution_nm) or self._finest(kind, feature, name)
        return as_read(pairs, job.unit, step, (gauge and gauge.unit) or job.unit)

    def _finest(self, kind: str, feature: str, gauge: str | None) -> int | None:
        """The reading with the most decimals of those that one gauge took of a feature of a kind in the job's unit."""
        if (kind, feature, gauge) not in self._finest_of:
            job = self._plan.job
            if feature == "wall":
                sizes = [shell.measured for p in self._plan.of_kind(kind) for shell in (p.upper, p.lower)]
            else:
                sizes = [getattr(position, feature) for position in job.positions if position.kind == kind]
            read = [r.nm for size in sizes if size for r in size.readings if r.gauge == gauge and not r.typed]
            self._finest_of[kind, feature, gauge] = max(read, key=lambda nm: places(nm, job.unit), default=None)
        return self._finest_of[kind, feature, gauge]


def _gauge_of(reading: Reading) -> str | None:
    return reading.gauge


def _gauges(job: Job) -> Iterator[tuple[str, str]]:
    uses: dict[str, list[str]] = {}
    for kind, features in job.measuring.measured.items():
        for feature, name in features.items():
            uses.setdefault(name, []).append(f"{kind} {feature.replace('_', ' ')}")
    for name in job.measuring.gauges:
        yield name, told_of_gauge(name, job.measuring.gauges, job.unit, uses.get(name, ()))


def told_of_gauge(name: str, gauges: Mapping[str, Gauge], unit: str, uses: Iterable[str]) -> str:
    """What is known of a gauge, and what it is used for."""
    gauge = gauges[name]
    unit = gauge.unit or unit
    lengths = (
        ("resolution", gauge.resolution_nm),
        ("limit +/-", gauge.limit_nm),
        ("zero error", gauge.own_zero_nm),
        ("ball", gauge.ball_nm),
    )
    told = [*uses, *(f"{what} {usual(unit, nm)} {unit}" for what, nm in lengths if nm)]
    told += filter(None, [_expansion_of(name, gauges)])
    return ", ".join([*told, f"set with {gauge.set_with}"] if gauge.set_with else told)


def _expansion_of(name: str, gauges: Mapping[str, Gauge]) -> str:
    """The coefficient of a gauge: its own, or that of the one it was set with, of which nothing else may be known."""
    scale, gauge = name, gauges.get(name)
    while gauge is not None and gauge.expansion is None and gauge.set_with:
        scale, gauge = gauge.set_with, gauges.get(gauge.set_with)
    whose = "" if scale == name else f"as {scale}"
    if gauge is None:
        return f"expansion {whose}"
    if gauge.expansion is None:
        return ""
    return ", ".join(filter(None, [f"expansion {_per_kelvin(gauge.expansion)} per kelvin", whose]))
