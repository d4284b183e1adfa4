"""Doubts in words: what looks wrong, the likeliest mistakes behind it, and what to measure again."""

from collections.abc import Iterator, Sequence
from statistics import median
from typing import Final

from fitmatch.gauging.doubts.digits import decimals_of
from fitmatch.gauging.doubts.groups import Entry, Group
from fitmatch.gauging.doubts.mistakes import BY_NAME, Case, Mistake, ranked
from fitmatch.gauging.doubts.odd import Odd
from fitmatch.gauging.doubts.repeats import Astray
from fitmatch.gauging.doubts.sessions import Shared
from fitmatch.gauging.places import from_crown
from fitmatch.lengths import fixed
from fitmatch.measuring import Doubt, LoggedReading
from fitmatch.parts import Job, Position

_OF_SITTINGS: Final = {
    "ball-left-in": "the ball's diameter not taken off; zero the micrometer with the ball in place",
    "ball-twice": "the ball's diameter taken off twice",
    "flat-anvil": "a flat anvil on the concave face; use a ball anvil",
    "undersize-shells": "shells for another undersize than the journals have; look at both marks",
    "thimble-turn": "one thimble turn; read sleeve and thimble again",
    "wrong-frame": "the wrong micrometer frame or setting standard",
    "unknown": "a whole sitting is off; check gauge and standard",
}
_OBLIQUE: Final = (10.0, 80.0)  # degrees from the crown axis where a cap out of place shows


def written(
    job: Job,
    groups: Sequence[Group],
    odd: Sequence[tuple[Group, list[Odd]]],
    stray: Sequence[Astray],
    copies: Sequence[tuple[Entry, Entry]],
    sittings: Sequence[Shared],
    typed_in: str,
) -> Iterator[Doubt]:
    """Each finding as a doubt, one to an item and feature and only where nobody wrote why the reading stands."""
    writer = _Writer(job, groups, typed_in)
    told: set[tuple[str, str]] = set()
    for doubt in (
        *(writer.astray(a) for a in stray),
        *(writer.single(group, o) for group, found in odd for o in found),
        *(writer.shared(s) for s in sittings),
        *(writer.copied(later, first) for later, first in copies),
    ):
        if doubt is not None and (doubt.item, doubt.feature) not in told:
            told.add((doubt.item, doubt.feature))
            yield doubt


