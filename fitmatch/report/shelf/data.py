"""The shelf as JSON and CSV; what is absent is null, or an empty cell."""

from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, Decimal
from typing import Final

from fitmatch.facts import Fact
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.shared.emit import Number, Table, Value, document, length, named_values, rows_text
from fitmatch.report.shelf.words import difference, words
from fitmatch.shelf.answers.engines import NOT_KEPT, Assembled, EnginePosition, EngineRecord, Engines
from fitmatch.shelf.answers.sets import KindSets, OneSet, Sets
from fitmatch.shelf.answers.shells import (
    BoxChange,
    Changed,
    Copied,
    Event,
    History,
    ShelfBox,
    ShelfShell,
    Shown,
    TakenIn,
    Tally,
)
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added
_SHELL: Final = (
    *("number", "box", "shell", "family", "kind", "half", "wall", "grade", "part", "series", "undersize", "step"),
    *("condition", "coating", "state", "single", "job", "engine", "position", "location", "hold", "reason"),
    *("trial_fits", "since", "note"),
)
_EVENT: Final = (
    "number",
    "at",
    "action",
    "shell",
    "label",
    "from",
    "to",
    "job",
    "engine",
    "position",
    "by",
    "note",
    "corrects",
    "remarks",
)
_POSITION: Final = (
    *(
        "position",
        "kind",
        "upper",
        "lower",
        "journal",
        "housing_bore",
        "clearance",
        "assembled",
        "target",
        "min",
        "max",
    ),
    *("assembled_difference_u", "assembled_method", "assembled_by", "assembled_date", "assembled_verdict"),
    *("not_to_be_run", "on_hold", "within_limits", "permission", "in_doubt", "left", "left_at", "seating"),
    "clearance_u",
    *(f"{part}_{what}" for part in ("journal", "upper", "lower") for what in ("wear", "wear_u")),
)
_SEALED: Final = (
    *("number", "name", "kind", "family", "part", "series", "undersize", "step", "lot", "seller", "price"),
    *("location", "note", "since"),
)
_LENGTHS: Final = frozenset(
    (
        "wall",
        "coating",
        "thinnest",
        "thickest",
        "journal",
        "housing_bore",
        "clearance",
        "assembled",
        "target",
        "min",
        "max",
        "journal_after",
        "seating",
        "clearance_u",
        "assembled_difference_u",
        *(f"{part}_{what}" for part in ("journal", "upper", "lower") for what in ("wear", "wear_u")),
    )
)


def shown_document(shown: Shown, unit: str) -> str:
    """What `show` found."""
    undated: dict[str, Value] = {}
    if shown.undated is not None:
        undated = {"undated": dict(zip(("shells", "boxes"), shown.undated, strict=True))}
    if shown.tallies:
        return shelf_document(unit, tallies=[_tally(tally, unit) for tally in shown.tallies], **undated)
    return shelf_document(
        unit,
        **undated,
        shells=[shell_value(shell, unit) for shell in shown.shells],
        sealed=[_box(box) for box in shown.sealed],
    )


def shown_rows(shown: Shown, unit: str) -> str:
    """The same, a row for each shell or each tally."""
    table = next(iter(shown_tables(shown, unit).values()))
    return rows_text(table.columns, table.lengths, unit, table.rows)


def shown_tables(shown: Shown, unit: str) -> dict[str, Table]:
    """The same by name: shells or, if they were counted, tallies; and boxes that are still sealed."""
    sealed = Table(_SEALED, (), map(_box, shown.sealed))
    if shown.tallies:
        columns = (*shown.tallies[0].alike, "shells", "singles", "thinnest", "thickest")
        return {"alike": Table(columns, _LENGTHS, (_flat(t, unit) for t in shown.tallies)), "sealed": sealed}
    return {"shells": Table(_SHELL, _LENGTHS, (shell_value(s, unit) for s in shown.shells)), "sealed": sealed}


def taken_document(taken: TakenIn, unit: str) -> str:
    """What `take-in` changed."""
    last = None if taken.first is None else taken.first + taken.new - 1
    return shelf_document(
        unit,
        new=taken.new,
        numbers=None if taken.first is None else {"first": taken.first, "last": last},
        unchanged=taken.unchanged,
        changed=[shell_value(shell, unit) for shell in taken.changed],
        remeasured=[shell_value(shell, unit) for shell in taken.remeasured],
        remeasured_same=taken.same,
        opened=[_box(box) for box in taken.opened],
        sealed=taken.sealed,
        sealed_before=taken.sealed_before,
        box_changes=[_box_change(change) for change in taken.box_changes],
        not_measured=taken.not_measured,
        elsewhere=[
            {"name": str(one.what), "shelf": str(one.before), "file": str(one.after)} for one in taken.elsewhere
        ],
        attention=attention_values(taken.attention, unit),
    )


