"""The shelf as text: tables of shells, events and engines."""

from collections.abc import Sequence
from functools import partial
from typing import Final

from fitmatch.facts import Fact
from fitmatch.lengths import exact, with_unit
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shared.states import NOT_TO_BE_RUN
from fitmatch.report.shelf.data import noted, wear_u
from fitmatch.report.shelf.data import price as plain_price
from fitmatch.report.shelf.torn_down import missing_for_u, wear_table
from fitmatch.report.shelf.words import words
from fitmatch.shelf.answers.engines import Assembled, EnginePosition, EngineRecord, Engines
from fitmatch.shelf.answers.sets import KindSets, OneSet, SetBore, Sets
from fitmatch.shelf.answers.shells import (
    IN_DOUBT,
    OUTSIDE,
    BoxChange,
    Changed,
    Copied,
    Difference,
    Event,
    History,
    ShelfBox,
    ShelfShell,
    Shown,
    TakenIn,
    Tally,
)
from fitmatch.shelf.answers.shells import NOT_TO_BE_RUN as NOT_RUN

NOT_KNOWN: Final = "not known"
OUT_OF_LIMITS: Final = "OUT OF LIMITS"
ON_HOLD: Final = "ON HOLD"
_LEFT: Final = {
    "put-back": "put back on {}",
    "teardown": "taken down on {}",
    "never-run": "taken down on {}, never run",
    "correct": "corrected on {}: never fitted",
}
_MOST_ELSEWHERE: Final = 10
_MOST_ROWS: Final = 200  # of a table that people read


def shown_text(shown: Shown, unit: str) -> str:
    """What `show` found."""
    if shown.tallies:
        return _page([*_tallies(shown.tallies, unit), *undated(shown)])
    count = len(shown.shells)
    singles = sum(shell.single for shell in shown.shells)
    if not count and shown.in_all:
        head = f"none of {shown.in_all:,} shell{'' if shown.in_all == 1 else 's'} on the shelf"
    else:
        head = f"{count:,} shell{'' if count == 1 else 's'} on the shelf"
    head += f", {singles:,} of them single" if singles else ""
    lines = [head, *_shells(shown.shells, unit), *undated(shown)]
    if count > _MOST_ROWS:
        lines.append(f"... and {count - _MOST_ROWS:,} more; narrow it down, group it with --group-by, or use --csv")
    back = ", sent back" if any(box.state == "sent-back" for box in shown.sealed) else ""
    sealed = ["", f"{len(shown.sealed)} sealed{back}", *_sealed(shown.sealed)] if shown.sealed else []
    return _page([*lines, *sealed])


def undated(shown: Shown) -> list[str]:
    """What an age could not be asked of."""
    shells, boxes = shown.undated or (0, 0)
    if not shells:
        return []
    which = "1 box" if boxes == 1 else f"{boxes:,} boxes"
    text = f"left out: {shells:,} shell{'' if shells == 1 else 's'} of {which} of which nobody wrote down when "
    return paragraph(f"{text}{'it was' if boxes == 1 else 'they were'} opened")


def taken_text(taken: TakenIn, unit: str) -> str:
    """What `take-in` changed."""
    lines = []
    if taken.first is not None:
        last = taken.first + taken.new - 1
        numbers = f"number {taken.first}" if taken.new == 1 else f"numbers {taken.first} to {last}"
        lines.append(
            f"{taken.new:,} new: {numbers}, to be written on {'its label' if taken.new == 1 else 'their labels'}"
        )
    if taken.remeasured:
        same = f", {taken.same} with the wall that {'it' if taken.same == 1 else 'they'} had" if taken.same else ""
        lines += [f"{len(taken.remeasured)} measured again{same}", *_shells(taken.remeasured, unit)]
    if taken.changed:
        lines += [f"{len(taken.changed)} described otherwise than before", *_shells(taken.changed, unit)]
    if taken.opened:
        lines.append(f"opened: {', '.join(whole(box.name) for box in taken.opened)}")
    if taken.unchanged:
        lines.append(
            f"{taken.unchanged:,} {'was here and is' if taken.unchanged == 1 else 'were here and are'} unchanged"
        )
    if taken.sealed:
        lines.append(f"{taken.sealed} sealed box{'' if taken.sealed == 1 else 'es'} written down")
    if taken.sealed_before:
        lines.append(f"{taken.sealed_before} sealed box{'' if taken.sealed_before == 1 else 'es'} here already")
    lines += [_box_change(change) for change in taken.box_changes]
    lines += _elsewhere(taken.elsewhere)
    if taken.not_measured:
        lines.append(f"{taken.not_measured} not yet measured")
    return _page([*(lines or ["nothing to take in"]), *_attention(taken.attention, unit)])


