"""An optimizer made wrong on purpose, so that tests can show that they would see it."""

from collections.abc import Callable

import pytest

from fitmatch.fit.model import order
from fitmatch.fit.model.order import Figure
from fitmatch.fit.proof import levels
from fitmatch.fit.proof.search import Search
from fitmatch.fit.proof.windows import Windows

Patch = pytest.MonkeyPatch


def level_off(off: Figure) -> Callable[[Patch], None]:
    """The figure is passed over: neither proven nor kept."""

    def worst(search: Search) -> int:
        return max((abs(p.deviation_nm) for p in search.choice if p.within_limits), default=0)

    def passed_over(honest: Callable[..., int]) -> Callable[..., int]:
        def passing(search: Search, figure: Figure, **more: object) -> int:
            return worst(search) if figure.name == off.name else honest(search, figure, **more)

        return passing

    def switch(patch: Patch) -> None:
        for move in ("minimise", "narrow_worst"):
            patch.setattr(Search, move, passed_over(getattr(Search, move)))
        if off is order.WORST:
            patch.setattr(Windows, "least_worst", lambda self: worst(self.search))
        if off is order.SPREAD:
            patch.setattr(levels, "narrow_spread", lambda *_: 0)
        if off is order.SQUARES:
            patch.setattr(Windows, "least_squares", lambda *_: None)

    switch.__doc__ = f"The level {off.name} is passed over."
    return switch
