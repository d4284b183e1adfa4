"""The part to build from: every position with its two shells, what to tick off, and what the gauge should show."""

from collections.abc import Iterator
from typing import Final, NamedTuple

from fitmatch.gauging.bench_check import bench_check
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.doubted import doubted
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.records.placements import Placement
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import length
from fitmatch.report.shared.scale import PLACES, on_paper, usual
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    marks_of,
    missing_of,
    missing_words,
    one_line,
    side_of,
)
from fitmatch.report.sheet.amounts import Amount, Run, amount, coating_of, in_full, runs
from fitmatch.report.sheet.drawings import Line, crank_lines, numbers_of
from fitmatch.report.sheet.source import Shown
from fitmatch.report.words.reasons import words_of

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
    """What the bore is checked by. `agrees` and `inside` are what the gauge may show; None: there is no limit."""

    micrometer: str
    gauge: str
    set_to: Amount
    expect: Amount
    agrees: str
    inside: str | None


class Block(NamedTuple):
    """One position. `states` are warnings, `told` what else must be known. Without shells there is only the first
    half of this. `set_to` and `expect` are numbers in the job's unit, for programs."""

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
    set_to: str | None = None
    expect: str | None = None
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
    """What is built, in the order of building: first what is in one block."""
    job = shown.plan.job
    kinds = sorted(job.kinds, key=lambda kind: not in_one_block(kind))
    blocks = _Blocks(shown)
    return Assembly(
        crank_lines(job),
        tuple(
            Kind(kind, _not_yet(shown, kind), job.fits[kind].limits_from or "", tuple(blocks.of_kind(kind)))
            for kind in kinds
        ),
    )


def _not_yet(shown: Shown, kind: str) -> str:
    if shown.may_be_fitted(kind):
        return ""
    others = shown.plan.waits_for.get(kind, ())
    why = f"its shells may still change for {' and '.join(others)}" if others else "it is not whole"
    return f"Fit no shell of {kind} yet: {why}; another box or reading may change them all."


class _Blocks:
    """Makes the blocks of one plan."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._plan = plan = shown.plan
        self._unit = plan.job.unit
        self._placed = plan.by_position()
        self._why = {u.position.key: words_of(u.why, self._unit) for u in plan.unfilled}
        self._doubts = doubted([(plan.read, plan.doubts)])
        self._model = ErrorModel(plan.job)
        self._certainty = Certainty(plan)
        self._numbers = numbers_of(plan.job)

    def of_kind(self, kind: str) -> Iterator[Block]:
        may = self._shown.may_be_fitted(kind) and not self._shown.changed
        for position in (p for p in self._plan.job.positions if p.kind == kind):
            placement = self._placed.get(position.key)
            if placement is None:
                yield self._empty(position)
            else:
                yield self._filled(placement, may=may)

    def _empty(self, position: Position) -> Block:
        if position.key in self._why:
            states, why = (NOT_FILLED,), self._why[position.key]
        else:
            states, why = (NOT_MEASURED,), missing_words(missing_of(self._plan.job, position))
        told = (one_line(why), *self._told(position))
        return Block(position.name, position.kind, self._numbers.get(position.name), position.pin, states, tuple(told))

    def _filled(self, placement: Placement, *, may: bool) -> Block:
        position, unit, inside = placement.position, self._unit, placement.within_limits
        check = bench_check(self._plan.job, placement, self._model)
        states = [] if inside else [DANGER]
        runs_true = all(check.within_limits for check in self._shown.checks_of(position))
        states += [] if runs_true else [NOT_TO_BE_RUN]
        states += [IN_DOUBT] if self._doubts.concerns(position, placement) else []
        verdict = self._certainty.verdict(placement) if inside else None
        told = [f"{verdict} within its uncertainty"] if verdict not in (None, "inside") else []
        return Block(
            position.name,
            position.kind,
            self._numbers.get(position.name),
            position.pin,
            tuple(states),
            (*told, *self._told(position)),
            tuple(self._half(placement, side) for side in SIDES),
            amount(placement.wall_sum_nm, unit),
            amount(placement.clearance_nm, unit),
            limits_of(placement, unit),
            length(check.set_to_nm, unit),
            length(check.expect_nm, unit),
            Check(
                check.setter or "micrometer",
                check.gauge or "",
                amount(check.set_to_nm, unit),
                amount(check.expect_nm, unit),
                f"{self._short(check.expect_nm - check.agree_nm)} to {self._short(check.expect_nm + check.agree_nm)}",
                self._inside(check.least_nm, check.most_nm),
            )
            if inside
            else None,
            TICKS if may and inside and runs_true else (),
        )

    def _inside(self, least_nm: int | None, most_nm: int | None) -> str | None:
        """Rounded inward: what is read at the bench must be inside."""
        unit = self._unit
        least = None if least_nm is None else self._short(on_paper(least_nm, unit, PLACES[unit], 1))
        most = None if most_nm is None else self._short(on_paper(most_nm, unit, PLACES[unit], -1))
        if least and most:
            return f"{least} to {most}"
        return f"at least {least}" if least else f"at most {most}" if most else None

    def _short(self, nm: int) -> str:
        return f"{usual(self._unit, nm)} {self._unit}"

    def _half(self, placement: Placement, side: str) -> Half:
        shell: Shell = getattr(placement, side)
        assert shell.wall_nm is not None
        marks = [f"{column} {mark}" for column, mark in marks_of(self._plan.job, shell).items()]
        locked = ["locked here"] if getattr(placement.position, side) is not None else []
        about = [shell.step and f"step {shell.step}", coating_of(shell, self._unit), *marks, *locked]
        place, wall = side_of(placement.position.kind, side), amount(shell.wall_nm, self._unit)
        return Half(side, place, runs(shell.name), shell.box, wall, ", ".join(filter(None, about)))

    def _told(self, position: Position) -> Iterator[str]:
        if position.housing:
            own = "with its own cap and bolts, the same way round, where the engine maker allows it"
            yield f"Moved: the housing of {position.housing} goes here, {own}"
        wanted = asked_of(self._plan.job, position)
        if wanted:
            yield f"asks for {wanted}"
        for flag in self._plan.flags:
            if flag.position == position.name:
                yield one_line(words_of(flag.what, self._unit))
        if position.note:
            yield one_line(position.note)


def limits_of(placement: Placement, unit: str) -> str:
    """Target, min and max of a position, as far as there are any, in the unit."""
    position = placement.position
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
