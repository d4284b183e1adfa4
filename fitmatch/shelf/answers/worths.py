"""What the shelf is worth: what is tied up, what was lost, what engines have cost."""

from typing import TYPE_CHECKING, NamedTuple

from fitmatch.shelf.answers.frames import framed

if TYPE_CHECKING:
    import pandas


class TiedUp(NamedTuple):
    """Shells that are free or set aside, of one family and one band of age, None where nobody wrote down when the box
    was opened; or sealed boxes of one family. `unpriced` are the shells and boxes of which nobody wrote down
    a price, and which are not in the worth."""

    family: str
    older_than_days: int | None
    shells: int
    singles: int
    sealed: int
    worth_thousandths: int
    unpriced: int


class Lost(NamedTuple):
    """Shells that were scrapped or are missing."""

    state: str
    shells: int
    worth_thousandths: int
    unpriced: int


class EngineCost(NamedTuple):
    """What the shells of one engine cost; those that ran in it before are counted there."""

    number: int
    job: str
    at: str
    shells: int
    worth_thousandths: int
    unpriced: int


class Worth(NamedTuple):
    """What is tied up on the shelf, what was lost and what the engines cost, as prices were written down."""

    tied_up: tuple[TiedUp, ...]
    lost: tuple[Lost, ...]
    engines: tuple[EngineCost, ...]

    def to_frame(self) -> "pandas.DataFrame":
        """One row for each family and age."""
        return framed(self.tied_up, "in")
