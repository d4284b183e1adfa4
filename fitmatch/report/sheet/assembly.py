"""The part to build from: every position with its two shells, what to tick off, and what the gauge should show."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.gauging.assembled import Verdict
from fitmatch.gauging.bench_check import BenchCheck, bench_check
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.records.placements import Placement
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import length
from fitmatch.report.shared.housings import TOGETHER
from fitmatch.report.shared.scale import scale_for, usual
from fitmatch.report.shared.states import (
    DANGER,
    FIT_NOT_YET,
    IN_DOUBT,
    MEASURE_FIRST,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    marks_of,
    missing_of,
    missing_words,
    not_yet_fitted,
    one_line,
    side_of,
)
from fitmatch.report.sheet.amounts import Amount, Run, amount, coating_of, exact_amount, in_full, runs, span
from fitmatch.report.sheet.drawings import Line, crank_lines, numbers_of
from fitmatch.report.sheet.source import COULD_GO_THERE, Shown, is_bad
from fitmatch.report.words.doubts import doubt_lines
from fitmatch.report.words.likely_causes import likely_causes
from fitmatch.report.words.reasons import words_of
from fitmatch.report.words.with_shells_in import VERDICTS, amount_off, limit_broken, way_off

if TYPE_CHECKING:
    from fitmatch.shelf.records import EnginePosition

TICKS: Final = (
    "backs and housing dry and clean",
    "oil hole to its hole",
    "tangs in their slots",
    "chamfer to the cheek",
    "cap number and arrow",
    "fasteners lubricated and tightened as the maker says",
    "turns freely",
    "checked",
)

_LONGEST_BESIDE: Final = 12  # characters


class Half(NamedTuple):
    """One shell of a position: the side it goes to, what holds it there, its name and what else is written on it."""

    side: str
    place: str
    name: tuple[Run, ...]
    box: str
    wall: Amount
    about: str


class Check(NamedTuple):
    """What the bore is checked by. `agrees` and `inside` are what the gauge may show; None: there is no limit. `at`:
    what `inside` has to do with the largest place of the journal, empty if nothing."""

    micrometer: str
    gauge: str
    set_to: Amount
    expect: Amount
    agrees: Amount
    inside: Amount | None
    at: str


class Exact(NamedTuple):
    """Numbers in the job's unit, to the last digit, for programs."""

    set_to: str
    expect: str
    wall_sum: str
    clearance: str


class Block(NamedTuple):
    """One position. `states` are warnings, `told` what else must be known. Without shells there is only the first
    half of this."""

    position: str
    kind: str
    number: int | None
    pin: int | None
    states: tuple[str, ...]
    told: tuple[str, ...]
    halves: tuple[Half, ...] = ()
    wall_sum: Amount | None = None
    clearance: Amount | None = None
    limits: str = ""
    exact: Exact | None = None
    check: Check | None = None
    ticks: tuple[str, ...] = ()

    @property
    def lengthy(self) -> bool:
        """Whether a name is too long to stand beside other things."""
        return any(sum(len(run.text) for run in half.name) > _LONGEST_BESIDE for half in self.halves)


class Kind(NamedTuple):
    """The positions of a kind; `not_yet` says why none of its shells may be fitted, empty if they may."""

    kind: str
    not_yet: str
    limits_from: str
    blocks: tuple[Block, ...]


class Assembly(NamedTuple):
    """The whole part."""

    lines: tuple[Line, ...]
    kinds: tuple[Kind, ...]


def assembly(shown: Shown) -> Assembly:
    """What is built, in the order of building."""
    job = shown.plan.job
    blocks = _Blocks(shown)
    return Assembly(
        crank_lines(job),
        tuple(
            Kind(kind, _not_yet(shown, kind), job.fits[kind].limits_from or "", tuple(blocks.of_kind(kind)))
            for kind in shown.kinds
        ),
    )


def _not_yet(shown: Shown, kind: str) -> str:
    why = not_yet_fitted(shown.plan, kind)
    return why and f"Fit no shell of {kind} yet: {why}; another box or reading may change them all."


