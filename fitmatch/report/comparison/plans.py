"""The table of the ways of choosing, and which of them are equal."""

from collections.abc import Mapping, Sequence

from fitmatch.report.comparison.rows import chance_inside, figures, not_proven
from fitmatch.report.screen.table import target_and_limits
from fitmatch.report.shared.layout import Column, paragraph, table
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.study.comparison.compared import Compared, PlanRow
from fitmatch.wording import listed


def ways_of_choosing(compared: Compared, told: str, rows: Sequence[PlanRow], scale: Scale) -> list[str]:
    """Of one kind, `told` being its name."""
    return [*paragraph(_aim(compared, told, rows[0], scale)), *_plans(rows, scale)]


def _aim(compared: Compared, told: str, row: PlanRow, scale: Scale) -> str:
    """What the kind is fitted to."""
    names = compared.names or ("",)
    answer = compared.answers[names.index(row.found.job)]
    group = next(g.group for g in answer.groups if g.group.label == row.found.kind)
    members = [one.read for one in answer.members(group)]
    positions = [p for job in members for p in job.positions if p.kind == group.kind]
    return f"{told.upper()}: {target_and_limits(positions, scale)}"


def _plans(rows: Sequence[PlanRow], scale: Scale) -> list[str]:
    lines = table(
        rows,
        Column("plan", lambda row: row.plan, "left"),
        *figures(rows, scale, mean=True),
        *sure_and_left(rows),
    )
    same = _alike({row.plan: {row.plan, *row.same} for row in rows})
    equal = [names for names in _alike({row.plan: {row.plan, *row.equal} for row in rows}) if names not in same]
    for head, alike in (("One and the same plan", same), ("Equal within measurement", equal)):
        if alike:
            lines += paragraph(f"{head}: {'; '.join(map(listed, alike))}.")
    breaking = [f"{row.plan} {row.rules_broken}" for row in rows if row.rules_broken]
    if breaking:
        lines += paragraph(f"Rules broken: {', '.join(breaking)}.")
    return [*lines, *not_proven(rows, scale, lambda row: row.plan)]


def sure_and_left(rows: Sequence[PlanRow]) -> list[Column[PlanRow]]:
    """The columns that plans alone have: the chance that all are inside, where it is known, and leftover sets."""
    return [
        chance_inside(rows),
        Column("sets\nleft", lambda row: NOTHING if row.leftover_sets is None else str(row.leftover_sets)),
    ]


def _alike(close: Mapping[str, set[str]]) -> list[list[str]]:
    """The plans that are `close`: those that are so to each other and to nothing else together, others in pairs."""
    found: list[list[str]] = []
    for at, (name, near) in enumerate(close.items()):
        later = [other for other in list(close)[at + 1 :] if other in near]
        if all(close[other] == near for other in near):
            found += [[name, *later]] if len(near) == len(later) + 1 > 1 else []
        else:
            found += [[name, other] for other in later]
    return found
