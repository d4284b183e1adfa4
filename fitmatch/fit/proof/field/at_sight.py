"""What a sum cannot be better than, seen without a solver: what each seat can have by itself, for as many positions as
there are shells for.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.pairs import Bounds, Measure


class AtSight(NamedTuple):
    """No plan has a smaller total than `least`; one that has it uses only these pairs. `sure`: every plan of these
    pairs has it."""

    least: int
    pairs: list[Pair]
    sure: bool


def at_sight(field: Sequence[Pair], measure: Measure, bounds: Bounds) -> AtSight | None:
    """The bound and what reaches it; None if a seat that must be filled has no pair."""
    filled: dict[int, int] = {}  # of each seat, the least that a filled position adds
    empty: dict[int, int] = {}  # of those that may stay empty, what an empty one adds
    counts: dict[int, int] = {}
    for p in field:
        seat, value = p.bore.seat, measure(p)
        counts[seat] = p.bore.count
        of_these = filled if p.filled else empty
        of_these[seat] = min(value, of_these.get(seat, value))
        if p.filled and p.bore.house is None and not bounds.fills(p.bore):
            empty[seat] = 0
    if any(seat not in filled for seat in counts.keys() - empty.keys()):
        return None

    least = sum(count * empty.get(seat, filled.get(seat, 0)) for seat, count in counts.items())
    places = most_filled(field) - sum(count for seat, count in counts.items() if seat not in empty)
    gains = {seat: value - empty[seat] for seat, value in filled.items() if seat in empty}
    most: dict[int, int] = {}  # that a pair may add to what its seat adds empty
    last = 0  # what the last place gains
    for seat, gain in sorted(gains.items(), key=lambda one: one[1]):
        if places > 0 and gain < 0:
            least += gain * min(places, counts[seat])
            places -= counts[seat]
            most[seat], last = gain, gain
    if places > 0:
        last = 0

    def useful(p: Pair) -> bool:
        seat, value = p.bore.seat, measure(p)
        if not p.filled:
            return True
        return value <= filled[seat] if seat not in empty else value - empty[seat] <= most.get(seat, last)

    return AtSight(least, [p for p in field if useful(p)], not empty)


def most_filled(field: Iterable[Pair]) -> int:
    """How many positions the shells of these pairs can fill, whatever their walls."""
    classes = {c.index: c for p in field if p.filled for c in (p.upper, p.lower)}
    halves = Counter[str]()
    for c in classes.values():
        halves[c.half] += c.count
    upper, lower, either = halves["upper"], halves["lower"], halves["either"]
    return min(upper + either, lower + either, (upper + lower + either) // 2)
