"""`range`: the clearances that limits of housing bore, journal and walls allow, before anything is measured.

The worst case adds all limits; the root of the sum of squares adds half widths as independent; the distribution is that
of the sum, every part having one shape between its limits. Seating is left out: it is learned from one engine.

Walls of one box may share a part of their variance: then each wall is the sum of a part common to both and one of its
own, of the same shape and with that share of the variance. The worst case stays that of the limits.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.measuring import FEATURES
from fitmatch.records.parts import Band
from fitmatch.records.study.stacks import NO_COATING, Stack
from fitmatch.study.drawings.shapes import SHAPES
from fitmatch.study.drawings.sums import Chance, Sum

if TYPE_CHECKING:
    import pandas

MIDDLE: Final = 0.95  # the share of all clearances in the interval that is given of each row


class Ends(NamedTuple):
    """The smallest and the largest of a range; half a nanometre can matter."""

    min_nm: float
    max_nm: float


class Row(NamedTuple):
    """What one stack allows, its shells `coated` or not, `thicker` of them a step thicker than their limits say."""

    stack: Stack
    coated: bool
    thicker: int
    worst: Ends
    root_sum_square: Ends
    mean_nm: float
    standard_nm: float
    middle: Ends
    chance: Chance | None  # None: the stack has neither min nor max
    shares: Mapping[str, float] | None  # of the variance; None: nothing varies
    total: Sum  # how clearances lie about the mean


@dataclass(frozen=True, slots=True)
class Range:
    """A row or more for each stack: as it is, coated, and with one half and both halves a step thicker."""

    shape: str
    shared: float
    rows: tuple[Row, ...]

    def to_frame(self, unit: str = "mm") -> "pandas.DataFrame":
        """One row per row, lengths as floats in `unit`; pandas is imported here."""
        import pandas

        per_unit = NM_PER_UNIT[unit]
        return pandas.DataFrame(
            {
                "name": row.stack.name,
                "coated": row.coated,
                "thicker": row.thicker,
                "worst_min": row.worst.min_nm / per_unit,
                "worst_max": row.worst.max_nm / per_unit,
                "root_sum_square_min": row.root_sum_square.min_nm / per_unit,
                "root_sum_square_max": row.root_sum_square.max_nm / per_unit,
                "mean": row.mean_nm / per_unit,
                "standard": row.standard_nm / per_unit,
                "chance": None if row.chance is None else row.chance.inside,
            }
            for row in self.rows
        )


def range(given: Job | Iterable[Stack], *, shape: str = "uniform", shared: float = 0.0) -> Range:  # noqa: A001 (the command's name)
    """The clearances that these limits allow; of a job, those of its `[drawing]` tables, kind by kind.

    `shape`: uniform, triangular or normal. `shared`: the part of the walls' variance that is common to both, 0 to 1.
    Raises NotPossible where a job has no kind with limits of bore, journal and wall.
    """
    if shape not in SHAPES or not 0 <= shared <= 1:
        raise ValueError(f"shape is one of {', '.join(SHAPES)}, shared 0 to 1; not {shape!r}, {shared!r}")
    stacks = tuple(drawn(given)) if isinstance(given, Job) else tuple(given)
    return Range(shape, shared, tuple(row for stack in stacks for row in _rows(stack, shape, shared)))


def drawn(job: Job) -> Iterator[Stack]:
    """A stack for each kind with all three limits; raises NotPossible where there is none."""
    kinds = [kind for kind, bands in job.drawing.items() if bands.keys() >= set(FEATURES)]
    if not kinds:
        raise NotPossible(Fact("no-drawing"))
    for kind in kinds:
        fit, bands = job.fits[kind], job.drawing[kind]
        yield Stack(kind, bands["housing_bore"], bands["journal"], bands["wall"], fit.min_nm, fit.max_nm)


def _rows(stack: Stack, shape: str, shared: float) -> Iterator[Row]:
    for coated in (False, True) if stack.coating != NO_COATING else (False,):
        for thicker in (0, 1, 2) if stack.step_nm else (0,):
            yield _row(stack, shape, shared, coated=coated, thicker=thicker)


def _row(stack: Stack, shape: str, shared: float, *, coated: bool, thicker: int) -> Row:
    bore, journal, wall, coating = stack.housing_bore, stack.journal, stack.wall, stack.coating
    if not coated:
        coating = NO_COATING
    more = thicker * stack.step_nm / 2
    worst = Ends(
        bore.low_nm - journal.high_nm - 2 * (wall.high_nm + coating.high_nm) - more,
        bore.high_nm - journal.low_nm - 2 * (wall.low_nm + coating.low_nm) - more,
    )
    mean = (worst.min_nm + worst.max_nm) / 2
    half = {"journal": _half(journal), "housing_bore": _half(bore), "walls": _half(wall), "coating": _half(coating)}
    squares = {
        "journal": half["journal"] ** 2,
        "housing_bore": half["housing_bore"] ** 2,
        "walls": 2 * (1 + shared) * half["walls"] ** 2,
        "coating": 2 * half["coating"] ** 2,
    }
    square = sum(squares.values())
    common, own = 2 * sqrt(shared) * half["walls"], sqrt(1 - shared) * half["walls"]
    total = Sum(shape, (half["housing_bore"], half["journal"], common, own, own, half["coating"], half["coating"]))
    reach = total.half_interval(MIDDLE)
    limits = [None if limit is None else limit - mean for limit in (stack.min_nm, stack.max_nm)]
    return Row(
        stack=stack,
        coated=coated,
        thicker=thicker,
        worst=worst,
        root_sum_square=Ends(mean - sqrt(square), mean + sqrt(square)),
        mean_nm=mean,
        standard_nm=sqrt(square * SHAPES[shape].variance),
        middle=Ends(mean - reach, mean + reach),
        chance=None if limits == [None, None] else total.chance(*limits),
        shares={name: part / square for name, part in squares.items() if name != "coating" or coated}
        if square
        else None,
        total=total,
    )


def _half(band: Band) -> float:
    return (band.high_nm - band.low_nm) / 2
