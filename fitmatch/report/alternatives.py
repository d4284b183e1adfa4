"""The part of the text report that shows the next best plans of each kind, where they were asked for."""

from fitmatch.placements import Placement
from fitmatch.plans import Alternatives, OtherPlan, Plan
from fitmatch.report.beside import Beside, Row, answered, by_position, compared, figure_columns, shells_of
from fitmatch.report.layout import Column, clean, paragraph, table, whole
from fitmatch.report.scale import Scale

_HEADING = "NEXT BEST PLANS (each has figures worse than the one before)"


def alternatives(plan: Plan, scale: Scale) -> list[list[str]]:
    """A heading and a block for each kind; none where nothing was asked for."""
    blocks = [_kind(label, answered(plan, label), found, scale) for label, found in plan.alternatives.items()]
    return [[_HEADING, *blocks[0]], *blocks[1:]] if blocks else []


def _kind(label: str, kind: Beside, found: Alternatives, scale: Scale) -> list[str]:
    lines = [clean(label).upper()]
    if not kind.answer.proof.proven:
        return [*lines, *paragraph("Not sought: what is not proven to be the best has no known next.")]
    if found.plans:
        rows = compared("this plan", kind, {str(number): other for number, other in enumerate(found.plans, 1)})
        proven = Column[Row]("proven", lambda row: "yes" if row.proven else "NO", "left")
        lines += [*table(rows, *figure_columns(rows, scale), proven), ""]
        for number, other in enumerate(found.plans, 1):
            lines += paragraph(_changes(kind, other), first=f"{number}: ", rest="   ")
    if not found.complete:
        lines += paragraph("Stopped before all of them were found and proven.")
    elif not found.plans:
        lines += paragraph("There is none: every plan has the same figures.")
    return lines


def _changes(kind: Beside, other: OtherPlan) -> str:
    """The positions that get other shells, or another housing, than in the answer."""
    before, after = kind.placements, by_position(other.placements)
    filled = [key for key in kind.names if key in before or key in after]
    changed = [key for key in filled if _what(before.get(key)) != _what(after.get(key))]
    text = ", ".join(f"{whole(kind.names[key])} {shells_of(after.get(key))}" for key in changed)
    text += "; the others as in this plan." if len(changed) < len(filled) else "."
    if other.against_plan is not None:
        text += f" Its worst deviation is {other.against_plan}."
    return text


def _what(placement: Placement | None) -> object:
    return placement and (placement.upper.key, placement.lower.key, placement.position.housing)
