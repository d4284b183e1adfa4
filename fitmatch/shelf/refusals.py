"""Why the shelf does not do what was asked for: codes with figures; `report` puts them into words."""

from collections.abc import Iterable

from fitmatch.facts import Fact


class RefusedError(Exception):
    """Nothing was changed, and `reasons` are all that stands in the way."""

    def __init__(self, *reasons: Fact) -> None:
        super().__init__(", ".join(reason.code for reason in reasons))
        self.reasons = reasons


class HeldError(RefusedError):
    """Another job holds what was asked for, or an engine has it."""


class UnusableError(RefusedError):
    """The shelf itself cannot be used: not opened, locked for too long, read-only, full, damaged or too new."""


def refuse_if_any(reasons: Iterable[Fact]) -> None:
    """Raise RefusedError if there is any reason."""
    if found := tuple(reasons):
        raise RefusedError(*found)
