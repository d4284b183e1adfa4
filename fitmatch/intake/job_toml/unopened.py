"""`[boxes]` of job.toml: what boxes that are not opened yet cost and hold, and how many may be opened."""

from collections.abc import Collection
from fractions import Fraction

from fitmatch.intake.common import advice
from fitmatch.intake.common.quantities import GAUGE_ERROR, WALL, Quantity
from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.values import Values
from fitmatch.records.study.unopened import BoxesTold, StepTold

MOST_BOXES = 24
_MOST_SHELLS = 1_000
_MOST_PRICE = 1_000_000
_DEVIATION = Quantity("a standard deviation of walls", GAUGE_ERROR.low_nm, GAUGE_ERROR.high_nm, GAUGE_ERROR.bounds)


def read_boxes(values: Values, kinds: Collection[str]) -> BoxesTold:
    """What is given and plausible; what is missing is asked for by `fitmatch boxes`."""
    values.refuse_unknown(("boxes",))
    steps = {}
    for name in values.kinds(("boxes", "step"), None):
        step = _step(values, ("boxes", "step", name), kinds)
        if step is not None:
            steps[name] = step
    return BoxesTold(
        budget=values.count(("boxes", "budget"), MOST_BOXES, f"number of boxes from 1 to {MOST_BOXES}"),
        within_nm=values.length(("boxes", "within"), _DEVIATION),
        between_nm=values.length(("boxes", "between"), _DEVIATION),
        steps=steps,
    )


def _step(values: Values, path: Path, kinds: Collection[str]) -> StepTold | None:
    values.refuse_unknown(path)
    wall = values.length((*path, "wall"), WALL)
    shells = values.count((*path, "shells"), _MOST_SHELLS, "number of shells of each half")
    price = _price(values, (*path, "price"))
    kind = values.text((*path, "kind"), 'write the kind of its shells, such as "rod"')
    if kind is None:
        if "kind" not in values.table(path):
            values.report("unknown-kind", 'is missing; write the kind of its shells, such as "rod"', *path, "kind")
        return None
    if kind not in kinds:
        if kinds:  # without any [fit.KIND] that is reported
            values.report("unknown-kind", advice.for_unknown_kind(kind, kinds), *path, "kind")
        return None
    return StepTold(kind, wall, shells, price)


def _price(values: Values, path: Path) -> int | None:
    price = values.number_within(path, (0, _MOST_PRICE, f"0 to {_MOST_PRICE:,}"))
    thousandths = (price or Fraction()) * 1_000
    if thousandths.denominator != 1:
        values.report("not-a-number", "is not a price; write what a box costs, with three decimals at most", *path)
        return None
    return None if price is None else int(thousandths)
