"""Setting aside the shells of a saved plan, all or nothing, and putting them back."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.names import natural
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.shelf.shelved import digest_of_readings
from fitmatch.shelf.answers.shells import Changed, ShelfShell
from fitmatch.shelf.events import By, Change, Hold, change, events_numbered, next_number
from fitmatch.shelf.finding import may_exist, records, shells_with
from fitmatch.shelf.jobs.holders import HeldFor, holds_of, known_job, latest_job, open_job, where_it_is
from fitmatch.shelf.jobs.planned import Planned, PlannedPosition
from fitmatch.shelf.questions.describing import faults_of_plan
from fitmatch.shelf.refusals import HeldError, RefusedError, refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BOXES,
    ENGINE_SHELLS,
    FITTED,
    FREE,
    JOB_POSITIONS,
    JOBS,
    READINGS,
    SET_ASIDE,
    SHELLS,
    USED,
)

Seats = dict[tuple[str, str], ShelfShell]  # by position and half


def set_aside(shelf: Shelf, planned: Planned, *, by: str = "", note: str = "") -> Changed:
    """Set aside the shells of a job's plan. Again swaps those of the plan before for those of this one."""
    said = By(shelf.now(), "set-aside", job=planned.name, by=by, note=note)
    with shelf.writing() as connection:
        job = _job(connection, planned, said)
        seats = _seats(connection, planned)
        held = holds_of(connection, job)
        _refuse_what_others_have(connection, job, seats, held)
        _refuse_to_move_what_is_fitted(job, seats, held)
        loose = {seat: s.number for seat, s in seats.items() if s.number not in held or not held[s.number].engine}
        refuse_if_any(faults_of_plan(connection, planned, loose))
        wanted = {shell.number: seat for seat, shell in seats.items()}
        given_up = [shell for shell, hold in held.items() if shell not in wanted]
        freed = change(connection, said._replace(action="put-back"), _put_back(connection, given_up))
        taken = [
            Change(number, {"state": SET_ASIDE}, Hold(job["number"], None, *seat))
            for number, seat in wanted.items()
            if number not in held or held[number][2:] != seat
        ]
        events = change(connection, said, taken, after=freed)
        outside = _write_positions(connection, job, planned, seats)
        attention = [Fact("outside-limits", {"position": name}) for name in outside]
        attention += [Fact("no-shells", {"position": name}) for name in planned.empty]
        attention += [Fact("in-doubt", {"position": one.position}) for one in planned.positions if one.in_doubt]
        return Changed(events_numbered(connection, events), tuple(attention))


def put_back(
    shelf: Shelf,
    job: str,
    positions: Collection[str] = (),
    *,
    folder: Path | None = None,
    by: str = "",
    note: str = "",
) -> Changed:
    """Put back what a job has set aside. With `positions` only what is there, also fitted ones after a trial fit.
    `folder`: the one that the job must have."""
    with shelf.writing() as connection:
        row = known_job(connection, job)
        if folder is not None:
            row = _job_in(connection, row, folder)
        held = holds_of(connection, row)
        there = {hold.position for hold in held.values()}
        refuse_if_any(Fact("nothing-there", {"job": job, "position": name}) for name in positions if name not in there)
        back = [
            shell for shell, hold in held.items() if (hold.position in positions if positions else hold.engine is None)
        ]
        if not back:
            slots = {"job": job, "engine": row["engine"], "fitted": tuple(sorted(there, key=natural))}
            raise RefusedError(Fact("nothing-held", slots))
        said = By(shelf.now(), "put-back", job=job, engine=row["engine"], by=by, note=note)
        events = change(connection, said, _put_back(connection, back))
        tried = {held[shell].position for shell in back if held[shell].engine is not None}
        slots = {"job": job, "engine": row["engine"], "event": events[0], "positions": sorted(tried, key=natural)}
        return Changed(events_numbered(connection, events), notices=(Fact("as-not-run", slots),) if tried else ())


