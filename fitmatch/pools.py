"""Several jobs that share their shells, and the answer for all of them: one `Plan` for each job, drawn from one pool.

A *group* is what is decided together: the positions of one kind, in all jobs whose families for it overlap.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.parts import Job, Shell
from fitmatch.placements import KindFigures
from fitmatch.plans import Alternatives, Baseline, Explanation, Plan, Proof, Status

if TYPE_CHECKING:
    import pandas

TOGETHER: Final = "together"
IN_ORDER: Final = "in-order"
PRIORITIES: Final = (TOGETHER, IN_ORDER)


@dataclass(frozen=True, slots=True)
class Pool:
    """Jobs in the order they were named, each with a name of its own; the `shells` of each are those of all."""

    jobs: tuple[Job, ...]


class Group(NamedTuple):
    """One kind of the jobs `members`, by their places. `label` is the kind, with its families where the kind has
    several groups."""

    label: str
    kind: str
    members: tuple[int, ...]


class GroupAnswer(NamedTuple):
    """What was found for one group. The spread in its figures is the largest of the jobs' own."""

    group: Group
    complete: int  # jobs with all positions of the kind inside their limits
    figures: KindFigures
    proof: Proof
    baselines: Mapping[str, Baseline]


@dataclass(frozen=True, slots=True)
class PoolPlan:
    """The answer for several jobs."""

    plans: tuple[Plan, ...]  # one for each job, in their order; leftover and held are the whole pool's in each
    groups: tuple[GroupAnswer, ...]
    priority: str = TOGETHER
    alternatives: Mapping[str, Alternatives] = field(default_factory=dict)  # by label, where they were asked for
    explanation: Explanation | None = None  # where it was asked for

    @property
    def status(self) -> Status:
        if any(not g.proof.proven for g in self.groups):
            return Status.UNPROVEN
        return Status.PROVEN if any(plan.placements for plan in self.plans) else Status.NONE

    @property
    def proofs(self) -> Mapping[str, Proof]:
        """By the label of each group."""
        return {answer.group.label: answer.proof for answer in self.groups}

    @property
    def leftover(self) -> tuple[Shell, ...]:
        return self.plans[0].leftover

    @property
    def held(self) -> tuple[Shell, ...]:
        return self.plans[0].held

    @property
    def complete(self) -> tuple[str, ...]:
        """The names of the jobs that are complete in every kind."""
        return tuple(plan.job.name for plan in self.plans if is_complete(plan))

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        return any(plan.needs_attention for plan in self.plans)

    def to_frame(self) -> "pandas.DataFrame":
        """One row per position, job by job: a column `job`, then those of `Plan.to_frame`, lengths in the unit of the
        first job; pandas is imported here."""
        import pandas

        unit = self.plans[0].job.unit
        frames = []
        for plan in self.plans:
            frame = plan.to_frame(unit)
            frame.insert(0, "job", plan.job.name)
            frames.append(frame)
        return pandas.concat(frames, ignore_index=True)


def is_complete(plan: Plan, kind: str | None = None) -> bool:
    """Whether every position, of this kind or of all, is filled inside its limits."""
    inside = {id(p.position) for p in plan.placements if p.within_limits}
    return all(id(p) in inside for p in plan.job.positions if kind in (None, p.kind))


def groups_of(jobs: Sequence[Job]) -> list[Group]:
    """Every kind of a single job is a group; of several jobs, those that a family links, in file order."""
    kinds = dict.fromkeys(kind for job in jobs for kind in job.kinds)
    found = []
    for kind in kinds:
        linked = list(_linked(jobs, kind))
        for members, families in linked:
            label = kind if len(linked) == 1 else f"{kind} {' or '.join(families)}"
            found.append(Group(label, kind, members))
    return found


def _linked(jobs: Sequence[Job], kind: str) -> Iterator[tuple[tuple[int, ...], list[str]]]:
    """The jobs with this kind, in sets that share no family, each set with its families."""
    sets: list[tuple[list[int], set[str]]] = []
    for i, job in enumerate(jobs):
        if kind in job.kinds:
            members, families = [i], set(job.fits[kind].family or ())
            for other in [s for s in sets if s[1] & families]:
                sets.remove(other)
                members, families = other[0] + members, other[1] | families
            sets.append((members, families))
    for members, families in sorted(sets, key=lambda s: min(s[0])):
        yield tuple(sorted(members)), sorted(families)
