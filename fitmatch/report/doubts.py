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
    if not doubts:
        return []
    from fitmatch.report.mistakes import likely, looks_wrong, measure_again

    return [
        {
            "file": d.file,
            "row": d.row,
            "item": d.item,
            "feature": d.feature,
            "reading": length(d.reading_nm, unit),
            "text": looks_wrong(d, unit),
            "signatures": d.signatures,
            "likely": likely(d),
            "measure_again": measure_again(d),
        }
        for d in doubts
    ]


def doubt_lines(doubts: Sequence[Doubt], unit: str) -> list[str]:
    """One item for each doubt: what looks wrong and where, what is likely behind it, what to do."""
    if not doubts:
        return []
    from fitmatch.report.mistakes import likely, looks_wrong, measure_again

    lines = []
    for d in doubts:
        where = f"{d.file}:{d.row}" if d.row else d.file
        lines.append(clean(f"{looks_wrong(d, unit)}: {'; or '.join(likely(d))}; {measure_again(d)} [{where}]"))
    return lines


def doubts_text(checked: Checked, unit: str) -> str:
    """The report of `fitmatch check`, lengths in `unit`."""
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


def doubts_document(checked: Checked, unit: str) -> str:
    """The same as one JSON document, described by doubts.schema.json beside this file."""
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
