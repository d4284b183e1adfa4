"""The part of the text report that sets other plans of a kind beside the answer, the next best ones among them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from fitmatch.lengths import NM_PER_UNIT, decimal
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import Alternatives, GroupAnswer, OtherPlan, Plan
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.report.shared.box_names import shell_name
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER, NOT_FILLED

_NEXT_BEST = "NEXT BEST PLANS (each has figures worse than the one before)"


class Beside(NamedTuple):
    """One kind of the answer, of one job or of several that decide it together."""

    answer: GroupAnswer
    placements: dict[PositionKey, Placement]  # as it is filled
    names: dict[PositionKey, str]  # of all its positions, in file order


def answered(plan: Plan, label: str) -> Beside:
    """What the answer has for one group."""
    answer = next(g for g in plan.groups if g.group.label == label)
    kind, members = answer.group.kind, plan.members(answer.group)
    return Beside(
        answer,
        by_position(p for one in members for p in one.of_kind(kind)),
        {p.key: full_name(p.key) for one in members for p in one.job.positions if p.kind == kind},
    )


class Row(NamedTuple):
    """The answer or another plan, as it stands beside the others."""

    name: str
    figures: KindFigures
    complete: int | None
    proven: bool = True


def compared(name: str, kind: Beside, others: Mapping[str, OtherPlan]) -> list[Row]:
    """One row for the answer, called `name`, and each other plan."""
    found = [Row(other, plan.figures, plan.complete, plan.proven) for other, plan in others.items()]
    return [Row(name, kind.answer.figures, kind.answer.complete), *found]


def figure_columns(rows: Sequence[Row], scale: Scale) -> list[Column[Row]]:
    """Everything that plans are ordered by."""
    one = NM_PER_UNIT[scale.step]
    wished = any(row.figures.below_want is not None for row in rows)

    def apart(head: str, unit_nm: int, places: int, value: Callable[[KindFigures], int | None]) -> Column[Row]:
        """With as many decimals as it takes for figures that differ to look it."""
        known = {v for row in rows if (v := value(row.figures)) is not None}
        while len({decimal(v, unit_nm, places) for v in known}) < len(known):
            places += 1

        def show(row: Row) -> str:
            found = value(row.figures)
            return NOTHING if found is None else decimal(found, unit_nm, places)

        return Column(head, show)

    return [
        Column("", lambda row: row.name, "left"),
        Column("engines\ncomplete", lambda row: str(row.complete), shown=all(r.complete is not None for r in rows)),
        Column("filled", lambda row: str(row.figures.filled)),
        Column("below\nmin", lambda row: str(row.figures.below)),
        Column("above\nmax", lambda row: str(row.figures.above)),
        Column("below\nwanted", lambda row: str(row.figures.below_want or 0), shown=wished),
        Column("above\nwanted", lambda row: str(row.figures.above_want or 0), shown=wished),
        Column("counted", lambda row: str(row.figures.counted)),
        apart(f"worst off\n{scale.step}", one, 1, lambda f: f.worst_deviation_nm),
        apart("sum of\nsquares", one**2, 2, lambda f: f.sum_squared_deviation_nm2),
        apart(f"spread\n{scale.step}", one, 1, lambda f: f.spread_nm),
        Column("boxes", lambda row: str(row.figures.boxes)),
    ]


def by_position(placements: Iterable[Placement]) -> dict[PositionKey, Placement]:
    return {p.position.key: p for p in placements}


def shells_of(placement: Placement | None) -> str:
    """The two shells of a bore, with another row's housing if it has that, and the warning where they must not be
    assembled."""
    if placement is None:
        return NOT_FILLED
    shells = f"{shell_name(placement.upper)} + {shell_name(placement.lower)}"
    if placement.position.housing is not None:
        shells += f" in the housing of {whole(placement.position.housing)}"
    return shells if placement.within_limits else f"{shells} ({whole(DANGER)})"


def alternatives(plan: Plan, scale: Scale) -> list[list[str]]:
    """A heading and a block for each kind; none where nothing was asked for."""
    blocks = [
        _next_best(label, answered(plan, label), found, scale, failed=f"alternatives of {label}" in plan.faults)
        for label, found in plan.alternatives.items()
    ]
    return [[_NEXT_BEST, *blocks[0]], *blocks[1:]] if blocks else []


def faults(plan: Plan) -> list[str]:
    """What ended in a fault of this program beside the answer; mostly nothing."""
    lines = []
    for what, fault in plan.faults.items():
        text = f"FAULT IN FITMATCH, not in your files, in the {clean(what)}, which is left out: {clean(fault)}."
        lines += paragraph(f"{text} The answer above passed its check and stands.")
    return lines


def _next_best(label: str, kind: Beside, found: Alternatives, scale: Scale, *, failed: bool) -> list[str]:
    lines = [clean(label).upper()]
    if not kind.answer.proof.proven:
        return [*lines, *paragraph("Not sought: what is not proven to be the best has no known next.")]
    if found.plans:
        rows = compared("this plan", kind, {str(number): other for number, other in enumerate(found.plans, 1)})
        proven = Column[Row]("proven", lambda row: "yes" if row.proven else "NO", "left")
        lines += [*table(rows, *figure_columns(rows, scale), proven), ""]
        for number, other in enumerate(found.plans, 1):
            lines += paragraph(_changes(kind, other), first=f"{number}: ", rest="   ")
    if failed:
        lines += paragraph("The next one failed its check and is left out.")
    elif not found.complete:
        lines += paragraph("Stopped before all of them were found and proven.")
    elif not found.plans:
        lines += paragraph("There is none: every plan has the same figures.")
    return lines


def _changes(kind: Beside, other: OtherPlan) -> str:
    """The positions that get other shells, or another housing, than in the answer."""
    before, after = kind.placements, by_position(other.placements)
    filled = [key for key in kind.names if key in before or key in after]
    changed = [key for key in filled if put_in(before.get(key)) != put_in(after.get(key))]
    text = ", ".join(f"{whole(kind.names[key])} {shells_of(after.get(key))}" for key in changed)
    text += "; the others as in this plan." if len(changed) < len(filled) else "."
    if other.against_plan is not None:
        text += f" Its worst deviation is {other.against_plan}."
    return text


def put_in(placement: Placement | None) -> object:
    """Which shells and which housing a position has."""
    return placement and (placement.upper.key, placement.lower.key, placement.position.housing)
