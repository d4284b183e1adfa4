"""What positions need together from boxes not opened yet."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from fitmatch.records.job import Job
from fitmatch.study.advice.advised import BOX, Advice, Advised, Boxes, Order
from fitmatch.study.advice.halves import stocks

BOTH = "both"  # halves of an order


def orders(positions: Iterable[Advised]) -> Iterator[Order]:
    """By kind, half, step and what must stand on the half: no other half would do."""
    needs: dict[tuple[object, ...], list[tuple[Advised, Advice]]] = {}
    for one in positions:
        for advice in one.advice:
            if advice.action == BOX:
                what = advice.what
                key = one.position.kind, what["half"], what["step"], _fixed(what["marks"])
                needs.setdefault(key, []).append((one, advice))
    for some in needs.values():
        (first, advice), what = some[0], some[0][1].what
        half, step, marks = (what[name] for name in ("half", "step", "marks"))
        assert isinstance(half, str) and (step is None or isinstance(step, str)) and isinstance(marks, Mapping)
        walls = {wall for _, one in some if isinstance(wall := one.what["wall_nm"], int)}
        places = tuple(one.position.key for one, _ in some)
        chances = tuple(one.chance for _, one in some)
        yield Order(first.position.kind, half, step, tuple(sorted(walls)), places, marks, chances)


def boxes_together(jobs: Sequence[Job], found: Iterable[Order]) -> Iterator[Boxes]:
    """By kind, step and families, the fewest boxes that hold as many halves as all of these orders ask for: one box
    holds upper and lower halves."""
    same: dict[tuple[object, ...], list[Order]] = {}
    for order in found:
        if order.step is not None:
            same.setdefault((order.kind, order.step, order.family), []).append(order)
    for some in same.values():
        first = some[0]
        places = tuple(dict.fromkeys(place for order in some for place in order.positions))
        asking = [job for job in jobs if job.name in {name for name, _ in places}]
        most = 1
        for stock in stocks(asking, first.kind):
            if stock.step == first.step:
                wanted = sum(len(order.positions) for order in some if order.half in (BOTH, stock.half))
                most = max(most, -(-wanted // stock.in_a_box))
        yield Boxes(first.kind, str(first.step), first.family, most, places)


def _fixed(marks: object) -> object:
    """The marks as something to tell orders apart by."""
    return tuple((name, _fixed(some)) for name, some in marks.items()) if isinstance(marks, Mapping) else marks
