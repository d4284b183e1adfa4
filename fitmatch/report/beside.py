"""What the text report needs to set another plan of a kind beside the answer."""

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.parts import Position
from fitmatch.placements import KindFigures, Placement
from fitmatch.plans import OtherPlan, Plan
from fitmatch.report.facts import DANGER
from fitmatch.report.layout import Column, whole
from fitmatch.report.placing import NOT_FILLED, shell_name
from fitmatch.report.scale import Scale

NOTHING = "-"

Key = tuple[str, str]  # of a position


class Beside(NamedTuple):
    """One kind of the answer, of one job or of several that decide it together."""

    figures: KindFigures
    complete: int  # how many of several jobs are complete in it
    proven: bool
    placements: dict[Key, Placement]  # as it is filled
    names: dict[Key, str]  # of all its positions, in file order


def answered(plan: Plan, label: str) -> Beside:
    """What the answer has for one group."""
    answer = next(g for g in plan.groups if g.group.label == label)
    kind, members = answer.group.kind, plan.members(answer.group)
    return Beside(
        answer.figures,
        answer.complete,
        answer.proof.proven,
        by_position(p for one in members for p in one.of_kind(kind)),
        {p.key: full_name(p) for one in members for p in one.job.positions if p.kind == kind},
    )


def figure_columns(name: str, kind: Beside, others: Mapping[str, OtherPlan], scale: Scale) -> list[Column]:
    """Everything that plans are ordered by, one row for the answer, called `name`, and each other plan."""
    one = NM_PER_UNIT[scale.step]
    rows: list[tuple[str, KindFigures, int | None]] = [(name, kind.figures, kind.complete)]
    rows += [(other_name, other.figures, other.complete) for other_name, other in others.items()]

    def column(head: str, show: Callable[[KindFigures], str]) -> Column:
        return Column(head, [show(figures) for _, figures, _ in rows])

    def apart(head: str, unit_nm: int, places: int, values: list[int | None]) -> Column:
        """With as many decimals as it takes for figures that differ to look it."""
        known = {v for v in values if v is not None}
        while len({f"{v / unit_nm:.{places}f}" for v in known}) < len(known):
            places += 1
        return Column(head, [NOTHING if v is None else f"{v / unit_nm:.{places}f}" for v in values])

    columns = [Column("", [name for name, _, _ in rows], "left")]
    if all(other.complete is not None for other in others.values()):
        columns.append(Column("engines\ncomplete", [str(complete) for _, _, complete in rows]))
    columns += [
        column("filled", lambda f: str(f.filled)),
        column("below\nmin", lambda f: str(f.below)),
        column("above\nmax", lambda f: str(f.above)),
    ]
    if any(f.below_want is not None for _, f, _ in rows):
        columns += [
            column("below\nwish", lambda f: str(f.below_want or 0)),
            column("above\nwish", lambda f: str(f.above_want or 0)),
        ]
    return [
        *columns,
        column("counted", lambda f: str(f.counted)),
        apart(f"worst off\n{scale.step}", one, 1, [f.worst_deviation_nm for _, f, _ in rows]),
        apart("sum of\nsquares", one**2, 2, [f.sum_squared_deviation_nm2 for _, f, _ in rows]),
        apart(f"spread\n{scale.step}", one, 1, [f.spread_nm for _, f, _ in rows]),
        column("boxes", lambda f: str(f.boxes)),
    ]


def by_position(placements: Iterable[Placement]) -> dict[Key, Placement]:
    return {p.position.key: p for p in placements}


def full_name(position: Position) -> str:
    return "/".join(filter(None, position.key))


def shells_of(placement: Placement | None) -> str:
    """The two shells of a bore, with another row's housing if it has that, and the warning where they must not be
    assembled."""
    if placement is None:
        return NOT_FILLED
    shells = f"{shell_name(placement.upper)} + {shell_name(placement.lower)}"
    if placement.position.housing is not None:
        shells += f" in the housing of {whole(placement.position.housing)}"
    return shells if placement.within_limits else f"{shells} ({whole(DANGER)})"
