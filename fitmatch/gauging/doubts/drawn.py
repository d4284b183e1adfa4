"""Readings held against the limits of the drawing."""

from collections.abc import Iterator, Mapping, Sequence

from fitmatch.gauging.doubts.groups import Group
from fitmatch.gauging.doubts.odd import Odd, threshold
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.parts import Job

_ROOT_12 = 12**0.5


def outside(
    job: Job, groups: Sequence[Group], scales: Mapping[tuple[str, bool], Scale]
) -> Iterator[tuple[Group, list[Odd]]]:
    """Readings further outside their band than scatter explains. The band's middle is what they ought to be about; a
    journal ground to an undersize has a band of its own, which nobody wrote."""
    for group in groups:
        band = job.drawing.get(group.key.kind, {}).get(group.key.feature)
        if band is None or group.key.label or not group.at_crown:
            continue
        scale = scales[group.key.feature, True]
        reach = threshold(scale) * scale.standard_nm
        middle = (band.low_nm + band.high_nm) / 2
        spread = max(scale.standard_nm, (band.high_nm - band.low_nm) / _ROOT_12)
        found = [
            Odd(i, middle, spread)
            for i, value in enumerate(group.values)
            if not band.low_nm - reach <= value <= band.high_nm + reach
        ]
        if found:
            yield group, found
