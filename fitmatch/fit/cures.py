"""Cures: every single change after which a failing position is inside its limits and no other is worse off.

Each is verified by solving. A limit or a rule that is a length is let out by the least amount that works.
"""

from collections.abc import Iterator
from dataclasses import replace

from fitmatch.fit.asking import Asker, TooMuch
from fitmatch.fit.candidates import Bore, Kind, Pair, Rack, ShellClass, bore_refused
from fitmatch.fit.letgo import bonds, held_shells, released, with_position, with_rules
from fitmatch.fit.search import Limit
from fitmatch.parts import ANY, SIDES, Cure, Job, Position, Shell

_MOST_HELD = 40  # more that differ are not tried one by one
_FAR = 1 << 40  # a wall thicker than any
_THINNEST, _THICKEST = 200_000, 25_000_000  # walls that can be
_GUARD_STEPS = 100  # a guard is looked for in hundredths
_LET_GO_WHOLLY = ("same_in_bore", "match ", "family")  # bonds that are no length


def cures(asker: Asker, position: Position) -> Iterator[Cure]:
    """Raises TooMuch or Stopped where not all could be sought."""
    yield from _limits(asker, position)
    yield from _rules(asker, position)
    yield from _shells(asker, position)
    if bore_refused(asker.job, position):
        if asker.can(with_position(asker.job, position.name, accept="let go"), position, ("accept", position.name)):
            yield Cure("accept")
        return
    if position.upper is not None and position.lower is not None:
        return  # no shell may take the place of a locked one
    for side in SIDES:
        yield from _one_more(asker, position, side)


def _limits(asker: Asker, position: Position) -> Iterator[Cure]:
    name = position.name
    if position.max_nm is not None:
        by = asker.least(position, "max", lambda p: p.excess_nm if p.bore.positions[0].name == name else 0)
        if by is not None:
            yield Cure("max", position.max_nm + by, by)
    if position.min_nm is not None:
        by = asker.least(position, "min", lambda p: p.shortfall_nm if p.bore.positions[0].name == name else 0)
        if by is not None:
            yield Cure("min", position.min_nm - by, by)


def _rules(asker: Asker, position: Position) -> Iterator[Cure]:
    job, kind = asker.job, asker.kind
    off = {bond.name: bond.off for bond in bonds(job, kind)}

    def helps(name: str) -> bool:
        return name in off and asker.can(off[name](job), position, (name,))

    rules = job.rules
    if helps("wall_difference"):
        assert rules.wall_difference_nm is not None
        yield _least_length(asker, position, "wall_difference", rules.wall_difference_nm)
    if helps("thick_half"):
        yield _least_length(asker, position, "thick_half_from", rules.thick_half_from_nm)
    for name in off:
        if name.startswith(_LET_GO_WHOLLY) and helps(name):
            yield Cure(name)
    if helps("guard"):
        low, high = 0, int(rules.guard * _GUARD_STEPS)  # in hundredths: works, and from here on may not
        while low < high:
            middle = (low + high + 1) // 2
            guard = middle / _GUARD_STEPS
            if guard < rules.guard and asker.can(with_rules(job, guard=guard), position, ("guard", middle)):
                low = middle
            else:
                high = middle - 1
        yield Cure("guard", factor=low / _GUARD_STEPS)


def _least_length(asker: Asker, position: Position, rule: str, now_nm: int) -> Cure:
    """The least value of a rule about the difference of two walls that works, given that it works without the rule."""
    job = asker.job
    walls = {s.wall_nm for s in job.shells if s.kind == asker.kind and s.wall_nm is not None and s.hold is None}
    values = sorted({abs(u - v) for u in walls for v in walls if abs(u - v) > now_nm})
    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        if asker.can(with_rules(job, **{f"{rule}_nm": values[middle]}), position, (rule, values[middle])):
            high = middle
        else:
            low = middle + 1
    return Cure(rule, values[low], values[low] - now_nm)


