"""What the shelf answers about shells, boxes and what happened to them: frozen records, lengths in whole nanometres."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.shelf.answers.frames import framed

if TYPE_CHECKING:
    import pandas


OUTSIDE: Final = "outside-limits"
IN_DOUBT: Final = "in-doubt"
NOT_TO_BE_RUN: Final = "not-to-be-run"


class Difference(NamedTuple):
    """Two answers to one question: the column of a shell, or the shell or box of a location."""

    what: str
    before: object
    after: object


class ShelfShell(NamedTuple):
    """A shell of the shelf. `wall_nm` is over its coating; `job` or `engine` holds it at `position`, or it ran
    there and came out of `engine`. `single`: it is free and no free opposite half of its kind is in its box."""

    number: int
    box: str
    shell: str
    family: str
    kind: str
    half: str
    grade: str
    part: str
    series: str
    undersize: str
    step: str
    condition: str
    wall_nm: int | None
    coating_nm: int
    hold: str
    state: str
    reason: str
    single: bool
    job: str | None
    engine: int | None
    position: str | None
    side: str | None
    location: str
    trial_fits: int
    since: str
    box_number: int
    note: str

    @property
    def label(self) -> str:
        """BOX/NAME."""
        return f"{self.box}/{self.shell}"


class ShelfBox(NamedTuple):
    """A box of the shelf, sealed, opened or sent back."""

    number: int
    name: str
    state: str
    kind: str
    family: str
    part: str
    series: str
    undersize: str
    step: str
    lot: str
    seller: str
    price_thousandths: int | None
    location: str
    opened: str
    note: str
    since: str


class Tally(NamedTuple):
    """Shells that are alike in what was asked for, such as their family and half."""

    alike: Mapping[str, str]
    shells: int
    singles: int
    thinnest_nm: int | None
    thickest_nm: int | None


class Shown(NamedTuple):
    """The shells that agree with what was asked for, by number, or their tallies, and boxes that are still sealed.
    `undated`: the shells, and their boxes, that agree but for an age that nobody knows; None: none was asked for.
    `in_all`: where no shell agrees, how many there are."""

    shells: tuple[ShelfShell, ...]
    sealed: tuple[ShelfBox, ...]
    tallies: tuple[Tally, ...] = ()
    undated: tuple[int, int] | None = None
    in_all: int = 0

    def to_frame(self, unit: str = "in") -> "pandas.DataFrame":
        """One row for each shell."""
        return framed(self.shells, unit)


class Event(NamedTuple):
    """One change of a shell, or of a sealed box; events are never edited. `corrects` is the event that it undoes;
    `remarks` are OUTSIDE, IN_DOUBT and NOT_TO_BE_RUN of what was fitted so; `changes`: what it wrote of the clearance
    read with the shell in and, in the history of a shell, of the shell."""

    number: int
    at: str
    action: str
    shell: int | None
    label: str
    from_state: str
    to_state: str
    job: str
    engine: int | None
    position: str
    by: str
    note: str
    corrects: int | None
    remarks: tuple[str, ...] = ()
    changes: tuple[Difference, ...] = ()


class History(NamedTuple):
    """All events of a shell, oldest first."""

    shell: ShelfShell
    events: tuple[Event, ...]

    def to_frame(self) -> "pandas.DataFrame":
        """One row for each event."""
        return framed(self.events, "in")


class Changed(NamedTuple):
    """What an action changed: the events it added. `attention` is what somebody should look at all the same,
    `notices` what the change means."""

    events: tuple[Event, ...]
    attention: tuple[Fact, ...] = ()
    notices: tuple[Fact, ...] = ()

    def to_frame(self) -> "pandas.DataFrame":
        """One row for each event."""
        return framed(self.events, "in")


class BoxChange(NamedTuple):
    """What the files say of a box otherwise than before: `what` is a column of it, a price in thousandths."""

    box: str
    what: str
    before: str | int | None
    after: str | int


class TakenIn(NamedTuple):
    """What taking in changed. Of new shells `first` is the first number and the others follow. `sealed` boxes
    are new, `sealed_before` were here. Of the shells that were measured again, `same` have the wall that they had.
    `elsewhere`: what lies elsewhere by the files, with its location there and in them. `attention` is what somebody
    should look at."""

    new: int
    first: int | None
    unchanged: int
    changed: tuple[ShelfShell, ...]
    remeasured: tuple[ShelfShell, ...]
    same: int
    opened: tuple[ShelfBox, ...]
    sealed: int
    sealed_before: int
    box_changes: tuple[BoxChange, ...]
    not_measured: int
    elsewhere: tuple[Difference, ...] = ()
    attention: tuple[Fact, ...] = ()

    def to_frame(self) -> "pandas.DataFrame":
        """One row, with the numbers."""
        import pandas

        return pandas.DataFrame([{"new": self.new, "unchanged": self.unchanged, "sealed": self.sealed}])


class Copied(NamedTuple):
    """A whole shelf that was exported to a folder or imported from it: the rows of each table."""

    folder: str
    rows: Mapping[str, int]

    def to_frame(self) -> "pandas.DataFrame":
        """One row for each table."""
        import pandas

        return pandas.DataFrame([{"table": name, "rows": number} for name, number in self.rows.items()])
