"""What comes of a job: what is placed where, how good that is and how far proven, and what stands beside it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.lengths import NM_PER_UNIT, round_half_even
from fitmatch.measuring import Doubt

if TYPE_CHECKING:
    import pandas

from fitmatch.parts import Job, Position, Shell, excess_of, room, shortfall_of, tightest_room


class Status(StrEnum):
    """How far an answer was carried."""

    PROVEN = "proven"  # every level of every kind
    UNPROVEN = "unproven"  # stopped early
    NONE = "none"  # no position could be filled


@dataclass(frozen=True, slots=True)
class Placement:
    """A position with the two shells chosen for it; every figure follows from these by arithmetic.

    `margin_nm` is how far a guard draws both limits in for this very pair.
    """

    position: Position
    upper: Shell
    lower: Shell
    limits_at: str = "tightest"
    margin_nm: int = 0

    @property
    def limit_low_nm(self) -> int | None:
        """What the tightest clearance is compared with."""
        return None if self.position.min_nm is None else self.position.min_nm + self.margin_nm

    @property
    def limit_high_nm(self) -> int | None:
        """What the mean clearance is compared with."""
        return None if self.position.max_nm is None else self.position.max_nm - self.margin_nm

    @property
    def wall_sum_nm(self) -> int:
        assert self.upper.wall_nm is not None and self.lower.wall_nm is not None
        return self.upper.wall_nm + self.lower.wall_nm

    @property
    def clearance_nm(self) -> int:
        """From the mean sizes."""
        return room(self.position) - self.wall_sum_nm

    @property
    def clearance_tightest_nm(self) -> int:
        """From the largest journal and the smallest bore reading, unless limits are judged at the means."""
        return tightest_room(self.position, self.limits_at) - self.wall_sum_nm

    @property
    def deviation_nm(self) -> int:
        assert self.position.target_nm is not None
        return self.clearance_nm - self.position.target_nm

    @property
    def shortfall_nm(self) -> int:
        """How far the tightest clearance lies below the lower limit; 0 if it does not."""
        return shortfall_of(self.limit_low_nm, self.clearance_tightest_nm)

    @property
    def excess_nm(self) -> int:
        """How far the mean clearance lies above the upper limit; 0 if it does not."""
        return excess_of(self.limit_high_nm, self.clearance_nm)

    @property
    def within_limits(self) -> bool:
        return not self.shortfall_nm and not self.excess_nm

    @property
    def want_shortfall_nm(self) -> int:
        """How far the mean clearance lies below the wished band; 0 if it does not, or none is wished."""
        return shortfall_of(self.position.want_min_nm, self.clearance_nm)

    @property
    def want_excess_nm(self) -> int:
        """How far the mean clearance lies above the wished band."""
        return excess_of(self.position.want_max_nm, self.clearance_nm)

    @property
    def wall_difference_nm(self) -> int:
        assert self.upper.wall_nm is not None and self.lower.wall_nm is not None
        return abs(self.upper.wall_nm - self.lower.wall_nm)

    @property
    def twice_axis_shift_nm(self) -> int:
        """Twice the shift of the bearing bore's axis towards the upper half, so that it stays a whole number."""
        assert self.upper.wall_nm is not None and self.lower.wall_nm is not None
        return self.lower.wall_nm - self.upper.wall_nm

    @property
    def locked(self) -> bool:
        """Locked in both halves: such a bore counts in no figure of quality."""
        return self.position.upper is not None and self.position.lower is not None

    @property
    def counted(self) -> bool:
        return self.within_limits and not self.locked

    @property
    def filled(self) -> bool:
        return True

    @property
    def stays(self) -> bool:
        """Whether the housing is the row's own."""
        return self.position.housing is None


class KindFigures(NamedTuple):
    """What one plan is worth for one kind. Worst, sum, spread and mean are over the `counted` positions: those inside
    their limits and not locked in both halves; None where there are none."""

    filled: int
    below: int
    shortfall_nm: int
    above: int
    excess_nm: int
    counted: int
    worst_deviation_nm: int | None
    sum_squared_deviation_nm2: int | None
    spread_nm: int | None
    mean_clearance_nm: int | None
    boxes: int
    below_want: int | None = None  # as the next three over the filled; None where no band is wished
    want_shortfall_nm: int | None = None
    above_want: int | None = None
    want_excess_nm: int | None = None


class Proof(NamedTuple):
    """How far one kind was proven; if not wholly, which level was in work and what it cannot be better than."""

    proven: bool = True
    level: str | None = None
    bound: int | None = None  # in nm, or nm squared, or a count, as the level is


