"""Readings sorted into groups that ought to agree: same feature, kind, half, box, grade, undersize and place.

Values are raw readings less what the gauge's zero error, its ball and a coating measured over add, so that gauges and
coatings do not set readings apart.
"""

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from fitmatch.gauging.corrections import offs as gauge_offs
from fitmatch.gauging.places import at_crown
from fitmatch.measuring import DIAMETERS, LoggedReading, Reading
from fitmatch.parts import Job, Position, Shell, Size

SMALLEST_BOX: Final = 4  # boxes with fewer shells of a half are judged together
Owner = Position | Shell | LoggedReading
Place = int | tuple[int | None, float | None]  # which numbered column, or station and angle


class Entry(NamedTuple):
    """One reading in its group; `off_nm` is what was taken off the raw reading."""

    value_nm: int
    off_nm: int
    owner: Owner
    reading: Reading


class Key(NamedTuple):
    """What readings of one group share. `half` and `box` are empty for diameters; `label` is the grade of shells and
    the undersize of journals."""

    feature: str
    kind: str
    half: str
    box: str
    label: str
    place: Place


class Group(NamedTuple):
    """Readings that ought to agree, in the order of measuring."""

    key: Key
    entries: list[Entry]

    @property
    def values(self) -> list[int]:
        return [entry.value_nm for entry in self.entries]

    @property
    def at_crown(self) -> bool:
        """Whether these readings enter sizes."""
        return at_crown(self.key.feature, self.entries[0].reading)


def grouped(job: Job) -> list[Group]:
    """All readings of a job in their groups."""
    found: dict[Key, list[Entry]] = {}
    for key, entry in _entries(job):
        entries = found.get(key)
        if entries is None:
            entries = found[key] = []
        entries.append(entry)
    return _gathered(found)


def _gathered(found: Mapping[Key, list[Entry]]) -> list[Group]:
    """Boxes with few shells joined: what sets boxes apart is then part of their scatter."""
    groups: dict[Key, list[Entry]] = {}
    for key, entries in found.items():
        if key.feature == "wall" and len(entries) < SMALLEST_BOX:
            key = key._replace(box="")
        groups.setdefault(key, []).extend(entries)
    return [Group(key, entries) for key, entries in groups.items()]


def _entries(job: Job) -> Iterator[tuple[Key, Entry]]:
    """Every reading with the key of its group, in the order of measuring as the files tell it."""
    offs = gauge_offs(job.measuring.gauges)
    if job.measuring.log:
        yield from _logged(job, offs)
    logged = {(r.item, r.feature) for r in job.measuring.log}
    logged_shells = {r.shell for r in job.measuring.log if r.shell is not None}
    for position in job.positions:
        for feature in DIAMETERS:
            size: Size | None = getattr(position, feature)
            if size is not None and (position.name, feature) not in logged:
                for place, reading in enumerate((*size.readings, *size.aside)):
                    off = offs[reading.gauge]
                    reading = _accepted(position, feature, reading)
                    yield position_key(position, feature, place), Entry(reading.nm - off, off, position, reading)
    for shell in job.shells:
        if shell.measured is not None and shell.key not in logged_shells:
            coating = coating_in(shell, offs) if shell.coating_nm else 0
            for place, reading in enumerate(shell.measured.readings):
                off = offs[reading.gauge] + coating
                key = Key("wall", shell.kind, shell.half, shell.box, shell.grade or "", place)
                yield key, Entry(reading.nm - off, off, shell, reading)


def _logged(job: Job, offs: Mapping[str | None, int]) -> Iterator[tuple[Key, Entry]]:
    positions = {p.name: p for p in job.positions}
    shells = {s.key: s for s in job.shells}
    unplaced: dict[tuple[object, str], int] = {}  # readings without station and angle: each is a place of its own
    for row in job.measuring.log:
        place: Place = (row.reading.station, row.reading.angle)
        if place == (None, None):
            item = (row.shell or row.item, row.feature)
            place = unplaced[item] = unplaced.get(item, -1) + 1
        off, reading = offs[row.reading.gauge], row.reading
        if row.shell is None:
            position = positions[row.item]
            reading = _accepted(position, row.feature, reading)
            key = position_key(position, row.feature, place)
        else:
            shell = shells[row.shell]
            off += coating_in(shell, offs) if shell.coating_nm else 0
            key = Key("wall", shell.kind, shell.half, shell.box, shell.grade or "", place)
        yield key, Entry(reading.nm - off, off, row, reading)


def _accepted(position: Position, feature: str, reading: Reading) -> Reading:
    """Whoever accepts a housing bore outside its drawing knows why it differs from the others."""
    if feature == "housing_bore" and position.accept and not reading.confirmed:
        return reading._replace(confirmed=position.accept)
    return reading


def position_key(position: Position, feature: str, place: Place) -> Key:
    return Key(feature, position.kind, "", "", position.undersize if feature == "journal" else "", place)


def coating_in(shell: Shell, offs: Mapping[str | None, int]) -> int:
    """The coating that was measured with the wall of a coated shell; 0 where the wall was measured bare."""
    readings = (*shell.measured.readings, *shell.measured.aside) if shell.measured else ()
    if not readings or shell.wall_to_metal_nm is None:
        return 0
    mean = sum(r.nm - offs[r.gauge] for r in readings) / len(readings)
    return shell.coating_nm if mean - shell.wall_to_metal_nm > shell.coating_nm / 2 else 0
