"""The table of one kind: every position with its two shells, its clearance and what marks it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import Enum
from math import ceil
from typing import Final, NamedTuple

from fitmatch.records.doubted import doubted
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.records.placements import Placement
from fitmatch.records.plans import JobPlan
from fitmatch.report.screen.limits_drawn import LAST, SMALL, drawn, head_of
from fitmatch.report.screen.sure import INSIDE
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import (
    Column,
    by_their_ends,
    clean,
    columns_taken,
    fits,
    paragraph,
    table,
    told_short,
    whole,
)
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER, is_coated
from fitmatch.report.text.positions import NOT_FILLED, NOT_MEASURED, shell_name
from fitmatch.rules.positions.guard import guard_of

IN_DOUBT: Final = "IN DOUBT"

_MARK: Final = "*"  # in rows whose marks are told below the table


class _Halves(Enum):
    """Where the two shells of a row stand."""

    BESIDE = 1
    STACKED = 2  # the wall below the name
    BELOW = 3  # on lines of their own


class _Way(NamedTuple):
    """How much of the page the table takes. `short`: boxes without what begins all their names; `last`: the place of
    the right end of a drawing; `terse`: the warning stands in place of the drawing of a bore outside its limits;
    `marked`: marks and notes beside their rows, not below the table."""

    short: bool = True
    halves: _Halves = _Halves.BESIDE
    last: int = LAST
    terse: bool = False
    marked: bool = False


# The first that fits the page is taken: names as they are, then short ones in one line, then in two.
_WAYS: Final = (
    _Way(short=False, marked=True),
    _Way(short=False),
    _Way(marked=True),
    _Way(),
    _Way(last=SMALL),
    _Way(terse=True),
    _Way(halves=_Halves.STACKED),
    _Way(halves=_Halves.STACKED, last=SMALL),
    _Way(halves=_Halves.STACKED, terse=True),
    _Way(halves=_Halves.BELOW),
)  # fmt: skip


def which_shell_goes_where(plan: JobPlan, kind: str, scale: Scale, certainty: Certainty) -> list[str]:
    """Every position of the kind in file order, also those that stay empty."""
    positions = [p for p in plan.job.positions if p.kind == kind]
    begun = plan.is_ready(kind) and kind not in plan.waits_for
    yet = "" if begun or not plan.of_kind(kind) else "fit none of these yet; "
    judged = _judged_each(plan, positions, certainty)
    all_of_them = set(judged.values()).pop() if len(set(judged.values())) == 1 else ()
    yet += f"all {', '.join(all_of_them)}; " if all_of_them else ""
    heading = f"{clean(kind).upper()}: {yet}{_aim(plan.job, kind, positions, scale)}"
    if not plan.of_kind(kind):
        return [*paragraph(heading), *paragraph("No position is filled: see NEEDS ATTENTION.", first="  ")]
    drawn_from = (_shell(p, side).box for p in plan.of_kind(kind) for side in SIDES)
    boxes = by_their_ends(drawn_from, (s.box for s in plan.job.shells))
    marks = _marks(plan.job, positions, {} if all_of_them else judged)
    ways = ((way, _columns(plan, positions, scale, certainty, way, boxes, marks)) for way in _WAYS)
    way, columns = next(
        ((way, columns) for way, columns in ways if way.halves is _Halves.BELOW or fits(positions, *columns))
    )
    if way.short and boxes:
        heading += f"; boxes: {', '.join(map(whole, told_short(boxes)))}"
    lines = [*paragraph(heading, rest="  "), *table(positions, *columns, ruled=False)]
    return [*lines, *([] if way.marked else _told_below(positions, marks)), *_coated(plan, kind, scale)]


def _told_below(positions: Sequence[Position], marks: Mapping[PositionKey, str]) -> list[str]:
    """What sets rows apart, those with the same marks together."""
    rows: dict[str, list[str]] = {}
    for p in positions:
        if marks[p.key]:
            rows.setdefault(marks[p.key], []).append(whole(p.name))
    told = "; ".join(f"{', '.join(names)}: {mark}" for mark, names in rows.items())
    return paragraph(told, first=f"{_MARK} ") if told else []


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
    marks: Mapping[PositionKey, str],
) -> list[Column[Position]]:
    kind, placed = positions[0].kind, plan.by_position()
    bars = {p.position.key: _drawn(p, way) for p in plan.of_kind(kind)}
    states = _states(plan, positions, danger=not way.terse)
    below = way.halves is _Halves.BELOW

    def of(show: Callable[[Placement], str]) -> Callable[[Position], str]:
        return lambda position: show(placed[position.key]) if position.key in placed else ""

    def half(side: str) -> Column[Position]:
        names = {p.position.key: _name(_shell(p, side), boxes if way.short else {}) for p in plan.of_kind(kind)}
        room = 0 if below else max(map(columns_taken, names.values()))

        def shown(p: Placement) -> str:
            name, wall = names[p.position.key], scale.length(_shell(p, side).wall_nm)
            told = f"{name}{' ' * (room - columns_taken(name))} {wall}"
            return f"{name}\n{wall}" if way.halves is _Halves.STACKED else f"{side} {told}" if below else told

        head = f"{side} ({side_of(kind, side)})"
        if side == "upper":
            empty = {u.position.key: NOT_FILLED for u in plan.unfilled}
            return Column(
                head, lambda p: of(shown)(p) or whole(empty.get(p.key, NOT_MEASURED)), "left", wraps=True, below=below
            )
        return Column(head, of(shown), "left", wraps=True, below=below)

    off = {key: scale.steps(p.deviation_nm, sign=True) for key, p in placed.items()}
    widest = max(map(len, (off[p.position.key] for p in plan.of_kind(kind))))
    sure = certainty.known and any(certainty.of(p) is not None for p in plan.of_kind(kind))
    return [
        Column("", lambda p: whole(p.name), "left", wraps=True),
        Column(
            "housing", lambda p: whole(f"of {p.housing}") if p.housing else "", "left", wraps=True,
            shown=any(p.housing is not None for p in positions),
        ),
        *map(half, SIDES),
        Column("clearance off", of(lambda p: f"{scale.length(p.clearance_nm)} {off[p.position.key]:>{widest}}")),
        Column("+/-", of(lambda p: _expanded(certainty, p, scale)), shown=sure),
        Column(head_of(way.last), lambda p: bars.get(p.key, ""), "left", shown=any(bars.values())),
        Column("", lambda p: states[p.key], "left", wraps=True, shown=any(states.values())),
        Column(
            "", lambda p: marks[p.key] if way.marked else _MARK if marks[p.key] else "", "left",
            shown=any(marks.values()),
        ),
    ]  # fmt: skip


def _name(shell: Shell, boxes: Mapping[str, str]) -> str:
    return whole(full_name((boxes[shell.box], shell.name))) if boxes else shell_name(shell)


def _drawn(placement: Placement, way: _Way) -> str:
    return whole(DANGER) if way.terse and not placement.within_limits else drawn(placement, way.last)


def side_of(kind: str, side: str) -> str:
    """What holds the half of that side: a cap holds the lower one, whichever way the engine hangs."""
    return "cap" if side == "lower" else "block" if in_one_block(kind) else "beam"


def _shell(placement: Placement, side: str) -> Shell:
    shell: Shell = getattr(placement, side)
    return shell


def _states(plan: JobPlan, positions: Sequence[Position], *, danger: bool) -> dict[PositionKey, str]:
    """By position what must be known before its row is followed, unless the warning of `danger` stands elsewhere."""
    placed, doubts = plan.by_position(), doubted([(plan.read, plan.doubts)])
    flagged = {flag.position for flag in plan.flags if flag.what.code != "misfit"}
    found = {}
    for p in positions:
        placement = placed.get(p.key)
        states = [IN_DOUBT] if doubts.concerns(p, placement) else []
        states += ["see below"] if p.name in flagged else []
        if placement is not None:
            states += [] if placement.within_limits or not danger else [DANGER]
        found[p.key] = ", ".join(map(whole, states))
    return found


def _judged_each(
    plan: JobPlan, positions: Sequence[Position], certainty: Certainty
) -> dict[PositionKey, tuple[str, ...]]:
    """By position what is said of its clearance; nothing of one that is empty or outside its limits."""
    placed = plan.by_position()
    inside = {p.key: placed[p.key] for p in positions if p.key in placed and placed[p.key].within_limits}
    return {p.key: tuple(_judged(inside[p.key], certainty)) if p.key in inside else () for p in positions}


def _judged(placement: Placement, certainty: Certainty) -> Iterator[str]:
    """Of one that is inside its limits."""
    if placement.want_shortfall_nm:
        yield "below wanted"
    if placement.want_excess_nm:
        yield "above wanted"
    verdict = certainty.verdict(placement)
    if verdict not in (None, INSIDE):
        yield str(verdict)


def _marks(
    job: Job, positions: Sequence[Position], judged: Mapping[PositionKey, Sequence[str]]
) -> dict[PositionKey, str]:
    """By position what sets it apart from the others of its kind: how its clearance is judged, matched columns, shells
    that are locked in it, and the user's note."""
    found = {p.key: list(judged.get(p.key, ())) for p in positions}
    for at, column in enumerate(job.matched_columns):
        wanted = {p.key: (p.wants_upper[at], p.wants_lower[at]) for p in positions}
        if len(set(wanted.values())) > 1:
            for key, cells in wanted.items():
                found[key] += _mark(column, *cells)
    for p in positions:
        locked = [side for side in SIDES if getattr(p, side) is not None]
        if locked:
            found[p.key].append("locked" if len(locked) > 1 else f"{locked[0]} locked")
        if p.note:
            found[p.key].append(p.note)
    return {key: ", ".join(map(clean, some)) for key, some in found.items()}


def _mark(column: str, upper: str, lower: str) -> list[str]:
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