def _elsewhere(found: Sequence[Difference]) -> list[str]:
    if not found:
        return []
    told = [f"{whole(str(one.what))} ({clean(str(one.before))}; file: {clean(str(one.after))})" for one in found]
    text = f"location in file differs, the shelf's stays: {', '.join(told[:_MOST_ELSEWHERE])}"
    more = f" and {len(told) - _MOST_ELSEWHERE:,} more" if len(told) > _MOST_ELSEWHERE else ""
    return paragraph(f"{text}{more}; if moved, `fitmatch shelf move` says so")


def _box_change(change: BoxChange) -> str:
    def shown(value: str | int | None) -> str:
        return clean(str(plain_price(value) if isinstance(value, int) else value or "nothing"))

    return f"box {whole(change.box)}: {change.what} is {shown(change.after)}, was {shown(change.before)}"


def changed_text(changed: Changed, unit: str) -> str:
    """What an action changed, and what needs attention."""
    notices = ["", *items("NOTE", [words(fact, unit) for fact in changed.notices])] if changed.notices else []
    events = _events(changed.events, unit) or ["nothing to change"]
    return _page([*events, *notices, *_attention(changed.attention, unit)])


def _attention(facts: Sequence[Fact], unit: str) -> list[str]:
    return ["", *items("ATTENTION", [words(fact, unit) for fact in facts])] if facts else []


def copied_text(copied: Copied, unit: str) -> str:
    """A shelf that was exported or imported."""
    names = ("boxes", "shells", "readings", "engines", "events")
    return _page(["copied: " + ", ".join(f"{name} {copied.rows[name]:,}" for name in names)])


def history_text(history: History, unit: str) -> str:
    """A shell and all that happened to it."""
    times = history.shell.trial_fits
    tried = [f"put back after a trial fit: {'once' if times == 1 else f'{times} times'}"] if times else []
    return _page([*_shells([history.shell], unit), *tried, "", *_events(history.events, unit)])


def engines_text(engines: Engines, unit: str) -> str:
    """All engines, a line each."""
    lines = table(
        engines.engines,
        Column("engine", lambda e: str(e.number)),
        Column("job", lambda e: whole(e.job), "left", wraps=True),
        Column("built", lambda e: e.at[:10], "left"),
        Column("by", lambda e: clean(e.by), "left", wraps=True, shown=any(e.by for e in engines.engines)),
        Column("positions", lambda e: str(sum(p.left != "correct" for p in e.positions))),
        Column("", how_left, "left", wraps=True, shown=any(e.state for e in engines.engines)),
        Column("", _worst_of, "left", wraps=True),
    )
    permitted = [f"engine {one.number}: {_permitted(p)}" for one in engines.engines for p in one.outside]
    lines += ["", *items("PERMITTED", permitted)] if permitted else []
    return _page(lines or ["no engine was built from this shelf yet"])


def _worst_of(engine: EngineRecord) -> str:
    run, hold = NOT_TO_BE_RUN if engine.not_to_be_run else "", ON_HOLD if engine.on_hold else ""
    told = (run, hold, OUT_OF_LIMITS if engine.outside else "")
    return ", ".join(map(whole, filter(None, told)))


