"""Taking in: shells onto the shelf with numbers of their own, boxes with what they cost; again is safe."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, RowMapping, func, select

from fitmatch.facts import Fact
from fitmatch.records.keys import full_name
from fitmatch.records.shelf.stock import Printed, Stock, StockBox, StockShell
from fitmatch.shelf.answers.shells import BoxChange, Difference, ShelfBox, ShelfShell, TakenIn
from fitmatch.shelf.events import By, Change, change, insert_rows, next_number, note_boxes, note_new, told
from fitmatch.shelf.finding import numbered, parts
from fitmatch.shelf.gauges import gauge_numbers
from fitmatch.shelf.questions.describing import Written, differences, relied_upon
from fitmatch.shelf.refusals import refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BARE,
    BOXES,
    EVENTS,
    FITTED,
    FREE,
    MISSING,
    OPENED,
    READINGS,
    SEALED,
    SET_ASIDE,
    SHELLS,
)

_AT_ONCE: Final = 10_000  # rows of one statement
_OF_BOX: Final = (
    *("family", "part", "series", "undersize", "step", "undersize_nm", "step_nm"),
    *("kind", "lot", "seller", "price_thousandths", "location", "opened", "note"),
)

_OF_SHELL: Final = ("grade", "condition", "hold", "note")


class _Known(NamedTuple):
    """A shell that is on the shelf, and the readings that count."""

    row: RowMapping
    readings: tuple[int, ...]

    def reads_like(self, shell: StockShell) -> bool:
        return self.readings == _nm(shell) and all(self.row[name] == value for name, value in _walls(shell).items())

    def differs(self, shell: StockShell) -> tuple[Difference, ...]:
        """In what it is not as it was measured."""
        return differences({name: self.row[name] for name in _walls(shell)}, _walls(shell))

    def is_like(self, shell: StockShell) -> bool:
        return (self.row["kind"], self.row["half"]) == (shell.kind, shell.half)


class _Plan(NamedTuple):
    """What becomes of each shell of the files."""

    new: list[StockShell]
    unchanged: list[tuple[int, StockShell]]  # with its number
    again: list[tuple[RowMapping, StockShell]]  # measured again
    elsewhere: list[Difference]  # where it lies by the shelf and by the files
    on_hold: list[int]  # by the shelf, though somebody relies on it


def take_in(
    shelf: Shelf,
    stock: Stock,
    *,
    new_box: bool = False,
    remeasured: Collection[str] = (),
    by: str = "",
    note: str = "",
) -> TakenIn:
    """Take boxes and shells onto the shelf. A shell that is there with other readings is refused, unless `new_box` says
    that this is another box of the same name, or `remeasured` names the shell, by number or BOX/NAME."""
    now = shelf.now()
    said = By(now, "take-in", by=by, note=note)
    refuse_if_any(_in_the_future(stock, shelf))
    with shelf.writing() as connection:
        boxes = _Boxes(connection, said)
        rows, opened, sealed = boxes.placed(stock, new_box=new_box)
        plan = _sorted_out(boxes, rows, stock, set(remeasured))
        gauges = gauge_numbers(connection, stock.gauges)
        first = next_number(connection, SHELLS)
        _insert(connection, said, boxes.as_printed_on_them(plan.new, rows), rows, first, gauges)
        changes = _change(connection, said, plan.unchanged)
        again = _remeasure(connection, said, plan.again, gauges)
        changed = [c.shell for c in changes]
        measured = numbered(connection, [row["number"] for row, _ in plan.again])
        return TakenIn(
            new=len(plan.new),
            first=first if plan.new else None,
            unchanged=len(plan.unchanged) - len(changed),
            changed=numbered(connection, changed),
            remeasured=measured,
            same=sum(row["wall_nm"] == shell.wall_nm for row, shell in plan.again),
            opened=opened,
            sealed=sealed,
            sealed_before=sum(box.sealed for box in stock.boxes) - sealed,
            box_changes=tuple(boxes.changes),
            not_measured=sum(shell.wall_nm is None for shell in stock.shells),
            elsewhere=(*boxes.elsewhere, *plan.elsewhere),
            attention=(
                *relied_upon(connection, (*changes, *again), plan.on_hold),
                *_still_missing(measured),
                *_grown(plan.again),
            ),
        )


def _in_the_future(stock: Stock, shelf: Shelf) -> Iterable[Fact]:
    """Dates after tomorrow: somewhere it is tomorrow already."""
    last = (shelf.clock().date() + timedelta(days=1)).isoformat()
    for box in stock.boxes:
        if box.bought.opened > last:
            yield Fact("future", {"name": box.name, "column": "opened", "date": box.bought.opened})
    for shell in stock.shells:
        if shell.measured_on > last:
            yield Fact("future", {"name": full_name(shell.label), "column": "measured_on", "date": shell.measured_on})


def _completed(shell: StockShell, box: RowMapping) -> StockShell:
    """A size is told as undersize or as step: what has one does not get the other as well."""
    told = shell.printed
    names = [name for name in ("family", "part", "series") if not getattr(told, name)]
    if not (told.undersize or told.step):
        names += ["undersize", "step", "undersize_nm", "step_nm"]
    printed = told._replace(**{name: box[name] for name in names})
    return shell._replace(printed=printed, location=shell.location or box["location"])


def _time(text: str) -> datetime | None:
    """When something was read; None if nobody can tell."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _nm(shell: StockShell) -> tuple[int, ...]:
    return tuple(reading.nm for reading in shell.readings)