def _box_change(change: BoxChange) -> dict[str, Value]:
    before, after = (price(v) if isinstance(v, int) else v or None for v in (change.before, change.after))
    return {"box": change.box, "what": change.what, "before": before, "after": after}


def changed_document(changed: Changed, unit: str) -> str:
    """What an action changed, and what needs attention."""
    events = [event_value(event, unit) for event in changed.events]
    attention, notices = (attention_values(facts, unit) for facts in (changed.attention, changed.notices))
    return shelf_document(unit, events=events, attention=attention, notices=notices)


def attention_values(attention: Sequence[Fact], unit: str) -> list[dict[str, Value]]:
    """What needs attention."""
    return [{"code": fact.code, "text": words(fact, unit)} for fact in attention]


def history_document(history: History, unit: str) -> str:
    """A shell and all its events, oldest first."""
    events = [event_value(event, unit) for event in history.events]
    return shelf_document(unit, shell=shell_value(history.shell, unit), events=events)


def copied_document(copied: Copied, unit: str) -> str:
    """A shelf that was exported or imported."""
    return shelf_document(unit, folder=copied.folder, rows=copied.rows)


def event_rows(events: tuple[Event, ...], unit: str) -> str:
    """A row for each event."""
    return rows_text(_EVENT, (), unit, (_event_cells(event, unit) for event in events))


def engines_document(engines: Engines, unit: str) -> str:
    """All engines."""
    return shelf_document(unit, engines=[engine_value(one, unit) for one in engines.engines])


def engine_document(engine: EngineRecord, unit: str) -> str:
    """One engine."""
    return shelf_document(unit, engine=engine_value(engine, unit))


def engine_rows(engines: Engines, unit: str) -> str:
    """A row for each position of each engine."""
    rows = (
        _position(position, unit)
        | _labels(position)
        | _decisive(position, unit)
        | {"on_hold": position.is_on_hold}
        | _wears(one, position, unit)
        | {"engine": one.number, "job": one.job, "at": one.at}
        for one in engines.engines
        for position in one.positions
    )
    return rows_text(("engine", "job", "at", *_POSITION), _LENGTHS, unit, rows)


def sets_document(found: Sets, unit: str) -> str:
    """The sets that can be re-formed."""
    return shelf_document(unit, kinds=[_kind_sets(one, unit) for one in found.kinds])


def sets_rows(found: Sets, unit: str) -> str:
    """A row for each bore of each set."""
    rows = (
        {"kind": kind.kind, "set": number, **named_values(bore._asdict(), unit)}
        for kind in found.kinds
        for number, one in enumerate(kind.sets, 1)
        for bore in one.bores
    )
    columns = ("position", "upper", "upper_label", "lower", "lower_label", "wall_sum", "clearance")
    return rows_text(("kind", "set", *columns), {"wall_sum", "clearance"}, unit, rows)


def _kind_sets(kind: KindSets, unit: str) -> dict[str, Value]:
    own = {name: value for name, value in kind._asdict().items() if name != "sets"}
    return {**own, "sets": [_set(one, unit) for one in kind.sets]}


def _set(one: OneSet, unit: str) -> dict[str, Value]:
    own = {name: value for name, value in one._asdict().items() if name != "bores"}
    return {**named_values(own, unit), "bores": [named_values(bore._asdict(), unit) for bore in one.bores]}


def shell_value(shell: ShelfShell, unit: str) -> dict[str, Value]:
    """One shell."""
    return _nulls(named_values(shell._asdict(), unit))


def event_value(event: Event, unit: str) -> dict[str, Value]:
    """One event, under the names that users see."""
    names = {"from_state": "from", "to_state": "to"}
    own = {names.get(name, name): value for name, value in event._asdict().items() if name != "changes"}
    return _nulls(own | {"note": noted(event, unit)})


def noted(event: Event, unit: str) -> str:
    """What was noted, and what was written of the shell."""
    return "; ".join(filter(None, (event.note, *(difference(one, unit) for one in event.changes))))


def _event_cells(event: Event, unit: str) -> dict[str, Value]:
    return event_value(event, unit) | {"remarks": " ".join(event.remarks)}


