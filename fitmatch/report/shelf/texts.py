"""The shelf as text: tables of shells, events and engines."""

from collections.abc import Sequence
from typing import Final

from fitmatch.facts import Fact
from fitmatch.lengths import exact
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shelf.data import price as plain_price
from fitmatch.report.shelf.torn_down import wear_table
from fitmatch.report.shelf.words import words
from fitmatch.shelf.records import (
    IN_DOUBT,
    OUTSIDE,
    BoxChange,
    Changed,
    Copied,
    EnginePosition,
    EngineRecord,
    Engines,
    Event,
    History,
    KindSets,
    OneSet,
    SetBore,
    Sets,
    ShelfBox,
    ShelfShell,
    Shown,
    TakenIn,
    Tally,
)

NOT_KNOWN: Final = "not known"
OUT_OF_LIMITS: Final = "OUT OF LIMITS"
_LEFT: Final = {
    "put-back": "put back on {}",
    "teardown": "taken down on {}",
    "never-run": "taken down on {}, never run",
    "correct": "corrected on {}: never fitted",
}
_MOST_ROWS: Final = 200  # of a table that people read


def shown_text(shown: Shown, unit: str) -> str:
    """What `show` found."""
    if shown.tallies:
        return _page(_tallies(shown.tallies, unit))
    count = len(shown.shells)
    singles = sum(shell.single for shell in shown.shells)
    head = f"{count:,} shell{'' if count == 1 else 's'} on the shelf"
    head += f", {singles:,} of them single" if singles else ""
    lines = [head, *_shells(shown.shells, unit)]
    if count > _MOST_ROWS:
        lines.append(f"... and {count - _MOST_ROWS:,} more; narrow it down, group it with --group-by, or use --csv")
    sealed = ["", f"{len(shown.sealed)} sealed", *_sealed(shown.sealed)] if shown.sealed else []
    return _page([*lines, *sealed])


def taken_text(taken: TakenIn, unit: str) -> str:
    """What `take-in` changed."""
    lines = []
    if taken.first is not None:
        last = taken.first + taken.new - 1
        numbers = f"number {taken.first}" if taken.new == 1 else f"numbers {taken.first} to {last}"
        lines.append(f"{taken.new:,} new: {numbers}, to be written on their labels")
    if taken.remeasured:
        lines += [f"{len(taken.remeasured)} measured again, {taken.same} the same", *_shells(taken.remeasured, unit)]
    if taken.changed:
        lines += [f"{len(taken.changed)} described otherwise than before", *_shells(taken.changed, unit)]
    if taken.opened:
        lines.append(f"opened: {', '.join(whole(box.name) for box in taken.opened)}")
    if taken.unchanged:
        lines.append(f"{taken.unchanged:,} were here and are unchanged")
    if taken.sealed:
        lines.append(f"{taken.sealed} sealed box{'' if taken.sealed == 1 else 'es'} written down")
    if taken.sealed_before:
        lines.append(f"{taken.sealed_before} sealed box{'' if taken.sealed_before == 1 else 'es'} here already")
    lines += [_box_change(change) for change in taken.box_changes]
    if taken.not_measured:
        lines.append(f"{taken.not_measured} not yet measured")
    return _page(lines or ["nothing to take in"])


def _box_change(change: BoxChange) -> str:
    def shown(value: str | int | None) -> str:
        return clean(str(plain_price(value) if isinstance(value, int) else value or "nothing"))

    return f"box {whole(change.box)}: {change.what} is {shown(change.after)}, was {shown(change.before)}"


def changed_text(changed: Changed, unit: str) -> str:
    """What an action changed, and what needs attention."""
    attention = [words(fact, unit) for fact in changed.attention]
    below = ["", *items("ATTENTION", attention)] if attention else []
    return _page([*(_events(changed.events) or ["nothing to change"]), *below])


def copied_text(copied: Copied, unit: str) -> str:
    """A shelf that was exported or imported."""
    names = ("boxes", "shells", "readings", "engines", "events")
    return _page(["copied: " + ", ".join(f"{name} {copied.rows[name]:,}" for name in names)])


def history_text(history: History, unit: str) -> str:
    """A shell and all that happened to it."""
    return _page([*_shells([history.shell], unit), "", *_events(history.events)])


def engines_text(engines: Engines, unit: str) -> str:
    """All engines, a line each."""
    lines = table(
        engines.engines,
        Column("engine", lambda e: str(e.number)),
        Column("job", lambda e: whole(e.job), "left", wraps=True),
        Column("built", lambda e: e.at[:10], "left"),
        Column("by", lambda e: clean(e.by), "left", wraps=True, shown=any(e.by for e in engines.engines)),
        Column("positions", lambda e: str(len(e.positions))),
        Column("", how_left, "left", wraps=True, shown=any(e.state for e in engines.engines)),
        Column("", lambda e: OUT_OF_LIMITS if e.outside else "", "left"),
    )
    return _page(lines or ["no engine was built from this shelf yet"])


def engine_text(engine: EngineRecord, unit: str) -> str:
    """One engine with its positions."""
    by = f" by {clean(engine.by)}" if engine.by else ""
    head = paragraph(f"engine {engine.number}, {clean(engine.title or engine.job)}, built {engine.at[:10]}{by}")
    head += [how_left(engine)] if engine.state else []
    permitted = [_permitted(p) for p in engine.outside]
    doubted = [f"{whole(p.position)} rests on readings in doubt" for p in engine.positions if p.in_doubt]
    doubted += [words(Fact("grew", wear._asdict() | {"name": wear.label}), unit) for wear in engine.wears if wear.grew]
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
    worn = ["", *wear_table(engine.wears, unit)] if engine.wears else []
    note = ["", *paragraph(clean(engine.note))] if engine.note else []
    below = [("PERMITTED", permitted), ("ATTENTION", doubted)]
    told = [line for title, texts in below if texts for line in ("", *items(title, texts))]
    return _page([*head, "", *rows, *worn, *note, *told])


def how_left(one: EngineRecord | EnginePosition) -> str:
    """How an engine or a position was left, and when; empty while it stands."""
    code = one.state if isinstance(one, EngineRecord) else one.left
    return _LEFT[code].format(one.left_at[:10]) if code else ""


def half_fitted(position: EnginePosition) -> str:
    """What a position without both shells is; empty if it has both."""
    return "" if position.is_whole else "one shell only, no clearance" if position.shells else "no shells"


def _permitted(position: EnginePosition) -> str:
    is_so = "was once" if position.within_limits else "was" if position.left else "is"
    back = f"; {how_left(position)}" if position.left else ""
    name, quoted = whole(position.position), clean(position.permission)
    return f"{name} {is_so} {OUT_OF_LIMITS}, permitted in writing: {quoted}{back}"


def _state_of(position: EnginePosition) -> str:
    outside = "" if position.within_limits else OUT_OF_LIMITS
    return ", ".join(filter(None, (outside, half_fitted(position), how_left(position))))


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
    if shell.state == "free":
        on_hold = f", on hold: {clean(shell.hold)}" if shell.hold else ""
        return ("free, single" if shell.single else "free") + on_hold
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


def _events(events: Sequence[Event]) -> list[str]:
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
        Column("note", _note, "left", wraps=True, below=True, shown=any(_note(e) for e in events)),
    )


def _note(event: Event) -> str:
    """What was noted, behind what must be said of it for ever."""
    quoted = f"{OUT_OF_LIMITS}, permitted: {clean(event.note)}" if OUTSIDE in event.remarks else clean(event.note)
    return "; ".join(filter(None, ("rests on readings in doubt" if IN_DOUBT in event.remarks else "", quoted)))
