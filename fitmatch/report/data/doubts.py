"""What `fitmatch check` found as one JSON document, described by doubts.schema.json beside this file."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from fitmatch.records.measuring import Doubt
from fitmatch.report.shared.emit import Value, document, length
from fitmatch.report.words.doubts import likely, looks_wrong, measure_again
from fitmatch.version import __version__

if TYPE_CHECKING:
    from fitmatch.gauging.doubts.check import Checked

SCHEMA: Final = 1


def doubt_values(doubts: Sequence[Doubt], unit: str) -> list[dict[str, Value]]:
    """One object for each doubt."""
    return [
        {
            "file": d.file,
            "row": d.row,
            "item": d.item,
            "feature": d.feature,
            "column": d.column or None,
            "reading": length(d.reading_nm, unit),
            "text": looks_wrong(d, unit),
            "signatures": d.signatures,
            "likely": likely(d),
            "measure_again": measure_again(d),
        }
        for d in doubts
    ]


def doubts_document(checked: "Checked", unit: str) -> str:
    """The whole document, lengths in `unit`."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": checked.job.title,
            "unit": unit,
            "readings": checked.readings,
            "doubts": [*doubt_values(checked.doubts, unit)],
            "warnings": checked.job.warnings,
        }
    )
