"""The rules of a job in plain fields, as oracles and hand-made jobs name them, and the records that they mean."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from fitmatch.records.job import Job, Rule
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.one_half.min_wall import MinWall
from fitmatch.rules.positions.guard import Guard
from fitmatch.rules.positions.in_rows import Line, NeighbourStep
from fitmatch.rules.positions.limits_at import LimitsAt
from fitmatch.rules.positions.movable import Movable
from fitmatch.rules.registry import in_order
from fitmatch.rules.two_halves.same_in_bore import SameInBore
from fitmatch.rules.two_halves.thick_half import ThickHalf
from fitmatch.rules.two_halves.wall_difference import WallDifference


@dataclass(frozen=True, slots=True)
class Rules:
    """The `[rules]` of a job; what is None or empty is off."""

    wall_difference_nm: int | None = 15_240
    thick_half: Mapping[str, str] = field(default_factory=dict)  # kind -> upper, lower or same
    thick_half_from_nm: int = 5_080
    same_in_bore: tuple[str, ...] = ()
    min_wall_nm: Mapping[str, int] = field(default_factory=dict)
    neighbour_step_nm: Mapping[str, int] = field(default_factory=dict)
    line_nm: Mapping[str, int] = field(default_factory=dict)
    movable: tuple[str, ...] = ()
    movable_within: tuple[str, ...] = ()
    limits_at: str = "tightest"
    guard: float = 0.0


def records(rules: Rules, matched: Sequence[str] = (), shell_columns: tuple[str, ...] = ()) -> tuple[Rule, ...]:
    """The rules as a job holds them."""
    found: list[Rule] = [LimitsAt(rules.limits_at), *map(Match, matched)]
    if rules.wall_difference_nm is not None:
        found.append(WallDifference(rules.wall_difference_nm))
    found += [ThickHalf(kind, side, rules.thick_half_from_nm) for kind, side in rules.thick_half.items()]
    found += map(SameInBore, rules.same_in_bore)
    found += [MinWall(kind, nm) for kind, nm in rules.min_wall_nm.items()]
    found += [NeighbourStep(kind, nm) for kind, nm in rules.neighbour_step_nm.items()]
    found += [Line(kind, nm) for kind, nm in rules.line_nm.items()]
    found += [Movable(rules.movable, rules.movable_within)] if rules.movable or rules.movable_within else []
    found += [Guard(rules.guard)] if rules.guard else []
    return tuple(rule.located(shell_columns) for rule in in_order(found))


_read_last: list[Any] = [(), None]  # rules as a job holds them, and in plain fields: one job is asked again and again


def rules_of(job: Job) -> Rules:
    """The rules of a job in plain fields."""
    if _read_last[0] is not job.rules:
        _read_last[:] = job.rules, _read_back(job.rules)
    return _read_last[1]


def with_rules(job: Job, rules: Rules | None = None, **changes: Any) -> Job:
    """The job with other rules, or with its own changed; what it matches stays."""
    wanted = replace(rules or rules_of(job), **changes)
    matched = [rule.column for rule in job.rules if isinstance(rule, Match)]
    return replace(job, rules=records(wanted, matched, job.shell_columns))


@lru_cache(1 << 12)
def _read_back(rules: tuple[Rule, ...]) -> Rules:
    halves = [rule for rule in rules if isinstance(rule, ThickHalf)]
    moves = next((rule for rule in rules if isinstance(rule, Movable)), Movable(()))
    return Rules(
        wall_difference_nm=next((rule.most_nm for rule in rules if isinstance(rule, WallDifference)), None),
        thick_half={rule.of_kind: rule.side for rule in halves},
        thick_half_from_nm=halves[0].from_nm if halves else 5_080,
        same_in_bore=tuple(rule.column for rule in rules if isinstance(rule, SameInBore)),
        min_wall_nm={rule.of_kind: rule.least_nm for rule in rules if isinstance(rule, MinWall)},
        neighbour_step_nm={rule.of_kind: rule.most_nm for rule in rules if isinstance(rule, NeighbourStep)},
        line_nm={rule.of_kind: rule.most_nm for rule in rules if isinstance(rule, Line)},
        movable=moves.kinds,
        movable_within=moves.within,
        limits_at=next((rule.at for rule in rules if isinstance(rule, LimitsAt)), "tightest"),
        guard=next((rule.factor for rule in rules if isinstance(rule, Guard)), 0.0),
    )
