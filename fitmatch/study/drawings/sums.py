"""The distribution of a sum of independent parts, by convolution on a grid.

All parts but the widest are put on a grid of whole steps, each so that the mean of every function that is straight
between the points of the grid is exact; then they are convolved. The widest stays as it is: the chance that the sum
is below a value is the mean of its own chance over the grid. The error falls with the square of the step, so
halving the step shows it: what is left is about a third of the change.
"""

from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.study.drawings.shapes import SHAPES, Shape

if TYPE_CHECKING:
    from fitmatch.study.drawings.shapes import Array

ALLOWED: Final = 1e-6  # error of a probability
_FEWEST: Final = 256  # steps from one end of the grid to the other
_FINE: Final = 1024  # of a curve
_MOST: Final = 1 << 14
_PROBES: Final = 17


class Chance(NamedTuple):
    """Of being below, inside and above two limits, and by how much the last halving of the step changed any of them."""

    below: float
    inside: float
    above: float
    change: float


class Sum:
    """Parts of the given half widths, all of one shape, added up; centred on zero."""

    def __init__(self, shape: str, half_widths: tuple[float, ...]) -> None:
        wide = sorted(width for width in half_widths if width > 0)
        self._shape: Shape = SHAPES[shape]
        self._others, self._widest = tuple(wide[:-1]), wide[-1] if wide else 0.0
        self._reach = sum(self._others)
        self._grids: dict[int, tuple[Array, Array]] = {}

    @property
    def half_width(self) -> float:
        """From zero to either end."""
        return self._reach + self._widest

    def chance(self, low: float | None, high: float | None) -> Chance:
        """How likely the sum is inside limits, both included; None: there is no such limit."""
        import numpy

        # Above x is below -x. The change is looked for all over the width: at one value it may be small by chance.
        ends = [-self.half_width if low is None else low, -self.half_width if high is None else -high]
        values = numpy.array([*ends, *numpy.linspace(-self.half_width, 0, _PROBES)])
        steps, change = _FEWEST, 1.0
        found = self._below(values, steps)
        while change > ALLOWED and steps < _MOST:
            steps *= 2
            finer = self._below(values, steps)
            change = float(abs(finer - found).max())
            found = finer
        # What is impossible, or certain, comes out some 1e-16 beside that.
        below, above = found[:2].round(12).tolist()
        return Chance(below, max(0.0, round(1 - below - above, 12)), above, change)

    def half_interval(self, share: float) -> float:
        """How far from the middle the ends of the interval are that has this share of the sums inside."""
        near, far = 0.0, self.half_width
        for _ in range(40):  # to a part in 10^12 of the width
            middle = (near + far) / 2
            inside = 1 - 2 * self.below(-middle)
            near, far = (middle, far) if inside < share else (near, middle)
        return far

    def densities(self, at: "Array") -> "Array":
        """The density at each of these values; nowhere where there is nothing but one value."""
        import numpy

        if not self._widest:
            return numpy.zeros(at.shape)
        places, masses = self._grid(_FINE)
        x = (at[:, None] - places) / self._widest
        found = numpy.where(abs(x) <= 1, self._shape.density(x), 0.0) @ masses
        return numpy.asarray(found / self._widest)

    def below(self, value: float) -> float:
        """The chance that the sum is less than a value."""
        import numpy

        return float(self._below(numpy.array([value]), _FINE)[0])

    def _below(self, values: "Array", steps: int) -> "Array":
        """The same of each of these values, on a grid of so many steps."""
        import numpy

        if not self._widest:
            return numpy.asarray(values > 0, float)
        places, masses = self._grid(steps)
        x = numpy.clip((values[:, None] - places) / self._widest, -1, 1)
        return numpy.asarray(self._shape.below(x) @ masses)

    def _grid(self, steps: int) -> "tuple[Array, Array]":
        """The places of the sum of all parts but the widest, and the mass at each."""
        if steps not in self._grids:
            self._grids[steps] = self._convolved(steps)
        return self._grids[steps]

    def _convolved(self, steps: int) -> "tuple[Array, Array]":
        import numpy

        masses: Array = numpy.ones(1)
        step = 2 * self._reach / steps if self._reach else 1.0
        for width in self._others:
            masses = numpy.asarray(numpy.convolve(masses, self._masses(width, step)), float)
        most = len(masses) // 2
        return numpy.asarray(numpy.arange(-most, most + 1) * step), masses

    def _masses(self, width: float, step: float) -> "Array":
        """One part on the grid: the mass at a point is the mean of a hat that is one there and zero at its
        neighbours, which the second integral of the density gives."""
        import numpy

        most = int(-(-width // step))
        at = numpy.arange(-most - 1, most + 2) * step / width
        twice = numpy.where(at > 1, at, self._shape.twice(numpy.clip(at, -1, 1)))  # beyond the end all lies below
        return numpy.asarray((twice[2:] - 2 * twice[1:-1] + twice[:-2]) * width / step)