def engine_text(engine: EngineRecord, unit: str) -> str:
    """One engine with its positions."""
    by = f" by {clean(engine.by)}" if engine.by else ""
    head = paragraph(f"engine {engine.number}, {clean(engine.title or engine.job)}, built {engine.at[:10]}{by}")
    head += [how_left(engine) + _taken_down(engine)] if engine.state else []
    permitted = [_permitted(p) for p in engine.outside]
    doubted = [f"{whole(p.position)} rests on readings in doubt" for p in engine.positions if p.in_doubt]
    doubted += [f"{whole(name)} was not fitted in this engine" for name in engine.never_fitted]
    doubted += [words(fact, unit) for p in engine.positions if engine.torn_down for fact in p.attention]
    measured = [wear for wear in engine.wears if wear.after_nm is not None]
    rows = table(
        engine.positions,
        Column("position", lambda p: whole(p.position), "left"),
        Column("upper", lambda p: _label(p, "upper"), "left", wraps=True),
        Column("lower", lambda p: _label(p, "lower"), "left", wraps=True),
        Column(f"clearance [{unit}]", lambda p: exact(p.clearance_nm, unit) if p.is_whole else ""),
        Column(
            "assembled", lambda p: _length(p.assembled_nm, unit), shown=any(p.assembled_nm for p in engine.positions)
        ),
        Column("min", lambda p: _length(p.min_nm, unit)),
        Column("max", lambda p: _length(p.max_nm, unit)),
        Column("", _state_of, "left", wraps=True),
    )
    worn = ["", *wear_table(measured, unit), *missing_for_u(measured)] if measured else []
    note = ["", *paragraph(clean(engine.note))] if engine.note else []
    doubted += [words(fact, unit) for p in engine.positions if not p.left for fact in p.assembled_attention]
    doubted += [words(fact, unit) for fact in engine.hold_attention]
    read = [f"{whole(p.position)}: {_assembled_reading(one, unit)}" for p in engine.positions for one in p.readings]
    below = [("READ WITH THE SHELLS IN", read), ("PERMITTED", permitted), ("ATTENTION", doubted)]
    told = [line for title, texts in below if texts for line in ("", *items(title, texts))]
    return _page([*head, "", *rows, *worn, *note, *told])


def how_left(one: EngineRecord | EnginePosition) -> str:
    """How an engine or a position was left, and when; empty while it stands."""
    code = one.state if isinstance(one, EngineRecord) else one.left
    return _LEFT[code].format(one.left_at[:10]) if code else ""


def _taken_down(engine: EngineRecord) -> str:
    by = f" by {clean(engine.torn_down_by)}" if engine.torn_down_by else ""
    return f"{by}; {clean(engine.torn_down_note)}" if engine.torn_down_note else by


def half_fitted(position: EnginePosition) -> str:
    """What a position without both shells is; empty if it has both."""
    return "" if position.is_whole else "one shell only, no clearance" if position.shells else "no shells"


def _assembled_reading(one: Assembled, unit: str) -> str:
    """What was read with the shells in, by what and whom, beside what was calculated then."""
    gauge = f" {clean(one.gauge)}" if one.gauge else ""
    u = f", U of the difference {found} {unit}" if (found := wear_u(one.difference_u_nm, unit)) else ""
    who = f" ({', '.join(told)})" if (told := [clean(text) for text in (one.by, one.date) if text]) else ""
    raw = f", {one.read} as read {with_unit(one.as_read_nm, unit)}" if one.as_read_nm != one.assembled_nm else ""
    read = f"assembled {with_unit(one.assembled_nm, unit)} by {one.method}{gauge}{who}{raw}"
    return f"{read}, calculated {with_unit(one.calculated_nm, unit)}{u}"


def _permitted(position: EnginePosition) -> str:
    is_so = "was once" if not position.is_outside else "was" if position.left else "is"
    back = f"; {how_left(position)}" if position.left else ""
    name, quoted = whole(position.position), clean(position.permission)
    return f"{name} {is_so} {OUT_OF_LIMITS}, permitted in writing: {quoted}{back}"


