"""What was advised: what each position wants of its shells, and what would put it inside its limits, cheapest first."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import Position
from fitmatch.stages import now

if TYPE_CHECKING:
    import pandas

# In the order of the trade, from cheap to dear.
MEASURE: Final = "measure"
BOX: Final = "box"
ONE_HALF: Final = "one-half"
BOTH_HALVES: Final = "both-halves"
OTHER_PIN: Final = "other-pin"
POLISH: Final = "polish"
HONE: Final = "hone"
RESIZE: Final = "resize"
GRIND: Final = "grind"
ACTIONS: Final = (MEASURE, BOX, ONE_HALF, BOTH_HALVES, OTHER_PIN, POLISH, HONE, RESIZE, GRIND)


class Steps(NamedTuple):
    """The steps of shells, as printed on them, whose mean walls come nearest to a wall total."""

    upper: str
    lower: str
    wall_sum_nm: int


class Wanted(NamedTuple):
    """The wall total that hits the target, and the totals that hit max and min; None: no such limit. `steps`: None
    where the job knows no shells."""

    wall_sum_nm: int
    lowest_nm: int | None
    highest_nm: int | None
    steps: Steps | None


class Run(NamedTuple):
    """Every size from one to the other, both included."""

    lowest_nm: int
    highest_nm: int


class Sizes(NamedTuple):
    """The sizes that a part may be machined to, from one to the other, and which of them is to be aimed at: it brings
    a position nearest to its target, or is the middle where one size is for several."""

    lowest_nm: int
    highest_nm: int
    best_nm: int


class Machined(NamedTuple):
    """What a part is machined to: its `sizes`, corrected; the `gauge` that measured it and its resolution; what that
    gauge `reads` of the sizes, None where there is no one gauge that tells; and for each of them the chance that the
    position is inside then, None where too little is known."""

    sizes: Sizes
    gauge: str | None
    resolution_nm: int | None
    reads: Sizes | None
    chances: tuple[float, float, float] | None = None


class Reached(NamedTuple):
    """What solving again gives with a change made: what the position has then, and the figures of its kind."""

    placement: Placement
    figures: KindFigures


class Advice(NamedTuple):
    """One change that helps one position. `what`: what is changed or bought, lengths ending in `_nm`. `amount_nm`: by
    how much: what is taken off, or by how much the clearance grows; for `grind` the sizes that will do. `most_nm`: the
    most that may be taken off. `reached`: None for what is only measured, or in a box not opened, `chance` then being
    that of finding it there. `machined`: None for what takes no metal off."""

    action: str
    what: Mapping[str, object]
    amount_nm: "int | Run | None" = None
    most_nm: int | None = None
    reached: Reached | None = None
    chance: float | None = None
    machined: Machined | None = None


class Advised(NamedTuple):
    """One position, with the housing that the plan puts there: what it wants, None where it is not yet measured; what
    the plan gives it; what would help, in the order of the trade. `complete`: all of that could be looked for."""

    position: Position
    wanted: Wanted | None
    placed: Placement | None
    in_doubt: bool
    advice: tuple[Advice, ...]
    complete: bool = True

    @property
    def is_inside(self) -> bool:
        """Inside the limits it has, if any."""
        return self.placed is not None and self.placed.within_limits

    @property
    def has_limits(self) -> bool:
        return self.position.min_nm is not None or self.position.max_nm is not None

    @property
    def unjudged(self) -> bool:
        """Whether it is filled and nothing says how small or large its clearance may be."""
        return self.placed is not None and not self.has_limits

    @property
    def clearance_nm(self) -> int | None:
        """In the answer; None where it is not filled."""
        return None if self.placed is None else self.placed.clearance_nm

    @property
    def cheapest(self) -> Advice | None:
        """The first change that puts a position inside which is not."""
        return None if self.is_inside else next((one for one in self.advice if one.reached is not None), None)


class Order(NamedTuple):
    """What positions need of one sort: halves of one step that read the same. `step`: None where no step known to the
    job is likely to have them. `marks`: as in the advice. `chances`: for each position, that one box holds its half."""

    kind: str
    half: str
    step: str | None
    walls_nm: tuple[int, ...]
    positions: tuple[PositionKey, ...]
    marks: Mapping[str, Any]
    chances: tuple[float | None, ...]

    @property
    def family(self) -> tuple[str, ...]:
        """The families that fit; empty if every one does."""
        return tuple(self.marks.get("upper", self.marks).get("family", ()))


class Boxes(NamedTuple):
    """The fewest boxes of one step that hold as many halves as these positions need."""

    kind: str
    step: str
    family: tuple[str, ...]
    boxes: int
    positions: tuple[PositionKey, ...]


@dataclass(frozen=True, slots=True)
class AdvisedJobs:
    """Advice on one job or on several that share their shells. `answer`: None where there are no shells yet.
    `looked_through`: otherwise time ran out, and nothing is known of mistakes in some of the readings."""

    jobs: tuple[Job, ...]
    answer: Plan | None
    positions: tuple[Advised, ...]  # in file order, job by job
    orders: tuple[Order, ...]
    boxes_together: tuple[Boxes, ...]
    looked_through: bool = True

    @property
    def proven(self) -> bool:
        """Whether the answer is, and all that would help was looked for."""
        return (self.answer is None or self.answer.proven) and all(one.complete for one in self.positions)

    @property
    def warnings(self) -> tuple[str, ...]:
        return tuple(warning for job in self.jobs for warning in job.warnings)

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        if self.answer is not None:
            unjudged = any(one.unjudged for one in self.positions)
            return unjudged or not self.proven or self.answer.needs_attention
        return not self.looked_through or any(one.wanted is None or one.in_doubt for one in self.positions)

    def records(self) -> Iterator[dict[str, object]]:
        """One for each advice, one for a position that needs none; lengths in nanometres end in `_nm`."""
        several = len(self.jobs) > 1
        for one in self.positions:
            begun: dict[str, object] = {"job": one.position.job} if several else {}
            wanted = one.wanted
            begun |= {
                "position": one.position.name,
                "kind": one.position.kind,
                "housing": one.position.housing or one.position.name,
                "inside": None if one.unjudged else one.is_inside,
                "clearance_now_nm": one.clearance_nm,
                "target_nm": one.position.target_nm,
                "min_nm": one.position.min_nm,
                "max_nm": one.position.max_nm,
                "wall_sum_wanted_nm": wanted and wanted.wall_sum_nm,
                "lowest_nm": wanted and wanted.lowest_nm,
                "highest_nm": wanted and wanted.highest_nm,
            }
            yield from ({**begun, **_row(advice)} for advice in one.advice or (Advice("", {}),))

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per advice, and one for a position that needs none; lengths as floats in `unit`, else the first
        job's. Pandas is imported here."""
        import pandas

        now("loading pandas")
        per_unit = NM_PER_UNIT[unit or self.jobs[0].unit]
        return pandas.DataFrame([dict(_floats(record, per_unit)) for record in self.records()])


