"""The table of the ways of choosing, and which of them are equal."""

from collections.abc import Sequence

from fitmatch.report.comparison.rows import figures, not_proven
from fitmatch.report.screen.table import target_and_limits
from fitmatch.report.shared.layout import Column, paragraph, table
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.study.comparison.compared import Compared, PlanRow
from fitmatch.wording import listed


def ways_of_choosing(
    compared: Compared, told: str, rows: Sequence[PlanRow], scale: Scale, *, measured: bool
) -> list[str]:
    """Of one kind, `told` being its name; `measured`: something is known of the gauges."""
    return [*paragraph(_aim(compared, told, rows[0], scale)), *_plans(rows, scale, measured=measured)]


def _aim(compared: Compared, told: str, row: PlanRow, scale: Scale) -> str:
    """What the kind is fitted to."""
    names = compared.names or ("",)
    answer = compared.answers[names.index(row.found.job)]
    group = next(g.group for g in answer.groups if g.group.label == row.found.kind)
    members = [one.read for one in answer.members(group)]
    positions = [p for job in members for p in job.positions if p.kind == group.kind]
    return f"{told.upper()}: {target_and_limits(positions, scale)}"


def _plans(rows: Sequence[PlanRow], scale: Scale, *, measured: bool) -> list[str]:
    lines = table(
        rows,
        Column("plan", lambda row: row.plan, "left"),
        *figures(rows, scale, mean=True),
        Column(
            "chance\ninside",
            lambda row: NOTHING if row.joint_chance is None else f"{row.joint_chance:.4f}",
            shown=any(row.joint_chance is not None for row in rows),
        ),
        Column("sets\nleft", lambda row: NOTHING if row.leftover_sets is None else str(row.leftover_sets)),
    )
    if alike := _alike(rows):
        head = "Equal within measurement" if measured else "One and the same plan"
        lines += paragraph(f"{head}: {'; '.join(listed(names) for names in alike)}.")
    breaking = [f"{row.plan} {row.rules_broken}" for row in rows if row.rules_broken]
    if breaking:
        lines += paragraph(f"Rules broken: {', '.join(breaking)}.")
    return [*lines, *not_proven(rows, scale, lambda row: row.plan)]


def _alike(rows: Sequence[PlanRow]) -> list[list[str]]:
    """The plans that are equal: those that are all equal to each other and to nothing else together, others in
    pairs."""
    close = {row.plan: {row.plan, *row.equal} for row in rows}
    found: list[list[str]] = []
    for at, (name, near) in enumerate(close.items()):
        later = [other for other in list(close)[at + 1 :] if other in near]
        if all(close[other] == near for other in near):
            found += [[name, *later]] if len(near) == len(later) + 1 > 1 else []
        else:
            found += [[name, other] for other in later]
    return found