def _shells(asker: Asker, position: Position) -> Iterator[Cure]:
    """One hold or lock taken off; of held shells that are alike the first is named."""
    job = asker.job
    alike: dict[object, Shell] = {}
    for shell in held_shells(job, asker.kind):
        alike.setdefault((shell.half, shell.wall_nm, shell.marks, shell.family, shell.measured_as), shell)
    if len(alike) > _MOST_HELD:
        raise TooMuch
    for shell in alike.values():
        if asker.can(released([shell], job), position, ("hold", shell.key)):
            yield Cure("hold", name=f"{shell.box}/{shell.name}")
    for other in job.positions:
        for side in SIDES:
            lock: tuple[str, str] | None = getattr(other, side)
            if other.kind != asker.kind or lock is None:
                continue
            if asker.can(with_position(job, other.name, **{side: None}), position, ("lock", lock)):
                yield Cure("lock", name=f"{lock[0]}/{lock[1]}")


# --- one more shell ---


def _one_more(asker: Asker, position: Position, side: str) -> Iterator[Cure]:
    """One more half of any wall, in this bore if it can be, else in another whose shell is then free for it."""
    for everywhere in (False, True):
        found = _with_new(asker, position, side, everywhere=everywhere)
        if found is not None:
            yield found
            return


def _with_new(asker: Asker, position: Position, side: str, *, everywhere: bool) -> Cure | None:
    kind = asker.prepared(asker.job, ("more", side, everywhere, position.name))
    seats = asker.seats(kind, position)
    first = len(kind.classes)
    fresh: dict[int, ShellClass] = {}
    pairs = asker.pairs(kind, position)
    for bore in list(kind.bores):
        is_mine = bore.positions[0].name == position.name
        if getattr(bore.positions[0], side) is None and (is_mine or (everywhere and bore.seat in seats)):
            pairs += _new_pairs(asker.job, kind, bore, side, fresh)
    once = Limit(lambda p: int(getattr(p, side).index >= first), 1)
    choice = asker.plan(kind, position, pairs, once)
    if choice is None:
        return None
    pair = next(p for p in choice if getattr(p, side).index >= first)
    wall: int = getattr(pair, side).wall_nm
    other = pair.lower if side == "upper" else pair.upper
    ranges = _walls(asker.job, kind, pair.bore, side, other.wall_nm)
    low, high = next((low, high) for low, high in ranges if low <= wall <= high)
    return Cure(side, wall, low_nm=low, high_nm=high)


def _new_pairs(job: Job, kind: Kind, bore: Bore, side: str, fresh: dict[int, ShellClass]) -> Iterator[Pair]:
    """For each half of the other side one of this side that comes nearest to the target with it. What it would be
    marked is left open."""
    walls = set()
    for other in getattr(bore, SIDES[1 - SIDES.index(side)]).walls:
        walls |= {
            min(max(bore.ideal - other, low), high) for low, high in _walls(job, kind, bore, side, other) if low <= high
        }
    for wall in walls - fresh.keys():
        shell = Shell("new", "", kind.name, side, wall)
        marks = (ANY,) * len(job.shell_columns)
        fresh[wall] = ShellClass(len(kind.classes), side, wall, marks, "", [shell])
        kind.classes.append(fresh[wall])
    ascending = sorted(walls)
    rack = Rack([fresh[wall] for wall in ascending], ascending)
    with_new = replace(bore, upper=rack) if side == "upper" else replace(bore, lower=rack)
    return kind.pairs(with_new, bore.inside_low, bore.inside_high)


def _walls(job: Job, kind: Kind, bore: Bore, side: str, other: int) -> Iterator[tuple[int, int]]:
    """The walls, from and to, with which a half of this side fits beside a wall of the other. Where all the thicker
    halves must lie on one side, those with which it is the thicker, neither is, or the other is, each by itself."""
    low, high = max(bore.inside_low - other, _THINNEST), min(bore.inside_high - other, _THICKEST)
    if side == "lower":
        nearest, farthest = kind.partner_walls(other)
    else:  # what a lower half may be beside an upper one, turned round
        below, above = kind.partner_walls(_FAR)
        nearest, farthest = other - (above - _FAR), other - (below - _FAR)
    low, high = max(low, nearest), min(high, farthest)
    if not kind.one_thick_side:
        yield low, high
        return
    band = job.rules.thick_half_from_nm
    yield low, min(high, other - band - 1)
    yield max(low, other - band), min(high, other + band)
    yield max(low, other + band + 1), high
