"""Fitting what is set aside: the engine and each of its positions are recorded for ever."""

import json
from collections.abc import Collection, Iterable, Mapping
from fractions import Fraction
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.names import fault_in_permission
from fitmatch.records.parts import SIDES
from fitmatch.shelf.actions.setting_aside import refuse_if_read_otherwise
from fitmatch.shelf.answers.engines import Assembled, EnginePosition, together
from fitmatch.shelf.answers.shells import IN_DOUBT, NOT_TO_BE_RUN, OUTSIDE, Changed
from fitmatch.shelf.built_engines import engine_on
from fitmatch.shelf.events import MATERIALS, By, Change, Hold, change, events_numbered, kept_readings, next_number
from fitmatch.shelf.finding import parts
from fitmatch.shelf.gauges import gauge_numbers
from fitmatch.shelf.jobs.holders import HeldFor, holds_of, known_job, where_it_is
from fitmatch.shelf.jobs.planned import Planned, PlannedPosition
from fitmatch.shelf.jobs.with_shells_in import WithShellsIn
from fitmatch.shelf.questions.describing import faults_of_plan
from fitmatch.shelf.refusals import RefusedError, refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    ENGINE_POSITIONS,
    ENGINE_READINGS,
    ENGINES,
    FITTED,
    JOB_POSITIONS,
    JOBS,
    SHELLS,
)


def fitted(
    shelf: Shelf,
    planned: Planned,
    positions: Collection[str] = (),
    *,
    permissions: Mapping[str, str] | None = None,
    read: WithShellsIn = WithShellsIn(),  # noqa: B008 (it is frozen)
    by: str = "",
    note: str = "",
) -> Changed:
    """Record that what a job has set aside is fitted, at all of its positions or at these, with what was `read` with
    the shells in; at positions that are fitted already, add the readings that are not on record yet. Where that
    contradicts the plan nothing is recorded.
    `permissions` quote, by position, what the maker allows in writing: without one no position outside its limits is
    fitted. One that is found outside once it is fitted is on record as not to be run."""
    permitted = {name: text.strip() for name, text in (permissions or {}).items()}
    readings = read.readings
    with shelf.writing() as connection:
        job = known_job(connection, planned.name)
        if job["digest"] != planned.digest or job["folder"] != str(planned.folder):
            raise RefusedError(Fact("other-plan", {"job": planned.name}))
        refuse_if_read_otherwise(connection, planned)
        query = select(JOB_POSITIONS).where(JOB_POSITIONS.c.job == job["number"]).order_by(JOB_POSITIONS.c.place)
        rows = {row["position"]: row for row in connection.execute(query).mappings()}
        held = holds_of(connection, job)
        built = {} if job["engine"] is None else {p.position: p for p in engine_on(connection, job["engine"]).positions}
        in_engine = {n: built[n] for n, row in rows.items() if _both(held, row, job, of_engine=True)}
        again = _read_since(in_engine, readings, positions, permitted)
        asked = dict.fromkeys(positions or rows)
        refuse_if_any(_noted_otherwise(planned.name, name, read) for name in asked if name in read.against)
        wanted = [n for n in asked if n not in (again if positions else in_engine)]
        if not wanted and not again:
            raise RefusedError(Fact("nothing-new" if in_engine else "nothing-held", {"job": planned.name}))
        refuse_if_any(_reasons(connection, job, rows, held, in_engine, wanted, readings, again, permitted, planned))
        numbers = {(name, half): rows[name][half] for name in wanted for half in SIDES}
        refuse_if_any(faults_of_plan(connection, planned, numbers))
        said = By(shelf.now(), "fitted", job=planned.name, by=by, note=note)
        in_doubt = {one.position for one in planned.positions if one.in_doubt}
        events: tuple[int, ...] = ()
        if wanted:
            engine = _engine(connection, job, said)
            now = {name: _permitted(readings.get(name, ()), name in permitted) for name in wanted}
            _write_job(connection, engine, planned)
            _write_positions(connection, engine, [rows[name] for name in wanted], permitted, now, planned)
            _write_readings(connection, engine, wanted, planned)
            changes = [
                Change(
                    rows[name][half],
                    {"state": FITTED},
                    Hold(None, engine, name, half),
                    permitted.get(name) or None,
                    remarks=_remarks(rows[name], in_doubt, outside=name in permitted),
                    kept=_kept(now[name], planned.materials.get(rows[name]["kind"], {})),
                )
                for name in wanted
                for half in SIDES
            ]
            events = change(connection, said._replace(engine=engine), changes)
        events += _add_readings(connection, job, said, rows, in_engine, again, permitted)
        attention = [Fact("fitted-outside", {"position": n, "text": permitted[n]}) for n in rows if n in permitted]
        attention += [Fact("in-doubt", {"position": name}) for name in wanted if name in in_doubt]
        standing = {name: one.readings for name, one in in_engine.items()} | again
        told = standing | {name: _permitted(readings.get(name, ()), True) for name in wanted}
        to_metal = not planned.coating_counts
        attention += [
            fact for name in rows for one in told.get(name, ()) for fact in one.attention(name, to_metal=to_metal)
        ]
        kinds = {rows[name]["kind"] for name in wanted}
        others = [row for name, row in rows.items() if name not in wanted and row["kind"] in kinds]
        attention += [Fact("outside-limits", {"position": o["position"]}) for o in others if not o["within_limits"]]
        attention += [Fact("no-shells", {"position": name}) for name in planned.empty]
        return Changed(events_numbered(connection, events), tuple(attention))


