"""The record of an engine that was built from the shelf, as the shelf knows it: what it does not know is to be written
in by hand."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from math import ceil
from typing import Final

from fitmatch.lengths import fixed
from fitmatch.records.housings import in_one_block
from fitmatch.records.measuring import DIAMETERS, Reading
from fitmatch.report.shared.grounds import corrected_from
from fitmatch.report.shared.scale import NOTHING, UNITS, scale_for, telling, usual
from fitmatch.report.shared.states import IN_DOUBT, NOT_TO_BE_RUN, one_line, side_of
from fitmatch.report.sheet.amounts import as_read, in_full, runs, setting, span, unit_read
from fitmatch.report.sheet.page import Heading, page_of
from fitmatch.report.sheet.record import (
    Fitted,
    KindRecorded,
    Line,
    Recorded,
    assembled_told,
    bench_told,
    common_limits,
    expansions,
    how_assembled,
    told_of_gauge,
    uncounted,
)
from fitmatch.report.shelf.data import wear_u
from fitmatch.report.shelf.texts import ON_HOLD, OUT_OF_LIMITS, half_fitted, how_left
from fitmatch.report.shelf.words import words
from fitmatch.shelf.answers.engines import Assembled, EnginePosition, EngineRecord, EngineShell
from fitmatch.shelf.questions.built import Built
from fitmatch.wording import listed

_OF_THE_USER: Final = {
    "engine": "the engine's own number",
    "crank": "crank",
    "block": "block",
    "customer": "customer",
}
_READ_WITH: Final = "journals and bores read with"
_ROOM: Final = "room"
_SEATING: Final = "seating counted in"
_LIMITS_FROM: Final = "limits from"
_RESTS_ON: Final = (
    "Sizes, walls and clearances as they were when each position was fitted.",
    "Calculated = housing bore - journal - both walls + seating, but for rounding.",
)
_NOT_KNOWN: Final = "What the shelf does not know is left to be written in."
_SURE: Final = "+/- is the expanded uncertainty of the calculated clearance, 95 %, as the plan gave it."
_AT_LEAST: Final = "At least: not all was known of what the gauges may read wrong."


def engine_sheet(built: Built) -> bytes:
    """The page of one engine."""
    engine = built.engine
    whose = f"Engine {engine.number} of the shelf, built {engine.at[:10]}"
    whose += f", {left}" if (left := how_left(engine)) else ""
    whose += "".join(f"; {told}" for told in (_plans(engine), f"printed {built.today}") if told)
    own = engine.record.get("engine", "")
    called = f"{own}, {engine.number} of the shelf" if own else f"{engine.number} of the shelf"
    heading = Heading(engine.title or engine.job, one_line(called), whose, whose, tuple(_alarms(engine)))
    return page_of(heading, {"record": _Record(built).whole()})


def _plans(engine: EngineRecord) -> str:
    """The plans that it was built to."""
    found = list(dict.fromkeys(filter(None, map(_plan_of, engine.positions))))
    return f"to {'plan' if len(found) == 1 else 'plans'} {listed(found)}" if found else ""


def _plan_of(position: EnginePosition) -> str:
    if position.plan_number is None:
        return ""
    day = f" of {position.plan_date}" if position.plan_date else ""
    return f"{position.plan_number}{day}" + (f", {position.plan_time}" if position.plan_time else "")


def _alarms(engine: EngineRecord) -> Iterator[str]:
    if found := [p.position for p in engine.on_hold]:
        yield f"{ON_HOLD}: {listed(found)}; not to run until this is settled."
    if found := [p.position for p in engine.not_to_be_run]:
        yield f"{NOT_TO_BE_RUN}: {listed(found)}."
    outside = [p.position for p in engine.outside]
    if outside:
        yield f"{OUT_OF_LIMITS}, permitted in writing: {listed(outside)}."
    doubted = [p.position for p in engine.positions if p.in_doubt]
    if doubted:
        yield f"{IN_DOUBT} when fitted: {listed(doubted)} rested on readings in doubt."
    for p in engine.incomplete:
        yield f"{p.position}: {f'{how_left(p)}, has no shells' if p.left else half_fitted(p)}."
    if engine.never_fitted:
        yield f"Not fitted in this engine: {listed(list(engine.never_fitted))}."


class _Record:
    """Makes the record of one engine."""

    def __init__(self, built: Built) -> None:
        self._built, self._engine, self._unit = built, built.engine, built.unit
        positions = self._engine.positions
        lengths = [nm for p in positions for nm in (p.journal_nm, p.housing_bore_nm, p.clearance_nm)]
        lengths += [shell.wall_nm for p in positions for shell in p.shells if shell.wall_nm is not None]
        self._scale = scale_for(self._unit, lengths)
        self._sure = any(p.clearance_u_nm is not None for p in positions)
        self._walls_by = {one.gauge for some in built.readings.values() for one in some if one.gauge}
        self._read_by = {
            feature: {one.gauge for (_, what), some in built.sizes.items() if what == feature for one in some}
            for feature in DIAMETERS
        }

    def whole(self) -> Recorded:
        """The whole part."""
        engine, unit = self._engine, self._unit
        kinds = sorted(dict.fromkeys(p.kind for p in engine.positions), key=lambda kind: not in_one_block(kind))
        asked = tuple(self._asked())
        recorded = tuple(map(self._kind, kinds))
        unknown = [_NOT_KNOWN] if asked or any(kind.ask for kind in recorded) else []
        gauges = self._built.gauges
        sure = [_SURE] if self._sure else []
        sure += [_AT_LEAST] if any(p.clearance_u_least for p in engine.positions) else []
        return Recorded(
            UNITS[unit],
            scale_for(unit, ()).step,
            tuple((key, one_line(text)) for key, text in self._own() if text),
            recorded,
            tuple((name, told_of_gauge(name, gauges, unit, self._uses(name))) for name in gauges),
            (*_RESTS_ON, *self._corrected(), *sure, *unknown),
            asked,
        )

    def _own(self) -> Iterator[tuple[str, str]]:
        engine = self._engine
        yield from engine.record.items()
        yield from (("job", engine.job), ("by", engine.by), ("note", engine.note))
        yield from (("taken down by", engine.torn_down_by), ("noted then", engine.torn_down_note))

    def _asked(self) -> Iterator[str]:
        """What an engine's record should have, and the shelf does not know."""
        positions, has = self._engine.positions, {key.casefold() for key in self._engine.record}
        yield from (asked for key, asked in _OF_THE_USER.items() if key not in has)
        if not all(any(self._read_by[feature] - {None}) for feature in DIAMETERS):
            yield _READ_WITH
        if any(p.gauges_celsius is None for p in positions):
            yield _ROOM
        if any(p.seating_nm is None for p in positions):
            yield _SEATING

    def _uses(self, name: str) -> list[str]:
        """What a gauge has read."""
        told = [f"{feature.replace('_', ' ')}s" for feature in DIAMETERS if name in self._read_by[feature]]
        return [*told, "walls"] if name in self._walls_by else told

    def _corrected(self) -> Iterator[str]:
        told = [
            text
            for tell in (_temperatures, self._expansions)
            for text in self._told_of_each(self._engine.positions, tell)
        ]
        yield from (f"{text[0].upper()}{text[1:]}." for text in told)

    def _expansions(self, position: EnginePosition) -> str:
        return expansions(self._built.materials.get(position.position, {})) if _temperatures(position) else ""

    def _told_of_each(
        self, positions: Sequence[EnginePosition], tell: Callable[[EnginePosition], str]
    ) -> Iterator[str]:
        """What is to be told, once if it is the same of all, otherwise with the positions that it is told of."""
        found: dict[str, list[str]] = {}
        for p in positions:
            found.setdefault(tell(p), []).append(p.position)
        for text, names in found.items():
            if text:
                yield text if len(found) == 1 else f"{text} ({listed(names)})"

    def _kind(self, kind: str) -> KindRecorded:
        positions = [p for p in self._engine.positions if p.kind == kind]
        parts = {self._built.part[shell.number] for p in positions for shell in p.shells}
        part = parts.pop() if len(parts) == 1 else ""
        told = "; ".join(filter(None, [common_limits(positions, self._unit), part and f"part {part}"]))
        source = "; ".join(self._told_of_each(positions, lambda p: p.limits_from))
        return KindRecorded(
            kind,
            told,
            source,
            "; ".join(self._told_of_each(positions, self._seating)),
            tuple(self._line(p, same_part=bool(part)) for p in positions),
            () if all(p.limits_from for p in positions) else (_LIMITS_FROM,),
            uncounted=uncounted({p.position: p.uncounted_nm or 0 for p in positions if p.is_whole}, self._scale),
        )

    def _seating(self, position: EnginePosition) -> str:
        return f"{in_full(position.seating_nm, self._unit)} {self._unit}" if position.seating_nm else ""

    def _line(self, position: EnginePosition, *, same_part: bool) -> Line:
        is_there = position.is_whole and position.left in ("", "teardown")
        assembled = "; ".join(map(self._assembled, position.readings))
        return Line(
            position.position,
            tuple((self._length(getattr(position, f"{what}_nm")), *self._read(position, what)) for what in DIAMETERS),
            tuple(self._fitted(position, shell, same_part=same_part) for shell in position.shells),
            self._clearance(position) if position.is_whole else NOTHING,
            self._uncertainty(position) if self._sure else None,
            assembled or ("" if is_there else NOTHING),
            tuple(_marks(position)),
            notes=tuple(one_line(note) for note in self._notes(position)),
        )

    def _length(self, nm: int | None) -> str:
        return self._scale.length(nm)

    def _clearance(self, position: EnginePosition) -> str:
        """With as many decimals as it takes to look inside or outside its limits as it is."""
        bounds = position.min_nm, position.max_nm
        places = telling(self._unit, position.clearance_nm, bounds, self._scale.decimals)
        return fixed(position.clearance_nm, self._unit, places)

    def _uncertainty(self, position: EnginePosition) -> str:
        if position.clearance_u_nm is None:
            return NOTHING
        least = "at least " if position.clearance_u_least else ""
        return f"{least}{self._scale.steps(ceil(position.clearance_u_nm))}"

    def _assembled(self, one: Assembled) -> str:
        """One reading with the shells in."""
        how, unit = how_assembled(one.method, one.gauge, one.by, one.date), self._unit
        gauge = self._built.gauges.get(one.gauge)
        known = one.readings_nm or (one.as_read_nm,)
        typed = one.typed or ("",) * len(known)
        own = unit_read(known, unit, gauge) if not one.typed else unit
        step, step_unit = gauge and gauge.resolution_nm, (gauge and gauge.unit) or unit
        read = as_read(list(zip(known, typed, strict=True)), own, step, step_unit)
        setter = self._built.gauges.get(one.setter)
        set_to = (
            setting(one.set_to_nm, (setter and setter.unit) or unit, setter and setter.resolution_nm)
            if one.set_to_nm is not None
            else None
        )
        bench = bench_told(one.setter, set_to, span(one.least_nm, one.most_nm, step_unit)) if one.readings_nm else ""
        return assembled_told(one.read, read, how, f"{usual(unit, one.assembled_nm)} {unit}", bench)

    def _fitted(self, position: EnginePosition, shell: EngineShell, *, same_part: bool) -> Fitted:
        box, _, name = shell.label.rpartition("/")  # no name has a stroke in it
        return Fitted(
            side_of(position.kind, shell.half),
            runs(name),
            box,
            self._length(shell.wall_nm),
            "" if same_part else self._built.part[shell.number],
            f"no. {shell.number}",
            self._read_wall(shell),
        )

    def _read(self, position: EnginePosition, feature: str) -> tuple[str, str]:
        """The readings of a journal or bore where there is more than one, or one that is not the size itself."""
        readings = self._built.sizes.get((position.position, feature), ())
        return self._told_readings(readings, getattr(position, f"{feature}_nm"), self._read_by[feature])

    def _read_wall(self, shell: EngineShell) -> str:
        readings = self._built.readings.get(shell.number, ())
        if shell.wall_nm is None:
            return ""
        told = " ".join(filter(None, self._told_readings(readings, shell.wall_nm, self._walls_by)))
        return ", ".join(filter(None, ["bare", told])) if shell.number in self._built.bare else told

    def _told_readings(self, readings: Sequence[Reading], nm: int, all_by: Iterable[str | None]) -> tuple[str, str]:
        """With the gauges, unless one has read all."""
        gauges = list(dict.fromkeys(one.gauge for one in readings if one.gauge)) if len(set(all_by)) > 1 else []
        values = []
        if [one.nm for one in readings] not in ([], [nm]):
            for name, some in groupby(readings, lambda one: one.gauge):
                gauge, read = self._built.gauges.get(name or ""), [one.nm for one in some]
                unit, step = unit_read(read, self._unit, gauge), gauge and gauge.resolution_nm
                values.append(as_read([(one, "") for one in read], unit, step, (gauge and gauge.unit) or self._unit))
        return " ".join(values), f"by {listed(gauges)}" if gauges else ""

    def _notes(self, position: EnginePosition) -> Iterator[str]:
        if not position.left:
            yield from (words(fact, self._unit) for fact in position.assembled_attention)
        for one in position.readings:
            if u := wear_u(one.difference_u_nm, self._unit):
                which = "clearance" if len(position.readings) < 2 else f"clearance by {one.method}"
                yield f"U of assembled {which} less calculated: {u} {self._unit}, 95 %"
        if position.permission:
            how = self._built.permitted.get(position.position)
            told = [f"{how.at[:10]}{f' by {how.by}' if how.by else ''}", how.note] if how else []
            yield "; ".join(filter(None, [f"{_outside(position)}, permitted in writing: {position.permission}", *told]))
        if position.in_doubt:
            yield "rested on readings in doubt when it was fitted"
        again = [(wear.part, wear.after_nm) for wear in position.wears if wear.after_nm is not None]
        if again:
            yield f"measured again then: {', '.join(f'{part} {usual(self._unit, nm)}' for part, nm in again)}"


def _outside(position: EnginePosition) -> str:
    return OUT_OF_LIMITS if position.is_outside else f"was once {OUT_OF_LIMITS}"


def _marks(position: EnginePosition) -> Iterator[str]:
    if position.permission:
        yield _outside(position)
    if position.is_not_to_be_run:
        yield NOT_TO_BE_RUN
    if not position.left:
        yield from dict.fromkeys(one.verdict.upper() for one in position.readings if one.verdict)
    if position.in_doubt:
        yield IN_DOUBT
    if not position.is_whole:
        yield half_fitted(position)
    if position.left:
        yield how_left(position)
    if position.housing:
        yield f"housing of {position.housing}"


def _temperatures(position: EnginePosition) -> str:
    """Empty where nothing was corrected, or where that is not known."""
    if position.gauges_celsius is None:
        return ""
    parts = None if position.parts_celsius == position.gauges_celsius else position.parts_celsius
    return corrected_from(position.gauges_celsius, parts, position.kelvin_limit)
