"""Cures: every single change after which a failing position is inside its limits and no other is worse off.

Each is verified by solving. A limit or a rule that has an amount is let out by the least that works. Of several jobs,
rules and limits are let out in the position's own; a hold or a lock may be any.

The bonds of its reason keep the position out whatever else is let go: what none of them stands for is not tried.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from fitmatch.fit.asking import Asker, TooMuch, place_of
from fitmatch.fit.bores import Pair
from fitmatch.fit.deciding import Place
from fitmatch.fit.newshell import one_more
from fitmatch.fit.stopping import Stopped
from fitmatch.parts import SIDES, Job, Jobs, Position, Rule
from fitmatch.plans import Cure, Reason
from fitmatch.rules import OF_PARTS, SETTINGS
from fitmatch.rules.drawing import bore_refused
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
                yield _Easing(asker, place, job, rule).cure
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


class _Easing:
    """A rule of the position's own job, let out by the least amount that works, else let go."""

    def __init__(self, asker: Asker, place: Place, job: Job, rule: Rule) -> None:
        self._asker = asker
        self._place = place
        self._job = job
        self._rule = rule

    def cure(self) -> Cure | None:
        rule, kind = self._rule, self._asker.kind
        assert rule.name is not None
        if not self._can((rule.name,), rule.without(rule.name, self._job, kind)):
            return None
        now = rule.amount
        if now is None:
            return Cure(rule.name)
        amounts = rule.amounts(self._job, kind)
        low, high = 0, len(amounts) - 1  # the last does as much as none at all
        while low < high:
            middle = (low + high) // 2
            if amounts[middle] != now and self._can((rule.change, amounts[middle]), self._eased(amounts[middle])):
                high = middle
            else:
                low = middle + 1
        found = amounts[low]
        if isinstance(found, int):
            return Cure(rule.change, found, abs(found - int(now)))
        return Cure(rule.change, factor=found)

    def _eased(self, amount: float) -> Job:
        rules = (rule.eased(amount) if rule == self._rule else rule for rule in self._job.rules)
        return replace(self._job, rules=tuple(rules))

    def _can(self, key: tuple[object, ...], changed: Job) -> bool:
        """Whether the position can be inside with its own job changed like this."""
        jobs = tuple(changed if job is self._job else job for job in self._asker.jobs)
        return self._asker.can(jobs, self._place, (self._place[0], key))


def _too_many() -> Cure | None:
    raise TooMuch
