"""What a study of boxes answers: frozen records, lengths in whole nanometres or means of such."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.facts import Fact
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.job import Job
from fitmatch.study.boxes.intervals import Chance, Mean, Percentile, known_to_within
from fitmatch.study.boxes.steps import Step

if TYPE_CHECKING:
    import pandas


class Length(NamedTuple):
    """A length over all draws, in nm. `mean` None: in some draws it is endless; so may `p90` be."""

    mean: Mean | None
    p90: Percentile | None


class Gain(NamedTuple):
    """What the last box of a mix is worth: by how much worst deviation (None: endless without it) and spread shrink
    against the best mix of one box fewer, draw by draw, and by how much the chances grow that all are inside (without
    limits: filled) and within a tolerance of one's own."""

    over: Mapping[str, int]
    worst: Mean | None
    spread: Mean | None
    inside: Chance
    close: Chance | None


class MixStudied(NamedTuple):
    """Boxes of `opened` steps, beside those that are open already. `inside`: the chance that all positions are inside
    their limits, None without limits; `close`: within a tolerance of one's own. Prices are in thousandths; None: some
    price is not known. `left` are shells of the new boxes, and `left_price` their share of the price. `empty`: the
    positions that stay empty in some draws, and in how many. `best`: of so many boxes the mix to take."""

    kind: str
    opened: Mapping[str, int]
    boxes: int
    worst: Length
    spread: Length
    inside: Chance | None
    close: Chance | None
    price: int | None
    left: Mean
    left_price: Mean | None
    empty: Mapping[str, int]
    best: bool
    gain: Gain | None


class KindStudied(NamedTuple):
    """One kind. `drawn` are positions that were not measured, `left_out` those that cannot be drawn either. A gain
    below `floor_nm` is one that nobody can measure: however many more than `enough` boxes are opened, they gain less;
    None: not within the budget. `floor_from`: "gauges", "known-part" of their uncertainty or, where that is less than
    one step, the "grid" of the readings. `misread`: drawn bores whose readings are outside the drawing limits that they
    are within, and in how many draws. `locked`: positions that no box changes, and how far they are off by their
    readings (None: drawn); the verdict is about the others. `stuck`: positions that no box can help, and why.
    `verdict`: "enough", "worth" (more boxes may be), or why there is none: "stuck", "short" of shells, "never-full",
    "too-few-draws", "too-few-full".
    `as_well`: the cheapest boxes that are as good as the best mix of `enough`, where they are of another number and
    cost less than the mix of `enough` to take.
    `any_marks`: the shells of new boxes were taken to agree with every column compared."""

    kind: str
    positions: int
    drawn: tuple[str, ...]
    left_out: tuple[str, ...]
    open_boxes: int
    steps: tuple[Step, ...]
    grid_nm: int
    floor_nm: float
    floor_from: str
    unknown: tuple[str, ...]
    any_marks: bool
    misread: Mapping[str, int]
    locked: Mapping[str, int | None]
    stuck: Mapping[str, Fact]
    verdict: Fact
    as_well: Mapping[str, int] | None

    @property
    def enough(self) -> int | None:
        boxes = self.verdict.slots.get("boxes") if self.verdict.code == "enough" else None
        return boxes if isinstance(boxes, int) else None


class LeftOut(NamedTuple):
    """By kind the positions that are neither measured nor drawn, and why steps or whole kinds are not studied."""

    positions: Mapping[str, tuple[str, ...]]
    why: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Studied:
    """The answer. `wanted` draws were asked for; fewer were needed where a precision was reached."""

    job: Job
    seed: int
    draws: int
    wanted: int
    tolerance_nm: int | None
    precision_nm: int | None
    kinds: tuple[KindStudied, ...]
    mixes: tuple[MixStudied, ...]
    left_out: tuple[Fact, ...]

    @property
    def needs_attention(self) -> bool:
        """Whether something had to be left out, or some position is never filled or never inside."""
        return bool(self.left_out) or any(
            kind.left_out or kind.verdict.code in ("stuck", "short", "never-full") for kind in self.kinds
        )

    @property
    def imprecise(self) -> tuple[MixStudied, ...]:
        """The mixes of which some mean is not known to within the precision asked for."""
        most = self.precision_nm
        if most is None:
            return ()
        return tuple(
            mix for mix in self.mixes if not all(known_to_within(most, one.mean) for one in (mix.worst, mix.spread))
        )

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per mix, lengths as floats in `unit`, else the job's; pandas is imported here."""
        import pandas

        per_unit = NM_PER_UNIT[unit or self.job.unit]
        return pandas.DataFrame(
            {
                "kind": mix.kind,
                "open": ", ".join(f"{count} {step}" for step, count in mix.opened.items()),
                "boxes": mix.boxes,
                "worst_deviation": None if mix.worst.mean is None else mix.worst.mean.mean / per_unit,
                "worst_deviation_p90": None if mix.worst.p90 is None else mix.worst.p90.value / per_unit,
                "spread": None if mix.spread.mean is None else mix.spread.mean.mean / per_unit,
                "spread_p90": None if mix.spread.p90 is None else mix.spread.p90.value / per_unit,
                "inside": None if mix.inside is None else mix.inside.value,
                "within_tolerance": None if mix.close is None else mix.close.value,
                "left": mix.left.mean,
                "best": mix.best,
            }
            for mix in self.mixes
        )
