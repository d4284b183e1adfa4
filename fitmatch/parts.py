"""What a job is made of and what an answer is made of: frozen records, every length in whole nanometres.

Words: a *position* is one rod or main with its journal and housing; a *shell* is one half bearing; the *wall* is the
wall thickness at the crown; the *clearance* is diametral. *upper* is the block side of a main and the beam side of a
rod, *lower* the cap side of both.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT, round_half_even
from fitmatch.measuring import Doubt, MeasuredAs, Measuring, Reading

if TYPE_CHECKING:
    import pandas

SIDES: Final = ("upper", "lower")
HALVES: Final = ("upper", "lower", "either")
DEFAULT_WALL_DIFFERENCE_NM: Final = 15_240  # 0.6 thou
DEFAULT_THICK_HALF_FROM_NM: Final = 5_080  # 0.2 thou
ANY: Final = "any"


# --- what is given ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Size:
    """A measured diameter: the mean of its places, and the extremes of its readings, all corrected.

    `raw_mean_nm` is the mean before correction; None where the job tells nothing of gauges or temperature.
    """

    mean_nm: int
    smallest_nm: int
    largest_nm: int
    readings: int = 1
    measured_as: MeasuredAs | None = None  # None: nothing is known of how
    raw_mean_nm: int | None = None

    @property
    def temperature_nm(self) -> int:
        """What the correction to 20 degrees Celsius added; 0 where there is none. By this definition the figures shown
        add up to the nanometre, though each of them was rounded by itself."""
        if self.raw_mean_nm is None:
            return 0
        off = self.measured_as.zero_nm + self.measured_as.ball_nm if self.measured_as else 0
        return self.mean_nm - self.raw_mean_nm + off


@dataclass(frozen=True, slots=True)
class Shell:
    """One half bearing. `marks` are its cells in `Job.shell_columns`, in that order, trimmed and lower-cased."""

    name: str
    box: str
    kind: str
    half: str  # upper, lower or either
    wall_nm: int | None  # the wall that counts in a clearance; None: not yet measured
    marks: tuple[str, ...] = ()
    family: str = ""
    grade: str | None = None
    hold: str | None = None
    coating_nm: int = 0  # on the running face; 0: uncoated
    wall_to_metal_nm: int | None = None  # the wall without its coating
    file: str = ""
    row: int = 0
    measured_as: MeasuredAs | None = None  # None: nothing is known of how
    readings: tuple[Reading, ...] = ()  # of the wall, as the gauge gave them
    measured_nm: int | None = None  # what they give once corrected, the coating neither added nor taken off

    @property
    def key(self) -> tuple[str, str]:
        """Box and name, which together tell this shell from every other."""
        return self.box, self.name


@dataclass(frozen=True, slots=True)
class Position:
    """One rod or main. `wants_upper` and `wants_lower` are the cells its halves must match, in the order of
    `Job.matched_columns`, trimmed and lower-cased.

    `target_nm`, `min_nm` and `max_nm` are final: the row's own, else the kind's. `upper` and `lower` name locked
    shells.
    """

    name: str
    kind: str
    journal: Size | None
    housing_bore: Size | None
    target_nm: int | None  # None only where target_ratio waits for a journal
    min_nm: int | None = None
    max_nm: int | None = None
    want_min_nm: int | None = None  # the narrower band one would like, already clipped to min and max
    want_max_nm: int | None = None
    seating_nm: int = 0
    upper: tuple[str, str] | None = None
    lower: tuple[str, str] | None = None
    wants_upper: tuple[str, ...] = ()
    wants_lower: tuple[str, ...] = ()
    accept: str | None = None
    pin: int | None = None
    row: int = 0
    undersize: str = ""  # the user's own label of what the journal was ground to
    aims_at_middle: bool = False  # its target is the middle of min and max because nobody wrote one
    within: tuple[str, ...] = ()  # cells in which a housing and its journal must agree, trimmed and lower-cased
    housing: str | None = None  # the row whose housing stands here, if it was moved
    offset_nm: int | None = None  # of the housing's axis off the line of the others; positive towards the block

    @property
    def wishes(self) -> bool:
        """Whether a band is wished for here."""
        return self.want_min_nm is not None or self.want_max_nm is not None

    @property
    def missing(self) -> tuple[str, ...]:
        """The features that have no reading yet."""
        return tuple(
            feature
            for feature, size in (("journal", self.journal), ("housing_bore", self.housing_bore))
            if size is None
        )


@dataclass(frozen=True, slots=True)
class Band:
    """A drawing's limits; both ends belong to it."""

    low_nm: int
    high_nm: int

    def __contains__(self, nm: int) -> bool:
        return self.low_nm <= nm <= self.high_nm


