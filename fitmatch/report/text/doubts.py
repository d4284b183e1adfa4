"""The text of `fitmatch check`."""

from typing import TYPE_CHECKING

from fitmatch.records.keys import full_name
from fitmatch.report.shared.layout import clean, items, paragraph, whole
from fitmatch.report.words.doubts import doubt_lines

if TYPE_CHECKING:
    from fitmatch.gauging.doubts.check import Checked

UNDETECTABLE = (
    "No check can see a shift that all readings of a feature share and that is smaller than the drawing's band, a "
    "box read with a gauge that moved before it where no other box has its grade or step, nor two walls exchanged that "
    "are both plausible."
)
_CONFIRMED = (
    "A reading that stands after all: write why into its column confirmed (journal_confirmed, housing_bore_confirmed "
    "or wall_confirmed where it has no row of its own)."
)


def doubts_text(checked: "Checked", unit: str) -> str:
    """The whole report of `fitmatch check`, lengths in `unit`: first what to measure again."""
    title, count, doubts = checked.job.title, checked.readings, checked.doubts
    blocks = [[*(paragraph(clean(title)) if title else []), *paragraph(_summary(count, len(doubts)))]]
    blocks += [paragraph(line, first="  ", rest="      ") for line in doubt_lines(doubts, unit, checked.job.unit)]
    blocks += [
        paragraph(
            f"NOT YET MEASURED: {whole(p.name)} ({whole(p.kind)}): no wall of its locked {whole(full_name(shell.key))}",
            first="  ",
            rest="      ",
        )
        for p, shell in checked.unmeasured_locks
    ]
    blocks += [paragraph(_CONFIRMED) if doubts else [], items("WARNINGS", list(map(clean, checked.job.warnings)))]
    blocks += [paragraph(UNDETECTABLE)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _summary(readings: int, doubts: int) -> str:
    if not doubts:
        return f"{readings} readings: no doubt about any."
    them = "it" if doubts == 1 else "them"
    return (
        f"{doubts} of {readings} readings IN DOUBT: measure {them} again before a shell is fitted. Nothing was changed."
    )
