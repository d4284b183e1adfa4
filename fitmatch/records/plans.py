"""The answer: what is placed where, how good that is and how far proven, and what stands beside it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.facts import Fact
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Position, Shell
from fitmatch.records.placements import KindFigures, Placement, figures_of
from fitmatch.records.pools import TOGETHER, Group

if TYPE_CHECKING:
    import pandas


class Status(StrEnum):
    """How far an answer was carried."""

    PROVEN = "proven"  # every level of every kind
    UNPROVEN = "unproven"  # stopped early
    NONE = "none"  # no position could be filled


class Proof(NamedTuple):
    """How far one kind was proven; if not wholly, which level was in work and what it cannot be better than."""

    proven: bool = True
    level: str | None = None
    bound: int | None = None  # in nm, or nm squared, or a count, as the level is


class Unfilled(NamedTuple):
    position: Position
    why: Fact


class Cure(NamedTuple):
    """One change after which a position is inside its limits and no other of its kind is worse off on levels 0 and 1.

    `change`: a limit (`min`, `max`) or a rule let out by the least amount that works, to `to_nm` or, for a guard, to
    `factor`; a rule, column or limit of family let go; a `hold` or `lock` taken off the shell `name`; a bore accepted
    (`accept`); or one more shell (`upper`, `lower`) of the wall `to_nm`, any from `low_nm` to `high_nm` being as good.
    """

    change: str
    to_nm: int | None = None
    by_nm: int | None = None
    name: str | None = None
    factor: float | None = None
    low_nm: int | None = None
    high_nm: int | None = None


class Reason(NamedTuple):
    """Why a position cannot be filled inside its limits while no other is worse off, as the names of bonds: with all of
    `together` it cannot, whatever else is let go, and without any one of them it can. `reduced`: that was shown;
    else it was too much to ask, or time ran out, and some may be superfluous. `cures_complete`: all were sought; else
    there may be more."""

    position: Position
    together: tuple[str, ...]
    reduced: bool
    cures: tuple[Cure, ...]
    cures_complete: bool


class Flag(NamedTuple):
    """Something about a position that needs attention though it was filled. `code` is what programs know it by."""

    position: str
    code: str
    what: Fact


class Baseline(NamedTuple):
    """What another way of choosing gives for one kind; `rules_broken` counts each rule once per bore."""

    figures: KindFigures
    rules_broken: int = 0


class Worth(NamedTuple):
    """What to expect of one kind of a plan once the errors of its readings are counted in: the mean worst deviation and
    spread over that many draws. `by_hand`: how its worst deviation stands against the plan by hand on the same draws,
    "better", "worse" or "equal within measurement"; None where the two do not count the same number of positions."""

    trials: int
    worst_deviation_nm: float
    spread_nm: float
    by_hand: str | None


class OtherPlan(NamedTuple):
    """Another plan of one kind, or of one that several jobs decide together, beside the answer.

    `complete`: how many of several jobs are complete in the kind. `placements` job by job, in file order. `proven`: no
    plan of those asked for is better. `against_plan`: how its worst deviation stands against the answer's on the same
    draws of reading errors, "worse", "better" or "equal within measurement"; None where too little is known of the
    gauges, or the two count different numbers of positions.
    """

    figures: KindFigures
    complete: int | None
    placements: tuple[Placement, ...]
    proven: bool
    against_plan: str | None


class Alternatives(NamedTuple):
    """The next best plans of one kind, best first. `complete`: as many as were asked for, or all there are; else the
    search was stopped, the answer itself is not proven, or the next one failed its check."""

    plans: tuple[OtherPlan, ...]
    complete: bool


class Explanation(NamedTuple):
    """One position explained, with the `label` of its kind: the best plan in which its walls total something else than
    in the answer, or in which it is filled if it is empty there, and the best plan with the `pair` asked for.

    A plan is None where there is none; `stopped`: or where none was found in time.
    """

    position: Position
    label: str
    runner_up: OtherPlan | None
    pair: tuple[Shell, Shell] | None
    insisted: OtherPlan | None
    stopped: bool


@dataclass(frozen=True, slots=True)
class JobPlan:
    """What one job is given."""

    job: Job
    placements: tuple[Placement, ...]  # in file order of positions
    unfilled: tuple[Unfilled, ...]
    flags: tuple[Flag, ...] = ()
    worth: Mapping[str, Worth] = field(default_factory=dict)  # of kinds whose uncertainty is known
    doubts: tuple[Doubt, ...] = ()  # open doubts about readings
    moved_from: Job | None = None  # the job as read, where a housing of `job` was moved
    staying: Mapping[str, KindFigures] = field(default_factory=dict)  # of movable kinds: the best with none moved
    reasons: tuple[Reason, ...] = ()  # of positions that are empty or outside their limits

    @property
    def read(self) -> Job:
        """The job as it was read, every housing where it was."""
        return self.moved_from or self.job

    @property
    def figures(self) -> Mapping[str, KindFigures]:
        """Of each kind, worked out from its placements."""
        return {kind: figures_of(self.of_kind(kind)) for kind in self.job.kinds}

    @property
    def unmeasured_positions(self) -> tuple[Position, ...]:
        measured = {p.position.key for p in self.placements} | {u.position.key for u in self.unfilled}
        return tuple(p for p in self.job.positions if p.key not in measured)

    @property
    def needs_attention(self) -> bool:
        """Whether anything does besides what is not proven."""
        return bool(
            self.unfilled
            or self.flags
            or self.doubts
            or self.unmeasured_positions
            or any(s.wall_nm is None and s.hold is None for s in self.job.shells)
            or any(not p.within_limits for p in self.placements)
        )

    def of_kind(self, kind: str) -> tuple[Placement, ...]:
        return tuple(p for p in self.placements if p.position.kind == kind)

    def by_position(self) -> dict[tuple[str, str], Placement]:
        """By the key of the position, for those that are filled."""
        return {p.position.key: p for p in self.placements}

    def is_complete(self, kind: str | None = None) -> bool:
        """Whether every position, of this kind or of all, is filled inside its limits."""
        inside = {p.position.key for p in self.placements if p.within_limits}
        return all(p.key in inside for p in self.job.positions if kind in (None, p.kind))

    def rows(self, unit: str) -> Iterator[dict[str, object]]:
        """One row per position in file order, lengths as floats in `unit`."""
        per_unit = NM_PER_UNIT[unit]
        placed = self.by_position()
        for position in self.job.positions:
            p = placed.get(position.key)
            row: dict[str, object] = {"position": position.name, "kind": position.kind, "filled": p is not None}
            if p is not None:
                row |= {
                    "upper": f"{p.upper.box}/{p.upper.name}",
                    "lower": f"{p.lower.box}/{p.lower.name}",
                    "wall_sum": p.wall_sum_nm / per_unit,
                    "clearance": p.clearance_nm / per_unit,
                    "deviation": p.deviation_nm / per_unit,
                    "within_limits": p.within_limits,
                    "wall_difference": p.wall_difference_nm / per_unit,
                    "axis_shift": p.twice_axis_shift_nm / 2 / per_unit,
                }
            yield row


class GroupAnswer(NamedTuple):
    """What was found for one group. The spread in its figures is the largest of the jobs' own."""

    group: Group
    complete: int  # jobs with all positions of the kind inside their limits
    figures: KindFigures
    proof: Proof
    baselines: Mapping[str, Baseline]


