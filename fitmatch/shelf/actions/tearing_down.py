"""Taking an engine down: what its shells and journals have worn, with how certain that is; what has run is used, and
may only go back to its own place."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, RowMapping, func, select

from fitmatch.facts import Fact
from fitmatch.gauging.sizes.places import places
from fitmatch.gauging.sizes.sizing import Sizes, series_of
from fitmatch.gauging.uncertainty.combining import Uncertainty, of_change
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, MeasuredAs, Measuring, Reading
from fitmatch.records.parts import SIDES, Size
from fitmatch.records.shelf.stock import MeasuredAgain
from fitmatch.shelf.actions.setting_aside import values_back
from fitmatch.shelf.answers.engines import TEARDOWN, TornDown, Wear
from fitmatch.shelf.answers.shells import ShelfShell
from fitmatch.shelf.events import By, Change, change, events_numbered
from fitmatch.shelf.finding import may_exist, numbered
from fitmatch.shelf.gauges import NOTHING_READ, ReadingsThen, gauge_numbers
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    ENGINE_POSITIONS,
    ENGINE_SHELLS,
    ENGINES,
    HOLDS,
    READINGS,
    SHELLS,
    USED,
)

NOTHING: Final = MeasuredAgain({}, Measuring())


class _Seat(NamedTuple):
    """A position of the engine with its shells, by half."""

    row: RowMapping
    shells: Mapping[str, ShelfShell]


def teardown(
    shelf: Shelf,
    engine: int,
    again: MeasuredAgain = NOTHING,
    *,
    never_run: bool = False,
    by: str = "",
    note: str = "",
) -> TornDown:
    """Take a whole engine down. What has run comes back used, with the walls that were measured `again`; without one
    its wall is not known any more. `never_run`: everything is what it was before it was fitted."""
    with shelf.writing() as connection:
        query = select(ENGINES).where(ENGINES.c.number == engine)
        row = connection.execute(query).mappings().first() if may_exist(engine) else None
        if row is None:
            raise RefusedError(Fact("unknown-engine", {"number": engine}))
        seats = _seats(connection, engine)
        if not seats:
            raise RefusedError(Fact("nothing-fitted", {"number": engine}))
        said = By(shelf.now(), TEARDOWN, job=row["job"], engine=engine, by=by, note=note)
        if never_run:
            return _done(connection, said, (), [_unchanged(connection, shell) for shell in _all(seats)])
        wears = _Wears(connection, again, engine).of(seats)
        gauges = gauge_numbers(connection, again.measuring.gauges)
        by_part = {(wear.position, wear.part): wear for wear in wears}
        changes = []
        for seat in seats:
            position = seat.row["position"]
            if (position, "journal") in by_part:
                _write_journal(connection, engine, by_part[position, "journal"])
            for half, shell in seat.shells.items():
                size, wear = again.sizes.get(position, {}).get(half), by_part[position, half]
                turn = 0 if size is None else _write_wall(connection, said, shell.number, size, wear, gauges)
                told = [wear] if (journal := by_part.get((position, "journal"))) is None else [wear, journal]
                changes.append(_used(shell, engine, wear, turn, {one.part: _judgement(one, shell) for one in told}))
        coatings = {(s.row["position"], half): shell.coating_nm for s in seats for half, shell in s.shells.items()}
        wrong = ((wear, _wrong(wear, coatings.get((wear.position, wear.part), 0))) for wear in wears)
        attention = tuple(Fact(code, wear.slots) for wear, codes in wrong for code in codes)
        return _done(connection, said, wears, changes, attention)


def _done(
    connection: Connection, said: By, wears: tuple[Wear, ...], changes: list[Change], attention: tuple[Fact, ...] = ()
) -> TornDown:
    events = change(connection, said, changes)
    connection.execute(ENGINES.update().where(ENGINES.c.number == said.engine).values(torn_down=said.at))
    return TornDown(said.engine or 0, said.job, wears, events_numbered(connection, events), attention)


def _all(seats: list[_Seat]) -> list[ShelfShell]:
    return [shell for seat in seats for shell in seat.shells.values()]


def _seats(connection: Connection, engine: int) -> list[_Seat]:
    """What is fitted there now, in the order of the job."""
    held = connection.execute(select(HOLDS).where(HOLDS.c.engine == engine)).mappings().all()
    shells = {shell.number: shell for shell in numbered(connection, [row["shell"] for row in held])}
    query = select(ENGINE_POSITIONS).where(ENGINE_POSITIONS.c.engine == engine).order_by(ENGINE_POSITIONS.c.place)
    found = []
    for row in connection.execute(query).mappings():
        here = {h["half"]: shells[h["shell"]] for h in held if h["position"] == row["position"]}
        if here:
            found.append(_Seat(row, {half: here[half] for half in SIDES if half in here}))
    return found


class _Wears:
    """Compares sizes of two days. Each gauge was set anew, so that no error of one day cancels one of the other."""

    def __init__(self, connection: Connection, again: MeasuredAgain, engine: int) -> None:
        seat = ENGINE_SHELLS.c
        built = connection.execute(select(seat.shell, seat.wall_nm).where(seat.engine == engine))
        self._built: dict[int, int] = {shell: wall for shell, wall in built if wall is not None}
        self._then = ReadingsThen(connection)
        self._again = again
        self._now = ErrorModel(_measured_with(again.measuring))

    def of(self, seats: list[_Seat]) -> tuple[Wear, ...]:
        """Of every journal that was measured again, and of every shell."""
        return tuple(wear for seat in seats for wear in self._of(seat))

    def _of(self, seat: _Seat) -> list[Wear]:
        position, kind, found = seat.row["position"], seat.row["kind"], list[Wear]()
        sizes = self._again.sizes.get(position, {})
        if "journal" in sizes:
            known, freedom = seat.row["journal_u_nm"], seat.row["journal_freedom"]
            before = None if known is None else Uncertainty(known, freedom, known, ())
            after = self._now.of_size(kind, "journal", sizes["journal"])
            own = self._allowed(sizes["journal"].readings, self._again.measuring.gauges)
            known_then = () if before else ("how certain the journal was when the engine was built",)
            wear = Wear(position, "journal", "", seat.row["journal_nm"], sizes["journal"].mean_nm, None, grew=False)
            found.append(_judged(wear, before, after, known_then, 2 * own))  # as if by the same gauge both days
        for half, shell in seat.shells.items():
            wall = self._built[shell.number]
            if half in sizes:
                before, after = self._of_wall_then(shell, wall), self._now.of_size(kind, "wall", sizes[half])
                then = self._then.of_shells([shell.number]).get(shell.number, NOTHING_READ).readings
                allowed = self._allowed(then, self._then.gauges)
                allowed += self._allowed(sizes[half].readings, self._again.measuring.gauges)
                known_then = () if before else ("what measured the wall when it was taken in",)
                wear = Wear(position, half, shell.label, wall, sizes[half].mean_nm, None, grew=False)
                found.append(_judged(wear, before, after, known_then, allowed))
            else:
                found.append(Wear(position, half, shell.label, wall, None, None, grew=False))
        return found

    @staticmethod
    def _allowed(readings: Iterable[Reading], gauges: Mapping[str, Gauge]) -> int:
        """The most by which the limit and the resolution of a gauge alone may put a size off."""
        used = [gauges[one.gauge] for one in readings if one.gauge is not None and one.gauge in gauges]
        return max(((gauge.limit_nm or 0) + (gauge.resolution_nm or 0) for gauge in used), default=0)

    def _of_wall_then(self, shell: ShelfShell, wall: int) -> Uncertainty | None:
        """Of the wall that the engine was built with, if the readings that count are still those."""
        readings = self._then.of_shells([shell.number]).get(shell.number, NOTHING_READ).readings
        if not readings or shell.wall_nm != wall:
            return None
        groups = places(readings, numbered_are_repeats=True)
        how = MeasuredAs(series_of(readings, groups), places=len(groups))
        measuring = Measuring(gauges=self._then.gauges)
        sizes = Sizes(measuring, numbered_are_repeats=True)
        sizes.sized(shell.kind, "wall", readings)  # for what its repeats tell of the gauge
        model = ErrorModel(_measured_with(Measuring(gauges=self._then.gauges, pooled=sizes.pooled())))
        return model.of_size(shell.kind, "wall", Size(wall, wall, wall, tuple(readings), how))


def _measured_with(measuring: Measuring) -> Job:
    return Job(Path(), "", "", {}, (), (), measuring=measuring)


def _judged(
    wear: Wear,
    before: Uncertainty | None,
    after: Uncertainty | None,
    unknown_then: tuple[str, ...],
    allowed_nm: int,
) -> Wear:
    """With its uncertainty or what is missing for it, and whether it grew; `allowed_nm` counts without the former."""
    assert wear.after_nm is not None
    change_u = of_change(before, after)
    missing: tuple[str, ...] = ()
    if change_u is None:
        now = after.unknown if after else (f"what measured the {wear.part} now",)
        missing = tuple(dict.fromkeys((*unknown_then, *(before.unknown if before else ()), *now)))
    u_nm = None if change_u is None else change_u.expanded_nm
    grew = wear.after_nm - wear.before_nm > (allowed_nm if u_nm is None else u_nm)
    return wear._replace(u_nm=u_nm, grew=grew, missing=missing)


def _unchanged(connection: Connection, shell: ShelfShell) -> Change:
    row = connection.execute(select(SHELLS).where(SHELLS.c.number == shell.number)).mappings().one()
    return Change(shell.number, values_back(row), None)


def _used(shell: ShelfShell, engine: int, wear: Wear, turn: int, judged: Mapping[str, object]) -> Change:
    """The wall that counts from now on: what was measured, if it can be true; otherwise none, so that nobody relies on
    the one that it had when it was new."""
    values: dict[str, Any] = {"state": USED, "ran_in": engine, "condition": USED, "measured": "coated"}
    walls = {"wall_nm": None, "turn": 0} if wear.grew or wear.slipped else {"wall_nm": wear.after_nm, "turn": turn}
    return Change(shell.number, values | walls, None, kept={"wear": judged})


def _judgement(wear: Wear, shell: ShelfShell) -> dict[str, object]:
    """What the engine's record says of it for ever."""
    return {"codes": _wrong(wear, 0 if wear.part == "journal" else shell.coating_nm), "missing": wear.missing}


