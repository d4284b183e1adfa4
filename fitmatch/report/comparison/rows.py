"""The rows of a comparison kind by kind, the columns that all its tables have, and what is said of unproven rows."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from fitmatch.records.placements import KindFigures
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, clean, paragraph, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.report.words.levels import in_words
from fitmatch.study.comparison.compared import BoxesRow, Found, PlanRow, Point, RuleRow, TargetRow

RowT = TypeVar("RowT", PlanRow, TargetRow, RuleRow, BoxesRow, Point)


def by_kind(rows: Sequence[RowT]) -> list[tuple[str, list[RowT]]]:
    """The rows of each kind of each job, with the name of both."""
    found: dict[tuple[str, str], list[RowT]] = {}
    for row in rows:
        found.setdefault((row.found.job, row.found.kind), []).append(row)
    return [(f"{whole(job)}, {clean(kind)}" if job else clean(kind), some) for (job, kind), some in found.items()]


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
