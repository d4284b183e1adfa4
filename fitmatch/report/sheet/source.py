"""What a sheet is made of, whichever of its parts are shown."""

from typing import Final, NamedTuple

from fitmatch.fit.answer.saved import Contradiction, rebuilt
from fitmatch.gauging.assembled import Check, Comparison, Verdict, compare
from fitmatch.intake.planned import Planned, refused_plan
from fitmatch.intake.saved.saved_figures import Said
from fitmatch.records.answers.doubted import doubted
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.measuring import AssembledReading, Doubt
from fitmatch.records.parts import Position, Shell
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    MEASURE_FIRST,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    not_yet_fitted,
)
from fitmatch.report.words.with_shells_in import VERDICTS

PARTS: Final = ("assembly", "figures", "record", "leftovers", "cards")
A_PLAN: Final = frozenset(PARTS) - {"cards"}  # what they show
NOT_AS_PLANNED: Final = "SHELLS NOT AS PLANNED"
FIND_OUT: Final = "Find out which; clear the reading of a row whose shells are out again"
COULD_GO_THERE: Final = f"a shell that could go there is in doubt, {MEASURE_FIRST}"


class Label(NamedTuple):
    """The size of a label to cut out, in millimetres."""

    width_mm: float
    height_mm: float


class Shown(NamedTuple):
    """A saved plan with its figures worked out again. `void`: why it is not to be used any more, and `cure` what to do
    then; `compared`: what was read with the shells in, if anything was."""

    plan: JobPlan
    leftover: tuple[Shell, ...]
    held: tuple[Shell, ...]
    said: Said
    number: int
    date: str | None
    time: str | None
    void: tuple[str, ...]
    cure: str
    compared: Comparison | None

    @property
    def sharers(self) -> tuple[str, ...]:
        """What the plan calls the jobs that it is for, where these are several, this one among them."""
        return self.said.jobs

    @property
    def kinds(self) -> tuple[str, ...]:
        """In the order of building, which all parts keep to: first what is in one block."""
        return tuple(sorted(self.plan.job.kinds, key=lambda kind: not in_one_block(kind)))

    def doubts_of(self, position: Position) -> list[Doubt]:
        """The open doubts about a position's own sizes or the walls of its shells."""
        plan, placed = self.plan, self.plan.by_position().get(position.key)
        return [d for d in plan.doubts if doubted([(plan.read, (d,))]).concerns(position, placed)]

    def doubts_beside(self, position: Position) -> list[Doubt]:
        """The open doubts about shells that could go to an empty position whose own sizes are in no doubt."""
        plan = self.plan
        if position.key not in {u.position.key for u in plan.unfilled} or self.doubts_of(position):
            return []
        return [d for d in plan.doubts if doubted([(plan.read, (d,))]).could_fill(position)]

    @property
    def bad_checks(self) -> list[Check]:
        """What was read with the shells in and is outside its limits or not as calculated."""
        return [c for p in self.plan.job.positions for c in self.checks_of(p) if is_bad(c)]

    def checks_of(self, position: Position) -> list[Check]:
        """What was read at a position with the very shells of the plan in it."""
        placed = None if self.compared is None else self.plan.by_position().get(position.key)
        if self.compared is None or placed is None:
            return []
        pair = (placed.upper.key, placed.lower.key)
        mine = (c for c in self.compared.checks if c.reading.position == position.name)
        return [
            c for c in mine if (c.reading.upper, c.reading.lower) == pair and _housing_of(c.reading) == _home(position)
        ]

    def noted_otherwise(self, position: Position) -> list[str]:
        """Where the readings with the shells in contradict the plan about a position: of each the last counts, as
        shells may have been tried there before."""
        measuring = self.plan.job.measuring
        last = {reading.position: reading for reading in measuring.assembled}
        placed = self.plan.by_position().get(position.key)
        planned = (None, None) if placed is None else (placed.upper.key, placed.lower.key)
        found = []
        if mine := last.get(position.name):
            pairs = zip((mine.upper, mine.lower), planned, strict=True)
            found = [(full_name(key), position.name, full_name(ours)) for key, ours in pairs if ours and ours != key]
            found += [(full_name(key), position.name, "no shell") for key in (mine.upper, mine.lower) if not placed]
            if _housing_of(mine) != _home(position):
                found.append((f"the housing of {_housing_of(mine)}", position.name, f"that of {_home(position)}"))
        found += [
            (full_name(key), reading.position, position.name)
            for reading in last.values()
            for key in (reading.upper, reading.lower)
            if reading.position != position.name and key in planned
        ]
        return [f"{measuring.assembled_file} says {what} is in {at}, the plan says {ours}" for what, at, ours in found]

    def checks_otherwise(self, position: Position) -> list[Check]:
        """What was read there with other shells or another housing than the plan's, where that was the last."""
        if self.compared is None or not self.noted_otherwise(position):
            return []
        last = [c for c in self.compared.checks if c.reading.position == position.name][-1:]
        return [c for c in last if c not in self.checks_of(position)]

    def noted_in(self, shell: Shell) -> str:
        """The position that a shell of no position is in by the last reading there; empty if by none."""
        last = {reading.position: reading for reading in self.plan.job.measuring.assembled}
        return next((at for at, reading in last.items() if shell.key in (reading.upper, reading.lower)), "")

    def states_of(self, position: Position) -> list[str]:
        """What forbids to go on at a position, in a word or two each."""
        plan, checks = self.plan, self.checks_of(position)
        states = [NOT_TO_BE_RUN] if any(not c.within_limits for c in checks) else []
        found = {c.verdict for c in checks}
        states += [VERDICTS[one] for one in (Verdict.MISTAKE, Verdict.APART) if one in found]
        states += [NOT_AS_PLANNED] if self.noted_otherwise(position) else []
        states += [IN_DOUBT] if self.doubts_of(position) else []
        placement = plan.by_position().get(position.key)
        if placement is None:
            empty = any(u.position.key == position.key for u in plan.unfilled)
            return [*states, NOT_FILLED if empty else NOT_MEASURED]
        return states if placement.within_limits else [*states, DANGER]

    def not_yet(self, kind: str) -> str:
        """That no shell of a kind may be fitted yet, and why; empty if they may."""
        why = not_yet_fitted(self.plan, kind)
        return why and f"Fit no shell of {kind} yet: {why}; another box or reading may change them all."

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        whole = not any(not_yet_fitted(self.plan, kind) for kind in self.plan.job.kinds)
        proven = all(proof.proven for proof in self.said.proofs.values())
        bad = bool(self.bad_checks) or any(map(self.noted_otherwise, self.plan.job.positions))
        return bool(self.void) or not whole or not proven or bad or self.plan.needs_attention


