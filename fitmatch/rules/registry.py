"""The rules, one module each, and the registry through which everything else uses them.

Each rule's module says how it is read, what it rules out, how it is dropped or relaxed, and how it is reported.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from fitmatch.records.ask import Ask
from fitmatch.records.job import Bond, Jobs, Rule
from fitmatch.rules.one_half.family import Family
from fitmatch.rules.one_half.holds import Holds
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.one_half.min_wall import MinWall
from fitmatch.rules.positions.drawing import Drawing
from fitmatch.rules.positions.guard import Guard
from fitmatch.rules.positions.in_rows import Line, NeighbourStep
from fitmatch.rules.positions.limits_at import LimitsAt
from fitmatch.rules.positions.locks import Locks
from fitmatch.rules.positions.movable import Movable
from fitmatch.rules.two_halves.same_in_bore import SameInBore
from fitmatch.rules.two_halves.thick_half import ThickHalf
from fitmatch.rules.two_halves.wall_difference import WallDifference

# What the parts' own rows say, and what is set for a job; in the order in which reasons name them.
OF_PARTS: Final[tuple[type[Rule], ...]] = (Drawing, Locks, Holds)
SETTINGS: Final[tuple[type[Rule], ...]] = (
    WallDifference,
    MinWall,
    ThickHalf,
    NeighbourStep,
    Line,
    SameInBore,
    Match,
    Family,
    Movable,
    LimitsAt,
    Guard,
)
REGISTRY: Final = (*OF_PARTS, *SETTINGS)


def read_rules(ask: Ask) -> tuple[Rule, ...]:
    """Every rule that job.toml sets, and those that apply unless it says otherwise."""
    return tuple(rule for sort in SETTINGS for rule in sort.read(ask))


def in_order(rules: Iterable[Rule]) -> list[Rule]:
    """These rules in registry order."""
    return sorted(rules, key=lambda rule: SETTINGS.index(type(rule)))


def known_keys() -> Iterator[str]:
    """Every key of `[rules]`."""
    return (key for sort in SETTINGS for key in sort.keys)


def bonds(jobs: Jobs, kind: str) -> Iterator[Bond]:
    """Everything that rules out pairs of shells in this kind, each with the jobs without it."""
    return (bond for sort in REGISTRY for bond in sort.bonds(jobs, kind))
