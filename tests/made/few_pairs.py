"""Small jobs solved as large ones are: few pairs at first, and more as relaxations ask for them."""

import pytest

from fitmatch.fit.proof import windows
from fitmatch.fit.proof.field import near_plans
from fitmatch.fit.solver import adapter


def look_at_few(patch: pytest.MonkeyPatch) -> None:
    """Whatever is done only with very many pairs or variables is done with any number."""
    patch.setattr(windows, "MANY_PAIRS", 0)
    patch.setattr(windows, "MANY_LISTED", 0)
    patch.setattr(windows, "FEW_EACH", 2)
    patch.setattr(near_plans, "FEW_PAIRS", 1)
    patch.setattr(adapter, "VERY_MANY", 0)
    patch.setattr(adapter, "FEW_EACH", 2)
