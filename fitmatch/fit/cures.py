"""Cures: every single change after which a failing position is inside its limits and no other is worse off.

Each is verified by solving. A limit or a rule that is a length is let out by the least amount that works. Of several
jobs, rules and limits are let out in the position's own; a hold or a lock may be any.

The bonds of its reason keep the position out whatever else is let go: what none of them stands for is not tried.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from fitmatch.fit.asking import Asker, TooMuch, place_of
from fitmatch.fit.bores import Pair
from fitmatch.fit.candidates import bore_refused
from fitmatch.fit.deciding import Place
from fitmatch.fit.letgo import Jobs, bonds, held_shells, released, with_position, with_rule
from fitmatch.fit.newshell import one_more
from fitmatch.fit.stopping import Stopped
from fitmatch.parts import SIDES, Job, Position, Shell
from fitmatch.plans import Cure, Reason

_MOST_HELD = 40  # more that differ are not tried one by one
_GUARD_STEPS = 100  # a guard is looked for in hundredths
_LET_GO_WHOLLY = ("same_in_bore", "match ", "family", "movable_within")  # bonds that are no length
_IN_ROWS = ("neighbour_step", "line")


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
    yield from _Rules(asker, place, job).questions(together)
    if "holds" in together:
        yield from _held(asker, place)
    yield from _locked(asker, place)
    movable = position.kind in job.rules.movable
    rows = job.positions if movable else (position,)
    for row in rows if "drawing" in together else ():
        if row.kind == position.kind and not row.missing and bore_refused(job, row):
            jobs = with_position(asker.jobs, (job.name, row.name), accept="let go")
            cure = Cure("accept", name=None if row.key == position.key else row.name)
            yield partial(_one, asker, place, jobs, ("accept", row.name), cure)
    if bore_refused(job, position) and not movable:
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


class _Rules:
    """The rules of the position's own job, one at a time."""

    def __init__(self, asker: Asker, place: Place, job: Job) -> None:
        self._asker = asker
        self._place = place
        self._job = job
        self._off = {bond.name: bond.off for bond in bonds((job,), asker.kind)}

    def questions(self, together: Sequence[str]) -> Iterator[_Question]:
        known = ("wall_difference", "thick_half", *_IN_ROWS)
        for name in (*known, *(n for n in self._off if n.startswith(_LET_GO_WHOLLY)), "guard"):
            if name in together and name in self._off:
                yield partial(self._cure, name)

    def _cure(self, name: str) -> Cure | None:
        if not self._can((name,), lambda j: self._off[name]((j,))[0]):
            return None
        rules, kind = self._job.rules, self._asker.kind
        match name:
            case "wall_difference":
                assert rules.wall_difference_nm is not None
                return self._least_difference(name, rules.wall_difference_nm)
            case "thick_half":
                return self._least_difference("thick_half_from", rules.thick_half_from_nm)
            case "neighbour_step" | "line":
                return self._least_in_rows(name, getattr(rules, f"{name}_nm"), kind)
            case "guard":
                return self._largest_guard()
        return Cure(name)

    def _can(self, key: tuple[object, ...], change: Callable[[Job], Job]) -> bool:
        """Whether the position can be inside with its own job changed like this."""
        jobs: Jobs = tuple(change(job) if job is self._job else job for job in self._asker.jobs)
        return self._asker.can(jobs, self._place, (self._place[0], key))

    def _least_difference(self, rule: str, now_nm: int) -> Cure:
        """The least value of a rule about the difference of two walls that works, given that it works without it."""
        job = self._job
        walls = {
            s.wall_nm for s in job.shells if s.kind == self._asker.kind and s.wall_nm is not None and s.hold is None
        }
        values = sorted({abs(u - v) for u in walls for v in walls if abs(u - v) > now_nm})
        low, high = 0, len(values) - 1
        while low < high:
            middle = (low + high) // 2
            if self._can((rule, values[middle]), partial(with_rule, f"{rule}_nm", values[middle])):
                high = middle
            else:
                low = middle + 1
        return Cure(rule, values[low], values[low] - now_nm)

    def _largest_guard(self) -> Cure:
        """In hundredths, given that none at all works."""
        now = self._job.rules.guard
        low, high = 0, int(now * _GUARD_STEPS)  # works, and from here on may not
        while low < high:
            middle = (low + high + 1) // 2
            guard = middle / _GUARD_STEPS
            if guard < now and self._can(("guard", middle), partial(with_rule, "guard", guard)):
                low = middle
            else:
                high = middle - 1
        return Cure("guard", factor=low / _GUARD_STEPS)

    def _least_in_rows(self, rule: str, limits: dict[str, int], kind: str) -> Cure:
        """The same for a rule about how bores lie to one another."""
        job, now = self._job, limits[kind]
        walls = [s.wall_nm for s in job.shells if s.kind == kind and s.wall_nm is not None]
        offsets = [p.offset_nm or 0 for p in job.positions if p.kind == kind]
        low, high = now + 1, max(walls) - min(walls) + max(offsets) - min(offsets)  # which no two bores exceed
        while low < high:
            middle = (low + high) // 2
            if self._can((rule, middle), partial(with_rule, f"{rule}_nm", {**limits, kind: middle})):
                high = middle
            else:
                low = middle + 1
        return Cure(rule, low, low - now)


def _held(asker: Asker, place: Place) -> Iterator[_Question]:
    """One hold taken off; of held shells that are alike the first is named."""
    alike: dict[object, Shell] = {}
    for shell in held_shells(asker.jobs[0], asker.kind):
        alike.setdefault((shell.half, shell.wall_nm, shell.marks, shell.family, shell.measured_as), shell)
    if len(alike) > _MOST_HELD:
        yield _too_many
        alike = {}
    for shell in alike.values():
        cure = Cure("hold", name=f"{shell.box}/{shell.name}")
        yield partial(_one, asker, place, released([shell], asker.jobs), ("hold", shell.key), cure)


def _locked(asker: Asker, place: Place) -> Iterator[_Question]:
    """One lock taken off, one that excuses its shells from a rule too, which no bond stands for."""
    for job in asker.jobs:
        for other in job.positions:
            for side in SIDES:
                lock: tuple[str, str] | None = getattr(other, side)
                if other.kind != asker.kind or lock is None:
                    continue
                jobs = with_position(asker.jobs, (job.name, other.name), **{side: None})
                yield partial(_one, asker, place, jobs, ("lock", lock), Cure("lock", name=f"{lock[0]}/{lock[1]}"))


def _too_many() -> Cure | None:
    raise TooMuch
