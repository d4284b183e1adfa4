"""The text of `fitmatch check`."""

from typing import TYPE_CHECKING

from fitmatch.report.shared.layout import clean, paragraph
from fitmatch.report.words.doubts import doubt_lines

if TYPE_CHECKING:
    from fitmatch.gauging.doubts.check import Checked

UNDETECTABLE = (
    "No check can see a shift that all readings of a feature share and that is smaller than the drawing's band, nor "
    "two walls exchanged that are both plausible."
)


def doubts_text(checked: "Checked", unit: str) -> str:
    """The whole report of `fitmatch check`, lengths in `unit`."""
    title, count, doubts = checked.job.title, checked.readings, checked.doubts
    lines = [*paragraph(clean(title)), ""] if title else []
    if not doubts:
        lines += paragraph(f"{count} readings: no doubt about any.")
    else:
        lines += paragraph(f"{count} readings, {len(doubts)} in doubt. Nothing was changed.")
        for line in doubt_lines(doubts, unit):
            lines += ["", *paragraph(line, first="  ", rest="      ")]
        lines += [
            "",
            *paragraph(
                "A reading that stands after all: write why into its column confirmed (journal_confirmed, "
                "housing_bore_confirmed or wall_confirmed where it has no row of its own)."
            ),
        ]
    lines += ["", *paragraph(UNDETECTABLE)]
    return "\n".join(lines) + "\n"