def _walls(shell: StockShell) -> dict[str, object]:
    return {"wall_nm": shell.wall_nm, "coating_nm": shell.coating_nm, "measured": _measured(shell)}


def _measured(shell: StockShell) -> str:
    return BARE if shell.measured_bare else "coated"


def _described(shell: StockShell) -> dict[str, object]:
    own = {name: getattr(shell, name) for name in _OF_SHELL}
    return shell.printed._asdict() | own | {"marks": _marks(shell)}


def _marks(shell: StockShell) -> str:
    return json.dumps(dict(shell.marks), ensure_ascii=False, sort_keys=True)


class _Boxes:
    """The boxes of the shelf while some are taken in."""

    def __init__(self, connection: Connection, said: By) -> None:
        self._connection = connection
        self._said = said
        self._next = next_number(connection, BOXES)
        self.changes: list[BoxChange] = []
        self.elsewhere: list[Difference] = []
        self.known: dict[int, dict[str, _Known]] = {}  # shells by box and name

    def placed(self, stock: Stock, *, new_box: bool) -> tuple[dict[str, int], tuple[ShelfBox, ...], int]:
        """The box of the shelf that each box of the files is, those opened, and how many are sealed and new."""
        names = [box.name for box in stock.boxes]
        there = defaultdict[str, list[RowMapping]](list)
        for some in parts(names):
            query = select(BOXES).where(BOXES.c.name.in_(some)).order_by(BOXES.c.number)
            for found_row in self._connection.execute(query).mappings():
                there[found_row["name"]].append(found_row)
        shells = defaultdict[str, list[StockShell]](list)
        for shell in stock.shells if there else ():
            if shell.box in there:
                shells[shell.box].append(shell)
        found: dict[str, int] = {}
        opened, new, sealed = list[int](), list[dict[str, Any]](), 0
        for box in stock.boxes:
            row = self._same(there.get(box.name, ()), shells.get(box.name, ()), new_box=new_box and not box.sealed)
            if row is None:
                sealed += box.sealed
                found[box.name] = self._next
                new.append(self._values(box) | {"number": self._next})
                self._next += 1
            else:
                found[box.name] = row["number"]
                opened += self._update(box, row)
        if new:
            self._connection.execute(BOXES.insert(), new)
            note_boxes(self._connection, self._said, ((b["number"], "", SEALED) for b in new if b["state"] == SEALED))
        note_boxes(self._connection, self._said._replace(action="opened"), ((n, SEALED, OPENED) for n in opened))
        query = select(BOXES).where(BOXES.c.number.in_(opened))
        rows = self._connection.execute(query).mappings() if opened else ()
        return found, tuple(ShelfBox(**{name: row[name] for name in ShelfBox._fields}) for row in rows), sealed

    def _same(self, rows: Sequence[RowMapping], shells: Sequence[StockShell], *, new_box: bool) -> RowMapping | None:
        """The box of the shelf with these shells: the one of which most read alike, and none otherwise."""
        for row in rows:
            if row["number"] not in self.known:
                self.known[row["number"]] = self._shells_in(row["number"])

        def alike(row: RowMapping) -> int:
            there = self.known[row["number"]]
            return sum(s.name in there and there[s.name].reads_like(s) for s in shells)

        def unlike(row: RowMapping) -> int:
            there = self.known[row["number"]]
            return sum(s.name in there and not there[s.name].reads_like(s) for s in shells)

        rows = [row for row in rows if not (new_box and unlike(row))]
        return max(rows, key=lambda row: (-unlike(row), alike(row), row["number"]), default=None)

    def _shells_in(self, box: int) -> dict[str, _Known]:
        rows = self._connection.execute(select(SHELLS).where(SHELLS.c.box == box)).mappings().all()
        query = (
            select(READINGS.c.shell, READINGS.c.nm)
            .join(SHELLS, (SHELLS.c.number == READINGS.c.shell) & (SHELLS.c.turn == READINGS.c.turn))
            .where(SHELLS.c.box == box)
            .order_by(READINGS.c.shell, READINGS.c.place)
        )
        readings = defaultdict[int, list[int]](list)
        for shell, nm in self._connection.execute(query):
            readings[shell].append(nm)
        return {row["name"]: _Known(row, tuple(readings[row["number"]])) for row in rows}

    def teardown_since(self, known: _Known, shell: StockShell) -> Mapping[str, object] | None:
        """The teardown since these readings were taken of a shell that has run: by the time of the readings or, where
        that does not tell, as it is still to come or of that day, as they are readings from before. `same_day`: they
        are said to be of that day, or a later one."""
        engine, number = known.row["ran_in"], known.row["number"]
        if engine is None or not shell.readings:
            return None
        teardown = self._connection.execute(
            select(EVENTS)
            .where(EVENTS.c.shell == number, EVENTS.c.engine == engine, EVENTS.c.action == "teardown")
            .order_by(EVENTS.c.number.desc())
        )
        event = teardown.mappings().first()
        if event is None:
            return None
        time, found = _time(shell.at), {"engine": int(engine)}
        day = shell.measured_on or ("" if time is None else shell.at[:10])
        now = self._said.at
        exact = None if time is None or time.tzinfo is None or day != shell.at[:10] else time
        if exact is not None and exact <= datetime.fromisoformat(now):
            return found if exact < datetime.fromisoformat(event["at"]) else None
        if day and day != event["at"][:10] and day <= now[:10]:
            return found if day < event["at"][:10] else None
        if known.reads_like(shell):
            return None
        before = told(event)["shell"]["turn"]
        query = select(READINGS.c.turn, READINGS.c.nm).where(READINGS.c.shell == number, READINGS.c.turn <= before)
        turns = defaultdict[int, list[int]](list)
        for turn, nm in self._connection.execute(query.order_by(READINGS.c.turn, READINGS.c.place)):
            turns[turn].append(nm)
        return found | {"same_day": bool(day)} if [*_nm(shell)] in turns.values() else None

    def as_printed_on_them(self, new: Sequence[StockShell], boxes: Mapping[str, int]) -> Sequence[StockShell]:
        """The shells with what their boxes said while these were sealed, where they say nothing themselves."""
        known: dict[int, RowMapping] = {}
        for some in parts({boxes[shell.box] for shell in new} & self.known.keys()):
            was_sealed = select(EVENTS.c.box).where(EVENTS.c.action == "opened", EVENTS.c.box.in_(some))
            query = select(BOXES).where(BOXES.c.number.in_(was_sealed))
            known |= {row["number"]: row for row in self._connection.execute(query).mappings()}
        if not known:
            return new
        return [s if (row := known.get(boxes[s.box])) is None else _completed(s, row) for s in new]

    def engine_of(self, shell: int) -> dict[str, object]:
        """For a message: where a shell is fitted."""
        (found,) = numbered(self._connection, [shell])
        return {"engine": found.engine, "position": found.position, "job": found.job, "state": found.state}

    def _values(self, box: StockBox) -> dict[str, Any]:
        own = {"name": box.name, "state": SEALED if box.sealed else OPENED, "kind": box.kind, "since": self._said.at}
        return own | box.printed._asdict() | box.bought._asdict()

    def _update(self, box: StockBox, row: RowMapping) -> list[int]:
        """Write what the files say and the shelf did not know; the box, if it was sealed and is no longer."""
        values = self._values(box)
        changes = {
            name: values[name]
            for name in _OF_BOX
            if values[name] not in ("", None, row[name]) and not (name == "location" and row[name])
        }
        self.changes += [
            BoxChange(box.name, name.removesuffix("_thousandths"), row[name], value)
            for name, value in changes.items()
            if not name.endswith("_nm")
        ]
        if box.sealed and row["location"] and values["location"] not in ("", row["location"]):
            self.elsewhere.append(Difference(box.name, row["location"], values["location"]))
        is_opened = row["state"] == SEALED and not box.sealed
        if is_opened:
            changes |= {"state": OPENED, "opened": values["opened"] or self._said.at[:10]}
        if changes:
            self._connection.execute(BOXES.update().where(BOXES.c.number == row["number"]).values(**changes))
        return [row["number"]] if is_opened else []


