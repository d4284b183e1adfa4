"""Findings as doubts: each with the likeliest mistakes behind it, by their names."""

from collections.abc import Iterator, Sequence
from statistics import median
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.digits import decimals_of
from fitmatch.gauging.doubts.groups import Entry, Group
from fitmatch.gauging.doubts.mistakes import CAP_EXCHANGED, GAUGE_SETTING, Case, ranked
from fitmatch.gauging.doubts.odd import Odd
from fitmatch.gauging.doubts.repeats import Astray
from fitmatch.gauging.doubts.sessions import Shared
from fitmatch.gauging.places import from_crown
from fitmatch.measuring import Doubt, LoggedReading
from fitmatch.parts import Job, Position

_OBLIQUE: Final = (10.0, 80.0)  # degrees from the crown axis where a cap out of place shows


def named(
    job: Job,
    groups: Sequence[Group],
    odd: Sequence[tuple[Group, list[Odd]]],
    stray: Sequence[Astray],
    copies: Sequence[tuple[str, Entry, Entry]],
    sittings: Sequence[Shared],
) -> Iterator[Doubt]:
    """Each finding as a doubt, one to an item and feature and only where nobody wrote why the reading stands."""
    judge = _Judge(job, groups)
    told: set[tuple[str, str]] = set()
    for entry, doubt in (
        *(judge.astray(a) for a in stray),
        *(judge.single(group, o) for group, found in odd for o in found),
        *(judge.shared(s) for s in sittings),
        *(judge.copied(*found) for found in copies),
    ):
        if not entry.reading.confirmed and (doubt.item, doubt.feature) not in told:
            told.add((doubt.item, doubt.feature))
            yield doubt


class _Judge:
    """Gives each finding's reading with the doubt about it."""

    def __init__(self, job: Job, groups: Sequence[Group]) -> None:
        self._job = job
        self._middles: dict[str, list[tuple[Group, float]]] = {}
        for group in groups:
            if group.at_crown:
                self._middles.setdefault(group.key.feature, []).append((group, median(group.values)))

    def single(self, group: Group, odd: Odd) -> tuple[Entry, Doubt]:
        entry = group.entries[odd.at]
        if odd.step:
            jump = median(e.value_nm for e in group.entries[odd.at :]) - odd.centre_nm
            last = _item(group.entries[-1])
            what = Fact("step", {"error_nm": round(jump), "last": last, "kind": group.key.kind})
            return self._doubt(entry, "housing_bore", what, (GAUGE_SETTING,))
        error = entry.value_nm - odd.centre_nm
        ends = (0, len(group.entries) - 1)
        names = self._ranked(group, entry, odd.centre_nm, odd.standard_nm, at_an_end=odd.at in ends)
        if group.key.feature == "housing_bore" and _oblique(entry, error):
            names = (CAP_EXCHANGED, *names)[:3]
        return self._doubt(entry, group.key.feature, Fact("off", {"error_nm": round(error)}), names)

    def astray(self, found: Astray) -> tuple[Entry, Doubt]:
        entry, group = found.entry, found.group
        names = self._ranked(group, entry, found.centre_nm, found.standard_nm)
        what = Fact("off-its-repeats", {"error_nm": round(entry.value_nm - found.centre_nm)})
        return self._doubt(entry, group.key.feature, what, names)

    def shared(self, found: Shared) -> tuple[Entry, Doubt]:
        slots = {"error_nm": round(found.error_nm), "half": found.half, "of": found.of}
        return self._doubt(found.first, found.feature, Fact("sitting", slots), found.signatures)

    def copied(self, feature: str, later: Entry, first: Entry) -> tuple[Entry, Doubt]:
        return self._doubt(later, feature, Fact("copied", {"other": _item(first)}), ("copied-row",))

    def _ranked(
        self, group: Group, entry: Entry, centre: float, standard: float, *, at_an_end: bool = False
    ) -> tuple[str, ...]:
        gauge = self._job.measuring.gauges.get(entry.reading.gauge or "")
        unit = gauge.unit if gauge is not None and gauge.unit in ("in", "mm") else self._job.unit
        rest = [e.reading.nm for e in group.entries if e is not entry]
        others = tuple(
            middle + entry.off_nm
            for g, middle in self._middles.get(group.key.feature, [])
            if g is not group and abs(middle - centre) > 4 * standard
        )
        return ranked(
            Case(
                group.key.feature,
                entry.reading.nm,
                centre + entry.off_nm,
                standard,
                unit,
                decimals_of(rest, unit),
                others,
                at_an_end,
            )
        )

    def _doubt(self, entry: Entry, feature: str, what: Fact, names: tuple[str, ...]) -> tuple[Entry, Doubt]:
        owner = entry.owner
        if isinstance(owner, LoggedReading):
            file = self._job.measuring.log_file
        else:
            file = self._job.measuring.positions_file if isinstance(owner, Position) else owner.file
        return entry, Doubt(file, owner.row, _item(entry), feature, entry.reading.nm, what, names)


def _item(entry: Entry) -> str:
    owner = entry.owner
    if isinstance(owner, LoggedReading):
        return "/".join(owner.shell) if owner.shell else owner.item
    return owner.name if isinstance(owner, Position) else "/".join(owner.key)


def _oblique(entry: Entry, error: float) -> bool:
    """Whether a reading stands where a cap out of its place shows, and is off by what it may show."""
    angle = entry.reading.angle
    return angle is not None and _OBLIQUE[0] <= from_crown("housing_bore", angle) <= _OBLIQUE[1] and abs(error) < 2e5