@dataclass(frozen=True, slots=True)
class Fit:
    """One `[fit.KIND]` table: what every position of the kind has unless its row says otherwise."""

    kind: str
    target_nm: int | None = None
    target_ratio: str | None = None
    min_nm: int | None = None
    max_nm: int | None = None
    seating_nm: int = 0
    family: tuple[str, ...] | None = None  # lower-cased; None: every family fits
    seating_u_nm: int | None = None  # standard uncertainty of the seating
    want_min_nm: int | None = None  # the narrower band one would like, as written
    want_max_nm: int | None = None


@dataclass(frozen=True, slots=True)
class Rules:
    """The `[rules]` of a job; what is None or empty is off."""

    wall_difference_nm: int | None = DEFAULT_WALL_DIFFERENCE_NM
    thick_half: Mapping[str, str] = field(default_factory=dict)  # kind -> upper, lower or same
    thick_half_from_nm: int = DEFAULT_THICK_HALF_FROM_NM
    same_in_bore: tuple[str, ...] = ()
    neighbour_step_nm: Mapping[str, int] = field(default_factory=dict)  # kind -> most from one row to the next
    line_nm: Mapping[str, int] = field(default_factory=dict)  # kind -> most that offset + axis shift may differ
    movable: tuple[str, ...] = ()  # kinds whose housings may go to another journal
    movable_within: tuple[str, ...] = ()  # columns in which a housing and its new journal must agree
    limits_at: str = "tightest"  # or "mean"
    guard: float = 0.0  # limits tightened on each side by this multiple of the expanded uncertainty
    guard_row: int | None = field(default=None, compare=False)  # where job.toml says so


@dataclass(frozen=True, slots=True)
class Job:
    """A whole job as read: positions in file order, shells in file order, every cell valid."""

    folder: Path
    title: str
    unit: str
    fits: Mapping[str, Fit]
    positions: tuple[Position, ...]
    shells: tuple[Shell, ...]
    rules: Rules = field(default_factory=Rules)
    drawing: Mapping[str, Mapping[str, Band]] = field(default_factory=dict)  # kind -> journal, housing_bore, wall
    matched_columns: tuple[str, ...] = ()
    shell_columns: tuple[str, ...] = ()  # matched columns, then same_in_bore columns not among them
    coating_counts: bool = True
    digest: str = ""
    warnings: tuple[str, ...] = ()
    measuring: Measuring = field(default_factory=Measuring)
    # Of one among several jobs that share their shells; `shells` are then those of all.
    name: str = ""
    reserved: frozenset[tuple[str, str]] = frozenset()  # shells locked in another of the jobs
    own_shells: tuple[Shell, ...] | None = None  # as its own files tell of them, by which its readings are doubted

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds that have a position, in file order."""
        return tuple(dict.fromkeys(p.kind for p in self.positions))


def marks_agree(one: str, other: str) -> bool:
    """Whether two lower-cased cells agree: `any` with everything, blank with blank only."""
    return one == other or ANY in (one, other)


# --- what is answered ------------------------------------------------------------------------------------------------


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


def room(position: Position) -> int:
    """What walls and clearance share: housing bore - journal + seating, from the mean sizes."""
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm


def tightest_room(position: Position, limits_at: str) -> int:
    """The room left by the smallest crown-axis bore reading and the largest journal reading."""
    if limits_at == "mean":
        return room(position)
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.smallest_nm - position.journal.largest_nm + position.seating_nm


def shortfall_of(least_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies below a bound; 0 if it does not, or there is none."""
    return 0 if least_nm is None else max(0, least_nm - clearance_nm)


def excess_of(most_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies above a bound; 0 if it does not, or there is none."""
    return 0 if most_nm is None else max(0, clearance_nm - most_nm)


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
