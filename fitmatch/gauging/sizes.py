"""Readings to sizes: repeats to places, places to a size, everything corrected exactly and rounded once.

Corrected = (reading - zero error - ball) x the factor to 20 degrees Celsius; walls are not corrected for temperature
(under 0.03 um in 10 K).
"""

from collections import Counter
from collections.abc import Mapping, Sequence

from fitmatch.gauging.corrections import expansion_of, factor_to_20, zero_errors
from fitmatch.gauging.places import at_crown, mean_of_means, places, sum_of_squares
from fitmatch.intake.settings import Settings
from fitmatch.intake.sizing import Sized
from fitmatch.lengths import mean, round_half_even
from fitmatch.measuring import DIAMETERS, Decimal, Form, MeasuredAs, Pooled, Reading, Series
from fitmatch.parts import Size

_ONE = Decimal(1)


class Sizes:
    """Sizes all readings of one job, and pools the scatter that repeats show by the way."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._zeros = zero_errors(settings.gauges)
        self._shared: dict[MeasuredAs, MeasuredAs] = {}
        self._plain: dict[tuple[str | None, int], tuple[int, MeasuredAs | None]] = {}
        self._single: dict[tuple[str, str, Reading], Sized | None] = {}  # one reading is like many others
        self._squares: dict[str, float] = {}
        self._freedom: Counter[str] = Counter()

    def diameter(self, kind: str, feature: str, readings: Sequence[Reading]) -> Sized | None:
        """The size that readings of a journal or housing bore give; None where none lies near the crown axis."""
        if len(readings) > 1:
            self._pool_places(readings)
            return self._sized(kind, feature, readings)
        alike = kind, feature, readings[0]
        if alike not in self._single:
            self._single[alike] = self._sized(kind, feature, readings)
        return self._single[alike]

    def _sized(self, kind: str, feature: str, readings: Sequence[Reading]) -> Sized | None:
        counted = [r for r in readings if at_crown(feature, r)]
        if not counted:
            return None
        groups = self._places(counted)
        corrected, scale = self._corrected(kind, feature, counted)
        above, below = mean_of_means([[corrected[i] for i in group] for group in groups])
        below *= scale
        measured_as = self._measured_as(counted, groups)
        mean_nm = round_half_even(above, below)
        raw_mean: int | None = None
        if self._settings.temperature is not None:
            raw_mean = round_half_even(*mean_of_means([[counted[i].nm for i in group] for group in groups]))
        elif measured_as is not None:  # of two nearest whole nanometres the one that adds up
            raw_mean = mean_nm + measured_as.zero_nm + measured_as.ball_nm
        size = Size(
            mean_nm,
            round_half_even(min(corrected), scale),
            round_half_even(max(corrected), scale),
            len(counted),
            measured_as,
            raw_mean,
        )
        return Sized(size, (above, below))

    def wall(self, readings: Sequence[Reading]) -> tuple[int, MeasuredAs | None] | None:
        """The wall that readings give; None where none lies near the crown."""
        if len(readings) == 1:  # most of them, and there may be a million
            return self.plain_wall(readings[0].gauge, [readings[0].nm]) if at_crown("wall", readings[0]) else None
        self._pool_places(readings)
        counted = [r for r in readings if at_crown("wall", r)]
        if not counted:
            return None
        groups = self._places(counted)
        corrected, _ = self._corrected("", "wall", counted)
        wall = round_half_even(*mean_of_means([[corrected[i] for i in group] for group in groups]))
        return wall, self._measured_as(counted, groups)

    def plain_wall(self, gauge: str | None, readings: Sequence[int]) -> tuple[int, MeasuredAs | None]:
        """The wall that readings of one gauge at the crown give; quick, as there may be a million."""
        known = self._plain.get((gauge, len(readings)))
        if known is None:
            some = [Reading(nm, gauge=gauge) for nm in readings]
            known = (self._off(gauge), self._measured_as(some, self._places(some)))
            self._plain[gauge, len(readings)] = known
        off, measured_as = known
        if len(readings) == 1:
            return readings[0] - off, measured_as
        if gauge is not None and self._settings.numbered_are_repeats:
            self._pool(gauge, readings)
        return mean(tuple([nm - off for nm in readings])), measured_as

    def form(self, kind: str, feature: str, readings: Sequence[Reading]) -> Form | None:
        """What the readings say about form; None where they tell too little of where they were taken."""
        stations = {r.station for r in readings}
        if stations == {None} and all(r.angle is None for r in readings):
            return None
        if feature == "wall" and len(stations) == 1:
            return None  # of a wall nothing is told but along the axis
        from fitmatch.gauging.form import form_of

        corrected, scale = self._corrected(kind, feature, readings)
        return form_of(feature, readings, corrected, scale)

    def pooled(self) -> Mapping[str, Pooled]:
        """The scatter of each gauge: s^2 = sum over places of (n - 1) s^2, over the sum of (n - 1)."""
        return {name: Pooled(self._squares[name] / freedom, freedom) for name, freedom in self._freedom.items()}

    def _places(self, readings: Sequence[Reading]) -> list[list[int]]:
        return places(readings, numbered_are_repeats=self._settings.numbered_are_repeats)

    def _corrected(self, kind: str, feature: str, readings: Sequence[Reading]) -> tuple[list[int], int]:
        """Corrected readings as whole numbers, and how many of these make a nanometre."""
        gauges = dict.fromkeys(r.gauge for r in readings)
        factors = {gauge: self._factor(kind, feature, gauge) for gauge in gauges}
        offs = {gauge: self._off(gauge) for gauge in gauges}
        lowest = min(0, *(f.exponent for f in factors.values()))
        scaled = {gauge: f.digits * 10 ** (f.exponent - lowest) for gauge, f in factors.items()}
        return [(r.nm - offs[r.gauge]) * scaled[r.gauge] for r in readings], 10**-lowest

    def _factor(self, kind: str, feature: str, gauge: str | None) -> Decimal:
        temperature = self._settings.temperature
        part = self._settings.materials.get(kind, {}).get(feature)
        if temperature is None or feature not in DIAMETERS or part is None:
            return _ONE
        return factor_to_20(temperature, expansion_of(self._settings.gauges, gauge), part)

    def _off(self, gauge: str | None) -> int:
        """What is taken off each reading of a gauge."""
        return 0 if gauge is None else self._zeros[gauge] + self._settings.gauges[gauge].ball_nm

    def _measured_as(self, readings: Sequence[Reading], groups: Sequence[Sequence[int]]) -> MeasuredAs | None:
        """How a size was measured; equal ones are one and the same object. None where no gauge is named."""
        if not self._settings.gauges:
            return None
        alike: Counter[Series] = Counter()
        zeros: list[list[int]] = []
        balls: list[list[int]] = []
        for group in groups:
            gauges = [readings[i].gauge for i in group]
            for gauge, repeats in Counter(gauges).items():
                alike[Series(gauge, repeats, repeats / (len(group) * len(groups)))] += 1
            zeros.append([0 if g is None else self._zeros[g] for g in gauges])
            balls.append([0 if g is None else self._settings.gauges[g].ball_nm for g in gauges])
        series = tuple(sorted((s._replace(alike=n) for s, n in alike.items()), key=lambda s: (s.gauge or "", s)))
        zero, ball = (round_half_even(*mean_of_means(off)) for off in (zeros, balls))
        found = MeasuredAs(series, zero, ball)
        return self._shared.setdefault(found, found)

    def _pool_places(self, readings: Sequence[Reading]) -> None:
        """Learn from every place that one gauge read more than once, near the crown or not."""
        if not self._settings.gauges:
            return
        for group in self._places(readings):
            by_gauge: dict[str, list[int]] = {}
            for reading in (readings[i] for i in group):
                if reading.gauge is not None:
                    by_gauge.setdefault(reading.gauge, []).append(reading.nm)
            for gauge, values in by_gauge.items():
                self._pool(gauge, values)

    def _pool(self, gauge: str, values: Sequence[int]) -> None:
        if len(values) > 1:
            above, below = sum_of_squares(values)
            self._squares[gauge] = self._squares.get(gauge, 0.0) + above / below
            self._freedom[gauge] += len(values) - 1
