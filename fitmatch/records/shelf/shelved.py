"""What a shelf has for a job: its shells as they were measured when they were taken in, lengths in whole nanometres."""

from collections.abc import Collection, Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Final, NamedTuple, Protocol

from fitmatch.facts import Fact
from fitmatch.records.measuring import Gauge, Reading

DESCRIBING: Final = ("family", "part", "series", "undersize", "step", "grade", "condition")  # and further columns


class ShelvedShell(NamedTuple):
    """A shell of the shelf. `wall_nm` is over its coating, `off_nm` what was taken off each reading; the gauge of a
    reading is that of its day, as a zero error is. `day_known`: otherwise `day` is when it was taken in. `marks`: what
    its file said in further columns. `barred`: why a job may not have it; None: it may. `single`: it has no opposite
    half that the job may have in its box. `seat`: the position and side in which it is fitted in the job's own
    engine, `is_not_to_be_run` whether that position was read outside its limits there, without a permission, and
    `permitted` the words by which it may be outside them; None: it is inside. `hold_inside`: the hold of a shell
    that is in the job's own engine, where it stays all the same. `ran`: it has run, which is what `condition` says
    then."""

    number: int
    box_number: int
    box: str
    shell: str
    half: str
    family: str
    grade: str
    condition: str
    series: str
    part: str
    undersize: str
    step: str
    wall_nm: int | None
    coating_nm: int
    measured_bare: bool
    off_nm: int
    readings: tuple[Reading, ...]
    day: str
    day_known: bool
    location: str
    hold: str
    note: str
    marks: Mapping[str, str]
    barred: Fact | None
    single: bool
    seat: tuple[str, str] | None = None
    ran: bool = False
    is_not_to_be_run: bool = False
    permitted: str | None = None
    hold_inside: str = ""

    @property
    def described(self) -> str:
        """What tells its description from any other."""
        return digest_of_description({name: getattr(self, name) for name in DESCRIBING}, self.marks)


class Holdings(Protocol):
    """Who has the shells of the shelf at one moment."""

    def has_all(self, folder: Path, shells: Collection[int]) -> bool:
        """Whether all of these are set aside for the job in a folder, or fitted in its engine."""

    def has_given_back(self, folder: Path, shells: Collection[int]) -> bool:
        """Whether the job in a folder had exactly these, and has none any more: its engine was taken down, or they were
        put back."""


class Supply(Holdings, Protocol):
    """The shelf as it is at one moment, for one job."""

    @property
    def learned(self) -> set[int]:
        """The shells that have told how far their gauges scatter: each once, however many jobs look at it."""

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        """The gauges of the readings given so far, one for each day."""

    def of_families(self, families: Collection[str]) -> tuple[ShelvedShell, ...]:
        """The measured shells of these families, in lower case, that the job may have."""

    def in_boxes(self, names: Collection[str]) -> tuple[ShelvedShell, ...]:
        """All shells in boxes of these names, whatever became of them."""


def digest_of_readings(shells: Iterable[tuple[int, Iterable[int]]]) -> str:
    """SHA-256 over the readings of shells, each by its shelf number."""
    rows = sorted(f"{number}:{','.join(map(str, readings))}" for number, readings in shells)
    return sha256("\n".join(rows).encode()).hexdigest()


def digest_of_description(cells: Mapping[str, str], marks: Mapping[str, str]) -> str:
    """What tells a description from any other; `cells` are those of `DESCRIBING`."""
    rows = [f"{name}={cells[name]}" for name in DESCRIBING] + [f"{name}:{text}" for name, text in sorted(marks.items())]
    return sha256("\n".join(rows).encode()).hexdigest()[:16]


def digest_with(files: str, readings: str) -> str:
    """The digest of the files of a job together with that of the readings of its shells on the shelf."""
    return sha256(f"{files}\n{readings}".encode()).hexdigest()
