"""The rows of a comparison kind by kind, the columns that all its tables have, and what is said of unproven rows."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from fitmatch.records.answers.placements import KindFigures
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, clean, paragraph, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.words.levels import in_words
from fitmatch.study.comparison.compared import BoxesRow, Compared, Found, PlanRow, Point, RuleRow, TargetRow
from fitmatch.wording import listed

ChanceT = TypeVar("ChanceT", PlanRow, TargetRow)
RowT = TypeVar("RowT", PlanRow, TargetRow, RuleRow, BoxesRow, Point)


def by_kind(compared: Compared, rows: Sequence[RowT]) -> list[tuple[str, list[RowT]]]:
    """The rows of each kind of each job, with the name of both; those of jobs that are alike in the kind once."""
    found: dict[tuple[str, str], list[RowT]] = {}
    for row in rows:
        found.setdefault((row.found.job, row.found.kind), []).append(row)
    together = alike(compared)
    return [
        (f"{names}, {clean(kind)}" if (names := jobs_told(together[job, kind])) else clean(kind), some)
        for (job, kind), some in found.items()
        if job == together[job, kind][0]
    ]


def trade_offs(compared: Compared) -> list[tuple[str, list[Point]]]:
    """The points of each kind of each job, and of each figure that the worst deviation is traded off against."""
    figures = dict.fromkeys(point.against for point in compared.trade_off or ())
    return [
        told
        for figure in figures
        for told in by_kind(compared, [point for point in compared.trade_off or () if point.against == figure])
    ]


def jobs_told(names: Sequence[str]) -> str:
    """The names of jobs as they head a table; empty for one that has no name."""
    told = [whole(name) for name in names if name]
    return listed(told) if told else ""


def alike(compared: Compared) -> dict[tuple[str, str], tuple[str, ...]]:
    """By job and kind, the jobs answered separately that have the same positions of the kind and the same answer in
    every table, as two sets of rods for one crankshaft have the same mains."""
    told: dict[tuple[str, str], object] = {}
    for name, answer in zip(compared.names or ("",), compared.answers, strict=True):
        for kind in (g.group.label for g in answer.groups):
            placed = [(p.position.name, p.upper.key, p.lower.key, p.clearance_nm) for p in answer.placements]
            positions = [replace(p, row=0, note="") for one in answer.plans for p in one.read.positions]
            rows = [row for row in _rows(compared) if (row.found.job, row.found.kind) == (name, kind)]
            told[name, kind] = (
                [p for p in positions if p.kind == kind],
                [p for p in placed if p[0] in {q.name for q in positions if q.kind == kind}],
                [row._replace(found=row.found._replace(job="")) for row in rows],
            )
    return {
        (name, kind): tuple(other for (other, same), theirs in told.items() if same == kind and theirs == mine)
        for (name, kind), mine in told.items()
    }


def _rows(compared: Compared) -> Iterator[PlanRow | TargetRow | RuleRow | BoxesRow | Point]:
    for table in (compared.plans, compared.targets, compared.rules, compared.boxes, compared.trade_off):
        yield from table or ()


def figures(rows: Sequence[RowT], scale: Scale, *, mean: bool = False) -> list[Column[RowT]]:
    """The columns that all tables have."""

    def of(show: Callable[[KindFigures], str]) -> Callable[[RowT], str]:
        return lambda row: show(row.found.figures)

    return [
        Column("filled", lambda row: filled(row.found)),
        Column("below,\nabove", of(lambda f: f"{f.below}, {f.above}")),
        Column(f"worst\n{scale.step}", of(lambda f: scale.steps(f.worst_deviation_nm))),
        Column(f"spread\n{scale.step}", of(lambda f: scale.steps(f.spread_nm))),
        Column("mean", of(lambda f: scale.rounded(f.mean_clearance_nm)), shown=mean),
        Column("sum of\nsquares", of(lambda f: scale.squares(f.sum_squared_deviation_nm2))),
        Column("boxes", of(lambda f: str(f.boxes))),
    ]


def chance_inside(rows: Sequence[ChanceT]) -> Column[ChanceT]:
    """The chance that all are inside, where it is known of any."""
    return Column(
        "chance\ninside",
        lambda row: NOTHING if row.joint_chance is None else f"{row.joint_chance:.4f}",
        shown=any(row.joint_chance is not None for row in rows),
    )


def filled(found: Found) -> str:
    """How many positions have shells, and of how many if not all have."""
    return f"{found.figures.filled} of {found.positions}" if found.unfilled else str(found.figures.filled)


def not_proven(rows: Sequence[RowT], scale: Scale, name: Callable[[RowT], str]) -> list[str]:
    """One line for the rows that could not be proven in time."""
    found = [row for row in rows if not row.found.proof.proven]
    if not found:
        return []
    told = "; ".join(f"{clean(name(row))} ({in_words(row.found.proof, scale)})" for row in found)
    return paragraph(f"{NOT_PROVEN}, a better choice may exist: {told}.")
