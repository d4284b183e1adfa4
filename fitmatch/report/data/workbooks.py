"""Answers as workbooks: a sheet for each table, lengths in both units, numbers as numbers and texts as texts."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Final

from fitmatch.intake.writing.workbooks import Filled, filled_workbook
from fitmatch.records.answers.plans import Plan
from fitmatch.report.data.compared import compared_table
from fitmatch.report.data.rows import leftover_table, plan_table
from fitmatch.report.data.values import figures_value, proof_value
from fitmatch.report.shared.emit import Number, Table, Value, length
from fitmatch.report.shared.states import one_line
from fitmatch.report.shelf.data import shown_tables
from fitmatch.shelf.answers.shells import Shown
from fitmatch.study.comparison.compared import Compared

_OTHER: Final = {"in": "mm", "mm": "in"}
_SQUARED: Final = ("sum_squared_deviation",)
_COUNTS: Final = ("filled", "below", "above", "counted", "boxes", "below_want", "above_want", "rules_broken")
_WORDS: Final = ("plan", "kind", "proven", "level")


def plan_workbook(plan: Plan, unit: str) -> bytes:
    """Positions, kinds with both baselines, and the shells that are left over or held; lengths in `unit` first."""
    tables = (
        ("positions", plan_table),
        ("kinds", _kinds),
        ("leftover", leftover_table),
        ("held", _held),
    )
    first, second = _units(unit)
    return filled_workbook([_filled(name, of(plan, first), of(plan, second), unit) for name, of in tables])


def compared_workbook(compared: Compared, unit: str) -> bytes:
    """Every table of a comparison on a sheet of its own."""
    both = [_by_name(compared_table(compared, one)) for one in _units(unit)]
    return filled_workbook([_filled(name, own, both[1][name], unit) for name, own in both[0].items()])


def shown_workbook(shown: Shown, unit: str) -> bytes:
    """What lies on the shelf, and boxes that are still sealed."""
    first, second = (shown_tables(shown, one) for one in _units(unit))
    return filled_workbook([_filled(name, own, second[name], unit) for name, own in first.items()])


def _units(unit: str) -> tuple[str, str]:
    return unit, _OTHER[unit]


def _kinds(plan: Plan, unit: str) -> Table:
    rows: list[Mapping[str, Value]] = []
    for g in plan.groups:
        kind: Mapping[str, Value] = {"kind": g.group.label}
        proof = {**proof_value(g.proof, unit), "bound": None}
        rows.append({"plan": "this plan", **kind, **figures_value(g.figures, unit), **proof})
        for name, other in g.baselines.items():
            broken: Mapping[str, Value] = {"rules_broken": other.rules_broken}
            rows.append({"plan": name, **kind, **figures_value(other.figures, unit), **broken})
    columns = list(dict.fromkeys(name for row in rows for name in row if name != "bound"))
    return Table(columns, [name for name in columns if name not in (*_COUNTS, *_WORDS)], rows)


def _held(plan: Plan, unit: str) -> Table:
    rows = [
        {"shell": s.name, "box": s.box, "kind": s.kind, "half": s.half, "wall": length(s.wall_nm, unit), "hold": s.hold}
        for s in plan.held
    ]
    return Table(("shell", "box", "kind", "half", "wall", "hold"), ("wall",), rows)


def _by_name(table: Table) -> dict[str, Table]:
    """The tables that are one below the other, each with the columns that it uses."""
    found = {}
    for name, group in groupby(table.rows, key=lambda row: row["table"]):
        rows = list(group)
        used = {column for row in rows for column, value in row.items() if value not in (None, "")}
        columns = [column for column in table.columns if column in used and column != "table"]
        lengths = [column for column in columns if column in table.lengths or column in _SQUARED]
        found[str(name)] = Table(columns, lengths, rows)
    return found


def _filled(name: str, own: Table, other: Table, unit: str) -> Filled:
    """A table in two units as one, every length in both."""
    units = _units(unit)
    header: list[str] = []
    for column in own.columns:
        square = "²" if column in _SQUARED else ""
        header += [f"{column} [{one}{square}]" for one in units] if column in own.lengths else [column]
    rows = [_row(own, pair) for pair in zip(own.rows, other.rows, strict=True)]
    return Filled(name, header, rows)


def _row(table: Table, pair: Sequence[Mapping[str, Value]]) -> list[str | int | float | bool | None]:
    return [
        _cell(row.get(column)) for column in table.columns for row in (pair if column in table.lengths else pair[:1])
    ]


def _cell(value: Value) -> str | int | float | bool | None:
    if isinstance(value, Number):
        return float(value)
    if value is None or isinstance(value, int):
        return value
    return one_line(value if isinstance(value, str) else ", ".join(map(str, value)))
