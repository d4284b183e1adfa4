"""Findings as doubts: each with the names of its likeliest causes."""

from collections.abc import Iterator, Sequence
from statistics import median
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.digits import decimals_of
from fitmatch.gauging.doubts.groups import Entry, Finding, Group
from fitmatch.gauging.doubts.mistakes import CAP_EXCHANGED, GAUGE_SETTING, Case, ranked
from fitmatch.gauging.doubts.odd import Odd
from fitmatch.gauging.sizes.places import from_crown
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt

_OBLIQUE: Final = (10.0, 80.0)  # degrees from the crown axis at which a misplaced cap shows


def named(
    job: Job, groups: Sequence[Group], odd: Sequence[tuple[Group, Odd]], others: Sequence[Finding]
) -> Iterator[Doubt]:
    """Each finding as a doubt, one per item and feature, leaving out readings that were confirmed."""
    judge = _Judge(job, groups)
    told: set[tuple[str, str]] = set()
    for entry, feature, what, names in (*(judge.single(*found) for found in odd), *others):
        if not entry.reading.confirmed and (entry.name, feature) not in told:
            told.add((entry.name, feature))
            yield Doubt(entry.file, entry.row, entry.name, feature, entry.reading.nm, what, names, entry.reading.column)


class _Judge:
    """Weighs the possible mistakes behind single readings."""

    def __init__(self, job: Job, groups: Sequence[Group]) -> None:
        self._job = job
        self._middles: dict[str, list[tuple[Group, float]]] = {}
        for group in groups:
            if group.at_crown:
                self._middles.setdefault(group.key.feature, []).append((group, median(group.values)))

    def single(self, group: Group, odd: Odd) -> Finding:
        """What is wrong with one reading of a group, or with all from that one on."""
        entry, feature = group.entries[odd.at], group.key.feature
        if odd.code == "step":
            jump = median(e.value_nm for e in group.entries[odd.at :]) - odd.centre_nm
            slots = {"error_nm": round(jump), "last": group.entries[-1].name, "kind": group.key.kind}
            return entry, feature, Fact("step", slots), (GAUGE_SETTING,)
        error = entry.value_nm - odd.centre_nm
        names = self._ranked(group, odd)
        if feature == "housing_bore" and odd.code == "off" and _oblique(entry, error):
            names = (CAP_EXCHANGED, *names)[:3]
        return entry, feature, Fact(odd.code, {"error_nm": round(error)}), names

    def _ranked(self, group: Group, odd: Odd) -> tuple[str, ...]:
        entry = group.entries[odd.at]
        gauge = self._job.measuring.gauges.get(entry.reading.gauge or "")
        unit = gauge.unit if gauge is not None and gauge.unit in ("in", "mm") else self._job.unit
        rest = [e.reading.nm for e in group.entries if e is not entry]
        others = tuple(
            middle + entry.off_nm
            for g, middle in self._middles.get(group.key.feature, [])
            if g is not group and abs(middle - odd.centre_nm) > 4 * odd.standard_nm
        )
        centre, decimals = odd.centre_nm + entry.off_nm, decimals_of(rest, unit)
        at_an_end = odd.code == "off" and odd.at in (0, len(group.entries) - 1)
        raw = entry.reading.nm
        return ranked(Case(group.key.feature, raw, centre, odd.standard_nm, unit, decimals, others, at_an_end))


def _oblique(entry: Entry, error: float) -> bool:
    """Whether a reading was taken where a misplaced cap shows, and is off by about as much as that would show."""
    angle = entry.reading.angle
    return angle is not None and _OBLIQUE[0] <= from_crown("housing_bore", angle) <= _OBLIQUE[1] and abs(error) < 2e5
