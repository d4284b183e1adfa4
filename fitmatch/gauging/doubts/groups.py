"""Readings sorted into groups that ought to agree: same feature, kind, half, box and label, however they were written.

A reading in a column of the parts' own files and one of the long file are alike, and all readings at the crown are of
one group; those away from it are grouped by their angle. Values are raw readings minus what zero error, ball and a
coating that was measured add, so that readings do not differ because of gauges and coatings.
"""

from collections.abc import Iterator, Mapping
from functools import cached_property
from statistics import median
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.sizes.corrections import offs as gauge_offs
from fitmatch.gauging.sizes.places import at_crown
from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey, full_name
from fitmatch.records.measuring import DIAMETERS, Reading, turned
from fitmatch.records.parts import Position, Shell, Size
from fitmatch.stages import Ask, asking, go_on

SMALLEST_BOX: Final = 4  # boxes with fewer shells of a half are judged together


class Entry(NamedTuple):
    """One reading in its group; `off_nm` is what was subtracted from the raw reading. `by`: who took it, if known.
    `logged`: it is a row of the long file."""

    value_nm: int
    off_nm: int
    item: ItemKey
    file: str
    row: int
    reading: Reading
    by: str = ""
    logged: bool = False

    @property
    def name(self) -> str:
        """Its item, as shown to the user."""
        return self.item if isinstance(self.item, str) else full_name(self.item)


Finding = tuple[Entry, str, Fact, tuple[str, ...]]  # a reading, its feature, what is wrong, and the likeliest mistakes


class Key(NamedTuple):
    """What the readings of one group share. `half` and `box` are empty for diameters; `label` is that of
    shells, the undersize of journals and the mark `od` of housing bores; `angle` is None at the crown."""

    feature: str
    kind: str
    half: str
    box: str
    label: str
    angle: float | None = None


class Group:
    """Readings that ought to agree: first those in columns, then those of the long file, each in the order of
    measuring."""

    def __init__(self, key: Key, entries: list[Entry]) -> None:
        self.key = key
        self.entries = entries

    @property
    def at_crown(self) -> bool:
        """Whether these readings enter sizes."""
        return self.key.angle is None

    @cached_property
    def values(self) -> list[int]:
        return [entry.value_nm for entry in self.entries]

    @cached_property
    def mixed(self) -> bool:
        """Whether some are in columns and others in the long file."""
        return len({entry.logged for entry in self.entries}) > 1

    @cached_property
    def middle(self) -> float:
        """The median of its values."""
        return median(self.values)

    @cached_property
    def items(self) -> list[int]:
        """For each reading its item, numbered from 0."""
        numbers: dict[ItemKey, int] = {}
        return [numbers.setdefault(entry.item, len(numbers)) for entry in self.entries]

    @cached_property
    def readings(self) -> list[list[int]]:
        """The numbers of the readings of each item."""
        found: list[list[int]] = [[] for _ in range(self.count)]
        for k, item in enumerate(self.items):
            found[item].append(k)
        return found

    @cached_property
    def count(self) -> int:
        """How many items it has."""
        return max(self.items) + 1


def grouped(job: Job, ask: Ask = go_on) -> list[Group]:
    """All readings of a job in their groups. Boxes with few shells are joined: differences between boxes are then part
    of their scatter."""
    found: dict[Key, list[Entry]] = {}
    for key, entry in asking(_entries(job), ask):
        found.setdefault(key, []).append(entry)
    groups: dict[Key, list[Entry]] = {}
    for key, entries in found.items():
        if key.feature == "wall" and len({entry.item for entry in entries}) < SMALLEST_BOX:
            key = key._replace(box="")
        groups.setdefault(key, []).extend(entries)
    return [Group(key, entries) for key, entries in groups.items()]


def _entries(job: Job) -> Iterator[tuple[Key, Entry]]:
    """Every reading with the key of its group, in the order of the files, those of the long file last."""
    offs, measuring = gauge_offs(job.measuring.gauges), job.measuring
    logged = {(r.shell or r.item, r.feature) for r in measuring.log}
    od = job.matched_columns.index("od") if "od" in job.matched_columns else None
    for position in job.positions:
        for feature in DIAMETERS:
            size: Size | None = getattr(position, feature)
            if size is not None and (position.name, feature) not in logged:
                for reading in (*size.readings, *size.aside):
                    where = (measuring.positions_file, position.row)
                    yield _of_position(position, feature, od, reading, offs[reading.gauge], where)
    for shell in job.shells:
        if shell.measured is not None and (shell.key, "wall") not in logged:
            coating, where = _coating_in(shell, offs), (shell.file, shell.row)
            for reading in shell.measured.readings:
                yield _of_shell(shell, reading, offs[reading.gauge] + coating, where)
    if measuring.log:
        yield from _logged(job, offs, od)


def _logged(job: Job, offs: Mapping[str | None, int], od: int | None) -> Iterator[tuple[Key, Entry]]:
    positions = {p.name: p for p in job.positions}
    shells = {s.key: s for s in job.shells}
    for row in job.measuring.log:
        off, where = offs[row.reading.gauge], (job.measuring.log_file, row.row)
        if row.shell is None:
            key, entry = _of_position(positions[row.item], row.feature, od, row.reading, off, where)
        else:
            shell = shells[row.shell]
            key, entry = _of_shell(shell, row.reading, off + _coating_in(shell, offs), where)
        yield key, entry._replace(by=row.by, logged=True)


def _of_position(
    position: Position,
    feature: str,
    od: int | None,
    reading: Reading,
    off: int,
    where: tuple[str, int],
) -> tuple[Key, Entry]:
    if feature == "journal":
        label = position.undersize
    else:
        label = position.wants_upper[od] if od is not None and position.wants_upper else ""
        # A housing bore accepted outside its drawing limits is known to differ from the others.
        if position.accept and not reading.confirmed:
            reading = reading._replace(confirmed=position.accept)
    key = Key(feature, position.kind, "", "", label, _aside(feature, reading))
    return key, Entry(reading.nm - off, off, position.name, *where, reading)


def _of_shell(shell: Shell, reading: Reading, off: int, where: tuple[str, int]) -> tuple[Key, Entry]:
    key = Key("wall", shell.kind, shell.half, shell.box, shell.label, _aside("wall", reading))
    return key, Entry(reading.nm - off, off, shell.key, *where, reading)


def _aside(feature: str, reading: Reading) -> float | None:
    """The angle of a reading away from the crown."""
    if reading.angle is None or at_crown(feature, reading):
        return None
    return turned(feature, reading.angle)


def _coating_in(shell: Shell, offs: Mapping[str | None, int]) -> int:
    """The coating included in the measured wall of a coated shell; 0 if the wall was measured bare."""
    if not shell.coating_nm:
        return 0  # nearly always, and there may be a million
    readings = (*shell.measured.readings, *shell.measured.aside) if shell.measured else ()
    if not readings or shell.wall_to_metal_nm is None:
        return 0
    mean = sum(r.nm - offs[r.gauge] for r in readings) / len(readings)
    return shell.coating_nm if mean - shell.wall_to_metal_nm > shell.coating_nm / 2 else 0