def _sorted_out(boxes: _Boxes, rows: Mapping[str, int], stock: Stock, remeasured: set[str]) -> _Plan:
    """Raises RefusedError with every shell that is there with other readings."""
    plan, reasons, meant = _Plan([], [], [], [], []), list[Fact](), set[str]()
    for shell in stock.shells:
        box = rows[shell.box]
        known = boxes.known.get(box, {}).get(shell.name)
        if known is None:
            plan.new.append(shell)
            continue
        number = known.row["number"]
        names = {str(number), full_name(shell.label)} & remeasured if shell.readings else set[str]()
        meant |= names
        slots = {"number": number, "name": full_name(shell.label), "file": shell.file, "row": shell.row}
        if known.row["hold"] and known.row["state"] in (SET_ASIDE, FITTED):
            plan.on_hold.append(number)
        here = known.row["location"]
        if here and shell.location not in ("", here):
            plan.elsewhere.append(Difference(full_name(shell.label), here, shell.location))
        same = known.reads_like(shell)
        again = bool(names) or not (known.readings or same)
        if not known.is_like(shell):
            reasons.append(Fact("other-half", slots))
        elif same and not again:
            plan.unchanged.append((number, shell))
        elif (teardown := boxes.teardown_since(known, shell)) is not None:
            reasons.append(Fact("older-than-teardown", {**slots, **teardown}))
        elif again and known.row["state"] == FITTED:
            reasons.append(Fact("measured-inside", slots | boxes.engine_of(number)))
        elif again:
            plan.again.append((known.row, shell))
        else:
            slots |= {"was_nm": known.row["wall_nm"], "is_nm": shell.wall_nm, "changes": known.differs(shell)}
            reasons.append(Fact("other-readings", slots))
    reasons += [Fact("not-remeasured", {"name": name}) for name in sorted(remeasured - meant)]
    refuse_if_any(reasons)
    return plan