@dataclass(frozen=True, slots=True)
class Plan:
    """The answer for one job or for several that share their shells."""

    plans: tuple[JobPlan, ...]  # one for each job, in their order
    groups: tuple[GroupAnswer, ...]  # in file order; of one job its kinds
    strategy: str
    leftover: tuple[Shell, ...]  # by box and name, natural order
    held: tuple[Shell, ...]
    slack_nm: int = 0
    priority: str = TOGETHER
    alternatives: Mapping[str, Alternatives] = field(default_factory=dict)  # by label, where they were asked for
    explanation: Explanation | None = None  # where it was asked for
    faults: Mapping[str, str] = field(default_factory=dict)  # by what was looked into beside the answer, which stands

    @property
    def alone(self) -> bool:
        """Whether it answers a single job."""
        return len(self.plans) == 1

    @property
    def job(self) -> Job:
        """The first of the jobs, whose unit and shells are those of all."""
        return self.plans[0].job

    @property
    def placements(self) -> tuple[Placement, ...]:
        return tuple(p for one in self.plans for p in one.placements)

    @property
    def unfilled(self) -> tuple[Unfilled, ...]:
        return tuple(u for one in self.plans for u in one.unfilled)

    @property
    def flags(self) -> tuple[Flag, ...]:
        return tuple(flag for one in self.plans for flag in one.flags)

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        return tuple(doubt for one in self.plans for doubt in one.doubts)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        return tuple(reason for one in self.plans for reason in one.reasons)

    @property
    def figures(self) -> Mapping[str, KindFigures]:
        """By the label of each group, as the next."""
        return {g.group.label: g.figures for g in self.groups}

    @property
    def proofs(self) -> Mapping[str, Proof]:
        return {g.group.label: g.proof for g in self.groups}

    @property
    def baselines(self) -> Mapping[str, Mapping[str, Baseline]]:
        """By the name of the way to choose, then by label."""
        names = dict.fromkeys(name for g in self.groups for name in g.baselines)
        return {name: {g.group.label: g.baselines[name] for g in self.groups if name in g.baselines} for name in names}

    @property
    def status(self) -> Status:
        if not self.proven:
            return Status.UNPROVEN
        return Status.PROVEN if self.placements else Status.NONE

    @property
    def proven(self) -> bool:
        """Whether every level of every group was."""
        return all(g.proof.proven for g in self.groups)

    @property
    def complete(self) -> tuple[str, ...]:
        """The names of the jobs that are complete in every kind."""
        return tuple(one.job.name for one in self.plans if one.is_complete())

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        return not self.proven or bool(self.faults) or any(one.needs_attention for one in self.plans)

    def members(self, group: Group) -> tuple[JobPlan, ...]:
        """The plans of the jobs that decided this together."""
        return tuple(self.plans[i] for i in group.members)

    def proofs_of(self, one: JobPlan) -> Mapping[str, Proof]:
        """By the kinds of one job."""
        mine = [g for g in self.groups if any(other.job.name == one.job.name for other in self.members(g.group))]
        return {g.group.kind: g.proof for g in mine}

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per position in file order, lengths as floats in `unit`, else the first job's; of several jobs one
        after the other, with a first column `job`. Pandas is imported here.

        A position without shells has only its name, its kind and `filled` False.
        """
        import pandas

        unit = unit or self.job.unit
        return pandas.DataFrame(
            [row if self.alone else {"job": one.job.name} | row for one in self.plans for row in one.rows(unit)]
        )
