"""The part to build from: every position with its two shells, what to tick off, and what the gauge should show."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Check as ReadingCheck
from fitmatch.gauging.assembled import Verdict
from fitmatch.gauging.bench_check import BenchCheck, bench_check, bounds_of
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.lengths import fixed
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Flag
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.measuring import AssembledReading
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import length
from fitmatch.report.shared.housings import TOGETHER
from fitmatch.report.shared.scale import PLACES, on_paper, scale_for, usual
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
from fitmatch.report.sheet.amounts import (
    Amount,
    Run,
    amount,
    as_read,
    coating_of,
    in_both,
    in_full,
    judged,
    other_unit,
    runs,
    setting,
    span,
)
from fitmatch.report.sheet.drawings import Line, crank_lines, numbers_of
from fitmatch.report.sheet.source import COULD_GO_THERE, Shown, is_bad
from fitmatch.report.words.doubts import doubt_lines
from fitmatch.report.words.likely_causes import likely_causes
from fitmatch.report.words.reasons import out_by, words_of
from fitmatch.report.words.with_shells_in import (
    FIND_OUT,
    HOUSING_NOT_AS_PLANNED,
    NOT_AS_PLANNED,
    VERDICTS,
    amount_off,
    limit_broken,
    noted_otherwise,
    way_off,
)
from fitmatch.wording import listed

if TYPE_CHECKING:
    from fitmatch.shelf.answers.engines import EnginePosition

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

MICROMETER: Final = "micrometer"  # that has no name
LIMITS_TO_METAL: Final = "Clearance, min and max are to the metal, and the bore gauge touches the coating"
ALREADY_OFF: Final = "that is taken off in expect, agrees and must read"

_LONGEST_BESIDE: Final = 12  # characters


class Half(NamedTuple):
    """One shell of a position: the side it goes to, what holds it there, its name and what else is written on it.
    `lies`: its number on the shelf and where it lies there."""

    side: str
    place: str
    name: tuple[Run, ...]
    box: str
    wall: Amount
    about: str
    lies: str


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
    """One position. `states` are warnings, `told` what else must be known. `between`: what the clearance of coated
    shells lies between, and the other one. Without shells there is only the first half of this."""

    position: str
    kind: str
    number: int | None
    pin: int | None
    states: tuple[str, ...]
    told: tuple[str, ...]
    halves: tuple[Half, ...] = ()
    wall_sum: Amount | None = None
    clearance: Amount | None = None
    between: str = ""
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
    """The whole part. `marked`: whether positions are marked in the drawing; `from_shelf`: how many of its shells came
    from the shelf."""

    lines: tuple[Line, ...]
    marked: bool
    kinds: tuple[Kind, ...]
    from_shelf: int


def assembly(shown: Shown) -> Assembly:
    """What is built, in the order of building."""
    job = shown.plan.job
    blocks = _Blocks(shown)
    marked = {p.name for p in job.positions if shown.states_of(p)}
    return Assembly(
        crank_lines(job, marked),
        bool(marked),
        tuple(
            Kind(kind, shown.not_yet(kind), job.fits[kind].limits_from or "", tuple(blocks.of_kind(kind)))
            for kind in shown.kinds
        ),
        sum(s.is_shelved for p in shown.plan.placements for s in (p.upper, p.lower)),
    )


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
        doubts, noted = tuple(self._doubts(position)), tuple(self._noted(position))
        beside = doubt_lines(self._shown.doubts_beside(position), self._unit, self._unit)
        told = (
            *(f"{COULD_GO_THERE}: {line}" for line in beside),
            *(() if doubts else (one_line(why),)),
            *self._told(position, in_doubt=bool(doubts)),
        )
        number = self._numbers.get(position.name)
        readings = self._readings(position)
        return Block(position.name, position.kind, number, position.pin, (*noted, *states, *doubts, *readings), told)

    def _filled(self, placement: Placement) -> Block:
        position, unit, inside = placement.position, self._unit, placement.within_limits
        not_yet = not_yet_fitted(self._plan, position.kind)
        check = bench_check(self._plan.job, placement, self._model)
        exact = (check.set_to_nm, check.expect_nm, placement.wall_sum_nm, placement.clearance_nm)
        states = [f"{DANGER}: {out_by(flag.what, unit)}" for flag in self._plan.flags if _is_misfit(flag, position)]
        states += [f"{FIT_NOT_YET}: {not_yet}"] if not_yet else []
        doubts, readings = tuple(self._doubts(position)), tuple(self._readings(position))
        noted = tuple(self._noted(position))
        verdict = self._certainty.verdict(placement) if inside else None
        told = [f"{verdict} within its uncertainty"] if verdict not in (None, "inside") else []
        if placement.uncounted_nm:
            told.append(f"{LIMITS_TO_METAL}, {in_both(placement.uncounted_nm, unit)} on both shells: {ALREADY_OFF}")
        return Block(
            position.name,
            position.kind,
            self._numbers.get(position.name),
            position.pin,
            (*noted, *doubts, *states, *readings),
            (*told, *self._told(position, in_doubt=bool(doubts))),
            tuple(self._half(placement, side) for side in SIDES),
            amount(placement.wall_sum_nm, unit),
            amount(placement.clearance_nm, unit)._replace(
                own=f"{judged(placement.clearance_nm, unit, position)} {unit}"
            ),
            self._between(placement),
            limits_of(position, unit),
            Exact(*(str(length(nm, unit)) for nm in exact)),
            None if not_yet or noted else shown_check(self._plan.job, check),
            TICKS if not (not_yet or noted or readings or self._shown.void) else (),
        )

    def _between(self, p: Placement) -> str:
        if not (p.upper.coating_nm or p.lower.coating_nm):
            return ""
        metal, coating = (
            judged(nm, self._unit, p.position) for nm in (p.clearance_to_metal_nm, p.clearance_over_coating_nm)
        )
        if p.uncounted_nm:
            return f"to the metal; over the coating {coating} {self._unit}"
        return f"over the coating; to the metal {metal} {self._unit}"

    def _doubts(self, position: Position) -> Iterator[str]:
        for line in doubt_lines(self._shown.doubts_of(position), self._unit, self._unit):
            yield f"{IN_DOUBT}, {MEASURE_FIRST}: {line}"

    def _noted(self, position: Position) -> Iterator[str]:
        for state, facts in noted_at(self._shown, position):
            yield f"{state}: {'; '.join(noted_otherwise(facts))}. {FIND_OUT}."

    def _readings(self, position: Position) -> Iterator[str]:
        """What was read with shells in, where that is outside the limits or not as calculated."""
        compared, job = self._shown.compared, self._plan.job
        others = self._shown.checks_otherwise(position)
        for check in filter(is_bad, [*self._shown.checks_of(position), *others]):
            assert compared is not None
            told = f"with {pair_of(check)} in " if check in others else ""
            scale, bounds = scale_for(self._unit, ()), bounds_of(job, check)
            if not check.within_limits:
                read = _reads(job, check, "must read", bounds.least_nm, bounds.most_nm)
                yield f"{NOT_TO_BE_RUN}: {told}{read}; {limit_broken(check, scale)}"
            if check.verdict != Verdict.AGREES:
                read = _reads(job, check, "agrees", bounds.agrees_from_nm, bounds.agrees_to_nm)
                off = f"{amount_off(check, scale)} {scale.step} {way_off(check)} than calculated"
                likely = "; ".join(likely_causes(compared, check))
                yield f"{VERDICTS[check.verdict]}: {told}{read}: {off}. Measure it again. Likely: {likely}."

    def _half(self, placement: Placement, side: str) -> Half:
        shell: Shell = getattr(placement, side)
        assert shell.wall_nm is not None
        marks = [f"{column} {mark}" for column, mark in marks_of(self._plan.job, shell).items()]
        locked = ["locked here"] if getattr(placement.position, side) is not None else []
        about = [shell.step and f"step {shell.step}", coating_of(shell, self._unit), *marks, *locked]
        place, wall = side_of(placement.position.kind, side), amount(shell.wall_nm, self._unit)
        shelved = self._plan.shelved.get(shell.key)
        lies = "" if shelved is None else lies_at(shelved.number, shelved.location)
        return Half(side, place, runs(shell.name), shell.box, wall, ", ".join(filter(None, about)), lies)

    def _told(self, position: Position, *, in_doubt: bool) -> Iterator[str]:
        if position.housing:
            yield self._moved(position, position.housing)
        wanted = asked_of(self._plan.job, position)
        if wanted:
            yield f"asks for {wanted}"
        for flag in self._plan.flags:
            # What is wanted of walls may come from the very reading that is in doubt.
            if flag.position == position.name and not (in_doubt and _is_misfit(flag, position)):
                yield one_line(words_of(flag.what, self._unit))
        if position.note:
            yield one_line(position.note)

    def _moved(self, position: Position, housing: str) -> str:
        """That a housing goes here, or may come here later on: what is in doubt, or not ready, may change all moves."""
        doubted = [d.feature for d in self._shown.doubts_of(position) if d.feature == "housing_bore"]
        if doubted:
            return f"Do not move the housing of {housing} here before its bore is measured again: another may suit."
        if not_yet_fitted(self._plan, position.kind):
            return f"Do not move the housing of {housing} here before its kind may be fitted: another may suit."
        return f"Moved: the housing of {housing} goes here. {TOGETHER}"


def lies_at(number: int, location: str) -> str:
    """A shell's number on the shelf, and where it lies there."""
    return f"no. {number}, {one_line(location)}" if location else f"no. {number}"


