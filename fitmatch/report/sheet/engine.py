"""The record of an engine that was built from the shelf, as the shelf knows it: what it does not know is to be written
in by hand."""

from collections.abc import Iterator
from typing import Final

from fitmatch.records.housings import in_one_block
from fitmatch.report.shared.scale import NOTHING, UNITS, scale_for, usual
from fitmatch.report.shared.states import one_line, side_of
from fitmatch.report.sheet.amounts import in_full, runs
from fitmatch.report.sheet.page import Heading, page_of
from fitmatch.report.sheet.record import Fitted, KindRecorded, Line, Recorded, common_limits, told_of_gauge
from fitmatch.report.shelf.texts import OUT_OF_LIMITS, half_fitted, how_left
from fitmatch.shelf.built import Built
from fitmatch.shelf.records import EnginePosition, EngineShell
from fitmatch.wording import listed

_ASK: Final = (
    *("the engine's own number", "crank", "block", "customer"),
    *("journals and bores read with", "room", "seating counted in"),
)
_ASK_OF_A_KIND: Final = ("limits from",)
_RESTS_ON: Final = (
    "Sizes, walls and clearances as they were when each position was fitted.",
    "What the shelf does not know is left to be written in.",
)


def engine_sheet(built: Built) -> bytes:
    """The page of one engine."""
    engine = built.engine
    whose = f"Engine {engine.number} of the shelf, built {engine.at[:10]}"
    whose += f", {left}" if (left := how_left(engine)) else ""
    outside = [p.position for p in engine.outside]
    alarms = (f"{OUT_OF_LIMITS}, permitted in writing: {listed(outside)}.",) if outside else ()
    heading = Heading(engine.title or engine.job, f"{engine.number} of the shelf", whose, whose, alarms)
    return page_of(heading, {"record": _recorded(built)})


def _recorded(built: Built) -> Recorded:
    engine, unit = built.engine, built.unit
    own = {"job": engine.job, "by": engine.by, "note": engine.note}
    kinds = sorted(dict.fromkeys(p.kind for p in engine.positions), key=lambda kind: not in_one_block(kind))
    return Recorded(
        UNITS[unit],
        scale_for(unit, ()).step,
        tuple((key, one_line(text)) for key, text in own.items() if text),
        tuple(_kind(built, kind) for kind in kinds),
        tuple((name, told_of_gauge(gauge, gauge.unit or unit, ("walls",))) for name, gauge in built.gauges.items()),
        _RESTS_ON,
        _ASK,
    )


def _kind(built: Built, kind: str) -> KindRecorded:
    positions = [p for p in built.engine.positions if p.kind == kind]
    limits = common_limits(positions, built.unit)
    parts = {built.part[shell.number] for p in positions for shell in p.shells}
    part = parts.pop() if len(parts) == 1 else ""
    lines = tuple(_line(built, p, same_part=bool(part)) for p in positions)
    told = "; ".join(filter(None, [limits, part and f"part {part}"]))
    return KindRecorded(kind, told, "", "", lines, _ASK_OF_A_KIND)


def _line(built: Built, position: EnginePosition, *, same_part: bool) -> Line:
    unit = built.unit
    return Line(
        position.position,
        tuple((usual(unit, nm), "") for nm in (position.journal_nm, position.housing_bore_nm)),
        tuple(_fitted(built, position, shell, same_part=same_part) for shell in position.shells),
        usual(unit, position.clearance_nm) if position.is_whole else NOTHING,
        None,
        "" if position.assembled_nm is None else usual(unit, position.assembled_nm),
        tuple(_marks(built, position)),
    )


def _fitted(built: Built, position: EnginePosition, shell: EngineShell, *, same_part: bool) -> Fitted:
    box, _, name = shell.label.rpartition("/")  # no name has a stroke in it
    return Fitted(
        side_of(position.kind, shell.half),
        runs(name),
        box,
        NOTHING if shell.wall_nm is None else usual(built.unit, shell.wall_nm),
        "" if same_part else built.part[shell.number],
        str(shell.number),
        _read(built, shell),
    )


def _read(built: Built, shell: EngineShell) -> str:
    """The readings of a wall where there is more than one, or one that is not the wall itself; the gauges, unless one
    has read all walls."""
    readings = built.readings.get(shell.number, ())
    if shell.wall_nm is None or not readings:
        return ""
    several = [one.nm for one in readings] != [shell.wall_nm]
    values = [in_full(one.nm, built.unit) for one in readings] if several else []
    gauges = dict.fromkeys(one.gauge for one in readings if one.gauge) if len(built.gauges) > 1 else ()
    return " ".join([*values, *([f"by {listed(list(gauges))}"] if gauges else [])])


def _marks(built: Built, position: EnginePosition) -> Iterator[str]:
    if position.permission:
        how = built.permitted.get(position.position)
        told = [f"{how.at[:10]}{f' by {how.by}' if how.by else ''}", how.note] if how else []
        was = "was once " if position.within_limits else ""
        quoted = f"{was}{OUT_OF_LIMITS}, permitted in writing: {position.permission}"
        yield one_line("; ".join(filter(None, [quoted, *told])))
    if position.in_doubt:
        yield "rests on readings in doubt"
    if not position.is_whole:
        yield half_fitted(position)
    if position.left:
        yield how_left(position)
    again = [(wear.part, wear.after_nm) for wear in position.wears if wear.after_nm is not None]
    if again:
        yield f"measured again then: {', '.join(f'{part} {usual(built.unit, nm)}' for part, nm in again)}"
