"""What `fitmatch assembled` found as one JSON document, described by assembled.schema.json, and as CSV."""

from typing import Final

from fitmatch.gauging.assembled import Check, Comparison
from fitmatch.records.keys import full_name
from fitmatch.report.data.values import uncertainty_value
from fitmatch.report.shared.emit import Value, document, length, rows_text
from fitmatch.report.words.likely_causes import likely_causes, missing, refusal, why_not
from fitmatch.report.words.with_shells_in import noted_otherwise
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added

_WORDS: Final = ("position", "kind", "upper", "lower", "method", "gauge", "by", "date", "verdict", "teaches")
_LENGTHS: Final = ("assembled", "calculated", "seating", "difference", "uncertainty", "apart_from", "mistake_from")


def assembled_document(comparison: Comparison, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": comparison.job.title,
            "unit": unit,
            "readings": [_reading(comparison, c, unit) for c in comparison.checks],
            "not_compared": [
                {"row": n.reading.row, "position": n.position.name, "kind": n.position.kind, "missing": missing(n)}
                for n in comparison.not_compared
            ],
            "not_as_planned": [
                {"position": name, "told": noted_otherwise(facts)} for name, facts in comparison.noted.against.items()
            ],
            "unread": [{"position": p.name, "kind": p.kind} for p in comparison.unread],
            "seating": {kind: _seating(comparison, kind, unit) for kind in comparison.kinds},
            "warnings": comparison.job.warnings,
            "digest": comparison.job.digest,
        }
    )


def assembled_rows(comparison: Comparison, unit: str) -> str:
    """One row per reading that was compared, in file order; its bounds in whole nanometres."""
    rows = (
        {
            **_reading(comparison, check, unit),
            "upper": full_name(check.reading.upper),
            "lower": full_name(check.reading.lower),
            "uncertainty": None if check.bound_nm is None else length(round(check.bound_nm), unit),
            "apart_from": length(round(check.apart_from_nm), unit),
            "mistake_from": length(round(check.mistake_from_nm), unit),
            "likely": "; ".join(likely_causes(comparison, check)),
        }
        for check in comparison.checks
    )
    return rows_text((*_WORDS, *_LENGTHS, "within_limits", "likely"), _LENGTHS, unit, rows)


def _reading(comparison: Comparison, check: Check, unit: str) -> dict[str, Value]:
    reading, placement, uncertainty = check.reading, check.placement, check.uncertainty
    return {
        "row": reading.row,
        "position": reading.position,
        "kind": placement.position.kind,
        "upper": {"shell": reading.upper[1], "box": reading.upper[0]},
        "lower": {"shell": reading.lower[1], "box": reading.lower[0]},
        "method": reading.method,
        "gauge": reading.gauge,
        "by": reading.by or None,
        "date": reading.date or None,
        "read": reading.feature,
        "as_read": length(check.as_read_nm, unit),
        "uncounted": length(placement.uncounted_nm, unit),
        "assembled": length(check.assembled_nm, unit),
        "tightest": length(check.tightest_nm, unit),
        "calculated": length(placement.clearance_nm, unit),
        "seating": length(placement.position.seating_nm, unit),
        "difference": length(check.difference_nm, unit),
        "uncertainty": uncertainty_value(uncertainty, unit) | {"unknown": uncertainty.unknown if uncertainty else ()},
        "apart_from": length(check.apart_from_nm, unit),
        "mistake_from": length(check.mistake_from_nm, unit),
        "verdict": str(check.verdict),
        "out_again_by": comparison.noted.settled.get(reading.row),
        "likely": likely_causes(comparison, check),
        "min": length(placement.position.min_nm, unit),
        "max": length(placement.position.max_nm, unit),
        "within_limits": check.within_limits,
        "teaches": check.why_not is None,
        "why_not": None if check.why_not is None else why_not(check.why_not),
    }


def _seating(comparison: Comparison, kind: str, unit: str) -> dict[str, Value]:
    """What the kind's table has, and what was learned from its readings."""
    fit, learned = comparison.job.fits[kind], comparison.learned.get(kind)
    return {
        "seating": length(fit.seating_nm, unit),
        "seating_u": length(fit.seating_u_nm, unit),
        "seating_readings": fit.seating_readings,
        "learned": learned
        and {
            "positions": learned.positions,
            "seating": length(learned.seating_nm, unit),
            "seating_u": length(learned.u_nm, unit),
        },
        "refused": None if kind not in comparison.refused else refusal(comparison.refused[kind]),
    }
