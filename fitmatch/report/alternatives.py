"""The part of the text report that shows the next best plans of each kind, where they were asked for."""

from fitmatch.placements import Placement
from fitmatch.plans import Alternatives, OtherPlan, Plan
from fitmatch.pools import PoolPlan
from fitmatch.report.beside import Answered, answered, by_name, figure_columns, shells_of
from fitmatch.report.layout import Column, clean, paragraph, table, whole
from fitmatch.report.scale import Scale

_HEADING = "NEXT BEST PLANS (each has figures worse than the one before)"


def alternatives(answer: Plan | PoolPlan, scale: Scale) -> list[list[str]]:
    """A heading and a block for each kind; none where nothing was asked for."""
    kinds = answered(answer) if answer.alternatives else {}
    found = [_kind(label, kinds[label], found, scale) for label, found in answer.alternatives.items()]
    return [[_HEADING, *found[0]], *found[1:]] if found else []


def _kind(label: str, kind: Answered, found: Alternatives, scale: Scale) -> list[str]:
    lines = [clean(label).upper()]
    if not kind.proven:
        return [*lines, *paragraph("Not sought: what is not proven to be the best has no known next.")]
    if found.plans:
        lines += [*_figures(kind, found, scale), ""]
        for number, other in enumerate(found.plans, 1):
            lines += paragraph(_changes(kind, other), first=f"{number}: ", rest="   ")
    if not found.complete:
        lines += paragraph("Stopped before all of them were found and proven.")
    elif not found.plans:
        lines += paragraph("There is none: every plan has the same figures.")
    return lines


def _figures(kind: Answered, found: Alternatives, scale: Scale) -> list[str]:
    others = {str(number): other for number, other in enumerate(found.plans, 1)}
    proven = ["yes", *("yes" if other.proven else "NO" for other in found.plans)]
    return table([*figure_columns("this plan", kind, others, scale), Column("proven", proven, "left")])


def _changes(kind: Answered, other: OtherPlan) -> str:
    """The positions that get other shells, or another housing, than in the answer."""
    before, after = by_name(kind.placements()), by_name(other.placements)
    names = [name for name in kind.names() if name in before or name in after]
    changed = [name for name in names if _what(before.get(name)) != _what(after.get(name))]
    text = ", ".join(f"{whole(name)} {shells_of(after.get(name))}" for name in changed)
    text += "; the others as in this plan." if len(changed) < len(names) else "."
    if other.against_plan is not None:
        text += f" Its worst deviation is {other.against_plan}."
    return text


def _what(placement: Placement | None) -> object:
    return placement and (placement.upper.key, placement.lower.key, placement.position.housing)
