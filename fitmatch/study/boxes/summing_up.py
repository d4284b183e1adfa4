"""Outcomes of draws turned into figures, what the next box is worth, and when it is worth nothing."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from math import lcm
from operator import and_
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.parts import ANY, SIDES
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.study.boxes.draws import ENDLESS, FIGURES, KindTask, Outcome, Task
from fitmatch.study.boxes.intervals import Chance, Mean, chance, known_to_within, likelier, mean, percentile
from fitmatch.study.boxes.mixes import Mix
from fitmatch.study.boxes.studied import Gain, KindStudied, LeftOut, Length, MixStudied, Studied

LEAST_DRAWS: Final = 200  # for a verdict: of fewer no interval of a chance is as narrow as what it is compared with
_LIKELIER: Final = 0.01  # a chance that grows by less is no gain


class _Column(NamedTuple):
    """The outcomes of one mix: of each figure a value for every draw."""

    worst: list[int]
    spread: list[int]
    inside: list[int]
    close: list[int]
    empty: list[int]
    outside: list[int]
    worst_free: list[int]
    left: tuple[list[int], ...]  # by step


class _Judged(NamedTuple):
    """What mixes are compared by: the same of the positions alone that boxes can change. Chances are 1 or 0."""

    worst: Sequence[int]
    spread: Sequence[int]
    full: Sequence[int]
    inside: Sequence[int]
    close: Sequence[int]
    price: int | None

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """The better the smaller: likelier to be inside, then to be filled, then by the means of those filled."""
        worst = sum(worst for worst in self.worst if worst != ENDLESS)
        return -sum(self.inside), -sum(self.full), worst, sum(self.spread)


class Tables:
    """The outcomes so far, in the order of the draws."""

    def __init__(self, task: Task) -> None:
        self.draws = 0
        self.columns: dict[tuple[str, Mix], _Column] = {}
        self.misread: dict[str, list[int]] = {}
        self._places: list[list[int]] = []
        for one in task.kinds:
            self.misread[one.kind] = list[int]()
            self._places.append(self.misread[one.kind])
            for mix in one.mixes:
                left = tuple(list[int]() for _ in one.steps)
                figures = [list[int]() for _ in FIGURES]
                self.columns[one.kind, mix] = _Column._make([*figures, left])
                self._places += [*figures, *left]

    def add(self, outcomes: Iterable[Outcome]) -> None:
        """Add draws that follow."""
        for outcome in outcomes:
            self.draws += 1
            for place, value in zip(self._places, outcome, strict=True):
                place.append(value)

    def known_to_within(self, most_nm: int) -> bool:
        """Whether there are all means, and half of the interval of each is no wider."""
        figures = (figure for column in self.columns.values() for figure in (column.worst, column.spread))
        return all(known_to_within(most_nm, _mean(figure)) for figure in figures)


def studied(
    job: Job,
    task: Task,
    tables: Tables,
    left_out: LeftOut,
    wanted: int,
    precision_nm: int | None,
) -> Studied:
    """The whole answer."""
    kinds, mixes = [], []
    for one in task.kinds:
        columns = {mix: tables.columns[one.kind, mix] for mix in one.mixes}
        judged = {mix: _judged(one, mix, column) for mix, column in columns.items()}
        floor_nm, floor_from = _floor(one)
        best = _best(judged, floor_nm)
        mixes += [_mix(one, mix, columns, judged, best=mix in best.values()) for mix in one.mixes]
        stuck = _stuck(one, columns)
        verdict = _verdict(one, columns, judged, best, floor_nm, stuck)
        enough = verdict.slots["boxes"] if verdict.code == "enough" else None
        as_well = _as_well(judged, best, enough, floor_nm) if isinstance(enough, int) else None
        kinds.append(
            KindStudied(
                kind=one.kind,
                positions=len(one.job.positions),
                drawn=tuple(drawn.position.name for drawn in one.drawn),
                left_out=left_out.positions[one.kind],
                open_boxes=len({shell.box for shell in one.job.shells if shell.wall_nm is not None}),
                steps=one.steps,
                grid_nm=one.grid_nm,
                floor_nm=floor_nm,
                floor_from=floor_from,
                unknown=() if one.noise is None else one.noise.unknown,
                any_marks=any(ANY in half.marks for step in one.steps for half in step.halves),
                misread=_counted(one, tables.misread[one.kind]),
                locked=_locked(one),
                stuck=stuck,
                verdict=verdict,
                as_well=None if as_well is None else _opened(one, as_well),
            )
        )
    return Studied(
        job=job,
        seed=task.seed,
        draws=tables.draws,
        wanted=wanted,
        tolerance_nm=task.kinds[0].tolerance_nm,
        precision_nm=precision_nm,
        kinds=tuple(kinds),
        mixes=tuple(mixes),
        left_out=left_out.why,
    )


def _judged(one: KindTask, mix: Mix, column: _Column) -> _Judged:
    free = sum(1 << at for at, p in enumerate(one.job.positions) if p.name not in one.locked)
    return _Judged(
        worst=column.worst_free,
        spread=column.spread,
        full=[int(not empty & free) for empty in column.empty],
        inside=[int(not outside & free) for outside in column.outside],
        close=_close(one, column) if one.locked else column.close,
        price=_price(one, mix),
    )


def _close(one: KindTask, column: _Column) -> list[int]:
    return [int(one.tolerance_nm is not None and worst <= one.tolerance_nm) for worst in column.worst_free]


def _mix(
    one: KindTask, mix: Mix, columns: Mapping[Mix, _Column], judged: Mapping[Mix, _Judged], *, best: bool
) -> MixStudied:
    column = columns[mix]
    count = len(column.worst)
    limited = any(p.min_nm is not None or p.max_nm is not None for p in one.job.positions)
    before = min((m for m in mix.fewer() if m in columns), key=lambda m: judged[m].rank, default=None)
    return MixStudied(
        kind=one.kind,
        opened=_opened(one, mix),
        boxes=mix.boxes,
        worst=_length(column.worst),
        spread=_length(column.spread)._replace(mean=_spread(column)),
        inside=chance(sum(column.inside), count) if limited else None,
        close=None if one.tolerance_nm is None else chance(sum(column.close), count),
        price=judged[mix].price,
        left=mean([sum(some) for some in zip(*column.left, strict=True)]),
        left_price=_left_price(one, mix, column.left),
        empty=_counted(one, column.empty),
        best=best,
        gain=None if before is None else _gain(one, before, columns[before], column),
    )


def _opened(one: KindTask, mix: Mix) -> dict[str, int]:
    return {step.name: count for step, count in zip(one.steps, mix.counts, strict=True) if count}


def _length(values: Sequence[int]) -> Length:
    p90 = percentile(values)
    return Length(
        _mean(values),
        None if p90.value == ENDLESS else p90._replace(high=None if p90.high == ENDLESS else p90.high),
    )


def _mean(values: Sequence[int]) -> Mean | None:
    return None if ENDLESS in values else mean(values)


def _spread(column: _Column) -> Mean | None:
    """None with the mean of the worst deviation: of fewer positions the spread is less."""
    return None if ENDLESS in column.worst else _mean(column.spread)


def _counted(one: KindTask, digits: Iterable[int]) -> dict[str, int]:
    """In how many draws it is so by position, as its digits tell; most often first."""
    found = Counter(digits)
    draws = {
        p.name: sum(count for some, count in found.items() if some >> at & 1) for at, p in enumerate(one.job.positions)
    }
    return {name: count for name, count in sorted(draws.items(), key=lambda item: -item[1]) if count}


def _price(one: KindTask, mix: Mix) -> int | None:
    total = 0
    for step, count in zip(one.steps, mix.counts, strict=True):
        for price in step.prices_thousandths[:count]:
            if price is None:
                return None
            total += price
    return total


def _left_price(one: KindTask, mix: Mix, left: Sequence[Sequence[int]]) -> Mean | None:
    """What the shells left over cost: a shell its share of the mean price of the boxes of its step."""
    shares = []
    for step, opened in zip(one.steps, mix.counts, strict=True):
        prices = [price for price in step.prices_thousandths[:opened] if price is not None]
        if len(prices) < opened:
            return None
        shares.append(Fraction(sum(prices), max(1, opened) * len(step.halves)))
    whole = lcm(*(share.denominator for share in shares))  # so that sums are of whole numbers
    weights = [int(share * whole) for share in shares]
    found = mean([sum(w * n for w, n in zip(weights, some, strict=True)) for some in zip(*left, strict=True)])
    return Mean(found.mean / whole, None if found.half_width is None else found.half_width / whole)


def _gain(one: KindTask, before: Mix, less: _Column, more: _Column) -> Gain:
    return Gain(
        over=_opened(one, before),
        worst=_saved(less.worst, more.worst),
        spread=None if _spread(less) is None or _spread(more) is None else _saved(less.spread, more.spread),
        inside=likelier(less.inside, more.inside),
        close=None if one.tolerance_nm is None else likelier(less.close, more.close),
    )


def _saved(less: Sequence[int], more: Sequence[int]) -> Mean | None:
    if ENDLESS in less or ENDLESS in more:
        return None
    return mean([a - b for a, b in zip(less, more, strict=True)])


def _floor(one: KindTask) -> tuple[float, str]:
    """What a gain of the worst deviation must reach to count, and where that is from."""
    sure = None if one.noise is None else one.noise.sure_nm
    if one.noise is not None and sure and not one.noise.unknown:
        return sure, "gauges"
    return (sure, "known-part") if sure and sure > one.grid_nm else (float(one.grid_nm), "grid")


def _locked(one: KindTask) -> dict[str, int | None]:
    """By position, how far those are off that no box changes; those that are off most first."""
    shells = {shell.key: shell for shell in one.job.shells}
    unread = {drawn.position.name for drawn in one.drawn}
    found: dict[str, int | None] = {}
    for p in one.job.positions:
        if p.name in one.locked and p.upper in shells and p.lower in shells:
            found[p.name] = None if p.name in unread else Placement(p, shells[p.upper], shells[p.lower]).deviation_nm
    return dict(sorted(found.items(), key=lambda item: -abs(item[1] or 0)))


def _stuck(one: KindTask, columns: Mapping[Mix, _Column]) -> dict[str, Fact]:
    """Positions that no box can help: what is against it whatever is drawn, else that it is never inside, though there
    are shells and draws enough."""
    enough = len(next(iter(columns.values())).worst) >= LEAST_DRAWS
    enough &= max(_room(one, mix) for mix in columns) >= len(one.job.positions)
    never = empty = (1 << len(one.job.positions)) - 1
    for column in columns.values():
        never = reduce(and_, column.outside, never)
        empty = reduce(and_, column.empty, empty)
    unread = {drawn.position.name for drawn in one.drawn if drawn.limits[1] is not None}
    found = {}
    for at, p in enumerate(one.job.positions):
        if p.name not in unread and bore_refused(one.job, p):
            band, bore = one.job.drawing[one.kind]["housing_bore"], p.housing_bore
            assert bore is not None
            found[p.name] = Fact("bore-refused", {"above": bore.mean_nm > band.high_nm})
        elif never >> at & 1 and enough:
            locks = tuple(full_name(lock) for lock in (p.upper, p.lower) if lock is not None)
            found[p.name] = Fact("never-filled" if empty >> at & 1 else "never-inside", {"locks": locks})
    return found


def _verdict(
    one: KindTask,
    columns: Mapping[Mix, _Column],
    judged: Mapping[Mix, _Judged],
    best: Mapping[int, Mix],
    floor_nm: float,
    stuck: Mapping[str, Fact],
) -> Fact:
    """Whether more boxes pay. Where positions are without shells figures cannot say so."""
    draws, positions = len(next(iter(columns.values())).worst), len(one.job.positions)
    refused = sum(fact.code == "bore-refused" for fact in stuck.values())
    room = max(_room(one, mix) for mix in columns)
    if room < positions - refused:
        return Fact("short", {"positions": positions, "room": room, "boxes": max(mix.boxes for mix in columns)})
    if stuck:
        return Fact("stuck")
    if draws < LEAST_DRAWS:
        return Fact("too-few-draws", {"least": LEAST_DRAWS})
    fewest = min(some.bit_count() for column in columns.values() for some in column.empty)
    if fewest:
        return Fact("never-full", {"positions": positions, "filled": positions - fewest})
    full = max(sum(some.full) for some in judged.values())
    if full < LEAST_DRAWS:
        return Fact("too-few-full", {"full": full, "least": LEAST_DRAWS})
    enough = _enough(judged, best, floor_nm)
    return Fact("worth") if enough is None else Fact("enough", {"boxes": enough})


def _room(one: KindTask, mix: Mix) -> int:
    """How many positions there are shells for, if all of them fit."""
    free = [s.half for s in one.job.shells if s.wall_nm is not None and s.hold is None]
    for step, count in zip(one.steps, mix.counts, strict=True):
        free += [shell.half for shell in step.halves] * count
    either = free.count("either")
    return min(len(free) // 2, *(free.count(side) + either for side in SIDES))


def _best(judged: Mapping[Mix, _Judged], floor_nm: float) -> dict[int, Mix]:
    """Of each number of boxes the mix of the best rank, or the cheapest of those that it does not better."""
    best: dict[int, Mix] = {}
    for boxes in sorted({mix.boxes for mix in judged}):
        first = _first(judged, boxes)
        mine = (mix for mix in judged if mix.boxes == boxes)
        cheapest = _cheapest(judged, mine, [first], floor_nm)
        best[boxes] = first if cheapest is None or judged[first].price is None else cheapest
    return best


def _first(judged: Mapping[Mix, _Judged], boxes: int) -> Mix:
    return min((mix for mix in judged if mix.boxes == boxes), key=lambda mix: judged[mix].rank)


def _cheapest(
    judged: Mapping[Mix, _Judged], mixes: Iterable[Mix], against: Sequence[Mix], floor_nm: float
) -> Mix | None:
    """The cheapest of `mixes` that none of the others betters; of equal prices that of the best rank."""
    prices = {
        mix: price
        for mix in mixes
        if (price := judged[mix].price) is not None
        and not any(_betters(judged[other], judged[mix], floor_nm) for other in against if other != mix)
    }
    return min(prices, key=lambda mix: (prices[mix], judged[mix].rank), default=None)


def _as_well(judged: Mapping[Mix, _Judged], best: Mapping[int, Mix], enough: int, floor_nm: float) -> Mix | None:
    """The cheapest mix that neither the one to take of `enough` boxes nor the best of so many betters, if it costs less
    than the former: what is only as good as the former may be worse than the best by what counts. Of fewer boxes only
    one that no larger mix betters."""
    shown = best[enough]
    others = (mix for mix in judged if mix.boxes > enough or (mix.boxes < enough and _suffices(judged, mix, floor_nm)))
    cheapest = _cheapest(judged, others, [_first(judged, enough), shown], floor_nm)
    if cheapest is None:
        return None
    price, most = judged[cheapest].price, judged[shown].price
    return cheapest if price is not None and most is not None and price < most else None


def _enough(judged: Mapping[Mix, _Judged], best: Mapping[int, Mix], floor_nm: float) -> int | None:
    """The smallest number of boxes whose best mix no larger mix betters."""
    return next((boxes for boxes in sorted(best)[:-1] if _suffices(judged, best[boxes], floor_nm)), None)


def _suffices(judged: Mapping[Mix, _Judged], mix: Mix, floor_nm: float) -> bool:
    return all(_pointless(judged[mix], more, floor_nm) for other, more in judged.items() if other.boxes > mix.boxes)


def _betters(one: _Judged, other: _Judged, floor_nm: float) -> bool:
    """Whether draws tell the two apart, and by as much as counts."""
    saved, chances = _compared(other, one)
    if any(gain.value >= _LIKELIER and gain.low > 0.0 for gain in chances):
        return True
    return saved is not None and saved.mean >= floor_nm and saved.low > 0.0


def _pointless(less: _Judged, more: _Judged, floor_nm: float) -> bool:
    """Whether it saves less than the floor of the worst deviation and is hardly likelier to be filled, inside or close;
    of each interval the better end counts."""
    saved, chances = _compared(less, more)
    if min(sum(less.full), sum(more.full)) < LEAST_DRAWS:
        return False
    return saved is not None and saved.high < floor_nm and all(gain.high < _LIKELIER for gain in chances)


def _compared(less: _Judged, more: _Judged) -> tuple[Mean | None, tuple[Chance, ...]]:
    """What is saved of the worst deviation where both fill all positions (None: hardly ever), and by how much
    likelier it is that all are filled, inside and close."""
    both = [at for at, full in enumerate(zip(less.full, more.full, strict=True)) if all(full)]
    saved = mean([less.worst[at] - more.worst[at] for at in both]) if len(both) > 1 else None
    chances = (less.full, more.full), (less.inside, more.inside), (less.close, more.close)
    return saved, tuple(likelier(few, many) for few, many in chances)