def engine_value(engine: EngineRecord, unit: str) -> dict[str, Value]:
    """One engine with its positions."""
    aside = ("positions", "unit", "names", "record")
    own = {name: value for name, value in engine._asdict().items() if name not in aside}
    return _nulls(own) | {
        "never_fitted": list(engine.never_fitted),
        "record": dict(engine.record),
        "state": engine.state or None,
        "out_of_limits": [p.position for p in engine.outside],
        "not_to_be_run": [p.position for p in engine.not_to_be_run],
        "on_hold": [p.position for p in engine.on_hold],
        "positions": [_position(position, unit) for position in engine.positions],
    }


def _position(position: EnginePosition, unit: str) -> dict[str, Value]:
    own = {name: value for name, value in position._asdict().items() if name not in ("shells", "judged", "readings")}
    shells = {
        s.half: _nulls(named_values(s._asdict(), unit)) | {"wall_wear_u": wear_u(s.wall_wear_u_nm, unit)}
        for s in position.shells
    }
    if not position.is_whole:
        own["clearance_nm"] = None
    worn = {name: wear_u(own[f"{name}_nm"], unit) for name in ("journal_wear_u", "clearance_u")}
    heat = {name: _plain(own[name]) for name in ("gauges_celsius", "parts_celsius", "kelvin_limit")}
    readings = {"readings": [_reading(one, unit) for one in position.readings]}
    halves = {half: shells.get(half) for half in ("upper", "lower")}
    return _nulls(named_values(own | heat, unit)) | worn | halves | readings


def _plain(value: float | None) -> Number | None:
    return None if value is None else Number(f"{value:g}")


def _reading(one: Assembled, unit: str) -> dict[str, Value]:
    """A clearance as it was read with the shells in."""
    outside = {"outside": one.is_outside, "difference_u": wear_u(one.difference_u_nm, unit)}
    own = {name: value for name, value in one._asdict().items() if name not in NOT_KEPT}
    return _nulls(named_values(own, unit)) | outside


def _decisive(position: EnginePosition, unit: str) -> dict[str, Value]:
    """What goes with the clearance that is on record as assembled, in cells of their own."""
    first = _reading(position.readings[0], unit) if position.readings else {}
    return {f"assembled_{name}": value for name, value in first.items()} | {"not_to_be_run": position.is_not_to_be_run}


def wear_u(u_nm: float | None, unit: str) -> Number | None:
    """The uncertainty of a wear to two digits, rounded up, so that it never looks better than it is."""
    if not u_nm:
        return None
    in_unit = Decimal(u_nm) / NM_PER_UNIT[unit]
    return Number(f"{in_unit.quantize(Decimal(1).scaleb(in_unit.adjusted() - 1), ROUND_CEILING):f}")


def _wears(engine: EngineRecord, position: EnginePosition, unit: str) -> dict[str, Value]:
    lost: dict[str, Value] = {}
    for wear in position.wears if engine.torn_down else ():
        lost |= {f"{wear.part}_wear": length(wear.wear_nm, unit), f"{wear.part}_wear_u": wear_u(wear.u_nm, unit)}
    return lost


def _labels(position: EnginePosition) -> dict[str, str]:
    return {shell.half: shell.label for shell in position.shells}


def _box(box: ShelfBox) -> dict[str, Value]:
    own = {name: value for name, value in box._asdict().items() if name != "price_thousandths"}
    return _nulls(own) | {"price": price(box.price_thousandths)}


def price(thousandths: int | None) -> Number | None:
    """Money as a number of a document."""
    if thousandths is None:
        return None
    whole, rest = divmod(thousandths, 1_000)
    return Number(f"{whole}.{rest:03}".rstrip("0").rstrip("."))


def _tally(tally: Tally, unit: str) -> dict[str, Value]:
    return {"alike": _alike(tally, unit), **_counts(tally, unit)}


def _flat(tally: Tally, unit: str) -> dict[str, Value]:
    return {**_alike(tally, unit), **_counts(tally, unit)}


def _alike(tally: Tally, unit: str) -> dict[str, Value]:
    """`wall` is where a band of walls begins."""
    return {name: length(int(text), unit) if name == "wall" and text else text for name, text in tally.alike.items()}


def _counts(tally: Tally, unit: str) -> dict[str, Value]:
    ends = {"thinnest": length(tally.thinnest_nm, unit), "thickest": length(tally.thickest_nm, unit)}
    return {"shells": tally.shells, "singles": tally.singles, **ends}


def _nulls(values: Mapping[str, Value]) -> dict[str, Value]:
    return {name: None if value == "" else value for name, value in values.items()}


def shelf_document(unit: str, **values: Value) -> str:
    """A document of the shelf."""
    return document({"schema": SCHEMA, "version": __version__, "unit": unit, **values})
