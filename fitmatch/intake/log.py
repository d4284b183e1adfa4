"""What a long file of readings tells, laid to the positions and shells it is about."""

from fitmatch.measuring import LoggedReading, Reading

Key = tuple[str, str]


class Log:
    """The readings of one long file: `positions` by name and feature, `walls` by box and name, each with the row of its
    first reading. What could not be read is left out, and was noted."""

    def __init__(self) -> None:
        self.positions: dict[tuple[str, str], list[Reading]] = {}
        self.walls: dict[Key, list[Reading]] = {}
        self.position_rows: dict[tuple[str, str], int] = {}
        self.wall_rows: dict[Key, int] = {}
        self.rows: list[LoggedReading] = []
        self.slipped = False  # a column or a row is unknown, so that what is missing may stand there