def _noted_otherwise(job: str, position: str, read: WithShellsIn) -> Fact:
    return Fact("noted-otherwise", {"job": job, "position": position, "noted": read.against[position]})


def _kept(readings: tuple[Assembled, ...], materials: Mapping[str, Fraction]) -> dict[str, object]:
    """What the events of a position keep: readings with the shells in, and the coefficients that its sizes were
    corrected with."""
    grown = {MATERIALS: {feature: str(per_kelvin) for feature, per_kelvin in materials.items()}} if materials else {}
    return grown | (kept_readings((), readings) if readings else {})


def _permitted(readings: Iterable[Assembled], permitted: bool) -> tuple[Assembled, ...]:
    return tuple(one._replace(permitted=one.permitted or (permitted and one.is_outside)) for one in readings)


def _read_since(
    in_engine: Mapping[str, EnginePosition],
    read: Mapping[str, tuple[Assembled, ...]],
    positions: Collection[str],
    permitted: Mapping[str, str],
) -> dict[str, tuple[Assembled, ...]]:
    """What is to be on record of positions that are fitted already, where that is not what is on record now."""
    found = {}
    for name, one in in_engine.items():
        now = _permitted(together(one.readings, read.get(name, ())), name in permitted)
        if now != one.readings and (not positions or name in positions):
            found[name] = now
    return found


def _add_readings(
    connection: Connection,
    job: RowMapping,
    said: By,
    rows: Mapping[str, RowMapping],
    in_engine: Mapping[str, EnginePosition],
    again: Mapping[str, tuple[Assembled, ...]],
    permitted: Mapping[str, str],
) -> tuple[int, ...]:
    """Amend the record of positions that are fitted already; their events keep what was on record before."""
    changes = []
    for name, now in again.items():
        here = (ENGINE_POSITIONS.c.engine == job["engine"]) & (ENGINE_POSITIONS.c.position == name)
        quoted = {"permission": permitted[name]} if name in permitted else {}
        connection.execute(ENGINE_POSITIONS.update().where(here).values(assembled_nm=now[0].assembled_nm, **quoted))
        remarks = (OUTSIDE,) if quoted else (NOT_TO_BE_RUN,) if any(one.is_not_to_be_run for one in now) else ()
        kept = kept_readings(in_engine[name].readings, now)
        kept |= {"noted": said.note} if quoted and said.note else {}  # its own note is the permission
        changes += [
            Change(rows[name][half], {}, note=permitted.get(name), remarks=remarks, kept=kept) for half in SIDES
        ]
    return change(connection, said._replace(action="assembled", engine=job["engine"]), changes)


def _remarks(row: RowMapping, in_doubt: Collection[str], *, outside: bool) -> tuple[str, ...]:
    found = (OUTSIDE,) if outside else ()
    return (*found, IN_DOUBT) if row["position"] in in_doubt else found


def _both(held: Mapping[int, Hold], row: RowMapping, job: RowMapping, *, of_engine: bool) -> bool:
    """Whether the two shells of a position are set aside there, or fitted there."""
    of_job, engine = (None, job["engine"]) if of_engine else (job["number"], None)
    return all(held.get(row[half]) == Hold(of_job, engine, row["position"], half) for half in SIDES)


def _reasons(
    connection: Connection,
    job: RowMapping,
    rows: Mapping[str, RowMapping],
    held: Mapping[int, Hold],
    in_engine: Collection[str],
    wanted: Collection[str],
    read: Mapping[str, tuple[Assembled, ...]],
    again: Mapping[str, tuple[Assembled, ...]],
    permitted: Mapping[str, str],
    planned: Planned,
) -> list[Fact]:
    found = []
    for name in wanted:
        slots = {"job": job["name"], "position": name, "to_metal": not planned.coating_counts}
        outside = next((one for one in read.get(name, ()) if one.is_outside), None)
        if name not in rows:
            found.append(Fact("not-set-aside", slots))
        elif name in in_engine:
            found.append(Fact("already-fitted", slots))
        elif not _both(held, rows[name], job, of_engine=False):
            found.append(Fact("void", slots | where_it_is(job["folder"], HeldFor(connection))))
        elif not permitted.get(name):
            found += [] if rows[name]["within_limits"] else [Fact("not-to-be-assembled", slots)]
            found += [] if outside is None else [Fact("not-to-be-run", outside._asdict() | slots)]
    for name, text in permitted.items():
        slots = {"job": job["name"], "position": name}
        if rows.get(name) is None or (name not in wanted and name not in again):
            found.append(Fact("permission-unknown", slots))
        elif not text:
            found.append(Fact("permission-empty", slots))
        elif fault_in_permission(text) is not None:
            found.append(Fact("permission-no", slots | {"text": text}))
        elif not any(one.is_outside for one in again.get(name, read.get(name, ()))) and (
            name in again or rows[name]["within_limits"]
        ):
            found.append(Fact("permission-idle", slots))
    return found


