"""The answer: what goes where, how good that is, how far it is proven, and what goes with it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.doubted import Doubted, doubted
from fitmatch.records.answers.placements import KindFigures, Placement, figures_of
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, ShellKey, full_name
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import SIDES, Position, Shell
from fitmatch.records.pools import TOGETHER, Group

if TYPE_CHECKING:
    import pandas

    from fitmatch.records.shelf.shelved import ShelvedShell


_TOLD_APART_NM: Final = 500  # half a step of a micrometer that reads 1 um


class Status(StrEnum):
    """How far the work on an answer got."""

    PROVEN = "proven"  # every level of every kind
    UNPROVEN = "unproven"  # stopped early
    NONE = "none"  # no position could be filled


class Proof(NamedTuple):
    """How far one kind was proven; if not completely, which level was being proven and what it cannot be better
    than."""

    proven: bool = True
    level: str | None = None
    bound: int | None = None  # in nm, nm squared or a count, depending on the level


class Unfilled(NamedTuple):
    position: Position
    why: Fact


class Cure(NamedTuple):
    """A change the shop may make that would fix one position: afterwards it is inside its limits and no other of its
    kind is worse off on levels 0 and 1.

    `change`: one more shell (`upper`, `lower`) with the wall `to_nm`, any from `low_nm` to `high_nm` being as good, and
    `marks`: what it must read, by column, any one of several; for the position `name`, if that is another one; a rule
    relaxed by the least amount that works, to `to_nm` or, for a guard, to `factor`; a rule dropped; a `lock` removed
    from the shell `name`.
    """

    change: str
    to_nm: int | None = None
    by_nm: int | None = None
    name: str | None = None
    factor: float | None = None
    low_nm: int | None = None
    high_nm: int | None = None
    marks: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def is_shell(self) -> bool:
        """Whether it is one more shell."""
        return self.change in SIDES

    @property
    def is_to_be_had(self) -> bool:
        """Whether the walls that will do differ by as much as gauges tell apart."""
        return self.low_nm is None or self.high_nm is None or self.high_nm - self.low_nm >= _TOLD_APART_NM


class NotOffered(NamedTuple):
    """What would also fix a position but is not for the shop to change.

    `change`: the least by which it misses a limit of the maker's (`min`, `max`), `guarded` if a guard draws it in; a
    housing bore outside its drawing limits that only the maker can permit (`accept`), in the row `name` if that is
    another one; a shell `name` on `hold` for the reason `why`.
    """

    change: str
    by_nm: int | None = None
    name: str | None = None
    why: str | None = None
    guarded: bool = False


class Reason(NamedTuple):
    """Why a position cannot be filled inside its limits without making another worse off, as the names of bonds: with
    all of `together` it cannot, even if every other rule and limit were relaxed; without any one of them it can.
    `reduced`: that was shown; otherwise it was too much work, or time ran out, and some may not matter.
    `cures_complete`: all were looked for; otherwise there may be more. `in_doubt`: none was looked for, as a reading of
    the position must be taken again first, or those of `doubted`, shells that could go there. `as_well`: further
    columns of a rule in `together` that keep it out in place of the one there."""

    position: Position
    together: tuple[str, ...]
    reduced: bool
    cures: tuple[Cure, ...]
    cures_complete: bool
    not_offered: tuple[NotOffered, ...] = ()
    in_doubt: bool = False
    doubted: tuple[str, ...] = ()
    as_well: tuple[str, ...] = ()


class Flag(NamedTuple):
    """Something about a position that needs attention although it was filled. `code` identifies it for programs."""

    position: str
    code: str
    what: Fact


class Stray(NamedTuple):
    """Shells with a mark in a matched column that no position of their kind takes: they ask for `wanted`, where an
    empty text is a blank cell."""

    kind: str
    column: str
    mark: str
    shells: tuple[Shell, ...]
    wanted: tuple[str, ...]

    @property
    def is_held(self) -> bool:
        """Whether all of them were put aside."""
        return all(shell.hold is not None for shell in self.shells)

    @property
    def what(self) -> Fact:
        return Fact("stray", {"kind": self.kind, "column": self.column, "mark": self.mark, "wanted": self.wanted})


class Baseline(NamedTuple):
    """What another way of choosing gives for one kind; `rules_broken` counts each rule once per position."""

    figures: KindFigures
    rules_broken: int = 0


class Worth(NamedTuple):
    """What to expect of one kind of a plan once the errors of its readings are included: the mean worst deviation and
    spread over so many draws. `by_hand`: how its worst deviation compares with that of the plan by hand on the same
    draws, "better", "worse" or "equal within measurement"; None if the two count different numbers of positions."""

    trials: int
    worst_deviation_nm: float
    spread_nm: float
    by_hand: str | None


class OtherPlan(NamedTuple):
    """Another plan of one kind, or of a kind that several jobs decide together, shown beside the answer.

    `complete`: how many of several jobs are complete in the kind. `placements` job by job, in file order. `proven`: no
    plan of those requested is better. `against_plan`: how its worst deviation compares with the answer's on the same
    draws of reading errors, "worse", "better" or "equal within measurement"; None where too little is known of the
    gauges, or the two count different numbers of positions.
    """

    figures: KindFigures
    complete: int | None
    placements: tuple[Placement, ...]
    proven: bool
    against_plan: str | None


class Alternatives(NamedTuple):
    """The next best plans of one kind, best first. `complete`: as many as were requested, or all there are; otherwise
    the search was stopped, the answer itself is not proven, or the next one failed its check."""

    plans: tuple[OtherPlan, ...]
    complete: bool


class Explanation(NamedTuple):
    """One position explained, with the `label` of its kind: the best plan in which its walls have another total than in
    the answer, or in which it is filled if it is empty there, and the best plan with the requested `pair`.

    A plan is None if there is none or, with `stopped`, if none was found in time.
    """

    position: Position
    label: str
    runner_up: OtherPlan | None
    pair: tuple[Shell, Shell] | None
    insisted: OtherPlan | None
    stopped: bool


@dataclass(frozen=True)  # without slots, as it keeps what was looked up
class JobPlan:
    """One job's part of the answer."""

    job: Job
    placements: tuple[Placement, ...]  # in file order of positions
    unfilled: tuple[Unfilled, ...]
    flags: tuple[Flag, ...] = ()
    worth: Mapping[str, Worth] = field(default_factory=dict)  # for kinds whose uncertainty is known
    doubts: tuple[Doubt, ...] = ()  # open doubts about readings
    looked_through: bool = True  # otherwise time ran out: nothing is known of mistakes in its readings
    moved_from: Job | None = None  # the job as read, if a housing of `job` was moved
    staying: Mapping[str, KindFigures] = field(default_factory=dict)  # for movable kinds: the best with none moved
    strays: tuple[Stray, ...] = ()  # of its own shells
    reasons: tuple[Reason, ...] = ()  # for positions that are empty or outside their limits
    waits_for: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # kind -> jobs it shares that are not ready

    @property
    def read(self) -> Job:
        """The job as it was read, with every housing where it was."""
        return self.moved_from or self.job

    @property
    def figures(self) -> Mapping[str, KindFigures]:
        """For each kind, worked out from its placements."""
        return {kind: figures_of(self.of_kind(kind)) for kind in self.job.kinds}

    @property
    def unmeasured_positions(self) -> tuple[Position, ...]:
        measured = {p.position.key for p in self.placements} | {u.position.key for u in self.unfilled}
        return tuple(p for p in self.job.positions if p.key not in measured)

    @property
    def needs_attention(self) -> bool:
        """Whether anything needs attention apart from what is not proven."""
        return bool(
            self.unfilled
            or self.flags
            or self.strays
            or self.doubts
            or not self.looked_through
            or self.job.look_alikes
            or self.unmeasured_positions
            or any(s.wall_nm is None and s.hold is None for s in self.job.shells)
            or any(not p.within_limits for p in self.placements)
        )

    @cached_property
    def shelved(self) -> "Mapping[ShellKey, ShelvedShell]":
        """The shells on the shelf that it places."""
        known = self.job.shelved or {}
        keys = (s.key for p in self.placements for s in (p.upper, p.lower))
        return {key: known[key] for key in keys if key in known}

    def is_fitted(self, placement: Placement) -> bool:
        """Whether both of its shells are in the job's engine already."""
        return all((one := self.shelved.get(s.key)) and one.seat for s in (placement.upper, placement.lower))

    @property
    def not_to_be_run(self) -> tuple[Placement, ...]:
        """What is fitted already and was read outside its limits then."""
        return self._with_any(key for key, one in self.shelved.items() if one.is_not_to_be_run)

    @property
    def on_hold_inside(self) -> tuple[Placement, ...]:
        """What is fitted already and has a shell that is on hold since."""
        return self._with_any(key for key, one in self.shelved.items() if one.hold_inside)

    def _with_any(self, shells: Iterable[ShellKey]) -> tuple[Placement, ...]:
        keys = frozenset(shells)
        return tuple(p for p in self.placements if not keys.isdisjoint((p.upper.key, p.lower.key)))

    @property
    def digest(self) -> str:
        """That of the inputs: the job's files and, where the shelf was asked, the readings of its shells placed."""
        if self.job.shelved is None:
            return self.job.digest
        from fitmatch.records.shelf.shelved import digest_with

        return digest_with(self.job.digest, self.digest_of_shelved)

    @property
    def digest_of_shelved(self) -> str:
        """That of the readings of the shells on the shelf that it places."""
        from fitmatch.records.shelf.shelved import digest_of_readings

        return digest_of_readings((one.number, [r.nm for r in one.readings]) for one in self.shelved.values())

    def of_kind(self, kind: str) -> tuple[Placement, ...]:
        return tuple(p for p in self.placements if p.position.kind == kind)

    def by_position(self) -> dict[PositionKey, Placement]:
        """By the key of the position, for filled positions."""
        return {p.position.key: p for p in self.placements}

    def is_complete(self, kind: str | None = None) -> bool:
        """Whether every position, of this kind or of all, is filled inside its limits."""
        inside = {p.position.key for p in self.placements if p.within_limits}
        return all(p.key in inside for p in self.job.positions if kind in (None, p.kind))

    def is_ready(self, kind: str) -> bool:
        """Whether shells of this kind may be fitted, as far as this job goes: its positions are all inside their
        limits, none of them rests on a reading in doubt, all readings having been looked through, or on a box that may
        be a copy, and no shell has a mark that one of them may have been meant to ask for. A shell left over may be in
        doubt or not yet measured: it could make the choice better, and what was chosen stays as good as it is."""
        astray = any(stray.kind == kind and not stray.is_held for stray in self.strays)
        sure = not any(p.position.kind == kind for p in self.in_doubt) and not self.drawn_from_copies(kind)
        return self.is_complete(kind) and sure and not astray and self.looked_through

    def drawn_from_copies(self, kind: str) -> tuple[tuple[str, str], ...]:
        """The boxes that may be copies, each with the other, where the kind has shells of either."""
        if not self.job.look_alikes:
            return ()
        used = {shell.box for p in self.of_kind(kind) for shell in (p.upper, p.lower)}
        return tuple(pair for pair in self.job.look_alikes if not used.isdisjoint(pair))

    @cached_property
    def doubted(self) -> Doubted:
        """What its doubts are about; looked up once, as there may be a million shells."""
        return doubted([(self.read, self.doubts)])

    @cached_property
    def in_doubt(self) -> tuple[Placement, ...]:
        """The filled positions that rest on a reading in doubt."""
        return tuple(p for p in self.placements if self.doubted.concerns(p.position, p))

    def rows(self, unit: str) -> Iterator[dict[str, object]]:
        """One row per position in file order, lengths as floats in `unit`."""
        per_unit = NM_PER_UNIT[unit]
        placed = self.by_position()
        for position in self.job.positions:
            p = placed.get(position.key)
            row: dict[str, object] = {"position": position.name, "kind": position.kind, "filled": p is not None}
            if p is not None:
                row |= {
                    "upper": full_name(p.upper.key),
                    "lower": full_name(p.lower.key),
                    "wall_sum": p.wall_sum_nm / per_unit,
                    "clearance": p.clearance_nm / per_unit,
                    "deviation": p.deviation_nm / per_unit,
                    "within_limits": p.within_limits,
                    "wall_difference": p.wall_difference_nm / per_unit,
                    "axis_shift": p.twice_axis_shift_nm / 2 / per_unit,
                }
            yield row


