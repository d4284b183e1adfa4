"""How far walls scatter in a box and the means of boxes from one another: as written, as measured, or as drawn."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from math import sqrt
from random import Random
from statistics import fmean
from typing import Final, NamedTuple, TypeAlias

from fitmatch.gauging.uncertainty.drawn_errors import inflation
from fitmatch.records.parts import Band, Shell

FEWEST_BOXES: Final = 4  # of fewer the scatter of their means is hardly known
Labelled: TypeAlias = tuple[str, Shell]  # with what tells its step
LIMITS_AT: Final = 3.0  # standard deviations from the middle, as in `range --shape normal`


class Walls(NamedTuple):
    """The walls of one step, normal in every box and so the means of boxes. Each figure is "written" by the user,
    "measured" from `shells` in `boxes` opened, "other-steps" if those are of other steps of the kind, "rounding" if
    readings show less scatter than that hides, "drawing", or, of the scatter between boxes, "assumed" to be that
    within them. `boxes_share2`: the sum of the squares of the boxes' shares in the mean. `freedom` and
    `between_freedom`: degrees of freedom of what was measured. `means_nm` are those of each half.
    """

    means_nm: Mapping[str, float]
    mean_from: str
    within_nm: float
    within_from: str
    freedom: int | None
    between_nm: float
    between_from: str
    between_freedom: int | None
    shells: int = 0
    boxes: int = 0
    boxes_share2: float = 0.0

    @property
    def mean_u_nm(self) -> float:
        """The standard uncertainty of the means, as few boxes tell them."""
        return self.mean_off_nm(self.within_nm, self.between_nm)

    def mean_off_nm(self, within_nm: float, between_nm: float) -> float:
        """The same if walls really scatter like this."""
        if self.mean_from != "measured":
            return 0.0
        return sqrt(between_nm**2 * self.boxes_share2 + within_nm**2 / self.shells)

    def drawn(self, rng: Random) -> tuple[float, float]:
        """What the scatter within and between boxes may really be. What is assumed of one is as wrong as the other."""
        inflated = inflation(rng, self.freedom)
        between = inflated if self.between_from == "assumed" else inflation(rng, self.between_freedom)
        return self.within_nm * sqrt(inflated), self.between_nm * sqrt(between)


class _Measured(NamedTuple):
    """What the walls of opened boxes say. `seen_between_nm` is what is seen of the scatter between boxes, `between_nm`
    the same where these are enough to go by."""

    means_nm: Mapping[str, float]
    within_nm: float | None
    freedom: int
    between_freedom: int
    between_nm: float | None
    seen_between_nm: float
    shells: int
    boxes: int
    boxes_share2: float


def walls_of(
    own: Sequence[Labelled],
    others: Sequence[Labelled],
    read_with_nm: float,
    told: tuple[int | None, int | None, int | None],
    drawing: Band | None,
    grid_nm: int,
) -> Walls | None:
    """The walls of a step from its `own` measured shells or, for the scatter, those of `others` steps of its kind.

    `told` are mean, within and between as written. `read_with_nm` is the scatter of a reading, which is no scatter of
    walls; what rounding to `grid_nm` hides may be some. None: nothing says how walls scatter, or where they
    lie.
    """
    wall, within, between = told
    mine, theirs = _measured(own, read_with_nm), _measured(others, read_with_nm)
    sources: list[tuple[str, float, int | None]] = []
    if within is not None:
        sources.append(("written", within, None))
    for name, one in (("measured", mine), ("other-steps", theirs)):
        if one.within_nm is not None:
            sources.append((name, one.within_nm, one.freedom))
    if drawing is not None:  # of which half is taken to be between boxes
        sources.append(("drawing", (drawing.high_nm - drawing.low_nm) / 2 / LIMITS_AT / sqrt(2.0), None))
    means, mean_from = _means(wall, mine, drawing)
    if not sources or not means:
        return None
    within_from, within_nm, freedom = sources[0]
    hidden_nm = grid_nm / sqrt(12.0)  # walls that read alike may differ by as much as a step
    if freedom is not None and within_nm < hidden_nm:
        within_from, within_nm, freedom = "rounding", hidden_nm, None
    between_from, between_nm, between_freedom = _between(between, mine, theirs, within_nm)
    if within_from == "rounding" and between_freedom is not None and between_nm < hidden_nm:
        between_from, between_nm, between_freedom = "rounding", hidden_nm, None
    return Walls(
        means_nm=means,
        mean_from=mean_from,
        within_nm=within_nm,
        within_from=within_from,
        freedom=freedom,
        between_nm=between_nm,
        between_from=between_from,
        between_freedom=between_freedom,
        shells=mine.shells,
        boxes=mine.boxes,
        boxes_share2=mine.boxes_share2,
    )


def _means(wall: int | None, mine: _Measured, drawing: Band | None) -> tuple[Mapping[str, float], str]:
    if wall is not None:
        return {"": float(wall)}, "written"
    if mine.shells:
        return mine.means_nm, "measured"
    return ({}, "") if drawing is None else ({"": (drawing.low_nm + drawing.high_nm) / 2}, "drawing")


def _between(
    between: int | None, mine: _Measured, theirs: _Measured, within_nm: float
) -> tuple[str, float, int | None]:
    if between is not None:
        return "written", float(between), None
    for name, one in (("measured", mine), ("other-steps", theirs)):
        if one.between_nm is not None:
            return name, one.between_nm, one.between_freedom
    return "assumed", max(within_nm, mine.seen_between_nm), None


def _measured(shells: Iterable[Labelled], read_with_nm: float) -> _Measured:
    """Half by half, as the two halves of a bearing may be made to other walls; steps apart, as their means differ."""
    groups = defaultdict[tuple[str, str, str], list[int]](list)
    for label, shell in shells:
        if shell.wall_nm is not None:
            groups[label, shell.half, shell.box].append(shell.wall_nm)
    count = sum(map(len, groups.values()))
    freedom = count - len(groups)
    within2 = None
    if freedom:
        squares = sum((wall - fmean(walls)) ** 2 for walls in groups.values() for wall in walls)
        within2 = max(0.0, squares / freedom - read_with_nm**2)
    of_half = defaultdict[str, list[int]](list)
    for (_, half, _), walls in groups.items():
        of_half[half] += walls
    boxes = {box for _, _, box in groups}
    freedom_between, seen = _between_boxes(groups, 0.0 if within2 is None else within2 + read_with_nm**2)
    between = None if freedom_between + 1 < FEWEST_BOXES else seen
    within = None if within2 is None else sqrt(within2)
    means = {half: fmean(walls) for half, walls in of_half.items()}
    share2 = max((_share2(groups, half) for half in of_half), default=0.0)
    return _Measured(means, within, freedom, freedom_between, between, seen, count, len(boxes), share2)


def _share2(groups: Mapping[tuple[str, str, str], Sequence[int]], half: str) -> float:
    """The sum of the squares of the boxes' shares in the mean of a half: a box of few shells tells little of it."""
    shells = Counter[str]()
    for (_, one, box), walls in groups.items():
        shells[box] += len(walls) * (one == half)
    return sum(count * count for count in shells.values()) / shells.total() ** 2


def _between_boxes(groups: Mapping[tuple[str, str, str], Sequence[int]], within2: float) -> tuple[int, float]:
    """Degrees of freedom and the scatter of the means of boxes beyond what the scatter within them explains.

    A box has one mean, over its halves, each as it is beside the same half of the other boxes of its step.
    """
    levels = defaultdict[tuple[str, str], list[float]](list)
    for (step, half, _), walls in groups.items():
        levels[step, half].append(fmean(walls))
    offs = defaultdict[tuple[str, str], list[tuple[float, int]]](list)
    for (step, half, box), walls in groups.items():
        offs[step, box].append((fmean(walls) - fmean(levels[step, half]), len(walls)))
    freedom = len(offs) - len({step for step, _ in offs})
    if not freedom:
        return 0, 0.0
    squares = sum(fmean(off for off, _ in halves) ** 2 for halves in offs.values()) / freedom
    explained = fmean(sum(within2 / count for _, count in halves) / len(halves) ** 2 for halves in offs.values())
    return freedom, sqrt(max(0.0, squares - explained))