def _engine(connection: Connection, job: RowMapping, said: By) -> int:
    standing = select(ENGINES.c.number).where(ENGINES.c.number == job["engine"], ENGINES.c.torn_down == "")
    if connection.execute(standing).first() is not None:
        return int(job["engine"])
    number = next_number(connection, ENGINES)
    values = {"number": number, "job": job["name"], "title": job["title"], "at": said.at}
    connection.execute(ENGINES.insert().values(**values, done_by=said.by, note=said.note))
    connection.execute(JOBS.update().where(JOBS.c.number == job["number"]).values(engine=number))
    return number


def _write_job(connection: Connection, engine: int, planned: Planned) -> None:
    """What the record of an engine says of its job, as that is now."""
    values = {"unit": planned.unit, "names": json.dumps(planned.names), "record": json.dumps(dict(planned.record))}
    connection.execute(ENGINES.update().where(ENGINES.c.number == engine).values(**values))


def _write_positions(
    connection: Connection,
    engine: int,
    rows: Collection[RowMapping],
    permitted: Mapping[str, str],
    read: Mapping[str, tuple[Assembled, ...]],
    planned: Planned,
) -> None:
    coatings = {} if planned.coating_counts else _coatings(connection, rows)
    built = {one.position: one for one in planned.positions}
    for row in rows:
        own: dict[str, Any] = {c.name: row[c.name] for c in JOB_POSITIONS.c if c.name in ENGINE_POSITIONS.c}
        own |= _as_built(built[row["position"]], planned)
        own["uncounted_nm"] = sum(coatings.get(row[half], 0) for half in SIDES)
        there = (ENGINE_POSITIONS.c.engine == engine) & (ENGINE_POSITIONS.c.position == row["position"])
        before = connection.execute(select(ENGINE_POSITIONS.c.permission).where(there)).first()
        quoted = permitted.get(row["position"]) or (before.permission if before else "")  # once quoted, for ever
        now = read[row["position"]]
        own |= {"permission": quoted, "assembled_nm": now[0].assembled_nm if now else None}
        if before is None:
            connection.execute(ENGINE_POSITIONS.insert().values(engine=engine, **own))
        else:
            connection.execute(ENGINE_POSITIONS.update().where(there).values(**own))


def _coatings(connection: Connection, rows: Collection[RowMapping]) -> dict[int, int]:
    """By shell."""
    numbers = [row[half] for row in rows for half in SIDES]
    found: dict[int, int] = {}
    for some in parts(numbers):
        query = select(SHELLS.c.number, SHELLS.c.coating_nm).where(SHELLS.c.number.in_(some))
        found |= {row.number: row.coating_nm for row in connection.execute(query)}
    return found


def _as_built(one: PlannedPosition, planned: Planned) -> dict[str, Any]:
    """What it takes to check the clearance of a position later on."""
    names = ("seating_nm", "clearance_u_nm", "clearance_u_least", "housing", "limits_from")
    heat = planned.temperature
    at = {} if heat is None else {"gauges_celsius": float(heat.gauges), "parts_celsius": float(heat.parts)}
    limit = None if heat is None or heat.limit is None else float(heat.limit)
    stamp = dict(zip(("plan_number", "plan_date", "plan_time"), planned.stamp, strict=True))
    nothing = {"gauges_celsius": None, "parts_celsius": None}
    return {name: getattr(one, name) for name in names} | nothing | at | {"kelvin_limit": limit} | stamp


def _write_readings(connection: Connection, engine: int, wanted: Collection[str], planned: Planned) -> None:
    """What journals and bores were read to be, in place of what is there."""
    mine = [one for one in planned.positions if one.position in wanted]
    used = {r.gauge for one in mine for some in one.readings.values() for r in some}
    gauges = gauge_numbers(connection, {name: gauge for name, gauge in planned.gauges.items() if name in used})
    there = ENGINE_READINGS.delete().where(ENGINE_READINGS.c.engine == engine)
    for one in mine:
        connection.execute(there.where(ENGINE_READINGS.c.position == one.position))
    rows = [
        {
            "engine": engine,
            "position": one.position,
            "feature": feature,
            "place": place,
            "nm": r.nm,
            "station": r.station,
            "angle": r.angle,
            "gauge": gauges.get(r.gauge or ""),
            "confirmed": r.confirmed,
        }
        for one in mine
        for feature, some in one.readings.items()
        for place, r in enumerate(some, 1)
    ]
    if rows:
        connection.execute(ENGINE_READINGS.insert(), rows)
