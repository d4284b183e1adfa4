"""What a long file of readings tells, laid to the positions and shells it is about."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fitmatch.measuring import LoggedReading, Reading

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Log:
    """The readings of one long file: `positions` by name and feature, `walls` by box and name, each with the row of its
    first reading. What could not be read is left out, and was noted."""

    positions: Mapping[tuple[str, str], Sequence[Reading]] = field(default_factory=dict)
    walls: Mapping[Key, Sequence[Reading]] = field(default_factory=dict)
    position_rows: Mapping[tuple[str, str], int] = field(default_factory=dict)
    wall_rows: Mapping[Key, int] = field(default_factory=dict)
    rows: tuple[LoggedReading, ...] = ()
    slipped: bool = False  # a column or a row is unknown, so that what is missing may stand there
