"""What the rows of `fitmatch range` are called, and the shapes in words."""

from typing import Final

from fitmatch.study.drawings.ranges import Row

SHAPE_WORDS: Final = {
    "uniform": "evenly between its limits",
    "triangular": "in a triangle between its limits, most often in the middle",
    "normal": "normally, its limits three standard deviations from the middle and nothing beyond them",
}
_THICKER: Final = ("", "one half thicker", "both halves thicker")


def row_name(row: Row) -> str:
    """The name of the stack, and what differs from it."""
    return ", ".join(filter(None, (row.stack.name, "coated" if row.coated else "", _THICKER[row.thicker])))
