"""What the user says of boxes that are not opened yet: `[boxes]` of job.toml. Lengths are whole nanometres."""

from collections.abc import Mapping
from typing import NamedTuple


class StepTold(NamedTuple):
    """One `[boxes.step.NAME]`: boxes that are alike. None: not given. `shells` are those of each half."""

    kind: str
    wall_nm: int | None = None
    shells: int | None = None
    price_thousandths: int | None = None


class BoxesTold(NamedTuple):
    """`[boxes]`; None: not given. `within_nm` and `between_nm` are standard deviations of walls in one box, and of the
    means of boxes."""

    budget: int | None = None
    within_nm: int | None = None
    between_nm: int | None = None
    steps: Mapping[str, StepTold] = {}
