"""Where a clearance lies between its limits, drawn in a few characters: `|----o--:------|`."""

from typing import Final

from fitmatch.lengths import round_half_even
from fitmatch.records.answers.placements import Placement

LAST: Final = 14  # the place of the right end; the left one is 0
SMALL: Final = 8  # where there is less room


def head_of(last: int) -> str:
    """What stands over drawings of this length."""
    return f"min{'target' if last == LAST else '':^{last - 5}}max"


def drawn(p: Placement, last: int = LAST) -> str:
    """Its min and max are the ends, `:` is the target, `o` the clearance; an `X` beyond an end: outside that limit.

    With one limit alone the target lies in the middle and the other end is open. Empty without limits, or where one
    limit is the target itself.
    """
    low, high, target = p.limit_low_nm, p.limit_high_nm, p.position.target_nm
    assert target is not None
    least = 2 * target - high if low is None and high is not None else low
    most = 2 * target - low if high is None and low is not None else high
    if least is None or most is None or (least >= most and None in (low, high)):
        return ""

    def place(nm: int) -> int:
        at = round_half_even((nm - least) * last, most - least) if least < most else last // 2
        # What is not the limit itself is not drawn upon it.
        return min(max(at, 0 if nm == least else 1), last if nm == most else last - 1)

    line = ["-"] * (last + 1)
    line[0] = "-" if low is None else "|"
    line[last] = "-" if high is None else "|"
    line[place(target)] = ":"
    if p.within_limits:
        line[place(p.clearance_nm)] = "o"
    if p.shortfall_nm:
        line[:2] = "X|"
    if p.excess_nm:
        line[-2:] = "|X"
    return "".join(line)