def shown_check(job: Job, check: BenchCheck) -> Check:
    """A check of a bore as it stands on the sheet, each figure in the unit of the gauge that shows it."""
    gauges = job.measuring.gauges
    setter, gauge = (gauges.get(name or "") for name in (check.setter, check.gauge))
    units = [(one and one.unit) or job.unit for one in (setter, gauge)]
    agrees = span(check.agrees_from_nm, check.agrees_to_nm, units[1])
    assert agrees is not None
    scale = scale_for(job.unit, ())
    return Check(
        check.setter or MICROMETER,
        check.gauge or "",
        setting(check.set_to_nm, units[0], setter and setter.resolution_nm),
        amount(check.expect_nm, units[1]),
        agrees,
        span(check.least_nm, check.most_nm, units[1]),
        f"lower end {scale.amount(check.raised_nm)} {scale.step} up for the largest place of the journal"
        if check.raised_nm and check.least_nm is not None
        else "",
    )


def noted_at(shown: Shown, position: Position) -> Iterator[tuple[str, tuple[Fact, ...]]]:
    """What is noted otherwise than planned at a position, with the state that this is."""
    for state, facts in (
        (NOT_AS_PLANNED, shown.noted.of_shells(position.name)),
        (HOUSING_NOT_AS_PLANNED, shown.noted.of_housings(position.name)),
    ):
        if facts:
            yield state, facts


