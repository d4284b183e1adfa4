"""The text of `fitmatch check`."""

from typing import TYPE_CHECKING, Final

from fitmatch.records.keys import full_name
from fitmatch.report.shared.layout import clean, items, paragraph, whole
from fitmatch.report.words.doubts import doubt_lines

if TYPE_CHECKING:
    from fitmatch.gauging.doubts.check import Checked

UNSEEN: Final = (
    "a shift that all readings of a feature share, such as a zero error or walls read before coating, and that is "
    "smaller than the drawing's tolerance; without a drawing up to about 0.05 mm in all journals or housing bores, "
    "half as much in all walls",
    "a gauge that moved by so little that all readings are still inside the drawing's limits",
    "a whole box read at the joint, before coating or with a gauge that moved, where no other box has its grade or "
    "step",
    "a box measured with a flat anvil that then happens to fit journals of another undersize",
    "two plausible readings exchanged: of two journals, two housing bores or two walls",
    "the uppers and the lowers of a box exchanged, or the labels of two boxes where these are no lengths, such as "
    "grades",
    "journals or housing bores typed one row down, or both",
    "a journal or bore copied from another row, where each was read once",
    "a last digit lost where it was 0, or so small that the reading still agrees with the others",
    "a single mistake not much larger than the scatter",
)
_UNSEEN_HEAD: Final = "No check can see these; measure each bore with its shells in before the engine runs:"
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
    blocks += [items(_UNSEEN_HEAD, UNSEEN, first="- ", rest="  ")]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _summary(readings: int, doubts: int) -> str:
    if not doubts:
        return f"{readings} readings: no doubt about any."
    them = "it" if doubts == 1 else "them"
    return (
        f"{doubts} of {readings} readings IN DOUBT: measure {them} again before a shell is fitted. Nothing was changed."
    )