def _job_in(connection: Connection, known: RowMapping, folder: Path) -> RowMapping:
    found = latest_job(connection, known["name"], JOBS.c.folder == str(folder))
    if found is None:
        slots = {"job": known["name"], "folder": known["folder"], "given": str(folder)}
        raise RefusedError(Fact("other-folder", slots))
    return found


def _put_back(connection: Connection, shells: Collection[int]) -> list[Change]:
    """What has run is not free again; what was fitted was tried."""
    rows = connection.execute(select(SHELLS).where(SHELLS.c.number.in_(shells)).order_by(SHELLS.c.number)).mappings()
    return [Change(row["number"], values_back(row), None) for row in rows]


def values_back(row: RowMapping) -> Mapping[str, object]:
    """What becomes of a shell that is put back as it is."""
    values: dict[str, object] = {"state": FREE if row["ran_in"] is None else USED}
    if row["state"] == FITTED:
        values["trial_fits"] = row["trial_fits"] + 1
    return values


def _job(connection: Connection, planned: Planned, said: By) -> RowMapping:
    """The row of this job, made or brought up to date; raises RefusedError if another folder of its name is open."""
    folder = str(planned.folder)
    other = open_job(connection, planned.name)
    if other is not None and other["folder"] != folder:
        raise RefusedError(Fact("two-jobs", {"job": planned.name, "folder": other["folder"]}))
    mine = other or latest_job(connection, planned.name, JOBS.c.folder == folder)
    values: dict[str, Any] = {"title": planned.title, "unit": planned.unit, "digest": planned.digest}
    if mine is None:
        number = next_number(connection, JOBS)
        own = {"number": number, "name": planned.name, "folder": folder, "since": said.at}
        connection.execute(JOBS.insert().values(**own, **values))
    else:
        number = mine["number"]
        connection.execute(JOBS.update().where(JOBS.c.number == number).values(**values))
    return connection.execute(select(JOBS).where(JOBS.c.number == number)).mappings().one()


def _seats(connection: Connection, planned: Planned) -> Seats:
    """The shell of the shelf for each half; raises RefusedError with all that are not there or read otherwise."""
    found: Seats = {}
    reasons: list[Fact] = []
    for position in planned.positions:
        for half, key in position.shells.items():
            shell = _shell(connection, planned, key, position.numbers.get(half))
            if isinstance(shell, Fact):
                reasons.append(shell)
            else:
                found[position.position, half] = shell
    refuse_if_any(reasons)
    refuse_if_read_otherwise(connection, planned)
    return found


def refuse_if_read_otherwise(connection: Connection, planned: Planned) -> None:
    """Raise RefusedError if shells that the plan has from the shelf have been measured again since."""
    if planned.digest_of_shelved is None:
        return
    numbers = {number for position in planned.positions for number in position.numbers.values()}
    if digest_of_readings((n, readings_of(connection, n)) for n in numbers) != planned.digest_of_shelved:
        raise RefusedError(
            Fact("inputs-changed", {"job": planned.name, **where_it_is(planned.folder, HeldFor(connection))})
        )


def _shell(connection: Connection, planned: Planned, key: ShellKey, number: int | None) -> ShelfShell | Fact:
    by_name = (BOXES.c.name == key[0], SHELLS.c.name == key[1])
    if number is not None and not may_exist(number):
        return Fact("not-on-shelf", {"name": full_name(key)})
    named = records(connection, shells_with(*(by_name if number is None else (SHELLS.c.number == number,))))
    if not named:
        return Fact("not-on-shelf", {"name": full_name(key)})
    if number is not None:
        return named[0]
    own = planned.readings.get(key)
    alike = [shell for shell in named if own is None or own == readings_of(connection, shell.number)]
    if len(alike) == 1:
        return alike[0]
    slots = {"name": full_name(key), "numbers": tuple(shell.number for shell in named)}
    return Fact("ambiguous" if alike else "reads-otherwise", slots)


