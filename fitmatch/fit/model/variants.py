"""Variants of a `Kind`: with a position by itself, with positions left out, with other shells."""

from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from dataclasses import replace

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Rack, ShellClass, rack_of
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import ANY, Shell


def without(kind: Kind, places: Container[PositionKey]) -> Kind:
    """Leave these positions out."""

    def left(bores: Iterable[Bore]) -> Iterator[Bore]:
        for bore in bores:
            positions = [p for p in bore.positions if p.key not in places]
            if positions:
                yield bore if len(positions) == bore.count else replace(bore, positions=positions)

    return kind.altered(
        bores=list(left(kind.bores)),
        seats=list(left(kind.seats)),
        vacancies=[v._replace(bore=bore) for v in kind.vacancies for bore in left([v.bore])],
    )


def apart(kind: Kind, place: PositionKey, *, may_be_empty: bool) -> tuple[Kind, list[Bore]]:
    """Give the position a seat of its own; also returns the bores it then has, none if the kind has no choice for it.

    If housings may move, `may_be_empty` says whether it may have a housing but no shells.
    """
    seats = [b for b in kind.seats if any(p.key == place for p in b.positions)]
    if not seats:
        return kind, []
    (old,) = seats
    position = next(p for p in old.positions if p.key == place)
    new = 1 + max(b.seat for b in kind.seats)

    def alone(bore: Bore) -> Bore:
        return replace(bore, seat=new, positions=[position])

    own = [alone(b) for b in kind.bores if b.seat == old.seat]
    empty = [v._replace(bore=alone(v.bore)) for v in kind.vacancies if v.bore.seat == old.seat]
    rest = without(kind, {place})
    return rest.altered(
        bores=rest.bores + own,
        seats=[*rest.seats, alone(old)],
        vacancies=rest.vacancies + (empty if may_be_empty else []),
    ), own


def with_bores(kind: Kind, old: Sequence[Bore], new: Iterable[Bore]) -> Kind:
    """With other bores in place of these."""
    return kind.altered(bores=[*(b for b in kind.bores if b not in old), *new])


def with_plenty(kind: Kind, side: str, each: int) -> Kind:
    """This many halves of this side for every position, of each wall there is: separate classes, so that an `either`
    shell still exists only once on the other side."""
    classes = list(kind.classes)
    many = each * sum(bore.count for bore in kind.seats)

    def made(rack: Rack) -> Rack:
        copies = [replace(c, index=at, members=c.members[:1] * many) for at, c in enumerate(rack.classes, len(classes))]
        classes.extend(copies)
        return rack_of(copies)

    bores = _with_racks(kind.bores, made, upper=side == "upper", lower=side == "lower")
    return kind.altered(classes=classes, bores=bores)


def reserving(kind: Kind, shells: Sequence[Shell]) -> tuple[Kind, list[Rack]]:
    """Each of these shells in a class and a rack of its own, which no bore can use."""
    keys = {s.key for s in shells}
    class_of = {s.key: c for c in kind.classes for s in c.members if s.key in keys}
    left = [replace(c, members=[s for s in c.members if s.key not in keys]) for c in kind.classes]
    alone = [replace(class_of[s.key], index=at, members=[s]) for at, s in enumerate(shells, len(left))]

    def others(rack: Rack) -> Rack:
        return rack_of([left[c.index] for c in rack.classes if left[c.index].members])

    return kind.altered(classes=left + alone, bores=_with_racks(kind.bores, others)), [rack_of([c]) for c in alone]


def with_walls(kind: Kind, side: str, walls: Iterable[int]) -> tuple[Kind, dict[int, ShellClass]]:
    """With a new half of each of these walls, which no bore has yet and whose marks agree with everything."""
    marks = (ANY,) * len(kind.jobs[0].shell_columns)
    new = {
        wall: ShellClass(index, side, wall, marks, "", [Shell("new", "", kind.name, side, wall)])
        for index, wall in enumerate(walls, len(kind.classes))
    }
    return kind.altered(classes=[*kind.classes, *new.values()]), new


def _with_racks(
    bores: Iterable[Bore], change: Callable[[Rack], Rack], *, upper: bool = True, lower: bool = True
) -> list[Bore]:
    """The same bores with the racks of these sides changed, each rack once."""
    changed: dict[Rack, Rack] = {}

    def new(rack: Rack) -> Rack:
        if rack not in changed:
            changed[rack] = change(rack)
        return changed[rack]

    return [
        replace(b, upper=new(b.upper) if upper else b.upper, lower=new(b.lower) if lower else b.lower) for b in bores
    ]
