"""What the text report needs to set another plan of a kind beside the answer."""

from collections.abc import Callable, Mapping, Sequence

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.parts import KindFigures, Placement, Plan
from fitmatch.report.facts import DANGER
from fitmatch.report.layout import Column, whole
from fitmatch.report.placing import NOT_FILLED, shell_name
from fitmatch.report.scale import Scale

NOTHING = "-"


def figure_columns(rows: Sequence[tuple[str, KindFigures]], scale: Scale) -> list[Column]:
    """Everything that plans are ordered by, one row for each plan."""
    one = NM_PER_UNIT[scale.step] ** 2

    def column(head: str, show: Callable[[KindFigures], str]) -> Column:
        return Column(head, [show(figures) for _, figures in rows])

    def steps(nm: int | None) -> str:
        return NOTHING if nm is None else scale.steps(nm)

    return [
        Column("", [name for name, _ in rows], "left"),
        column("filled", lambda f: str(f.filled)),
        column("below\nmin", lambda f: str(f.below)),
        column("above\nmax", lambda f: str(f.above)),
        column("counted", lambda f: str(f.counted)),
        column(f"worst off\n{scale.step}", lambda f: steps(f.worst_deviation_nm)),
        column(
            "sum of\nsquares",
            lambda f: NOTHING if f.sum_squared_deviation_nm2 is None else f"{f.sum_squared_deviation_nm2 / one:.2f}",
        ),
        column(f"spread\n{scale.step}", lambda f: steps(f.spread_nm)),
        column("boxes", lambda f: str(f.boxes)),
    ]


def by_position(
    plan: Plan, kind: str, placements: Sequence[Placement]
) -> tuple[list[str], Mapping[str, Placement], Mapping[str, Placement]]:
    """The positions of a kind that the answer or another plan fills, in file order, and both plans by position."""
    before = {p.position.name: p for p in plan.placements if p.position.kind == kind}
    after = {p.position.name: p for p in placements}
    return [p.name for p in plan.job.positions if p.name in before or p.name in after], before, after


def shells_of(placement: Placement | None) -> str:
    """The two shells of a bore, with the warning where they must not be assembled."""
    if placement is None:
        return NOT_FILLED
    shells = f"{shell_name(placement.upper)} + {shell_name(placement.lower)}"
    return shells if placement.within_limits else f"{shells} ({whole(DANGER)})"
