"""Cures: every single change after which a failing position is inside its limits and no other is worse off.

Each is verified by solving. A limit or a rule that has an amount is let out by the least that works. Of several jobs,
rules and limits are let out in the position's own; a hold or a lock may be any.

The bonds of its reason keep the position out whatever else is let go: what none of them stands for is not tried.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from fitmatch.fit.asking import Asker, TooMuch, place_of
from fitmatch.fit.bores import Pair
from fitmatch.fit.deciding import Place
from fitmatch.fit.newshell import one_more
from fitmatch.fit.stopping import Stopped
from fitmatch.parts import SIDES, Job, Position, Rule
from fitmatch.plans import Cure, Reason
from fitmatch.rules import OF_PARTS, SETTINGS
from fitmatch.rules.drawing import bore_refused
from fitmatch.rules.locks import Jobs
from fitmatch.rules.movable import is_movable

_Question = Callable[[], Cure | None]  # one change, by the least that works; None where it does not help


def cures(asker: Asker, place: Place, reason: Reason) -> tuple[tuple[Cure, ...], bool]:
    """Those that were found, and whether all could be sought."""
    found: list[Cure] = []
    complete = True
    for question in _questions(asker, place, reason):
        if asker.exhausted:
            return tuple(found), False
        try:
            cure = question()
        except (Stopped, TooMuch):
            complete = False
        else:
            found += [] if cure is None else [cure]
    return tuple(found), complete


def _questions(asker: Asker, place: Place, reason: Reason) -> Iterator[_Question]:
    position, together = reason.position, reason.together
    job = next(job for job in asker.jobs if job.name == place[0])
    for limit in ("max", "min"):
        if limit in together:
            yield partial(_limit, asker, place, position, limit)
    for sort in SETTINGS:
        for rule in sort.of(job, asker.kind):
            if rule.name in together:
                yield partial(_easing, asker, place, job, rule)
    for sort in reversed(OF_PARTS):
        singles = list(sort.singles(asker.jobs, asker.kind, place, together))
        if sort.most_singles is not None and len(singles) > sort.most_singles:
            yield _too_many
            continue
        for one in singles:
            yield partial(_one, asker, place, one.jobs, (one.change, one.key), Cure(one.change, name=one.name))
    if not is_movable(job, position.kind) and bore_refused(job, position):
        return
    if position.upper is not None and position.lower is not None:
        return  # no shell may take the place of a locked one
    for side in SIDES:
        yield partial(one_more, asker, place, side)


def _one(asker: Asker, place: Place, jobs: Jobs, key: object, cure: Cure) -> Cure | None:
    """The cure, if the position can be inside in these jobs."""
    return cure if asker.can(jobs, place, key) else None


def _limit(asker: Asker, place: Place, position: Position, limit: str) -> Cure | None:
    def misses(p: Pair) -> int:
        return (p.excess_nm if limit == "max" else p.shortfall_nm) if place_of(p.bore) == place else 0

    by = asker.least(place, limit, misses)
    if by is None:
        return None
    now: int = getattr(position, f"{limit}_nm")
    return Cure(limit, now + by if limit == "max" else now - by, by)


def _easing(asker: Asker, place: Place, job: Job, rule: Rule) -> Cure | None:
    """A rule of the position's own job, let out by the least amount that works, else let go."""
    name, kind = rule.name, asker.kind
    assert name is not None

    def can(changed: Job, *key: object) -> bool:
        """Whether the position can be inside with its own job changed like this."""
        jobs = tuple(changed if one is job else one for one in asker.jobs)
        return asker.can(jobs, place, (place[0], key))

    def does(amount: float) -> bool:
        rules = (one.eased(amount) if one == rule else one for one in job.rules)
        return amount != rule.amount and can(replace(job, rules=tuple(rules)), rule.change, amount)

    if not can(rule.without(name, job, kind), name):
        return None
    if rule.amount is None:
        return Cure(name)
    amounts = rule.amounts(job, kind)
    # The last does as much as none at all.
    found = amounts[bisect_left(amounts, True, hi=len(amounts) - 1, key=does)]
    if isinstance(found, int):
        return Cure(rule.change, found, abs(found - int(rule.amount)))
    return Cure(rule.change, factor=found)


def _too_many() -> Cure | None:
    raise TooMuch
