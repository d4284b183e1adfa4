"""Where a clearance lies between its limits, drawn in a few characters: `|----o--:------|`."""

from typing import Final

from fitmatch.lengths import round_half_even
from fitmatch.records.placements import Placement

_LAST: Final = 14  # the place of the right end; the left one is 0
HEAD: Final = f"min{'target':^{_LAST - 5}}max"


def drawn(p: Placement) -> str:
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
        at = round_half_even((nm - least) * _LAST, most - least) if least < most else _LAST // 2
        # What is not the limit itself is not drawn upon it.
        return min(max(at, 0 if nm == least else 1), _LAST if nm == most else _LAST - 1)

    line = ["-"] * (_LAST + 1)
    line[0] = "-" if low is None else "|"
    line[_LAST] = "-" if high is None else "|"
    line[place(target)] = ":"
    if p.within_limits:
        line[place(p.clearance_nm)] = "o"
    if p.shortfall_nm:
        line[:2] = "X|"
    if p.excess_nm:
        line[-2:] = "|X"
    return "".join(line)