def readings_of(connection: Connection, number: int) -> tuple[int, ...]:
    """The readings of a shell that count, as the gauge gave them."""
    query = (
        select(READINGS.c.nm)
        .join(SHELLS, (SHELLS.c.number == READINGS.c.shell) & (SHELLS.c.turn == READINGS.c.turn))
        .where(SHELLS.c.number == number)
        .order_by(READINGS.c.place)
    )
    return tuple(connection.execute(query).scalars())


def _refuse_what_others_have(connection: Connection, job: RowMapping, seats: Seats, held: Mapping[int, Hold]) -> None:
    """HeldError if jobs or engines have everything that stands in the way, otherwise RefusedError."""
    others, reasons = list[Fact](), list[Fact]()
    for (position, half), shell in seats.items():
        slots = {"number": shell.number, "name": shell.label, "state": shell.state, "reason": shell.reason}
        where = {"job": shell.job, "engine": shell.engine, "position": shell.position, "half": shell.side}
        if shell.number in held or shell.state == FREE:
            continue
        if shell.state in (SET_ASIDE, FITTED):
            others.append(Fact("held", slots | where))
        elif shell.state == USED:
            if not _ran_there(connection, job, shell.number, position, half):
                reasons.append(Fact("ran-elsewhere", slots | where))
        else:
            reasons.append(Fact("not-there", slots))
    if reasons:
        raise RefusedError(*reasons, *others)
    if others:
        raise HeldError(*others)


def _ran_there(connection: Connection, job: RowMapping, shell: int, position: str, half: str) -> bool:
    """Whether a used shell would come back to the side of the position in which it ran."""
    seat = ENGINE_SHELLS.c
    query = select(seat.shell).where(
        seat.engine == job["engine"], seat.shell == shell, seat.position == position, seat.half == half
    )
    query = query.where(seat.wall_nm.is_not(None))  # others were only tried there
    return job["engine"] is not None and connection.execute(query).first() is not None


def _refuse_to_move_what_is_fitted(job: RowMapping, seats: Seats, held: Mapping[int, Hold]) -> None:
    wanted = {shell.number: seat for seat, shell in seats.items()}
    moved = {hold.position for shell, hold in held.items() if hold.engine and wanted.get(shell) != hold[2:]}
    slots = {"job": job["name"], "engine": job["engine"]}
    refuse_if_any(Fact("fitted-otherwise", slots | {"position": name}) for name in sorted(moved))


def _write_positions(connection: Connection, job: RowMapping, planned: Planned, seats: Seats) -> list[str]:
    """Write the positions of the plan; returns those outside their limits."""
    connection.execute(JOB_POSITIONS.delete().where(JOB_POSITIONS.c.job == job["number"]))
    rows: list[dict[str, Any]] = []
    for one in planned.positions:
        upper, lower = seats[one.position, "upper"], seats[one.position, "lower"]
        walls = sum(_counting(shell, planned.coating_counts) for shell in (upper, lower))
        clearance = one.room_nm - walls
        inside = one.within_limits and _is_inside(one, clearance)
        own = {"job": job["number"], "position": one.position, "upper": upper.number, "lower": lower.number}
        rows.append(own | _bore(one) | {"clearance_nm": clearance, "within_limits": inside})
    if rows:
        connection.execute(JOB_POSITIONS.insert(), rows)
    return [row["position"] for row in rows if not row["within_limits"]]


def _bore(one: PlannedPosition) -> dict[str, Any]:
    journal = ("journal_nm", "journal_u_nm", "journal_freedom")
    names = ("place", "kind", *journal, "housing_bore_nm", "target_nm", "min_nm", "max_nm")
    return {name: getattr(one, name) for name in names}


def _is_inside(one: PlannedPosition, clearance_nm: int) -> bool:
    """Whatever the saved document says: it may have been edited."""
    least = max(1, one.min_nm or 0)
    return least <= clearance_nm and (one.max_nm is None or clearance_nm <= one.max_nm)


def _counting(shell: ShelfShell, coating_counts: bool) -> int:
    assert shell.wall_nm is not None
    return shell.wall_nm if coating_counts else shell.wall_nm - shell.coating_nm
