"""Doubts about readings, for a reader and for a program."""

from collections.abc import Sequence

from fitmatch import __version__
from fitmatch.gauging.doubts import Checked
from fitmatch.measuring import Doubt
from fitmatch.report.emit import Value, document, length
from fitmatch.report.layout import clean, paragraph

SCHEMA = 1
UNDETECTABLE = (
    "No check can see a shift that all readings of a feature share and that is smaller than the drawing's band, nor "
    "two walls exchanged that are both plausible."
)


def doubt_values(doubts: Sequence[Doubt], unit: str) -> list[dict[str, Value]]:
    """One object for each doubt."""
    return [
        {
            "file": d.file,
            "row": d.row,
            "item": d.item,
            "feature": d.feature,
            "reading": length(d.reading_nm, unit),
            "text": d.text,
            "signatures": d.signatures,
            "likely": d.likely,
            "measure_again": d.measure_again,
        }
        for d in doubts
    ]


def doubt_lines(doubts: Sequence[Doubt]) -> list[str]:
    """One item for each doubt: what looks wrong and where, what is likely behind it, what to do."""
    lines = []
    for d in doubts:
        where = f"{d.file}:{d.row}" if d.row else d.file
        lines.append(clean(f"{d.text}: {'; or '.join(d.likely)}; {d.measure_again} [{where}]"))
    return lines


def doubts_text(checked: Checked) -> str:
    """The report of `fitmatch check`."""
    title, count, doubts = checked.job.title, checked.readings, checked.doubts
    lines = [*paragraph(clean(title)), ""] if title else []
    if not doubts:
        lines += paragraph(f"{count} readings: no doubt about any.")
    else:
        lines += paragraph(f"{count} readings, {len(doubts)} in doubt. Nothing was changed.")
        for line in doubt_lines(doubts):
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


def doubts_document(checked: Checked) -> str:
    """The same as one JSON document, described by doubts.schema.json beside this file."""
    unit = checked.job.unit
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": checked.job.title,
            "unit": unit,
            "readings": checked.readings,
            "doubts": [*doubt_values(checked.doubts, unit)],
        }
    )