def pair_of(check: ReadingCheck) -> str:
    """The shells that a reading was taken with, and the housing if it is named."""
    reading = check.reading
    names = listed([full_name(reading.upper), full_name(reading.lower)])
    return f"{names} and the housing of {reading.housing}" if reading.housing else names


def raw_reading(job: Job, reading: AssembledReading) -> str:
    """What was read with the shells in, as the gauge gave it."""
    gauge = job.measuring.gauges.get(reading.gauge or "")
    typed = reading.typed or ("",) * len(reading.readings_nm)
    pairs = list(zip(reading.readings_nm, typed, strict=True))
    return as_read(pairs, job.unit, gauge and gauge.resolution_nm, (gauge and gauge.unit) or job.unit)


def _reads(job: Job, check: ReadingCheck, word: str, least_nm: int | None, most_nm: int | None) -> str:
    """What was read, in the unit that it was read in and the other one; and the end that it is beyond, with enough
    decimals to tell the two apart."""
    raw, nm = raw_reading(job, check.reading), check.as_read_nm
    unit = raw.rpartition(" ")[2]
    own = unit if unit in PLACES else job.unit
    if len(check.reading.readings_nm) > 1:
        raw += f", {usual(own, nm)} {own} on average"
    other = other_unit(own)
    told = f"the {check.reading.feature} reads {raw} ({usual(other, nm)} {other}) by {check.reading.method}"
    for end_nm, way, inward in ((least_nm, "from" if word == "agrees" else "at least", 1), (most_nm, "", -1)):
        if end_nm is not None and (end_nm - nm) * inward > 0:
            places = PLACES[own]
            while on_paper(end_nm, own, places, inward) == on_paper(nm, own, places, 0):
                places += 1
            end = fixed(on_paper(end_nm, own, places, inward), own, places)
            told += f", {word} {way or ('up to' if word == 'agrees' else 'at most')} {end} {own}"
    return told


def _is_misfit(flag: Flag, position: Position) -> bool:
    """Whether a flag says that this position is outside its limits."""
    return flag.position == position.name and flag.what.code == "misfit"


def limits_of(position: "Position | EnginePosition", unit: str) -> str:
    """Target, min and max of a position, as far as there are any, in the unit."""
    named = (("target", position.target_nm), ("min", position.min_nm), ("max", position.max_nm))
    told = [f"{name} {in_full(nm, unit)}" for name, nm in named if nm is not None]
    return f"{', '.join(told)} {unit}" if told else ""


def asked_of(job: Job, position: Position) -> str:
    """What a position asks of its shells in matched columns, where it asks for a mark. Jobs that share the shelf ask
    for more, which nobody has typed."""
    told = []
    for column, upper, lower in zip(job.matched_columns, position.wants_upper, position.wants_lower, strict=False):
        cells = [(f"{column}", upper)] if upper == lower else [(f"upper {column}", upper), (f"lower {column}", lower)]
        told += [f"{name} {mark}" for name, mark in cells if mark not in ("", ANY)]
    return ", ".join(told)