def _housing_of(reading: AssembledReading) -> str:
    return reading.housing or reading.position


def _home(position: Position) -> str:
    """Where a position's housing comes from."""
    return position.housing or position.name


def is_bad(check: Check) -> bool:
    """Whether an assembled reading is outside its limits or not as calculated."""
    return not check.within_limits or check.verdict != Verdict.AGREES


class Source(NamedTuple):
    """The job as read; `shown` is None where no part shows a plan."""

    job: Job
    shown: Shown | None
    label: Label


def shown_of(planned: Planned) -> Shown:
    """The saved plan put together again. Raises InputError where the job, or the plan itself, contradicts it."""
    plan, said, job = planned.plan, planned.said, planned.job
    assert plan is not None and said is not None
    if said.wrong_stamps:
        raise refused_plan(planned, [f"its {key} is none that a plan can have" for key in said.wrong_stamps])
    try:
        found = rebuilt(job, plan.shells, plan.housings, elsewhere=said.elsewhere, waits_for=said.waits_for)
    except Contradiction as error:
        raise refused_plan(planned, error.faults) from None
    if not planned.void:
        untold = [u.position.name for u in found.plan.unfilled if u.position.name not in said.told_of]
        otherwise = [p.position.name for p in found.plan.placements if said.contradicts(p)]
        faults = [f"{name}: its figures do not follow from the readings" for name in otherwise]
        faults += [f"{name}: the plan does not tell of it" for name in untold]
        if faults:
            raise refused_plan(planned, faults)
    compared = compare(job, found.plan.doubts) if job.measuring.assembled else None
    stamp = plan.number or 1, plan.date, plan.time
    return Shown(found.plan, found.leftover, found.held, said, *stamp, planned.void, planned.cure, compared)
