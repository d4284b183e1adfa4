"""The table of one kind: every position with its two shells, its clearance and what marks it."""

from collections.abc import Callable, Iterator, Sequence
from math import ceil
from typing import Final, NamedTuple

from fitmatch.records.doubted import doubted
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, SIDES, Position, Shell
from fitmatch.records.placements import Placement
from fitmatch.records.plans import JobPlan
from fitmatch.report.screen.limits_drawn import HEAD, drawn
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import Column, clean, columns_taken, fits, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER, is_coated
from fitmatch.report.text.positions import NOT_FILLED, NOT_MEASURED, shell_name
from fitmatch.rules.positions.guard import guard_of

IN_DOUBT: Final = "IN DOUBT"

_WHOLE: Final = 0  # every clearance is drawn between its limits
_TERSE: Final = 1  # of a bore outside its limits the warning stands there instead
_NONE: Final = 2


class _Way(NamedTuple):
    """How much the table shows. `stacked`: the wall of a shell stands below its name, not beside it."""

    stacked: bool
    drawing: int


# The first that fits the page is taken: a name that is not broken is worth more than a drawing.
_WAYS: Final = (
    _Way(False, _WHOLE), _Way(False, _TERSE), _Way(True, _WHOLE), _Way(True, _TERSE), _Way(True, _NONE),
)  # fmt: skip


def which_shell_goes_where(plan: JobPlan, kind: str, scale: Scale, certainty: Certainty) -> list[str]:
    """Every position of the kind in file order, also those that stay empty."""
    positions = [p for p in plan.job.positions if p.kind == kind]
    yet = "" if plan.is_ready(kind) or not plan.of_kind(kind) else "fit none of these yet; "
    heading = paragraph(f"{clean(kind).upper()}: {yet}{_aim(plan.job, positions, scale)}")
    if not plan.of_kind(kind):
        return [*heading, *paragraph("No position is filled: see NEEDS ATTENTION.", first="  ")]
    every = [_columns(plan, positions, scale, certainty, way) for way in _WAYS]
    columns = next((columns for columns in every if fits(positions, *columns)), every[-1])
    return [*heading, *table(positions, *columns, ruled=False), *_coated(plan, kind, scale)]


def _aim(job: Job, positions: Sequence[Position], scale: Scale) -> str:
    """What the kind is fitted to."""
    guard = guard_of(job)
    return target_and_limits(positions, scale) + (f", drawn in by a guard of {guard:g}" if guard else "")


def _columns(
    plan: JobPlan, positions: Sequence[Position], scale: Scale, certainty: Certainty, way: "_Way"
) -> list[Column[Position]]:
    kind, placed = positions[0].kind, plan.by_position()
    bars = {p.position.key: _drawn(p, way) for p in plan.of_kind(kind)}
    states = _states(plan, positions, certainty, danger=way.drawing != _TERSE)
    marks = _marks(plan.job, positions)

    def of(show: Callable[[Placement], str]) -> Callable[[Position], str]:
        return lambda position: show(placed[position.key]) if position.key in placed else ""

    def half(side: str) -> Column[Position]:
        names = {p.position.key: shell_name(_shell(p, side)) for p in plan.of_kind(kind)}
        room = max(map(columns_taken, names.values()))

        def shown(p: Placement) -> str:
            name, wall = names[p.position.key], scale.length(_shell(p, side).wall_nm)
            return f"{name}\n{wall}" if way.stacked else f"{name}{' ' * (room - columns_taken(name))} {wall}"

        head = f"{side} ({side_of(kind, side)})\nbox/shell{'' if way.stacked else ' wall'}"
        if side == "upper":
            empty = {u.position.key: NOT_FILLED for u in plan.unfilled}
            return Column(head, lambda p: of(shown)(p) or whole(empty.get(p.key, NOT_MEASURED)), "left", wraps=True)
        return Column(head, of(shown), "left", wraps=True)

    off = {key: scale.steps(p.deviation_nm, sign=True) for key, p in placed.items()}
    widest = max(map(len, (off[p.position.key] for p in plan.of_kind(kind))))
    sure = certainty.known and any(certainty.of(p) is not None for p in plan.of_kind(kind))
    return [
        Column("", lambda p: whole(p.name), "left", wraps=True),
        Column(
            "housing\nfrom", lambda p: whole(p.housing or ""), "left", wraps=True,
            shown=any(p.housing is not None for p in positions),
        ),
        *map(half, SIDES),
        Column(
            f"clearance,\noff {scale.step}",
            of(lambda p: f"{scale.length(p.clearance_nm)} {off[p.position.key]:>{widest}}"),
        ),
        Column(f"+/-\n{scale.step}", of(lambda p: _expanded(certainty, p, scale)), shown=sure),
        Column(HEAD, lambda p: bars.get(p.key, ""), "left", shown=any(bars.values())),
        Column("", lambda p: states[p.key], "left", wraps=True, shown=any(states.values())),
        Column("", lambda p: marks[p.key], "left", shown=any(marks.values()), below=True),
        Column("", lambda p: clean(p.note), "left", shown=any(p.note for p in positions), below=True),
    ]  # fmt: skip


def _drawn(placement: Placement, way: "_Way") -> str:
    if way.drawing == _NONE:
        return ""
    return whole(DANGER) if way.drawing == _TERSE and not placement.within_limits else drawn(placement)


def side_of(kind: str, side: str) -> str:
    """What holds the half of that side: a cap holds the lower one, whichever way the engine hangs."""
    return "cap" if side == "lower" else "block" if in_one_block(kind) else "beam"


def _shell(placement: Placement, side: str) -> Shell:
    shell: Shell = getattr(placement, side)
    return shell


def _states(
    plan: JobPlan, positions: Sequence[Position], certainty: Certainty, *, danger: bool
) -> dict[tuple[str, str], str]:
    """By position what must be known before its row is followed, unless the warning of `danger` stands elsewhere."""
    placed, doubts = plan.by_position(), doubted([(plan.read, plan.doubts)])
    flagged = {flag.position for flag in plan.flags if flag.what.code != "misfit"}
    found = {}
    for p in positions:
        placement = placed.get(p.key)
        states = [IN_DOUBT] if doubts.concerns(p, placement) else []
        states += ["see below"] if p.name in flagged else []
        if placement is not None:
            states += _judged(placement, certainty) if placement.within_limits else [DANGER] if danger else []
        found[p.key] = ", ".join(map(whole, states))
    return found


def _judged(placement: Placement, certainty: Certainty) -> Iterator[str]:
    """Of one that is inside its limits."""
    if placement.want_shortfall_nm:
        yield "below wanted"
    if placement.want_excess_nm:
        yield "above wanted"
    verdict = certainty.verdict(placement)
    if verdict not in (None, "inside"):
        yield str(verdict)


def _marks(job: Job, positions: Sequence[Position]) -> dict[tuple[str, str], str]:
    """By position what sets it apart from the others of its kind: matched columns, and shells that are locked in it."""
    found: dict[tuple[str, str], list[str]] = {p.key: [] for p in positions}
    for at, column in enumerate(job.matched_columns):
        wanted = {p.key: (p.wants_upper[at], p.wants_lower[at]) for p in positions}
        if len(set(wanted.values())) > 1:
            for key, cells in wanted.items():
                found[key] += _mark(column, *cells)
    for p in positions:
        locked = [side for side in SIDES if getattr(p, side) is not None]
        if locked:
            found[p.key].append("locked" if len(locked) > 1 else f"{locked[0]} locked")
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
