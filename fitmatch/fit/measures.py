"""The names of the levels of a proof, and what is added up of the pairs on each."""

from fitmatch.fit.bores import Pair
from fitmatch.fit.search import Measure

COMPLETE = "engines_complete"
INSIDE = "positions_inside"
FILLED = "positions_filled"
BELOW = "positions_below"
SHORTFALL = "shortfall"
EXCESS = "excess"
BELOW_WANT = "positions_below_want"
WANT_SHORTFALL = "want_shortfall"
ABOVE_WANT = "positions_above_want"
WANT_EXCESS = "want_excess"
WORST = "worst_deviation"
SQUARES = "sum_squared_deviation"
SPREAD = "spread"
BOXES = "boxes"
STAYING = "housings_staying"
CLEARANCE = "total_clearance"
DIFFERENCE = "total_wall_difference"

INSIDE_LIMITS: tuple[str, Measure] = (INSIDE, lambda p: -p.inside)
FILLED_AT_ALL: tuple[str, Measure] = (FILLED, lambda p: -p.filled)
# What is minimised of the pairs on level 1, once as many positions as possible are filled; and where a band is wished.
LEVEL_1: tuple[tuple[str, Measure], ...] = (
    (BELOW, lambda p: p.below),
    (SHORTFALL, lambda p: p.shortfall_nm),
    (EXCESS, lambda p: p.excess_nm),
)
WISH: tuple[tuple[str, Measure], ...] = (
    (BELOW_WANT, lambda p: int(p.want_shortfall_nm > 0)),
    (WANT_SHORTFALL, lambda p: p.want_shortfall_nm),
    (ABOVE_WANT, lambda p: int(p.want_excess_nm > 0)),
    (WANT_EXCESS, lambda p: p.want_excess_nm),
)


def square(pair: Pair) -> int:
    return pair.deviation_nm**2 if pair.counted else 0