def _insert(
    connection: Connection,
    said: By,
    new: Sequence[StockShell],
    boxes: Mapping[str, int],
    first: int,
    gauges: Mapping[str, int],
) -> None:
    marks: dict[int, str] = {}  # as JSON, by the object: a million shells share a few
    for at in range(0, len(new), _AT_ONCE):
        some = new[at : at + _AT_ONCE]
        numbered_shells = list(enumerate(some, first + at))
        insert_rows(connection, SHELLS, _COLUMNS, [_row(n, boxes[s.box], s, said, marks) for n, s in numbered_shells])
        readings = [row for n, shell in numbered_shells for row in _readings(n, 1, shell, said, gauges)]
        insert_rows(connection, READINGS, _OF_READING, readings)
        note_new(connection, said, range(first + at, first + at + len(some)), FREE)


_COLUMNS: Final = (
    *(
        "number",
        "box",
        "name",
        "kind",
        "half",
        "location",
        "state",
        "turn",
        "since",
        "wall_nm",
        "coating_nm",
        "measured",
    ),
    *Printed._fields,
    *_OF_SHELL,
    "marks",
)
_OF_READING: Final = (
    *("shell", "turn", "place", "nm", "off_nm", "station", "angle", "gauge", "taken_by", "at", "confirmed"),
)