class Unfilled(NamedTuple):
    position: Position
    why: str


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
    """Something about a position that needs attention though it was filled."""

    position: str
    code: str
    text: str


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

    `complete`: how many of several jobs are complete in the kind. `placements` by the name of the job, which is empty
    for one alone. `proven`: no plan of those asked for is better. `against_plan`: how its worst deviation stands
    against the answer's on the same draws of reading errors, "worse", "better" or "equal within measurement"; None
    where too little is known of the gauges, or the two count different numbers of positions.
    """

    figures: KindFigures
    complete: int | None
    placements: Mapping[str, tuple[Placement, ...]]
    proven: bool
    against_plan: str | None


class Alternatives(NamedTuple):
    """The next best plans of one kind, best first. `complete`: as many as were asked for, or all there are; else the
    search was stopped, or the answer itself is not proven."""

    plans: tuple[OtherPlan, ...]
    complete: bool


class Explanation(NamedTuple):
    """One position explained, with the `label` of its kind: the best plan in which its walls total something else than
    in the answer, or in which it is filled if it is empty there, and the best plan with the `pair` asked for.

    A plan is None where there is none; `stopped`: or where none was found in time.
    """

    job: str  # its name, empty for one alone
    position: Position
    label: str
    runner_up: OtherPlan | None
    pair: tuple[Shell, Shell] | None
    insisted: OtherPlan | None
    stopped: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """The answer for one job."""

    job: Job
    strategy: str
    status: Status
    placements: tuple[Placement, ...]  # in file order of positions
    unfilled: tuple[Unfilled, ...]
    figures: Mapping[str, KindFigures]
    proofs: Mapping[str, Proof]
    leftover: tuple[Shell, ...]  # by box and name, natural order
    held: tuple[Shell, ...]
    flags: tuple[Flag, ...] = ()
    baselines: Mapping[str, Mapping[str, Baseline]] = field(default_factory=dict)
    slack_nm: int = 0
    worth: Mapping[str, Worth] = field(default_factory=dict)  # of kinds whose uncertainty is known
    doubts: tuple[Doubt, ...] = ()  # open doubts about readings
    moved_from: Job | None = None  # the job as read, where a housing of `job` was moved
    staying: Mapping[str, KindFigures] = field(default_factory=dict)  # of movable kinds: the best with none moved
    alternatives: Mapping[str, Alternatives] = field(default_factory=dict)  # by kind, where they were asked for
    explanation: Explanation | None = None  # where it was asked for
    reasons: tuple[Reason, ...] = ()  # of positions that are empty or outside their limits

    @property
    def unmeasured_positions(self) -> tuple[Position, ...]:
        placed = {id(p.position) for p in self.placements} | {id(u.position) for u in self.unfilled}
        return tuple(p for p in self.job.positions if id(p) not in placed)

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        return bool(
            self.unfilled
            or self.flags
            or self.doubts
            or self.unmeasured_positions
            or any(s.wall_nm is None and s.hold is None for s in self.job.shells)
            or any(not p.within_limits for p in self.placements)
            or any(not p.proven for p in self.proofs.values())
        )

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per position in file order, lengths as floats in `unit`, else the job's; pandas is imported here.

        A position without shells has only its name, its kind and `filled` False.
        """
        import pandas

        per_unit = NM_PER_UNIT[unit or self.job.unit]
        placed = {id(p.position): p for p in self.placements}
        rows: list[dict[str, object]] = []
        for position in self.job.positions:
            row: dict[str, object] = {"position": position.name, "kind": position.kind}
            p = placed.get(id(position))
            row["filled"] = p is not None
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
            rows.append(row)
        return pandas.DataFrame(rows)


def figures_of(placements: tuple[Placement, ...]) -> KindFigures:
    """The figures of one kind's placements, as the contract of `KindFigures` defines them."""
    shortfalls, excesses = [p.shortfall_nm for p in placements], [p.excess_nm for p in placements]
    counted = [
        p for p, low, high in zip(placements, shortfalls, excesses, strict=True) if not (low or high or p.locked)
    ]
    deviations = [p.deviation_nm for p in counted]
    wished = [p for p in placements if p.position.wishes]
    too_tight, too_loose = [p.want_shortfall_nm for p in wished], [p.want_excess_nm for p in wished]
    return KindFigures(
        filled=len(placements),
        below=sum(nm > 0 for nm in shortfalls),
        shortfall_nm=sum(shortfalls),
        above=sum(nm > 0 for nm in excesses),
        excess_nm=sum(excesses),
        counted=len(counted),
        worst_deviation_nm=max(map(abs, deviations), default=None),
        sum_squared_deviation_nm2=sum(d * d for d in deviations) if counted else None,
        spread_nm=max(deviations) - min(deviations) if counted else None,
        mean_clearance_nm=round_half_even(sum(p.clearance_nm for p in counted), len(counted)) if counted else None,
        boxes=len({box for p in placements for box in (p.upper.box, p.lower.box)}),
        below_want=sum(nm > 0 for nm in too_tight) if wished else None,
        want_shortfall_nm=sum(too_tight) if wished else None,
        above_want=sum(nm > 0 for nm in too_loose) if wished else None,
        want_excess_nm=sum(too_loose) if wished else None,
    )
