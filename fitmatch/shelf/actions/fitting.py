"""Fitting what is set aside: the engine and each of its positions are recorded for ever."""

import json
from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.names import fault_in_permission
from fitmatch.records.parts import SIDES
from fitmatch.shelf.actions.setting_aside import refuse_if_read_otherwise
from fitmatch.shelf.describing import faults_of_plan
from fitmatch.shelf.events import By, Change, Hold, change, events_numbered, next_number
from fitmatch.shelf.finding import parts
from fitmatch.shelf.gauges import gauge_numbers
from fitmatch.shelf.jobs import holds_of, known_job, where_it_is
from fitmatch.shelf.planned import Planned, PlannedPosition
from fitmatch.shelf.records import IN_DOUBT, OUTSIDE, Changed
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
    by: str = "",
    note: str = "",
) -> Changed:
    """Record that what a job has set aside is fitted, at all of its positions or at these. `permissions` quote, by
    position, what the maker allows in writing: without one no position outside its limits is fitted."""
    permitted = {name: text.strip() for name, text in (permissions or {}).items()}
    with shelf.writing() as connection:
        job = known_job(connection, planned.name)
        if job["digest"] != planned.digest or job["folder"] != str(planned.folder):
            raise RefusedError(Fact("other-plan", {"job": planned.name}))
        refuse_if_read_otherwise(connection, planned)
        query = select(JOB_POSITIONS).where(JOB_POSITIONS.c.job == job["number"]).order_by(JOB_POSITIONS.c.place)
        rows = {row["position"]: row for row in connection.execute(query).mappings()}
        held = holds_of(connection, job)
        in_engine = {name for name, row in rows.items() if _both(held, row, job, of_engine=True)}
        wanted = [*dict.fromkeys(positions)] or [name for name in rows if name not in in_engine]
        if not wanted:
            raise RefusedError(Fact("nothing-held", {"job": planned.name}))
        refuse_if_any(_reasons(job, rows, held, in_engine, wanted, permitted))
        numbers = {(name, half): rows[name][half] for name in wanted for half in SIDES}
        refuse_if_any(faults_of_plan(connection, planned, numbers))
        said = By(shelf.now(), "fitted", job=planned.name, by=by, note=note)
        engine = _engine(connection, job, said)
        _write_job(connection, engine, planned)
        _write_positions(connection, engine, [rows[name] for name in wanted], permitted, planned)
        _write_readings(connection, engine, wanted, planned)
        in_doubt = {one.position for one in planned.positions if one.in_doubt}
        changes = [
            Change(
                rows[name][half],
                {"state": FITTED},
                Hold(None, engine, name, half),
                permitted.get(name) or None,
                remarks=_remarks(rows[name], in_doubt),
            )
            for name in wanted
            for half in SIDES
        ]
        events = change(connection, said._replace(engine=engine), changes)
        outside = [name for name in wanted if not rows[name]["within_limits"]]
        attention = [Fact("fitted-outside", {"position": name, "text": permitted[name]}) for name in outside]
        attention += [Fact("in-doubt", {"position": name}) for name in wanted if name in in_doubt]
        kinds = {rows[name]["kind"] for name in wanted}
        others = [row for name, row in rows.items() if name not in wanted and row["kind"] in kinds]
        attention += [Fact("outside-limits", {"position": o["position"]}) for o in others if not o["within_limits"]]
        attention += [Fact("no-shells", {"position": name}) for name in planned.empty]
        return Changed(events_numbered(connection, events), tuple(attention))


def _remarks(row: RowMapping, in_doubt: Collection[str]) -> tuple[str, ...]:
    outside = () if row["within_limits"] else (OUTSIDE,)
    return (*outside, IN_DOUBT) if row["position"] in in_doubt else outside


def _both(held: Mapping[int, Hold], row: RowMapping, job: RowMapping, *, of_engine: bool) -> bool:
    """Whether the two shells of a position are set aside there, or fitted there."""
    of_job, engine = (None, job["engine"]) if of_engine else (job["number"], None)
    return all(held.get(row[half]) == Hold(of_job, engine, row["position"], half) for half in SIDES)


def _reasons(
    job: RowMapping,
    rows: Mapping[str, RowMapping],
    held: Mapping[int, Hold],
    in_engine: Collection[str],
    wanted: Collection[str],
    permitted: Mapping[str, str],
) -> list[Fact]:
    found = []
    for name in wanted:
        slots = {"job": job["name"], "position": name}
        if name not in rows:
            found.append(Fact("not-set-aside", slots))
        elif name in in_engine:
            found.append(Fact("already-fitted", slots))
        elif not _both(held, rows[name], job, of_engine=False):
            found.append(Fact("void", slots | where_it_is(job["folder"])))
        elif not rows[name]["within_limits"] and not permitted.get(name):
            found.append(Fact("not-to-be-assembled", slots))
    for name, text in permitted.items():
        slots = {"job": job["name"], "position": name}
        if name not in wanted or rows.get(name) is None:
            found.append(Fact("permission-unknown", slots))
        elif not text:
            found.append(Fact("permission-empty", slots))
        elif fault_in_permission(text) is not None:
            found.append(Fact("permission-no", slots | {"text": text}))
        elif rows[name]["within_limits"]:
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
        own |= {"permission": quoted, "assembled_nm": None}
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
