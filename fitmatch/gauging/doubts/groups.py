"""Readings sorted into groups that ought to agree: same feature, kind, half, box, grade, undersize and place.

Values are raw readings minus what zero error, ball and a coating that was measured add, so that readings do not differ
because of gauges and coatings.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.sizes.corrections import offs as gauge_offs
from fitmatch.gauging.sizes.places import at_crown
from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey, full_name
from fitmatch.records.measuring import DIAMETERS, Reading
from fitmatch.records.parts import Position, Shell, Size

SMALLEST_BOX: Final = 4  # boxes with fewer shells of a half are judged together
Place = int | tuple[int | None, float | None]  # the numbered column, or station and angle


class Entry(NamedTuple):
    """One reading in its group; `off_nm` is what was subtracted from the raw reading."""

    value_nm: int
    off_nm: int
    item: ItemKey
    file: str
    row: int
    reading: Reading

    @property
    def name(self) -> str:
        """Its item, as shown to the user."""
        return self.item if isinstance(self.item, str) else full_name(self.item)


Finding = tuple[Entry, str, Fact, tuple[str, ...]]  # a reading, its feature, what is wrong, and the likeliest mistakes


class Key(NamedTuple):
    """What the readings of one group share. `half` and `box` are empty for diameters; `label` is the grade of shells
    and the undersize of journals."""

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
    """All readings of a job in their groups. Boxes with few shells are joined: differences between boxes are then part
    of their scatter."""
    found: dict[Key, list[Entry]] = {}
    for key, entry in _entries(job):
        found.setdefault(key, []).append(entry)
    groups: dict[Key, list[Entry]] = {}
    for key, entries in found.items():
        if key.feature == "wall" and len(entries) < SMALLEST_BOX:
            key = key._replace(box="")
        groups.setdefault(key, []).extend(entries)
    return [Group(key, entries) for key, entries in groups.items()]


def _entries(job: Job) -> Iterator[tuple[Key, Entry]]:
    """Every reading with the key of its group, in the order of measuring given by the files."""
    offs, measuring = gauge_offs(job.measuring.gauges), job.measuring
    if measuring.log:
        yield from _logged(job, offs)
    logged = {(r.shell or r.item, r.feature) for r in measuring.log}
    for position in job.positions:
        for feature in DIAMETERS:
            size: Size | None = getattr(position, feature)
            if size is not None and (position.name, feature) not in logged:
                for place, reading in enumerate((*size.readings, *size.aside)):
                    where = (measuring.positions_file, position.row)
                    yield _of_position(position, feature, place, reading, offs[reading.gauge], where)
    for shell in job.shells:
        if shell.measured is not None and (shell.key, "wall") not in logged:
            coating, where = _coating_in(shell, offs), (shell.file, shell.row)
            for place, reading in enumerate(shell.measured.readings):
                yield _of_shell(shell, place, reading, offs[reading.gauge] + coating, where)


def _logged(job: Job, offs: Mapping[str | None, int]) -> Iterator[tuple[Key, Entry]]:
    positions = {p.name: p for p in job.positions}
    shells = {s.key: s for s in job.shells}
    unplaced: Counter[tuple[ItemKey, str]] = Counter()  # readings without station and angle: each is a place of its own
    for row in job.measuring.log:
        place: Place = (row.reading.station, row.reading.angle)
        if place == (None, None):
            item = (row.shell or row.item, row.feature)
            place = unplaced[item]
            unplaced[item] += 1
        off, where = offs[row.reading.gauge], (job.measuring.log_file, row.row)
        if row.shell is None:
            yield _of_position(positions[row.item], row.feature, place, row.reading, off, where)
        else:
            shell = shells[row.shell]
            yield _of_shell(shell, place, row.reading, off + _coating_in(shell, offs), where)


def _of_position(
    position: Position, feature: str, place: Place, reading: Reading, off: int, where: tuple[str, int]
) -> tuple[Key, Entry]:
    # A housing bore accepted outside its drawing limits is known to differ from the others.
    if feature == "housing_bore" and position.accept and not reading.confirmed:
        reading = reading._replace(confirmed=position.accept)
    key = Key(feature, position.kind, "", "", position.undersize if feature == "journal" else "", place)
    return key, Entry(reading.nm - off, off, position.name, *where, reading)


def _of_shell(shell: Shell, place: Place, reading: Reading, off: int, where: tuple[str, int]) -> tuple[Key, Entry]:
    key = Key("wall", shell.kind, shell.half, shell.box, shell.grade or "", place)
    return key, Entry(reading.nm - off, off, shell.key, *where, reading)


def _coating_in(shell: Shell, offs: Mapping[str | None, int]) -> int:
    """The coating included in the measured wall of a coated shell; 0 if the wall was measured bare."""
    readings = (*shell.measured.readings, *shell.measured.aside) if shell.measured else ()
    if not shell.coating_nm or not readings or shell.wall_to_metal_nm is None:
        return 0
    mean = sum(r.nm - offs[r.gauge] for r in readings) / len(readings)
    return shell.coating_nm if mean - shell.wall_to_metal_nm > shell.coating_nm / 2 else 0
