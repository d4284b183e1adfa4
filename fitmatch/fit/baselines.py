"""Two ways of choosing that need no solver, to be set beside every answer.

`as_boxed`: the shells as they come out of their boxes. `by_hand`: a careful builder who gives each position in turn the
pair nearest to its target. Both obey locks, holds, matched columns, family, drawing bands and "zero or less is no
fill"; by hand obeys every other hard rule too.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence

from fitmatch.fit.bores import Bore, ShellClass
from fitmatch.fit.candidates import Kind, may_share
from fitmatch.fit.checker import rules_broken
from fitmatch.fit.rowrules import off_line, steps_broken
from fitmatch.fit.terms import Terms
from fitmatch.naturalorder import natural
from fitmatch.parts import Job, Placement, Position, Shell, marks_agree


def as_boxed(kind: Kind) -> list[Placement]:
    """Positions in file order each take the next upper and the next lower, by box and then file order, that match.

    An `either` shell comes when no shell of that half is left; a pair without clearance is put back.
    """
    shelf = sorted(kind.free_shells(), key=lambda s: natural(s.box))  # stable: file order within a box
    racks = {half: [s for s in shelf if s.half == half] for half in ("upper", "lower", "either")}
    known = {s.key: s for s in kind.jobs[0].shells}

    def take(position: Position, half: str, other: Shell | None) -> Shell | None:
        wants, lock = (getattr(position, name) for name in (f"wants_{half}", half))
        family = kind.terms_of(position).family
        if lock is not None:
            return known[lock]
        for rack in (racks[half], racks["either"]):
            for shell in rack:
                fits = all(map(marks_agree, wants, shell.marks)) and (family is None or shell.family in family)
                if fits and shell is not other:
                    return shell
        return None

    placed = []
    for position in kind.positions:
        upper = take(position, "upper", None)
        lower = take(position, "lower", upper)
        if upper is None or lower is None:
            continue
        placement = kind.place(position, upper, lower)
        if placement.clearance_tightest_nm <= 0:
            continue
        for shell in (upper, lower):
            if shell in racks[shell.half]:
                racks[shell.half].remove(shell)
        placed.append(placement)
    return placed


def by_hand(kind: Kind) -> list[Placement]:
    """Positions in file order each take the pair with the smallest |deviation| that obeys all hard rules.

    Ties: the smaller wall difference, then the upper's and the lower's place in file order.
    """
    place = {s.key: i for i, s in enumerate(kind.jobs[0].shells)}
    left = {c.index: list(reversed(c.members)) for c in kind.classes}
    bore_of = {id(p): bore for bore in kind.seats for p in bore.positions}
    fixed = {id(p.position): p for p in kind.fixed}
    sides: dict[Terms, int] = {}  # where the thicker halves of a job go, once decided
    placed = []
    for position in kind.positions:
        if id(position) in fixed:
            placed.append(fixed[id(position)])
            continue
        if id(position) not in bore_of:
            continue  # its locked pair leaves no clearance
        best: tuple[tuple[int, int, int, int], ShellClass, ShellClass] | None = None
        bore = bore_of[id(position)]
        side = sides.get(bore.terms, 0)
        mates = [p for p in placed if kind.terms_of(p.position) is bore.terms] if bore.terms.shifts.on else []
        shifts = bore.terms.shifts.allowed(position, mates)
        for upper in bore.upper.classes:
            if not left[upper.index]:
                continue
            for lower in _nearest(bore, upper, left, side, shifts):
                walls = upper.wall_nm + lower.wall_nm
                mine, other = left[upper.index][-1], left[lower.index][-2 if lower is upper else -1]
                key = (
                    abs(bore.ideal - walls),
                    abs(upper.wall_nm - lower.wall_nm),
                    place[mine.key],
                    place[other.key],
                )
                if best is None or key < best[0]:
                    best = key, upper, lower
        if best is not None:
            _, upper, lower = best
            if bore.terms.one_thick_side and not side:
                sides[bore.terms] = bore.terms.thick(upper.wall_nm, lower.wall_nm)
            pair = left[upper.index].pop(), left[lower.index].pop()
            placed.append(kind.place(position, *pair))
    return placed


def _nearest(
    bore: Bore, upper: ShellClass, left: dict[int, list[Shell]], side: int, shifts: tuple[int, int]
) -> Iterator[ShellClass]:
    """The lowers that bring this upper nearest to the target from above and from below, all of equal wall."""
    walls, lowers = bore.lower.walls, bore.lower.classes
    low, high = bore.partner_walls(upper.wall_nm)
    low = max(low, upper.wall_nm + shifts[0])
    high = min(high, upper.wall_nm + shifts[1], bore.sum_high - upper.wall_nm)
    ideal = bore.ideal - upper.wall_nm
    above = range(bisect_left(walls, max(ideal, low)), bisect_right(walls, high))
    below = range(bisect_right(walls, min(ideal - 1, high)) - 1, bisect_left(walls, low) - 1, -1)
    for span in (above, below):
        found: int | None = None
        for at in span:
            lower = lowers[at]
            if found is not None and walls[at] != found:
                break
            enough = len(left[lower.index]) > (lower is upper)
            wrong_side = side and bore.terms.thick(upper.wall_nm, walls[at]) == -side
            if enough and not wrong_side and may_share(bore, upper, lower):
                found = walls[at]
                yield lower


def rules_broken_by(job: Job, placements: Sequence[Placement]) -> int:
    """Each rule counted once per bore that breaks it; of a kind whose thicker halves lie on both sides, the fewer."""
    count = sum(len({rule for rule, _ in rules_broken(job, p)}) for p in placements)
    if placements and job.rules.thick_half.get(placements[0].position.kind) == "same":
        thick = [p for p in placements if p.wall_difference_nm > job.rules.thick_half_from_nm and not p.locked]
        on_top = sum(p.twice_axis_shift_nm < 0 for p in thick)
        count += min(on_top, len(thick) - on_top)
    return count + steps_broken(job, placements) + off_line(job, placements)
