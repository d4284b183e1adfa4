"""Findings as doubts: each with the names of its likeliest causes."""

from collections import Counter
from collections.abc import Iterator, Sequence
from math import gcd
from statistics import fmean
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.causes.digits import decimals_of
from fitmatch.gauging.causes.mistakes import CAP_EXCHANGED, MANY, TWO_HANDS, TWO_HANDS_NM, UNKNOWN, Case, ranked
from fitmatch.gauging.doubts.groups import Entry, Finding, Group
from fitmatch.gauging.doubts.odd import Odd
from fitmatch.gauging.sizes.places import from_crown
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt

_OBLIQUE: Final = (10.0, 80.0)  # degrees from the crown axis at which a misplaced cap shows

_FEWEST: Final = 8  # readings that show in which steps a gauge is read
_ENOUGH: Final = 500
_ALIKE: Final = 0.5  # of the largest error, if all repeats are off


def named(
    job: Job, groups: Sequence[Group], odd: Sequence[tuple[Group, Odd]], others: Sequence[Finding]
) -> Iterator[Doubt]:
    """Each finding as a doubt, one per item and feature, leaving out readings that were confirmed."""
    judge = _Judge(job, groups)
    told: set[tuple[str, str]] = set()
    for entry, feature, what, names in (*(judge.finding(*found) for found in odd), *others):
        if not entry.reading.confirmed and (entry.name, feature) not in told:
            told.add((entry.name, feature))
            one = entry.reading
            yield Doubt(entry.file, entry.row, entry.name, feature, one.nm, what, names, one.column, one.typed)


class _Judge:
    """Weighs the possible mistakes behind single readings."""

    def __init__(self, job: Job, groups: Sequence[Group]) -> None:
        self._job = job
        self._groups = groups
        self._middles: dict[str, list[tuple[Group, float]]] = {}
        self._typed: dict[tuple[int, str], Counter[int]] = {}  # readings of a group by their decimals, in a unit
        for group in groups:
            if group.at_crown:
                self._middles.setdefault(group.key.feature, []).append((group, group.middle))

    def finding(self, group: Group, odd: Odd) -> Finding:
        """What is wrong with one reading of a group, or with all of one cluster."""
        entry, feature = group.entries[odd.members[0]], group.key.feature
        names = self._ranked(group, odd)
        slots: dict[str, object] = {"error_nm": round(odd.error_nm)}
        if odd.code in MANY:
            key = group.key
            of = (key.box or key.label or key.kind) if feature == "wall" else key.kind
            slots |= {"half": key.half, "of": of}
            items = tuple(dict.fromkeys(group.entries[k].name for k in odd.members))
            slots |= {"items": items, "last": items[-1]}
        elif feature == "housing_bore" and odd.code == "off" and _oblique(entry, odd.error_nm):
            names = (CAP_EXCHANGED, *names)[:3]
        if abs(odd.error_nm) <= TWO_HANDS_NM and _two_hands(group, odd):
            names = (TWO_HANDS, *(name for name in names if name != UNKNOWN))[:3]
        # Where some readings are in columns and others in the long file, it is not known which came before.
        code = "clusters" if odd.code in MANY and group.mixed else odd.code
        return entry, feature, Fact(code, slots), names

    def _ranked(self, group: Group, odd: Odd) -> tuple[str, ...]:
        members = set(odd.members)
        entry = group.entries[odd.members[0]]
        gauge = self._job.measuring.gauges.get(entry.reading.gauge or "")
        unit = gauge.unit if gauge is not None and gauge.unit in ("in", "mm") else self._job.unit
        others = tuple(
            middle + entry.off_nm
            for g, middle in self._middles.get(group.key.feature, [])
            if g is not group and abs(middle - odd.centre_nm) > 4 * odd.standard_nm
        )
        centre = odd.centre_nm + entry.off_nm
        error, repeated = _of_repeats(group, odd)
        return ranked(
            Case(
                group.key.feature,
                round(centre + error),
                centre,
                odd.standard_nm,
                unit,
                self._decimals(group, members, unit),
                grid_nm=1 if repeated else self._grid(group, members),
                others=others,
                at_an_end=odd.code == "off" and group.items[odd.members[0]] in (0, group.count - 1),
                code=_order(group, odd),
                repeated=repeated,
            )
        )

    def _decimals(self, group: Group, members: set[int], unit: str) -> int:
        """How many decimals the readings of a group were typed with, but for these."""
        if (id(group), unit) not in self._typed:
            self._typed[id(group), unit] = Counter(decimals_of([e.reading.nm], unit) for e in group.entries)
        these = Counter(decimals_of([group.entries[k].reading.nm], unit) for k in members)
        return max((self._typed[id(group), unit] - these), default=0)

    def _grid(self, group: Group, members: set[int]) -> int:
        """What all other readings of the same gauge are multiples of; 1 if they are too few to say."""
        gauge = group.entries[min(members)].reading.gauge
        count, grid = 0, 0
        for g in self._groups:
            for k, entry in enumerate(g.entries):
                if entry.reading.gauge == gauge and not (g is group and k in members):
                    count, grid = count + 1, gcd(grid, entry.reading.nm)
                    if grid == 1 or count >= _ENOUGH:
                        return grid
        return grid if count >= _FEWEST else 1


def _of_repeats(group: Group, odd: Odd) -> tuple[float, bool]:
    """By how much an item is off; and whether all its readings are, so that it is by how much their mean is."""
    if odd.code != "off":
        return odd.error_nm, False
    own = group.readings[group.items[odd.members[0]]]
    errors = [group.values[k] - odd.centre_nm for k in own]
    if len(errors) > 1 and all(error / odd.error_nm > _ALIKE for error in errors):
        return fmean(errors), True
    return odd.error_nm, False


def _order(group: Group, odd: Odd) -> str:
    """The code of what was found, by what order and gauges say about it."""
    members = set(odd.members)
    if odd.code == "clusters" and _two_gauges(group, members):
        return "step"
    if odd.code == "clusters" and group.mixed:
        ways = [[k in members for k, e in enumerate(group.entries) if e.logged == logged] for logged in (False, True)]
        for some, others in (ways, reversed(ways)):
            if some in (sorted(some), sorted(some, reverse=True)) and len(set(others)) == 1:
                return "clusters-in-turn"
    return odd.code


def _two_gauges(group: Group, members: set[int]) -> bool:
    """Whether what is off was read with another gauge than the rest."""
    gauges = {e.reading.gauge for k, e in enumerate(group.entries) if k in members}
    return not gauges & {e.reading.gauge for k, e in enumerate(group.entries) if k not in members}


def _two_hands(group: Group, odd: Odd) -> bool:
    """Whether what is off was read by somebody else than what it was compared with."""
    members = set(odd.members)
    if odd.code == "off-its-repeats":
        entry = group.entries[odd.members[0]]
        own = (group.entries[k] for k in group.readings[group.items[odd.members[0]]] if k not in members)
        place = entry.reading.station, entry.reading.angle
        others = [e for e in own if (e.reading.station, e.reading.angle) == place]
    elif odd.code in MANY:
        others = [e for k, e in enumerate(group.entries) if k not in members]
    else:
        return False
    by, rest = {group.entries[k].by for k in members}, {e.by for e in others}
    return "" not in by | rest and not by & rest


def _oblique(entry: Entry, error: float) -> bool:
    """Whether a reading was taken where a misplaced cap shows, and is off by about as much as that would show."""
    angle = entry.reading.angle
    return angle is not None and _OBLIQUE[0] <= from_crown("housing_bore", angle) <= _OBLIQUE[1] and abs(error) < 2e5
