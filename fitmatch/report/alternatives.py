"""The part of the text report that shows the next best plans of each kind, where they were asked for."""

from fitmatch.parts import Alternative, Alternatives, Placement, Plan
from fitmatch.report.beside import by_position, figure_columns, shells_of
from fitmatch.report.layout import Column, clean, paragraph, table, whole
from fitmatch.report.scale import Scale


def alternatives(plan: Plan, scale: Scale) -> list[list[str]]:
    """A block for each kind; none where nothing was asked for."""
    return [_kind(plan, kind, found, scale) for kind, found in plan.alternatives.items()]


def _kind(plan: Plan, kind: str, found: Alternatives, scale: Scale) -> list[str]:
    lines = paragraph(f"{clean(kind).upper()}: the next best plans, each with figures worse than the one before")
    if not plan.proofs[kind].proven:
        return [*lines, *paragraph("Not sought: what is not proven to be the best has no known next.")]
    if found.plans:
        lines += _figures(plan, kind, found, scale)
        for number, other in enumerate(found.plans, 1):
            lines += paragraph(_changes(plan, kind, other), first=f"{number}: ", rest="   ")
    if not found.complete:
        lines += paragraph("Stopped before all of them were found and proven.")
    elif not found.plans:
        lines += paragraph("There is none: every plan has the same figures.")
    return lines


def _figures(plan: Plan, kind: str, found: Alternatives, scale: Scale) -> list[str]:
    rows = [("this plan", plan.figures[kind])]
    rows += [(str(number), other.figures) for number, other in enumerate(found.plans, 1)]
    proven = ["yes", *("yes" if other.proven else "NO" for other in found.plans)]
    return table([*figure_columns(rows, scale), Column("proven", proven, "left")])


def _changes(plan: Plan, kind: str, other: Alternative) -> str:
    """The positions that get other shells than in the answer."""
    names, before, after = by_position(plan, kind, other.placements)
    changed = [name for name in names if _keys(before.get(name)) != _keys(after.get(name))]
    text = ", ".join(f"{whole(name)} {shells_of(after.get(name))}" for name in changed)
    text += "; the others as in this plan." if len(changed) < len(names) else "."
    if other.against_plan is not None:
        text += f" Its worst deviation is {other.against_plan}."
    return text


def _keys(placement: Placement | None) -> object:
    return None if placement is None else (placement.upper.key, placement.lower.key)
