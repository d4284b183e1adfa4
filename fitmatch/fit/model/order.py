"""What "best" means, in one place: the figures that plans are ordered by, each before the next.

Everything that ranks plans reads this list: the proof, the next best plans, the choice among plans that are not proven,
and the report. A figure is added up over the filled positions of the jobs in question, whether these are pairs of
classes with the number of times they are used or placements.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

from fitmatch.records.answers.placements import Placement

if TYPE_CHECKING:
    from fitmatch.fit.classes.classes import Bore, Pair

SLACK_NM: Final = 2_540  # 0.0001 in


# A filled position, in either form whose figures can be added up.
Filled: TypeAlias = "Pair | Placement"


class Unit(Enum):
    COUNT = auto()
    LENGTH = auto()
    SQUARE = auto()  # a length squared


class Adds(Enum):
    """How a figure is formed; this decides how it is proven."""

    SUM = auto()  # the sum of its measure over the filled positions
    WORST = auto()  # the largest |deviation| of those counted
    SPREAD = auto()  # their largest less their smallest deviation, the largest of any job
    ENGINES = auto()  # jobs with all their positions inside their limits
    BOXES = auto()  # boxes that shells are drawn from


@dataclass(frozen=True, slots=True)
class Figure:
    """A number by which plans are ordered. Smaller is better; if `more` is better its sign is reversed."""

    name: str
    unit: Unit
    adds: Adds = Adds.SUM
    measure: Callable[[Filled], int] = lambda _: 0
    more: bool = False


ENGINES: Final = Figure("engines_complete", Unit.COUNT, Adds.ENGINES, more=True)
INSIDE: Final = Figure("positions_inside", Unit.COUNT, measure=lambda p: -p.within_limits, more=True)
FILLED: Final = Figure("positions_filled", Unit.COUNT, measure=lambda p: -p.filled, more=True)
LEVEL_1: Final = (
    Figure("positions_below", Unit.COUNT, measure=lambda p: int(p.shortfall_nm > 0)),
    Figure("shortfall", Unit.LENGTH, measure=lambda p: p.shortfall_nm),
    Figure("excess", Unit.LENGTH, measure=lambda p: p.excess_nm),
)
WISH: Final = (
    Figure("positions_below_want", Unit.COUNT, measure=lambda p: int(p.want_shortfall_nm > 0)),
    Figure("want_shortfall", Unit.LENGTH, measure=lambda p: p.want_shortfall_nm),
    Figure("positions_above_want", Unit.COUNT, measure=lambda p: int(p.want_excess_nm > 0)),
    Figure("want_excess", Unit.LENGTH, measure=lambda p: p.want_excess_nm),
)
WORST: Final = Figure("worst_deviation", Unit.LENGTH, Adds.WORST)
SQUARES: Final = Figure("sum_squared_deviation", Unit.SQUARE, measure=lambda p: p.counted and p.deviation_nm**2)
SPREAD: Final = Figure("spread", Unit.LENGTH, Adds.SPREAD)
BOXES: Final = Figure("boxes", Unit.COUNT, Adds.BOXES)
PREFERRED: Final = Figure("singles", Unit.COUNT, measure=lambda p: -p.preferred, more=True)
STAYING: Final = Figure("housings_staying", Unit.COUNT, measure=lambda p: -p.stays, more=True)
CLEARANCE: Final = Figure("total_clearance", Unit.LENGTH, measure=lambda p: -p.clearance_nm, more=True)
DIFFERENCE: Final = Figure("total_wall_difference", Unit.LENGTH, measure=lambda p: p.wall_difference_nm)

LEVELS_0_AND_1: Final = (ENGINES, INSIDE, FILLED, *LEVEL_1, *WISH)
ALL: Final = (
    *LEVELS_0_AND_1,
    *(WORST, SQUARES, SPREAD, BOXES, PREFERRED),
    *(STAYING, CLEARANCE, DIFFERENCE),
)
WORST_THEN_SPREAD: Final = "worst/spread"  # for trade-offs: no strategy of a user's
SPREAD_THEN_WORST: Final = "spread/worst"
SINGLES_FIRST: Final = "singles"  # what `prefer` makes of the strategy `target`
QUALITY: Final = {
    "target": (WORST, SQUARES, SPREAD),
    "even": (SPREAD, WORST, SQUARES),
    "keep-sets": (BOXES, WORST, SQUARES, SPREAD),
    SINGLES_FIRST: (PREFERRED, WORST, SQUARES, SPREAD),
    WORST_THEN_SPREAD: (WORST, SPREAD),
    SPREAD_THEN_WORST: (SPREAD, WORST),
}
TRADE_OFFS: Final = (WORST_THEN_SPREAD, SPREAD_THEN_WORST)
STRATEGIES: Final = tuple(name for name in QUALITY if name not in (*TRADE_OFFS, SINGLES_FIRST))
WITHIN_SLACK: Final = ("keep-sets", SINGLES_FIRST)  # a worst deviation within the slack comes before their first figure


class Order(NamedTuple):
    """The figures of one turn: the jobs that are solved together go through all of `fit`, `rest` and `quality` before
    those of the next turn; `ties` come last, for all jobs.

    The first figure of `quality` counts only as far as it exceeds the slack, measured from its smallest value among
    plans that are best in all figures before it.
    """

    fit: tuple[Figure, ...]  # level 0
    rest: tuple[Figure, ...]  # level 1
    quality: tuple[Figure, ...]  # level 2
    ties: tuple[Figure, ...]  # level 3


def order_of(strategy: str, slack_nm: int, bores: "Iterable[Bore]" = (), *, several: bool = False) -> Order:
    """The figures of these bores in order; `several`: from more than one job."""
    wishes, movable = False, False
    for bore in bores:
        wishes, movable = wishes or bore.wishes, movable or bore.house is not None
    quality = QUALITY[strategy]
    if strategy in WITHIN_SLACK:
        rest = tuple(f for f in quality if f is not WORST or slack_nm)
        quality = (WORST, *rest)
    elif slack_nm:
        quality = (*quality, quality[0])  # made as small as possible with the others kept
    return Order(
        (ENGINES, INSIDE) if several else (INSIDE,),
        (FILLED, *LEVEL_1, *(WISH if wishes else ())),
        quality,
        (STAYING, CLEARANCE, DIFFERENCE) if movable else (CLEARANCE, DIFFERENCE),
    )


class Share(NamedTuple):
    """One job's part of a plan: filled positions, each with how many are like it, and how many must be inside their
    limits for the job to be complete; None: it cannot be."""

    filled: Sequence[tuple[Filled, int]]
    to_be_complete: int | None


def value(figure: Figure, shares: Iterable[Share]) -> int:
    """The figure of these jobs together; boxes are counted by name, not here."""
    if figure.adds is Adds.SUM:
        return sum(figure.measure(p) * times for share in shares for p, times in share.filled)
    if figure.adds is Adds.ENGINES:
        return -sum(sum(p.within_limits * n for p, n in some) == wanted for some, wanted in shares)
    counted = [[p.deviation_nm for p, _ in share.filled if p.counted] for share in shares]
    if figure.adds is Adds.WORST:
        return max((abs(nm) for some in counted for nm in some), default=0)
    assert figure.adds is Adds.SPREAD
    return max((max(some) - min(some) for some in counted if some), default=0)
