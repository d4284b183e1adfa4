"""Differences between parts that are no mistakes: what the drawing allows, journals ground to two undersizes, shells for
both."""

from collections.abc import Sequence
from typing import Final

from fitmatch.gauging.doubts.explanations import Explanation
from fitmatch.gauging.doubts.groups import Group
from fitmatch.records.job import Job

INCH: Final = 25_400_000
MM: Final = 1_000_000
GRINDS: Final = tuple(k * step for step in (INCH // 100, MM // 4) for k in (1, 2, 3, 4))  # on the diameter
OTHER_GRIND: Final = "shells-for-another-grind"
CLOSE_NM: Final = 20_000.0  # how close to such a step ground journals are


class Differences:
    """Tells whether two clusters of a group are explained by the job itself."""

    def __init__(self, job: Job, groups: Sequence[Group]) -> None:
        self._job = job
        self._journals = [g for g in groups if g.key.feature == "journal"]

    def explain(self, group: Group, members: Sequence[int], one: Explanation) -> bool:
        """Whether a step or two clusters of a group are as they ought to be."""
        if one.code == "off":
            return False
        key = group.key
        band = self._job.drawing.get(key.kind, {}).get(key.feature)
        if band is not None and not key.label and all(value in band for value in group.values):
            return True
        if key.feature == "journal":
            return is_grind(one.shift_nm)
        return key.feature == "wall" and is_grind(2 * one.shift_nm) and self._ground_apart(key.kind, 2 * one.shift_nm)

    def _ground_apart(self, kind: str, nm: float) -> bool:
        """Whether some journals of the kind differ by so much."""
        sizes = [value for g in self._journals if g.key.kind == kind for value in g.values]
        return any(abs(abs(s - other) - abs(nm)) < CLOSE_NM for s in sizes for other in sizes)


def is_grind(nm: float) -> bool:
    """Whether two journals that differ by so much may be ground to two undersizes."""
    return any(abs(abs(nm) - step) < CLOSE_NM for step in GRINDS)
