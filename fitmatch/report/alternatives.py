"""The part of the text report that shows the next best plans of each kind, where they were asked for."""

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.parts import Alternative, Alternatives, Placement, Plan
from fitmatch.report.facts import DANGER
from fitmatch.report.layout import Column, clean, paragraph, table, whole
from fitmatch.report.placing import NOT_FILLED, shell_name
from fitmatch.report.scale import Scale

_NOTHING = "-"


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
    rows = [plan.figures[kind], *(other.figures for other in found.plans)]
    square = NM_PER_UNIT[scale.step] ** 2
    columns = [
        Column("", ["this plan", *map(str, range(1, len(rows)))], "left"),
        Column("filled", [str(f.filled) for f in rows]),
        Column("below\nmin", [str(f.below) for f in rows]),
        Column("above\nmax", [str(f.above) for f in rows]),
        Column("counted", [str(f.counted) for f in rows]),
        Column(f"worst off\n{scale.step}", [_steps(f.worst_deviation_nm, scale) for f in rows]),
        Column("sum of\nsquares", [_square(f.sum_squared_deviation_nm2, square) for f in rows]),
        Column(f"spread\n{scale.step}", [_steps(f.spread_nm, scale) for f in rows]),
        Column("proven", ["yes", *("yes" if a.proven else "NO" for a in found.plans)], "left"),
    ]
    return table(columns)


def _changes(plan: Plan, kind: str, other: Alternative) -> str:
    """The positions that get other shells than in the answer."""
    before = {p.position.name: p for p in plan.placements if p.position.kind == kind}
    after = {p.position.name: p for p in other.placements}
    names = [p.name for p in plan.job.positions if p.kind == kind and p.name in before | after]
    changed = [name for name in names if _keys(before.get(name)) != _keys(after.get(name))]
    text = ", ".join(f"{whole(name)} {_shells(after.get(name))}" for name in changed)
    text += "; the others as in this plan." if len(changed) < len(names) else "."
    if other.against_plan is not None:
        text += f" Its worst deviation is {other.against_plan}."
    return text


def _keys(placement: Placement | None) -> object:
    return None if placement is None else (placement.upper.key, placement.lower.key)


def _shells(placement: Placement | None) -> str:
    if placement is None:
        return NOT_FILLED
    shells = f"{shell_name(placement.upper)} + {shell_name(placement.lower)}"
    return shells if placement.within_limits else f"{shells} ({whole(DANGER)})"


def _steps(nm: int | None, scale: Scale) -> str:
    return _NOTHING if nm is None else scale.steps(nm)


def _square(nm2: int | None, one: int) -> str:
    return _NOTHING if nm2 is None else f"{nm2 / one:.2f}"
