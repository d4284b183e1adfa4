"""The table of one kind: every position with its two shells, its clearance and what marks it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import Enum
from math import ceil
from typing import Final, NamedTuple

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.report.screen.limits_drawn import LAST, SMALL, drawn, head_of
from fitmatch.report.screen.sure import INSIDE
from fitmatch.report.shared.box_names import by_letters, by_their_ends, legend, shell_name
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import (
    Column,
    clean,
    columns_taken,
    fits,
    paragraph,
    room_beside,
    shortened,
    table,
    whole,
)
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER, IN_DOUBT, NOT_FILLED, NOT_MEASURED, is_coated, side_of
from fitmatch.rules.positions.guard import guard_of

_ASTERISK: Final = "*"  # in rows whose marks are told below the table


class _Halves(Enum):
    """Where the two shells of a row stand."""

    BESIDE = 1
    STACKED = 2  # the wall below the name
    ONE_COLUMN = 3  # the lower one below the upper one


class _Boxes(Enum):
    """What boxes are called by."""

    NAMES = 1
    ENDS = 2
    LETTERS = 3


class _Notes(Enum):
    """Where marks and notes stand."""

    BESIDE = 1
    BELOW = 2  # below the table, if two lines will do
    CUT = 3  # beside their rows, notes with as many words as there is room for, but at least one
    LEFT_OUT = 4  # marks below the table, notes in full only


class _Way(NamedTuple):
    """How much of the page the table takes. `last`: the place of the right end of a drawing; `terse`: the warning
    stands in place of the drawing of a bore outside its limits."""

    boxes: _Boxes
    notes: _Notes
    last: int = LAST
    terse: bool = False
    halves: _Halves = _Halves.BESIDE


_MOST_BELOW: Final = 2  # lines
_SHORT: Final = (_Boxes.ENDS, _Boxes.LETTERS)
# The first that fits the page is taken: names as they are, then short ones, then with notes cut, then in two lines.
_WAYS: Final = (
    *(_Way(boxes, notes) for boxes in _Boxes for notes in (_Notes.BESIDE, _Notes.BELOW)),
    *(_Way(boxes, _Notes.BELOW, SMALL) for boxes in _SHORT),
    *(_Way(boxes, _Notes.CUT, last) for last in (LAST, SMALL) for boxes in _SHORT),
    *(_Way(boxes, _Notes.LEFT_OUT, last) for last in (LAST, SMALL) for boxes in _SHORT),
    *(_Way(boxes, notes, terse=True) for notes in (_Notes.BELOW, _Notes.LEFT_OUT) for boxes in _SHORT),
    *(_Way(_Boxes.LETTERS, _Notes.LEFT_OUT, SMALL, terse, _Halves.STACKED) for terse in (False, True)),
    _Way(_Boxes.LETTERS, _Notes.LEFT_OUT, SMALL, halves=_Halves.ONE_COLUMN),
)


def which_shell_goes_where(plan: JobPlan, kind: str, scale: Scale, certainty: Certainty) -> list[str]:
    """Every position of the kind in file order, also those that stay empty."""
    positions = [p for p in plan.job.positions if p.kind == kind]
    begun = plan.is_ready(kind) and kind not in plan.waits_for
    yet = "" if begun or not plan.of_kind(kind) else "fit none of these yet; "
    judged, verdicts = _judged_each(plan, positions), _verdicts(plan, positions, certainty)
    all_of_them = [*_in_common(judged), *_in_common(verdicts)]
    yet += f"all {', '.join(all_of_them)}; " if all_of_them else ""
    heading = f"{clean(kind).upper()}: {yet}{_aim(plan.job, kind, positions, scale)}"
    if not plan.of_kind(kind):
        return [*paragraph(heading), *paragraph("No position is filled: see NEEDS ATTENTION.", first="  ")]
    used, every_box = ({s.box for s in some} for some in (_placed_shells(plan, kind), plan.job.shells))
    short = {_Boxes.NAMES: {}, _Boxes.ENDS: by_their_ends(used, every_box), _Boxes.LETTERS: by_letters(used, every_box)}
    marks = _marks(plan.job, positions, {} if _in_common(judged) else judged)
    below = {_Notes.BELOW: _told_below(positions, marks), _Notes.LEFT_OUT: _told_below(positions, marks, notes=False)}
    for way in _WAYS:
        too_long = way.notes is _Notes.BELOW and len(below[way.notes]) > _MOST_BELOW
        if too_long or (way.boxes is _Boxes.ENDS and not short[way.boxes]):
            continue
        boxes = short[way.boxes]
        columns = _columns(plan, positions, scale, certainty, way, boxes, verdicts)
        columns.append(_mark_column(positions, marks, way, room_beside(positions, *columns)))
        if way is _WAYS[-1] or fits(positions, *columns):
            break
    heading += f"; {legend(boxes)}" if boxes else ""
    lines = [*paragraph(heading, rest="  "), *table(positions, *columns, ruled=False)]
    return [*lines, *below.get(way.notes, []), *_coated(plan, kind, scale)]


def _placed_shells(plan: JobPlan, kind: str) -> list[Shell]:
    return [shell for p in plan.of_kind(kind) for shell in (p.upper, p.lower)]


def _mark_column(
    positions: Sequence[Position], marks: Mapping[PositionKey, "_Mark"], way: _Way, room: int
) -> Column[Position]:
    """What sets rows apart, as far as the room allows, or an asterisk for what is told below."""
    below = way.notes in (_Notes.BELOW, _Notes.LEFT_OUT)
    shown = {p.key: marks[p.key].cut(room) if way.notes is _Notes.CUT else marks[p.key].told for p in positions}
    return Column(
        "", lambda p: _ASTERISK if below and shown[p.key] else shown[p.key], "left", shown=any(shown.values())
    )


def _told_below(
    positions: Sequence[Position], marks: Mapping[PositionKey, "_Mark"], *, notes: bool = True
) -> list[str]:
    """What sets rows apart, those with the same marks together. Without `notes`, where to find these."""
    rows: dict[str, list[str]] = {}
    for p in positions:
        if mark := marks[p.key].told if notes else marks[p.key].marks:
            rows.setdefault(mark, []).append(whole(p.name))
    told = [f"{', '.join(names)}: {mark}" for mark, names in rows.items()]
    told += [] if notes or not any(mark.note for mark in marks.values()) else ["notes: --full"]
    return paragraph("; ".join(told), first=f"{_ASTERISK} ") if told else []


def _aim(job: Job, kind: str, positions: Sequence[Position], scale: Scale) -> str:
    """What the kind is fitted to, and where its limits come from."""
    guard, source = guard_of(job), job.fits[kind].limits_from
    drawn_in = f", drawn in by a guard of {guard:g}" if guard else ""
    return target_and_limits(positions, scale) + drawn_in + (f"; limits: {clean(source)}" if source else "")


def _columns(
    plan: JobPlan,
    positions: Sequence[Position],
    scale: Scale,
    certainty: Certainty,
    way: _Way,
    boxes: Mapping[str, str],
    verdicts: Mapping[PositionKey, Sequence[str]],
) -> list[Column[Position]]:
    """All but marks and notes."""
    kind, placed = positions[0].kind, plan.by_position()
    bars = {p.position.key: _drawn(p, way) for p in plan.of_kind(kind)}
    states = _states(plan, positions, verdicts, danger=not way.terse)
    empty = {u.position.key: NOT_FILLED for u in plan.unfilled}

    def of(show: Callable[[Placement], str]) -> Callable[[Position], str]:
        cells = {p.position.key: show(p) for p in plan.of_kind(kind)}  # widths are asked for several times
        return lambda position: cells.get(position.key, "")

    def half(side: str) -> Column[Position]:
        names = {p.position.key: _name(_shell(p, side), boxes) for p in plan.of_kind(kind)}
        room = max(map(columns_taken, names.values()))

        def shown(p: Placement) -> str:
            name, wall = names[p.position.key], scale.length(_shell(p, side).wall_nm)
            return f"{name}{' ' * (room - columns_taken(name))} {wall}" if beside else f"{name}\n{wall}"

        head = f"{side} ({side_of(kind, side)})"
        return Column(head, of(shown) if side == "lower" else or_why(of(shown)), "left", wraps=True)

    def or_why(show: Callable[[Position], str]) -> Callable[[Position], str]:
        return lambda position: show(position) or whole(empty.get(position.key, NOT_MEASURED))

    def both(p: Placement) -> str:
        shells = ((side, _shell(p, side)) for side in SIDES)
        return "\n".join(whole(f"{side} {_name(s, boxes)} {scale.length(s.wall_nm)}") for side, s in shells)

    if way.halves is _Halves.ONE_COLUMN:
        halves = [Column(", ".join(f"{s} ({side_of(kind, s)})" for s in SIDES), or_why(of(both)), "left", wraps=True)]
    else:
        beside = way.halves is _Halves.BESIDE
        halves = [half(side) for side in SIDES]

    off = {key: scale.steps(p.deviation_nm, sign=True) for key, p in placed.items()}
    widest = max(map(len, (off[p.position.key] for p in plan.of_kind(kind))))
    sure = certainty.known and any(certainty.of(p) is not None for p in plan.of_kind(kind))
    return [
        Column("", lambda p: whole(p.name), "left", wraps=True),
        Column(
            "housing", lambda p: whole(f"of {p.housing}") if p.housing else "", "left", wraps=True,
            shown=any(p.housing is not None for p in positions),
        ),
        *halves,
        Column("clearance off", of(lambda p: f"{scale.length(p.clearance_nm)} {off[p.position.key]:>{widest}}")),
        Column("+/-", of(lambda p: _expanded(certainty, p, scale)), shown=sure),
        Column(head_of(way.last), lambda p: bars.get(p.key, ""), "left", shown=any(bars.values())),
        Column("", lambda p: states[p.key], "left", wraps=True, shown=any(states.values())),
    ]  # fmt: skip


def _name(shell: Shell, boxes: Mapping[str, str]) -> str:
    return whole(full_name((boxes[shell.box], shell.name))) if boxes else shell_name(shell)


def _drawn(placement: Placement, way: _Way) -> str:
    return whole(DANGER) if way.terse and not placement.within_limits else drawn(placement, way.last)


def _shell(placement: Placement, side: str) -> Shell:
    shell: Shell = getattr(placement, side)
    return shell


def _states(
    plan: JobPlan, positions: Sequence[Position], verdicts: Mapping[PositionKey, Sequence[str]], *, danger: bool
) -> dict[PositionKey, str]:
    """By position what must be known before its row is followed, unless the warning of `danger` stands elsewhere."""
    placed, doubts = plan.by_position(), plan.doubted
    flagged = {flag.position for flag in plan.flags if flag.what.code != "misfit"}
    found = {}
    for p in positions:
        placement = placed.get(p.key)
        states = [IN_DOUBT] if doubts.concerns(p, placement) else []
        states += ["see below"] if p.name in flagged else []
        if placement is not None:
            states += [] if placement.within_limits or not danger else [DANGER]
        states += verdicts[p.key]
        found[p.key] = ", ".join(map(whole, states))
    return found


def _in_common(said: Mapping[PositionKey, tuple[str, ...]]) -> tuple[str, ...]:
    """What is said of every position, if that is the same."""
    return next(iter(said.values())) if len(set(said.values())) == 1 else ()


def _verdicts(plan: JobPlan, positions: Sequence[Position], certainty: Certainty) -> dict[PositionKey, tuple[str, ...]]:
    """By position that it is not surely inside its limits; nothing of one that is empty or outside them."""
    found = {p.position.key: certainty.verdict(p) for p in plan.placements if p.within_limits}
    return {p.key: () if (verdict := found.get(p.key)) in (None, INSIDE) else (verdict,) for p in positions}


def _judged_each(plan: JobPlan, positions: Sequence[Position]) -> dict[PositionKey, tuple[str, ...]]:
    """By position where it lies beside its wanted band; nothing of one that is empty or outside its limits."""
    placed = plan.by_position()
    inside = {p.key: placed[p.key] for p in positions if p.key in placed and placed[p.key].within_limits}
    return {p.key: tuple(_judged(inside[p.key])) if p.key in inside else () for p in positions}


def _judged(placement: Placement) -> Iterator[str]:
    """Of one that is inside its limits."""
    if placement.want_shortfall_nm:
        yield "below wanted"
    if placement.want_excess_nm:
        yield "above wanted"


class _Mark(NamedTuple):
    """What sets a position apart, and the user's note."""

    marks: str
    note: str

    @property
    def told(self) -> str:
        return ", ".join(filter(None, self))

    def cut(self, room: int) -> str:
        """With as many words of the note as there is room for, but at least one."""
        first = self.note.partition(" ")[0]
        left = room - columns_taken(self.marks) - 2 * bool(self.marks)
        return self._replace(note=shortened(self.note, max(left, len(f"{first} ...")))).told