def _write_journal(connection: Connection, engine: int, wear: Wear) -> None:
    here = (ENGINE_POSITIONS.c.engine == engine) & (ENGINE_POSITIONS.c.position == wear.position)
    values = {"journal_after_nm": wear.after_nm, "journal_wear_u_nm": wear.u_nm}
    connection.execute(ENGINE_POSITIONS.update().where(here).values(**values))


def _write_wall(connection: Connection, said: By, shell: int, size: Size, wear: Wear, gauges: Mapping[str, int]) -> int:
    """The readings, kept whether they can be true or not; which of the shell's measurings they are."""
    mine = (ENGINE_SHELLS.c.engine == said.engine) & (ENGINE_SHELLS.c.shell == shell)
    values = {"wall_after_nm": wear.after_nm, "wall_wear_u_nm": wear.u_nm}
    connection.execute(ENGINE_SHELLS.update().where(mine).values(**values))
    last = select(func.coalesce(func.max(READINGS.c.turn), 0)).where(READINGS.c.shell == shell)
    turn = int(connection.execute(last).scalar_one()) + 1
    common = {"shell": shell, "turn": turn, "off_nm": size.zero_nm + size.ball_nm, "taken_by": said.by, "at": said.at}
    rows = [
        common | {"place": place, "nm": one.nm, "gauge": None if one.gauge is None else gauges[one.gauge]}
        for place, one in enumerate(size.readings, 1)
    ]
    connection.execute(READINGS.insert(), rows)
    return turn


def _wrong(wear: Wear, coating_nm: int) -> list[str]:
    """Codes of what is wrong with it."""
    if wear.after_nm is None:
        return ["not-measured-again"]
    if wear.slipped:
        return ["slipped"]
    if wear.grew:
        return ["grew"]
    return ["worn-through"] if 0 < coating_nm < wear.before_nm - wear.after_nm else []