class _Blocks:
    """Makes the blocks of one plan."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._plan = plan = shown.plan
        self._unit = plan.job.unit
        self._placed = plan.by_position()
        self._why = {u.position.key: words_of(u.why, self._unit) for u in plan.unfilled}
        self._model = ErrorModel(plan.job)
        self._certainty = Certainty(plan)
        self._numbers = numbers_of(plan.job)

    def of_kind(self, kind: str) -> Iterator[Block]:
        for position in (p for p in self._plan.job.positions if p.kind == kind):
            placement = self._placed.get(position.key)
            yield self._empty(position) if placement is None else self._filled(placement)

    def _empty(self, position: Position) -> Block:
        if position.key in self._why:
            states, why = (NOT_FILLED,), self._why[position.key]
        else:
            states, why = (NOT_MEASURED,), missing_words(missing_of(self._plan.job, position))
        doubts = tuple(self._doubts(position))
        beside = doubt_lines(self._shown.doubts_beside(position), self._unit, self._unit)
        told = (
            *(f"{COULD_GO_THERE}: {line}" for line in beside),
            *(() if doubts else (one_line(why),)),
            *self._told(position, in_doubt=bool(doubts)),
        )
        number = self._numbers.get(position.name)
        return Block(position.name, position.kind, number, position.pin, (*states, *doubts), told)

    def _filled(self, placement: Placement) -> Block:
        position, unit, inside = placement.position, self._unit, placement.within_limits
        not_yet = not_yet_fitted(self._plan, position.kind)
        check = bench_check(self._plan.job, placement, self._model)
        exact = (check.set_to_nm, check.expect_nm, placement.wall_sum_nm, placement.clearance_nm)
        states = [] if inside else [DANGER]
        states += [f"{FIT_NOT_YET}: {not_yet}"] if not_yet else []
        doubts, readings = tuple(self._doubts(position)), tuple(self._readings(position))
        verdict = self._certainty.verdict(placement) if inside else None
        told = [f"{verdict} within its uncertainty"] if verdict not in (None, "inside") else []
        return Block(
            position.name,
            position.kind,
            self._numbers.get(position.name),
            position.pin,
            (*states, *doubts, *readings),
            (*told, *self._told(position, in_doubt=bool(doubts))),
            tuple(self._half(placement, side) for side in SIDES),
            amount(placement.wall_sum_nm, unit),
            amount(placement.clearance_nm, unit),
            limits_of(position, unit),
            Exact(*(str(length(nm, unit)) for nm in exact)),
            None if not_yet else self._check(check),
            TICKS if not (not_yet or readings or self._shown.changed) else (),
        )

    def _check(self, check: BenchCheck) -> Check:
        gauges = self._plan.job.measuring.gauges
        setter, gauge = (gauges.get(name or "") for name in (check.setter, check.gauge))
        units = [(one and one.unit) or self._unit for one in (setter, gauge)]
        on_a_step = setter is not None and setter.resolution_nm
        agrees = span(check.agrees_from_nm, check.agrees_to_nm, units[1])
        assert agrees is not None
        scale = scale_for(self._unit, ())
        raised = scale.amount(check.raised_nm)
        return Check(
            check.setter or "micrometer",
            check.gauge or "",
            (exact_amount if on_a_step else amount)(check.set_to_nm, units[0]),
            amount(check.expect_nm, units[1]),
            agrees,
            span(check.least_nm, check.most_nm, units[1]),
            f"lower end {raised} {scale.step} up for the largest place of the journal"
            if check.raised_nm and check.least_nm is not None
            else "",
        )

    def _doubts(self, position: Position) -> Iterator[str]:
        for line in doubt_lines(self._shown.doubts_of(position), self._unit, self._unit):
            yield f"{IN_DOUBT}, {MEASURE_FIRST}: {line}"

    def _readings(self, position: Position) -> Iterator[str]:
        """What was read with these shells in, where that is outside the limits or not as calculated."""
        compared = self._shown.compared
        for check in filter(is_bad, self._shown.checks_of(position)):
            assert compared is not None
            scale = scale_for(self._unit, ())
            read = f"the {check.reading.feature} reads {usual(self._unit, check.as_read_nm)} {self._unit}"
            read += f" by {check.reading.method}"
            if not check.within_limits:
                yield f"{NOT_TO_BE_RUN}: {read}; {limit_broken(check, scale)}"
            if check.verdict != Verdict.AGREES:
                off = f"{amount_off(check, scale)} {scale.step} {way_off(check)} than calculated"
                likely = "; ".join(likely_causes(compared, check))
                yield f"{VERDICTS[check.verdict]}: {read}, {off}. Measure it again. Likely: {likely}."

    def _half(self, placement: Placement, side: str) -> Half:
        shell: Shell = getattr(placement, side)
        assert shell.wall_nm is not None
        marks = [f"{column} {mark}" for column, mark in marks_of(self._plan.job, shell).items()]
        locked = ["locked here"] if getattr(placement.position, side) is not None else []
        about = [shell.step and f"step {shell.step}", coating_of(shell, self._unit), *marks, *locked]
        place, wall = side_of(placement.position.kind, side), amount(shell.wall_nm, self._unit)
        return Half(side, place, runs(shell.name), shell.box, wall, ", ".join(filter(None, about)))

    def _told(self, position: Position, *, in_doubt: bool) -> Iterator[str]:
        if position.housing:
            yield f"Moved: the housing of {position.housing} goes here. {TOGETHER}"
        wanted = asked_of(self._plan.job, position)
        if wanted:
            yield f"asks for {wanted}"
        for flag in self._plan.flags:
            # What is wanted of walls may come from the very reading that is in doubt.
            if flag.position == position.name and not (in_doubt and flag.what.code == "misfit"):
                yield one_line(words_of(flag.what, self._unit))
        if position.note:
            yield one_line(position.note)


def limits_of(position: "Position | EnginePosition", unit: str) -> str:
    """Target, min and max of a position, as far as there are any, in the unit."""
    named = (("target", position.target_nm), ("min", position.min_nm), ("max", position.max_nm))
    told = [f"{name} {in_full(nm, unit)}" for name, nm in named if nm is not None]
    return f"{', '.join(told)} {unit}" if told else ""


def asked_of(job: Job, position: Position) -> str:
    """What a position asks of its shells in matched columns, where it asks for a mark."""
    told = []
    for column, upper, lower in zip(job.matched_columns, position.wants_upper, position.wants_lower, strict=True):
        cells = [(f"{column}", upper)] if upper == lower else [(f"upper {column}", upper), (f"lower {column}", lower)]
        told += [f"{name} {mark}" for name, mark in cells if mark not in ("", ANY)]
    return ", ".join(told)