def _state_of(position: EnginePosition) -> str:
    outside = OUT_OF_LIMITS if position.is_outside and position.permission else ""
    run = whole(NOT_TO_BE_RUN) if position.is_not_to_be_run else ""
    hold = whole(ON_HOLD) if position.is_on_hold else ""
    return ", ".join(filter(None, (run, hold, outside, half_fitted(position), how_left(position))))


def sets_text(found: Sets, unit: str) -> str:
    """The sets that can be re-formed, kind by kind."""
    lines = [line for kind in found.kinds for line in ("", *_kind_sets(kind, unit))][1:]
    return _page(lines or ["no bore is measured yet"])


def _kind_sets(kind: KindSets, unit: str) -> list[str]:
    named = "1 complete set" if kind.most == 1 else f"{kind.most} complete sets"
    more = " or more" if kind.capped and kind.most else ""
    pairs = "1 pair" if kind.pairs == 1 else f"{kind.pairs} pairs"
    sure = "proven" if kind.proven else NOT_PROVEN
    head = f"{whole(kind.kind)}: {named}{more} of {pairs} at once, from {kind.shells:,} shells; {sure}."
    lines = paragraph(head)
    for number, one in enumerate(kind.sets, 1):
        lines += ["", *paragraph(f"set {number}: {_how_even(one, unit)}"), *_bores(one.bores, unit)]
    if len(kind.sets) < kind.most:
        text = "One after another, each as even as can be, gives fewer sets than at once, which are then less even."
        lines += ["", *paragraph(text)]
    return lines


def _how_even(one: OneSet, unit: str) -> str:
    worst = "" if one.worst_deviation_nm is None else f", worst off target {exact(one.worst_deviation_nm, unit)} {unit}"
    return f"spread {exact(one.spread_nm, unit)} {unit}{worst}{'' if one.proven else f'; {NOT_PROVEN}'}"


def _bores(bores: Sequence[SetBore], unit: str) -> list[str]:
    measured = any(bore.clearance_nm is not None for bore in bores)
    return table(
        bores,
        Column("position", lambda b: whole(b.position), "left", wraps=True),
        Column("upper", lambda b: f"{whole(b.upper_label)} ({b.upper})", "left", wraps=True),
        Column("lower", lambda b: f"{whole(b.lower_label)} ({b.lower})", "left", wraps=True),
        Column(f"walls [{unit}]", lambda b: exact(b.wall_sum_nm, unit)),
        Column("clearance", lambda b: _length(b.clearance_nm, unit), shown=measured),
    )


def _page(lines: Sequence[str]) -> str:
    return "\n".join(lines) + "\n"


def _length(nm: int | None, unit: str) -> str:
    return "" if nm is None else exact(nm, unit)


def _label(position: EnginePosition, half: str) -> str:
    return next((f"{whole(s.label)} ({s.number})" for s in position.shells if s.half == half), "")


def _shells(shells: Sequence[ShelfShell], unit: str) -> list[str]:
    shown = shells[:_MOST_ROWS]
    return table(
        shown,
        Column("number", lambda s: str(s.number)),
        Column("box", lambda s: whole(s.box), "left", wraps=True),
        Column("shell", lambda s: whole(s.shell), "left", wraps=True),
        Column("family", lambda s: clean(s.family), "left", wraps=True, shown=any(s.family for s in shown)),
        Column("kind", lambda s: clean(s.kind), "left"),
        Column("half", lambda s: s.half, "left"),
        Column(f"wall [{unit}]", lambda s: _length(s.wall_nm, unit)),
        Column("grade", lambda s: clean(s.grade), "left", shown=any(s.grade for s in shown)),
        Column("size", lambda s: _size(s.undersize, s.step), "left", shown=any(s.undersize or s.step for s in shown)),
        Column("state", _state, "left", wraps=True),
        Column("location", lambda s: clean(s.location), "left", wraps=True, shown=any(s.location for s in shown)),
    )