class GroupAnswer(NamedTuple):
    """What was found for one group. The spread in its figures is the largest of its jobs."""

    group: Group
    complete: int  # jobs with all positions of the kind inside their limits
    figures: KindFigures
    proof: Proof
    baselines: Mapping[str, Baseline]
    one_box: tuple[str, ...] = ()  # boxes each of which alone would give as good a worst deviation


@dataclass(frozen=True, slots=True)
class Plan:
    """The answer for one job or for several that share their shells."""

    plans: tuple[JobPlan, ...]  # one for each job, in their order
    groups: tuple[GroupAnswer, ...]  # in file order; for a single job its kinds
    strategy: str
    leftover: tuple[Shell, ...]  # by box and name, natural order; those of the shelf included
    held: tuple[Shell, ...]
    slack_nm: int = 0
    priority: str = TOGETHER
    prefer: str | None = None  # shells that come first within the slack: "singles"
    alternatives: Mapping[str, Alternatives] = field(default_factory=dict)  # by label, if requested
    explanation: Explanation | None = None  # if requested
    faults: Mapping[str, str] = field(default_factory=dict)  # by what was looked into beside the answer, which stands

    @property
    def way(self) -> str:
        """What its quality is ordered by: the strategy, unless some shells come first."""
        return self.prefer or self.strategy

    @property
    def left_in_files(self) -> tuple[Shell, ...]:
        """What is left over of the shells that are in files; what stays on the shelf is only counted."""
        return tuple(s for s in self.leftover if not s.is_shelved)

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
    def warnings(self) -> tuple[str, ...]:
        """What was noticed while the jobs were read."""
        return tuple(warning for one in self.plans for warning in one.job.warnings)

    @property
    def reasons(self) -> tuple[Reason, ...]:
        return tuple(reason for one in self.plans for reason in one.reasons)

    @property
    def figures(self) -> Mapping[str, KindFigures]:
        """By the label of each group, like the next."""
        return {g.group.label: g.figures for g in self.groups}

    @property
    def proofs(self) -> Mapping[str, Proof]:
        return {g.group.label: g.proof for g in self.groups}

    @property
    def baselines(self) -> Mapping[str, Mapping[str, Baseline]]:
        """By the name of the way of choosing, then by label."""
        names = dict.fromkeys(name for g in self.groups for name in g.baselines)
        return {name: {g.group.label: g.baselines[name] for g in self.groups if name in g.baselines} for name in names}

    @property
    def status(self) -> Status:
        if not self.proven:
            return Status.UNPROVEN
        return Status.PROVEN if self.placements else Status.NONE

    @property
    def proven(self) -> bool:
        """Whether every level of every group was proven."""
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
        """One row per position in file order, lengths as floats in `unit`, else the first job's; several jobs one after
        the other, with a first column `job`. Pandas is imported here.

        A position without shells has only its name, its kind and `filled` False.
        """
        import pandas

        unit = unit or self.job.unit
        return pandas.DataFrame(
            [row if self.alone else {"job": one.job.name} | row for one in self.plans for row in one.rows(unit)]
        )