def _marks(
    job: Job, positions: Sequence[Position], judged: Mapping[PositionKey, Sequence[str]]
) -> dict[PositionKey, _Mark]:
    """By position what sets it apart from the others of its kind: how its clearance is judged, matched columns and
    shells that are locked in it, or fitted already; and the note."""
    found = {p.key: list(judged.get(p.key, ())) for p in positions}
    for at, column in enumerate(job.matched_columns):
        wanted = {p.key: (p.wants_upper[at], p.wants_lower[at]) for p in positions}
        if len(set(wanted.values())) > 1:
            for key, cells in wanted.items():
                found[key] += _asked(column, *cells)
    for p in positions:
        held = {side: key for side in SIDES if (key := getattr(p, side)) is not None}
        fitted = {side for side, key in held.items() if (one := (job.shelved or {}).get(key)) and one.seat}
        for word, sides in (("fitted", fitted), ("locked", held.keys() - fitted)):
            found[p.key] += [word if len(sides) > 1 else f"{side} {word}" for side in sorted(sides)[:1]]
    return {p.key: _Mark(", ".join(map(clean, found[p.key])), clean(p.note or "")) for p in positions}


def _asked(column: str, upper: str, lower: str) -> list[str]:
    """Blank cells ask for shells without a mark, and say nothing here."""
    if upper == lower:
        return [_marked(column, upper)] if upper not in ("", ANY) else []
    return [
        f"{side} {_marked(column, cell)}"
        for side, cell in zip(SIDES, (upper, lower), strict=True)
        if cell not in ("", ANY)
    ]


