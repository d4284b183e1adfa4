"""Outcomes of draws turned into figures, what the next box is worth, and when it is worth nothing."""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Final, NamedTuple

from fitmatch.records.job import Job
from fitmatch.records.parts import ANY
from fitmatch.study.boxes.draws import ENDLESS, FIGURES, KindTask, Outcome, Task
from fitmatch.study.boxes.intervals import Mean, chance, mean, percentile
from fitmatch.study.boxes.mixes import Mix
from fitmatch.study.boxes.studied import Gain, KindStudied, Length, MixStudied, Studied

_LIKELIER: Final = 0.01  # a chance to be inside that grows by less is no gain


class _Column(NamedTuple):
    """The outcomes of one mix: of each figure a value for every draw."""

    worst: list[int]
    spread: list[int]
    inside: list[int]
    close: list[int]
    left: tuple[list[int], ...]  # by step


class Tables:
    """The outcomes so far, in the order of the draws."""

    def __init__(self, task: Task) -> None:
        self.draws = 0
        self.columns: dict[tuple[str, Mix], _Column] = {}
        for one in task.kinds:
            for mix in one.mixes:
                worst, spread, inside, close = (list[int]() for _ in FIGURES)
                left = tuple(list[int]() for _ in one.steps)
                self.columns[one.kind, mix] = _Column(worst, spread, inside, close, left)
        self._places = [
            place for c in self.columns.values() for place in (c.worst, c.spread, c.inside, c.close, *c.left)
        ]

    def add(self, outcomes: Iterable[Outcome]) -> None:
        """Add draws that follow."""
        for outcome in outcomes:
            self.draws += 1
            for place, value in zip(self._places, outcome, strict=True):
                place.append(value)

    def widest_nm(self) -> float:
        """The widest half of an interval of a mean, of those that have a mean."""
        figures = [figure for column in self.columns.values() for figure in (column.worst, column.spread)]
        found = [mean(figure).half_width or 0.0 for figure in figures if ENDLESS not in figure]
        return max(found, default=0.0)


def studied(
    job: Job,
    task: Task,
    tables: Tables,
    left_out: Mapping[str, tuple[str, ...]],
    wanted: int,
    precision_nm: int | None,
) -> Studied:
    """The whole answer."""
    kinds, mixes = [], []
    for one in task.kinds:
        columns = {mix: tables.columns[one.kind, mix] for mix in one.mixes}
        mine = [_mix(one, mix, columns) for mix in one.mixes]
        kinds.append(_kind(one, columns, left_out[one.kind]))
        mixes += mine
    return Studied(
        job=job,
        seed=task.seed,
        draws=tables.draws,
        wanted=wanted,
        tolerance_nm=task.kinds[0].tolerance_nm,
        precision_nm=precision_nm,
        kinds=tuple(kinds),
        mixes=tuple(mixes),
    )


def _mix(one: KindTask, mix: Mix, columns: Mapping[Mix, _Column]) -> MixStudied:
    column = columns[mix]
    count = len(column.worst)
    limited = any(p.min_nm is not None or p.max_nm is not None for p in one.job.positions)
    before = min((m for m in mix.fewer() if m in columns), key=lambda m: _rank(columns[m]), default=None)
    left = [sum(some) for some in column.left]
    return MixStudied(
        kind=one.kind,
        opened=_opened(one, mix),
        boxes=mix.boxes,
        worst=_length(column.worst),
        spread=_length(column.spread),
        inside=chance(sum(column.inside), count) if limited else None,
        close=None if one.tolerance_nm is None else chance(sum(column.close), count),
        price=_price(one, mix),
        left=sum(left) / count,
        left_price=_left_price(one, mix, left, count),
        gain=None if before is None else _gain(one, before, columns[before], column),
    )


def _opened(one: KindTask, mix: Mix) -> dict[str, int]:
    return {step.name: count for step, count in zip(one.steps, mix.counts, strict=True) if count}


def _length(values: Sequence[int]) -> Length:
    p90 = percentile(values)
    return Length(
        None if ENDLESS in values else mean(values),
        None if p90.value == ENDLESS else p90._replace(high=None if p90.high == ENDLESS else p90.high),
    )


def _price(one: KindTask, mix: Mix) -> int | None:
    total = 0
    for step, count in zip(one.steps, mix.counts, strict=True):
        for price in step.prices_thousandths[:count]:
            if price is None:
                return None
            total += price
    return total


def _left_price(one: KindTask, mix: Mix, left: Sequence[int], count: int) -> float | None:
    """What the shells left over cost, on average: a shell its share of the mean price of the boxes of its step."""
    total = Fraction()
    for step, opened, shells in zip(one.steps, mix.counts, left, strict=True):
        prices = step.prices_thousandths[:opened]
        if None in prices:
            return None
        if opened:
            total += Fraction(shells * sum(filter(None, prices)), count * opened * len(step.halves))
    return float(total)


def _gain(one: KindTask, before: Mix, less: _Column, more: _Column) -> Gain:
    return Gain(
        over=_opened(one, before),
        worst=_saved(less.worst, more.worst),
        spread=_saved(less.spread, more.spread),
        inside=mean([b - a for a, b in zip(less.inside, more.inside, strict=True)]),
    )


def _saved(less: Sequence[int], more: Sequence[int]) -> Mean | None:
    if ENDLESS in less or ENDLESS in more:
        return None
    return mean([a - b for a, b in zip(less, more, strict=True)])


def _kind(one: KindTask, columns: Mapping[Mix, _Column], left_out: tuple[str, ...]) -> KindStudied:
    noise = one.noise
    sure = None if noise is None or noise.unknown else noise.sure_nm
    floor_nm, floor_from = (float(one.grid_nm), "grid") if not sure else (sure, "gauges")
    shells = [s for s in one.job.shells if s.wall_nm is not None]
    return KindStudied(
        kind=one.kind,
        positions=len(one.job.positions),
        drawn=tuple(drawn.position.name for drawn in one.drawn),
        left_out=left_out,
        open_boxes=len({shell.box for shell in shells}),
        steps=one.steps,
        grid_nm=one.grid_nm,
        floor_nm=floor_nm,
        floor_from=floor_from,
        unknown=() if noise is None else noise.unknown,
        any_marks=any(ANY in half.marks for step in one.steps for half in step.halves),
        enough=_enough(columns, floor_nm),
    )


def _enough(columns: Mapping[Mix, _Column], floor_nm: float) -> int | None:
    """The number of boxes from which on the best mix of one box more saves less than the floor of the worst deviation
    and is hardly likelier to be inside; both by the better end of their intervals."""
    best: dict[int, _Column] = {}
    for mix, column in columns.items():
        known = best.get(mix.boxes)
        best[mix.boxes] = column if known is None else min(known, column, key=_rank)
    enough = None
    for boxes in sorted(best, reverse=True)[1:]:
        less, more = best[boxes], best[boxes + 1]
        saved = _saved(less.worst, more.worst)
        likelier = mean([b - a for a, b in zip(less.inside, more.inside, strict=True)])
        if saved is None or saved.high >= floor_nm or likelier.high >= _LIKELIER:
            break
        enough = boxes
    return enough


def _rank(column: _Column) -> tuple[int, int, int]:
    """The better the smaller: empty positions in the fewest draws, then by the mean of the worst deviation."""
    endless = column.worst.count(ENDLESS)
    return endless, sum(worst for worst in column.worst if worst != ENDLESS), sum(column.spread)