def _row(number: int, box: int, shell: StockShell, said: By, marks: dict[int, str]) -> tuple[object, ...]:
    known = marks.get(id(shell.marks))
    if known is None:
        known = marks[id(shell.marks)] = _marks(shell)
    turn = 1 if shell.readings else 0
    own = (number, box, shell.name, shell.kind, shell.half, shell.location, FREE, turn, said.at)
    described = shell.grade, shell.condition, shell.hold, shell.note
    return (*own, shell.wall_nm, shell.coating_nm, _measured(shell), *shell.printed, *described, known)


def _readings(
    number: int, turn: int, shell: StockShell, said: By, gauges: Mapping[str, int]
) -> Iterable[tuple[object, ...]]:
    by, at = shell.taken_by or said.by, shell.at or shell.measured_on or said.at
    for place, reading in enumerate(shell.readings, 1):
        gauge = None if reading.gauge is None else gauges[reading.gauge]
        own = (number, turn, place, reading.nm, shell.off_nm, reading.station, reading.angle)
        yield (*own, gauge, by, at, reading.confirmed)


def _change(connection: Connection, said: By, shells: Iterable[tuple[int, StockShell]]) -> list[Written]:
    """Write what files say otherwise than before, in cells that are not empty."""
    wanted = dict(shells)
    found = []
    for some in parts(wanted):
        for row in connection.execute(select(SHELLS).where(SHELLS.c.number.in_(some))).mappings():
            if values := _said_otherwise(row, wanted[row["number"]]):
                found.append(Written(row, values))
    change(connection, said._replace(action="described"), [Change(one.shell, one.values) for one in found])
    return found


def _said_otherwise(row: RowMapping, shell: StockShell) -> dict[str, object]:
    """What is described otherwise. Where a shell lies the shelf knows better, if it knows, and a shell that has run is
    used whatever its file says."""
    described = _described(shell)
    if not row["location"]:
        described["location"] = shell.location
    if row["ran_in"] is not None:
        del described["condition"]
    return {name: value for name, value in described.items() if value not in ("", None, "{}", row[name])}


def _still_missing(measured: Iterable[ShelfShell]) -> Iterable[Fact]:
    """Shells that were measured again and by the records are not there."""
    for shell in measured:
        if shell.state == MISSING:
            slots = {"number": shell.number, "name": shell.label, "location": shell.location}
            yield Fact("measured-missing", slots)


def _grown(again: Iterable[tuple[RowMapping, StockShell]]) -> Iterable[Fact]:
    """Shells that have run and are thicker than they were read since: one of the two readings is wrong."""
    for row, shell in again:
        was, now = row["wall_nm"], shell.wall_nm
        if row["ran_in"] is not None and was is not None and now is not None and now > was:
            slots = {"number": row["number"], "name": full_name(shell.label), "was_nm": was, "is_nm": now}
            yield Fact("worn-and-thicker", slots)


def _remeasure(
    connection: Connection, said: By, again: Iterable[tuple[RowMapping, StockShell]], gauges: Mapping[str, int]
) -> list[Written]:
    found, readings = [], list[tuple[object, ...]]()
    for row, shell in again:
        query = select(func.coalesce(func.max(READINGS.c.turn), 0)).where(READINGS.c.shell == row["number"])
        turn = connection.execute(query).scalar_one() + 1
        readings += _readings(row["number"], turn, shell, said, gauges)
        found.append(Written(row, {"turn": turn} | _walls(shell) | _said_otherwise(row, shell)))
    change(connection, said._replace(action="remeasured"), [Change(one.shell, one.values) for one in found])
    insert_rows(connection, READINGS, _OF_READING, readings)
    return found
