"""What a rule may read from the `[rules]` table of job.toml. The reader implements it and notes mistakes."""

from collections.abc import Collection
from typing import Protocol


class Ask(Protocol):
    """Answers by key of `[rules]`; what is missing, or wrong, is None or empty."""

    def is_written(self, key: str) -> bool:
        """Whether the key stands there at all."""

    def is_off(self, key: str) -> bool:
        """Whether it is set to "off"."""

    def length(self, key: str) -> int | None:
        """A length of 0 to 2 mm, in nm."""

    def lengths_by_kind(self, key: str, *, of_walls: bool = False) -> dict[str, int]:
        """The same for each kind; `of_walls`: only lengths that a wall can have."""

    def word(self, key: str, allowed: tuple[str, ...]) -> str | None:
        """One of a few words."""

    def words_by_kind(self, key: str, allowed: tuple[str, ...], what: str) -> dict[str, str]:
        """The same for each kind; `what` names the value expected."""

    def loose_kinds(self, key: str) -> tuple[str, ...]:
        """A list of kinds, none of which is bored in one block."""

    def columns(self, key: str, refused: Collection[str] = ()) -> tuple[str, ...]:
        """A list of columns, lower-cased; `refused` cannot be named."""

    def matched_columns(self, key: str) -> tuple[str, ...]:
        """A list of columns that may be compared between shells and positions."""

    def journal_columns(self, key: str) -> tuple[str, ...]:
        """A list of columns of positions that neither belong to a housing nor stay with the journal."""

    def number(self, key: str, most: float) -> float | None:
        """A number of 0 to `most`."""

    def row(self, key: str) -> int | None:
        """Where in job.toml the key is."""