def _row(advice: Advice) -> dict[str, object]:
    amount, reached, machined = advice.amount_nm, advice.reached, advice.machined
    sizes, reads = machined and machined.sizes, machined and machined.reads
    chances = (machined and machined.chances) or (None, None, None)
    return {
        "action": advice.action,
        "half": advice.what.get("half"),
        "wall_nm": advice.what.get("wall_nm"),
        "step": advice.what.get("step"),
        "amount_nm": None if isinstance(amount, Run) else amount,
        "size_lowest_nm": sizes and sizes.lowest_nm,
        "size_highest_nm": sizes and sizes.highest_nm,
        "size_best_nm": sizes and sizes.best_nm,
        "gauge": machined and machined.gauge,
        "reads_lowest_nm": reads and reads.lowest_nm,
        "reads_highest_nm": reads and reads.highest_nm,
        "reads_best_nm": reads and reads.best_nm,
        "chance_lowest": chances[0],
        "chance_highest": chances[1],
        "chance_best": chances[2],
        "chance": advice.chance,
        "clearance_nm": reached and reached.placement.clearance_nm,
        "deviation_nm": reached and reached.placement.deviation_nm,
        "filled": reached and reached.figures.filled,
        "below": reached and reached.figures.below,
        "above": reached and reached.figures.above,
        "worst_deviation_nm": reached and reached.figures.worst_deviation_nm,
        "spread_nm": reached and reached.figures.spread_nm,
    }


def _floats(record: Mapping[str, object], per_unit: int) -> Iterator[tuple[str, object]]:
    for name, value in record.items():
        plain = name.removesuffix("_nm")
        yield plain, value / per_unit if isinstance(value, int) and name.endswith("_nm") else value
