"""Readings to sizes: repeats to places, places to a size, everything corrected exactly and rounded once.

Corrected = (reading - zero error - ball) x the factor to 20 degrees Celsius; walls are not corrected for temperature
(under 0.03 um in 10 K).
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from fitmatch.gauging.sizes.corrections import factor_to_20, offs
from fitmatch.gauging.sizes.places import at_crown, mean_of_means, places, sum_of_squares
from fitmatch.lengths import round_half_even, with_its_unit
from fitmatch.records.measuring import DIAMETERS, Form, MeasuredAs, Measuring, Pooled, Reading, Series
from fitmatch.records.parts import Size


class Sized(NamedTuple):
    """A size, and its mean before it was rounded."""

    size: Size
    exact_mean: Fraction  # in nm


class Sizes:
    """Sizes all readings of one job. It sees each once, and so also learns how far repeats scatter."""

    def __init__(self, measuring: Measuring, *, numbered_are_repeats: bool) -> None:
        self._measuring = measuring
        self._numbered_are_repeats = numbered_are_repeats
        gauges = measuring.gauges
        self._offs = offs(gauges)
        self._balls: dict[str | None, int] = {None: 0, **{name: gauge.ball_nm for name, gauge in gauges.items()}}
        self._shared: dict[MeasuredAs, MeasuredAs] = {}
        self._ways: dict[tuple[str | None, int], MeasuredAs | None] = {}
        self._plain: dict[tuple[object, ...], Size] = {}
        self._single: dict[tuple[str, str, Reading], Sized | None] = {}  # a single reading is like many others
        self._squares: dict[str, float] = {}
        self._freedom: Counter[str] = Counter()
        self._form_told: set[str] = set()

    def sized(self, kind: str, feature: str, readings: Sequence[Reading]) -> Sized | None:
        """The size that readings of a feature give; None if none is near the crown axis."""
        if len(readings) > 1:
            self._pool_places(readings)
            return self._sized(kind, feature, readings)
        alike = kind, feature, readings[0]
        if alike not in self._single:
            self._single[alike] = self._sized(kind, feature, readings)
        return self._single[alike]

    def _sized(self, kind: str, feature: str, readings: Sequence[Reading]) -> Sized | None:
        form = self.form(kind, feature, readings)
        counted = tuple([r for r in readings if at_crown(feature, r)])
        aside = tuple([r for r in readings if not at_crown(feature, r)])
        if not counted:
            return None
        groups = self._places(counted)
        corrected, scale = self._corrected(kind, feature, counted)
        placed = [[corrected[i] for i in group] for group in groups]
        above, below = mean_of_means(placed)
        below *= scale
        means = [Fraction(sum(values), len(values) * scale) for values in placed]
        smallest, largest = min(means), max(means)
        tightest = groups[means.index(largest if feature == "journal" else smallest)] if len(groups) > 1 else None
        measured_as = self._measured_as(counted, groups, tightest if feature in DIAMETERS else None)
        mean_nm = round_half_even(above, below)
        warm_nm = 0
        if feature in DIAMETERS and self._measuring.temperature is not None:  # so that the figures shown add up
            raw_mean = round_half_even(*mean_of_means([[counted[i].nm for i in group] for group in groups]))
            off = measured_as.zero_nm + measured_as.ball_nm if measured_as else 0
            warm_nm = mean_nm - raw_mean + off
        smallest_nm, largest_nm = (round_half_even(nm.numerator, nm.denominator) for nm in (smallest, largest))
        size = Size(mean_nm, smallest_nm, largest_nm, counted, measured_as, warm_nm, aside, form)
        return Sized(size, Fraction(above, below))

    def plain_wall(
        self,
        gauge: str | None,
        readings: Sequence[int],
        confirmed: str = "",
        columns: Sequence[tuple[str, str]] = (),
        typed: Sequence[str] = (),
    ) -> Size:
        """The wall that readings of one gauge at the crown give. `columns`: the name of each one's column and its unit,
        if that is not the job's; it was `typed` there like this. Quick, as there may be a million, and the same object
        for equal readings."""
        if self._numbered_are_repeats and gauge is not None:
            self._pool(gauge, readings)
        alike = gauge, confirmed, columns, *(typed or readings)
        if alike in self._plain:
            return self._plain[alike]
        wheres = [(name, with_its_unit(text, unit)) for (name, unit), text in zip(columns, typed, strict=False)]
        wheres += [("", "")] * (len(readings) - len(wheres))
        told = zip(readings, wheres, strict=False)
        raw = tuple([Reading(nm, None, None, gauge, confirmed, *where) for nm, where in told])
        way = gauge, len(readings)
        if way not in self._ways:
            self._ways[way] = self._measured_as(raw, self._places(raw))
        corrected = [nm - self._offs[gauge] for nm in readings]
        wall = round_half_even(sum(corrected), len(corrected))
        ends = (wall, wall) if self._numbered_are_repeats else (min(corrected), max(corrected))
        found = self._plain[alike] = Size(wall, *ends, raw, self._ways[way])
        return found

    def form(self, kind: str, feature: str, readings: Sequence[Reading]) -> Form | None:
        """What the readings say about form; None if they say too little about where they were taken."""
        stations = {r.station for r in readings}
        if stations == {None} and all(r.angle is None for r in readings):
            return None
        if feature == "wall" and len(stations) == 1:
            return None  # a wall has form only along the axis
        self._form_told.add(feature)
        from fitmatch.gauging.sizes.form import form_of

        corrected, scale = self._corrected(kind, feature, readings)
        return form_of(feature, readings, corrected, scale)

    def pooled(self) -> Mapping[str, Pooled]:
        """The scatter of each gauge: s^2 = sum over places of (n - 1) s^2, over the sum of (n - 1)."""
        return {name: Pooled(self._squares[name] / freedom, freedom) for name, freedom in self._freedom.items()}

    def form_told(self) -> frozenset[str]:
        """The features about whose form any reading says something."""
        return frozenset(self._form_told)

    def _places(self, readings: Sequence[Reading]) -> list[list[int]]:
        return places(readings, numbered_are_repeats=self._numbered_are_repeats)

    def _corrected(self, kind: str, feature: str, readings: Sequence[Reading]) -> tuple[list[int], int]:
        """Corrected readings as whole numbers, and how many of these units make a nanometre."""
        gauges = dict.fromkeys(r.gauge for r in readings)
        factors = {gauge: factor_to_20(self._measuring, kind, feature, gauge) for gauge in gauges}
        scale = lcm(*(factor.denominator for factor in factors.values()))
        scaled = {gauge: int(factor * scale) for gauge, factor in factors.items()}
        return [(r.nm - self._offs[r.gauge]) * scaled[r.gauge] for r in readings], scale

    def _measured_as(
        self, readings: Sequence[Reading], groups: Sequence[Sequence[int]], tightest: Sequence[int] | None = None
    ) -> MeasuredAs | None:
        """How a size was measured; equal ones are the same object. None if no gauge is named. `tightest`: the one of
        several places that leaves the least clearance."""
        if not self._measuring.gauges:
            return None
        zeros: list[list[int]] = []
        balls: list[list[int]] = []
        for group in groups:
            gauges = [readings[i].gauge for i in group]
            zeros.append([self._offs[g] - self._balls[g] for g in gauges])
            balls.append([self._balls[g] for g in gauges])
        zero, ball = (round_half_even(*mean_of_means(off)) for off in (zeros, balls))
        ends = tuple(Series(*one) for one in _by_gauge(readings, tightest)) if tightest is not None else ()
        found = MeasuredAs(series_of(readings, groups), zero, ball, len(groups), ends)
        return self._shared.setdefault(found, found)

    def _pool_places(self, readings: Sequence[Reading]) -> None:
        """Learn from every place that one gauge read more than once, near the crown or not."""
        if not self._measuring.gauges:
            return
        for group in self._places(readings):
            for gauge in dict.fromkeys(readings[i].gauge for i in group):
                if gauge is not None:
                    self._pool(gauge, [readings[i].nm for i in group if readings[i].gauge == gauge])

    def _pool(self, gauge: str, values: Sequence[int]) -> None:
        if len(values) > 1:
            above, below = sum_of_squares(values)
            self._squares[gauge] = self._squares.get(gauge, 0.0) + above / below
            self._freedom[gauge] += len(values) - 1


def series_of(readings: Sequence[Reading], groups: Sequence[Sequence[int]]) -> tuple[Series, ...]:
    """The series of readings whose places are these groups."""
    alike: Counter[Series] = Counter()
    for group in groups:
        for gauge, repeats, share in _by_gauge(readings, group):
            alike[Series(gauge, repeats, share / len(groups))] += 1
    return tuple(sorted((s._replace(alike=n) for s, n in alike.items()), key=lambda s: (s.gauge or "", s)))


def _by_gauge(readings: Sequence[Reading], group: Sequence[int]) -> list[tuple[str | None, int, float]]:
    """Each gauge of one place, how often it read there, and its share in the place's mean."""
    counts = Counter(readings[i].gauge for i in group)
    return [(gauge, repeats, repeats / len(group)) for gauge, repeats in counts.items()]