def _marked(column: str, cell: str) -> str:
    return column if cell == "yes" else f"{column} {cell}"


def _expanded(certainty: Certainty, placement: Placement, scale: Scale) -> str:
    uncertainty = certainty.of(placement)
    return NOTHING if uncertainty is None else scale.steps(ceil(uncertainty.expanded_nm))


def _coated(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """The clearance to the metal, or over the coating, whichever the table does not show."""
    rows = [p for p in plan.of_kind(kind) if is_coated(p)]
    if not rows:
        return []
    counts = plan.job.coating_counts
    shown, other = ("over the coating", "to the metal") if counts else ("to the metal", "over the coating")

    def told(p: Placement) -> str:
        nm = p.clearance_to_metal_nm if counts else p.clearance_over_coating_nm
        return whole(f"{p.position.name} {scale.length(nm)}")

    return paragraph(f"Coated: the clearances above are {shown}; {other} {', '.join(map(told, rows))}.")


def target_and_limits(positions: Sequence[Position], scale: Scale) -> str:
    """What the kind is fitted to, or that its positions differ in it."""
    words = []
    for name, values in (
        ("target", {p.target_nm for p in positions}),
        ("min", {p.min_nm for p in positions}),
        ("max", {p.max_nm for p in positions}),
    ):
        if len(values) > 1:
            words.append(f"{name} by position")
        elif (nm := values.pop()) is not None:
            words.append(f"{name} {scale.with_unit(nm)}")
        elif name != "target":
            words.append(f"no {name} given")
        if name == "max":
            words += _wanted(positions, scale)
        if name == "target" and all(p.aims_at_middle for p in positions):
            words[-1] += " (the middle)"
    return ", ".join(map(whole, words))


def _wanted(positions: Sequence[Position], scale: Scale) -> list[str]:
    """The wanted band, or that positions differ in it; nothing if none is wanted."""
    bands = {(p.want_min_nm, p.want_max_nm) for p in positions}
    if bands == {(None, None)}:
        return []
    if len(bands) > 1:
        return ["wanted band by position"]
    ((low, high),) = bands
    least = [] if low is None else [f"from {scale.with_unit(low)}"]
    most = [] if high is None else [f"to {scale.with_unit(high)}"]
    return [" ".join(["wanted", *least, *most])]
