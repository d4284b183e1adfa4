"""Fitting what is set aside: the engine and each of its positions are recorded for ever."""

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.names import fault_in_permission
from fitmatch.records.parts import SIDES
from fitmatch.shelf.actions.setting_aside import refuse_if_read_otherwise
from fitmatch.shelf.describing import faults_of_plan
from fitmatch.shelf.events import By, Change, Hold, change, events_numbered, next_number
from fitmatch.shelf.jobs import holds_of, known_job, where_it_is
from fitmatch.shelf.planned import Planned
from fitmatch.shelf.records import IN_DOUBT, OUTSIDE, Changed
from fitmatch.shelf.refusals import RefusedError, refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import ENGINE_POSITIONS, ENGINES, FITTED, JOB_POSITIONS, JOBS


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
        _write_positions(connection, engine, [rows[name] for name in wanted], permitted)
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


def _write_positions(
    connection: Connection, engine: int, rows: Collection[RowMapping], permitted: Mapping[str, str]
) -> None:
    for row in rows:
        own: dict[str, Any] = {c.name: row[c.name] for c in JOB_POSITIONS.c if c.name in ENGINE_POSITIONS.c}
        there = (ENGINE_POSITIONS.c.engine == engine) & (ENGINE_POSITIONS.c.position == row["position"])
        before = connection.execute(select(ENGINE_POSITIONS.c.permission).where(there)).first()
        quoted = permitted.get(row["position"]) or (before.permission if before else "")  # once quoted, for ever
        own |= {"permission": quoted, "assembled_nm": None}
        if before is None:
            connection.execute(ENGINE_POSITIONS.insert().values(engine=engine, **own))
        else:
            connection.execute(ENGINE_POSITIONS.update().where(there).values(**own))