def _size(undersize: str, step: str) -> str:
    """What is printed of the size, as printed."""
    return clean(" ".join(filter(None, (undersize, step))))


def _state(shell: ShelfShell) -> str:
    return _held_state(shell) + (f", on hold: {clean(shell.hold)}" if shell.hold else "")


def _held_state(shell: ShelfShell) -> str:
    if shell.state == "free":
        return "free, single" if shell.single else "free"
    if shell.state == "set-aside":
        return f"set aside: {whole(shell.job or '')} {whole(shell.position or '')}"
    if shell.state == "fitted":
        return f"fitted: engine {shell.engine} {whole(shell.position or '')}"
    if shell.state == "used" and shell.position:
        return f"used: only for {whole(shell.job or '')} {whole(shell.position)} {shell.side}"
    return f"{shell.state}: {clean(shell.reason)}" if shell.reason else shell.state


def _sealed(boxes: Sequence[ShelfBox]) -> list[str]:
    return table(
        boxes,
        Column("box", lambda b: whole(b.name), "left", wraps=True),
        Column("part", lambda b: clean(b.part), "left", wraps=True),
        Column("family", lambda b: clean(b.family), "left", wraps=True, shown=any(b.family for b in boxes)),
        Column("kind", lambda b: clean(b.kind), "left", shown=any(b.kind for b in boxes)),
        Column("size", lambda b: _size(b.undersize, b.step), "left", shown=any(b.undersize or b.step for b in boxes)),
        Column("location", lambda b: clean(b.location), "left", wraps=True, shown=any(b.location for b in boxes)),
    )


def _tallies(tallies: Sequence[Tally], unit: str) -> list[str]:
    def wall(tally: Tally) -> str:
        ends = dict.fromkeys((_length(tally.thinnest_nm, unit), _length(tally.thickest_nm, unit)))
        return " to ".join(filter(None, ends))

    def alike(name: str) -> Column[Tally]:
        def cell(tally: Tally) -> str:
            text = tally.alike[name]
            if name == "age" and not text:
                return NOT_KNOWN
            return _length(int(text), unit) if name == "wall" and text else whole(text)

        return Column(f"wall from [{unit}]" if name == "wall" else name, cell, "left", wraps=True)

    return table(
        tallies,
        *map(alike, tallies[0].alike),
        Column("shells", lambda t: f"{t.shells:,}"),
        Column("single", lambda t: f"{t.singles:,}" if t.singles else ""),
        Column(f"walls [{unit}]", wall, "left"),
    )


def _events(events: Sequence[Event], unit: str) -> list[str]:
    note = partial(_note, unit=unit)
    return table(
        events,
        Column("event", lambda e: str(e.number)),
        Column("at", lambda e: e.at, "left"),
        Column("action", lambda e: f"{e.action} {e.corrects}" if e.corrects else e.action, "left"),
        Column("shell", lambda e: whole(f"{e.label} ({e.shell})" if e.shell else e.label), "left", wraps=True),
        Column("state", lambda e: " > ".join(dict.fromkeys(filter(None, (e.from_state, e.to_state)))), "left"),
        Column("job", lambda e: whole(e.job), "left", wraps=True, shown=any(e.job for e in events)),
        Column("position", lambda e: whole(e.position), "left", shown=any(e.position for e in events)),
        Column("by", lambda e: clean(e.by), "left", wraps=True, shown=any(e.by for e in events)),
        Column("note", note, "left", wraps=True, below=True, shown=any(map(note, events))),
    )


def _note(event: Event, unit: str) -> str:
    """What was noted, behind what must be said of it for ever."""
    note = clean(noted(event, unit))
    quoted = f"{OUT_OF_LIMITS}, permitted: {note}" if OUTSIDE in event.remarks else note
    remarks = {IN_DOUBT: "rests on readings in doubt", NOT_RUN: whole(NOT_TO_BE_RUN)}
    return "; ".join(filter(None, (*(text for code, text in remarks.items() if code in event.remarks), quoted)))