class _Writer:
    def __init__(self, job: Job, groups: Sequence[Group], typed_in: str) -> None:
        self._job = job
        self._unit = job.unit
        self._typed_in = typed_in
        self._middles: dict[str, list[tuple[Group, str, float]]] = {}
        for group in groups:
            if group.at_crown:
                some = self._middles.setdefault(group.key.feature, [])
                some.append((group, _group_name(group), median(group.values)))

    def single(self, group: Group, odd: Odd) -> Doubt | None:
        entry = group.entries[odd.at]
        if odd.step:
            return self._step(group, odd)
        ends = (0, len(group.entries) - 1)
        mistakes = self._ranked(group, entry, odd.centre_nm, odd.standard_nm, at_an_end=odd.at in ends)
        if group.key.feature == "housing_bore" and _oblique(entry, entry.value_nm - odd.centre_nm):
            mistakes = (BY_NAME["cap-exchanged"], *mistakes)[:3]
        return self._doubt(entry, group.key.feature, entry.value_nm - odd.centre_nm, mistakes)

    def astray(self, found: Astray) -> Doubt | None:
        entry = found.entry
        feature = _feature(entry)
        group = next(g for g, _, _ in self._all(feature) if any(e is entry for e in g.entries))
        mistakes = self._ranked(group, entry, found.centre_nm, found.standard_nm)
        return self._doubt(entry, feature, entry.value_nm - found.centre_nm, mistakes, "against its repeats")

    def shared(self, found: Shared) -> Doubt | None:
        entry = found.first
        if entry.reading.confirmed:
            return None
        words = tuple(_OF_SITTINGS[name] for name in found.signatures)
        again = f"measure a few of {found.what.removeprefix('every ')} again with another gauge"
        text = f"{found.what} reads {self._off(found.error_nm)}"
        return self._made(entry, found.feature, text, found.signatures, words, again)

    def copied(self, later: Entry, first: Entry) -> Doubt | None:
        if later.reading.confirmed:
            return None
        item, other = self._item(later), self._item(first)
        feature = _feature(later)
        text = f"{item} {_plain(feature)} has every reading of {other}"
        return self._made(later, feature, text, ("copied-row",), ("a copied row",), f"measure {item} again")

    def _step(self, group: Group, odd: Odd) -> Doubt | None:
        entry = group.entries[odd.at]
        if entry.reading.confirmed:
            return None
        last = self._item(group.entries[-1])
        jump = median(e.value_nm for e in group.entries[odd.at :]) - odd.centre_nm
        text = f"every housing bore from {self._item(entry)} to {last} reads {self._off(jump)} against those before"
        setting = BY_NAME["gauge-setting"]
        again = f"set the gauge again and measure all bores of {group.key.kind} in one go"
        return self._made(entry, "housing_bore", text, (setting.name,), (setting.words,), again)

    def _ranked(
        self, group: Group, entry: Entry, centre: float, standard: float, *, at_an_end: bool = False
    ) -> tuple[Mistake, ...]:
        gauge = self._job.measuring.gauges.get(entry.reading.gauge or "")
        unit = gauge.unit if gauge is not None and gauge.unit in ("in", "mm") else self._typed_in
        rest = [e.reading.nm for e in group.entries if e is not entry]
        others = tuple(
            (name, middle + entry.off_nm)
            for g, name, middle in self._all(group.key.feature)
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

    def _all(self, feature: str) -> list[tuple[Group, str, float]]:
        return self._middles.get(feature, [])

    def _doubt(
        self, entry: Entry, feature: str, error: float, mistakes: tuple[Mistake, ...], against: str = ""
    ) -> Doubt | None:
        if entry.reading.confirmed:
            return None
        words = tuple(f"{m.words} ({m.tell})" for m in mistakes)
        item = self._item(entry)
        text = " ".join(part for part in (item, _plain(feature), "reads", self._off(error), against) if part)
        return self._made(entry, feature, text, tuple(m.name for m in mistakes), words, f"measure {item} again")

    def _made(
        self, entry: Entry, feature: str, text: str, names: tuple[str, ...], words: tuple[str, ...], again: str
    ) -> Doubt:
        owner = entry.owner
        if isinstance(owner, LoggedReading):
            file = self._job.measuring.log_file
        else:
            file = self._job.measuring.positions_file if isinstance(owner, Position) else owner.file
        return Doubt(file, owner.row, self._item(entry), feature, entry.reading.nm, text, names, words, again)

    def _item(self, entry: Entry) -> str:
        owner = entry.owner
        if isinstance(owner, LoggedReading):
            return "/".join(owner.shell) if owner.shell else owner.item
        return owner.name if isinstance(owner, Position) else "/".join(owner.key)

    def _off(self, nm: float) -> str:
        amount = fixed(abs(round(nm)), self._unit, 4 if self._unit == "in" else 3)
        return f"{amount} {self._unit} {'high' if nm > 0 else 'low'}"


def _oblique(entry: Entry, error: float) -> bool:
    """Whether a reading stands where a cap out of its place shows, and is off by what it may show."""
    angle = entry.reading.angle
    return angle is not None and _OBLIQUE[0] <= from_crown("housing_bore", angle) <= _OBLIQUE[1] and abs(error) < 2e5


def _feature(entry: Entry) -> str:
    if isinstance(entry.owner, LoggedReading):
        return entry.owner.feature
    return "wall"


def _group_name(group: Group) -> str:
    return " ".join(part for part in (group.key.kind, group.key.half, group.key.box, group.key.label) if part)


def _plain(feature: str) -> str:
    return feature.replace("_", " ")
