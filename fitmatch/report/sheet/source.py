"""What a sheet is made of, whichever of its parts are shown."""

from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.answer.saved import Contradiction, rebuilt
from fitmatch.gauging.assembled import Check, Comparison, Verdict, compare
from fitmatch.gauging.noted import Noted, noted
from fitmatch.intake.planned import Planned, refused_plan
from fitmatch.intake.saved.saved_figures import Said
from fitmatch.records.answers.doubted import doubted
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
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
from fitmatch.report.words.with_shells_in import HOUSING_NOT_AS_PLANNED, NOT_AS_PLANNED, VERDICTS

PARTS: Final = ("assembly", "figures", "record", "leftovers", "cards")
A_PLAN: Final = frozenset(PARTS) - {"cards"}  # what they show
COULD_GO_THERE: Final = f"a shell that could go there is in doubt, {MEASURE_FIRST}"


class Label(NamedTuple):
    """The size of a label to cut out, in millimetres."""

    width_mm: float
    height_mm: float


class Shown(NamedTuple):
    """A saved plan with its figures worked out again. `void`: why it is not to be used any more, and `cure` what to do
    then; `noted`: what the readings with the shells in say against the plan, and `compared`: how they compare with the
    calculation, if there are any."""

    plan: JobPlan
    leftover: tuple[Shell, ...]
    held: tuple[Shell, ...]
    said: Said
    number: int
    date: str | None
    time: str | None
    void: tuple[str, ...]
    cure: str
    noted: Noted
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
        return [c for c in self._read_at(position) if c.reading.row not in self.noted.others]

    def _read_at(self, position: Position) -> list[Check]:
        checks = () if self.compared is None else self.compared.checks
        return [c for c in checks if c.reading.position == position.name]

    def noted_otherwise(self, position: Position) -> tuple[Fact, ...]:
        """What the readings with the shells in say against the plan about a position."""
        return self.noted.against.get(position.name, ())

    def checks_otherwise(self, position: Position) -> list[Check]:
        """What was read there with other shells or another housing than the plan's, where that was the last."""
        last = self._read_at(position)[-1:] if self.noted_otherwise(position) else []
        return [c for c in last if c.reading.row in self.noted.others]

    def noted_in(self, shell: Shell) -> str:
        """The position that a shell of no position is in by the last reading there; empty if by none."""
        last = {reading.position: reading for reading in self.plan.job.measuring.assembled}
        return next((at for at, reading in last.items() if shell.key in (reading.upper, reading.lower)), "")

    def states_of(self, position: Position) -> list[str]:
        """What forbids to go on at a position, in a word or two each."""
        plan, checks = self.plan, [*self.checks_of(position), *self.checks_otherwise(position)]
        states = [NOT_TO_BE_RUN] if any(not c.within_limits for c in checks) else []
        found = {c.verdict for c in checks}
        states += [VERDICTS[one] for one in (Verdict.MISTAKE, Verdict.APART) if one in found]
        states += [NOT_AS_PLANNED] if self.noted.of_shells(position.name) else []
        states += [HOUSING_NOT_AS_PLANNED] if self.noted.of_housings(position.name) else []
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
        bad = bool(self.bad_checks or self.noted.against)
        return bool(self.void) or not whole or not proven or bad or self.plan.needs_attention


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
    against = noted(job, plan.shells, plan.housings, said.told_of)
    compared = compare(job, found.plan.doubts) if job.measuring.assembled else None
    stamp = plan.number or 1, plan.date, plan.time
    return Shown(found.plan, found.leftover, found.held, said, *stamp, planned.void, planned.cure, against, compared)
