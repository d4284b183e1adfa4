"""How far a guard draws in the limits of each pair: a multiple of its expanded uncertainty, rounded inward."""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.problems import InputError, Problem
from fitmatch.records.answers.placements import NO_MARGIN, Margin
from fitmatch.records.job import Job
from fitmatch.records.parts import Position, Shell, room, tightest_room
from fitmatch.rules.positions.guard import guard_of, guard_row
from fitmatch.rules.positions.limits_at import limits_at
from fitmatch.wording import listed

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty.combining import Uncertainty
    from fitmatch.gauging.uncertainty.error_model import ErrorModel
    from fitmatch.records.measuring import MeasuredAs

_MOST_NAMED: Final = 6


class Guards:
    """The margins of a job; 0 without a guard, and then no code about uncertainty is loaded."""

    def __init__(self, job: Job) -> None:
        self._guard = guard_of(job)
        self.on = self._guard > 0
        self._model = _error_model(job) if self.on else None

    def margin(self, position: Position, upper: Shell, lower: Shell) -> Margin:
        """For the limits of this position with these shells."""
        if self._model is None:
            return NO_MARGIN
        from fitmatch.gauging.uncertainty.judging import margin_of

        how = position, upper.measured_as, lower.measured_as
        mean, tightest = self._model.combined(*how), self._model.tightest(*how)
        return NO_MARGIN if mean is None or tightest is None else margin_of(self._guard, mean, tightest)


class _TooTight(NamedTuple):
    """A position whose guarded limits leave no clearance, even for the shells with the smallest uncertainty."""

    position: Position
    expanded_nm: float  # the larger of the mean's and the tightest's
    stray_nm: int  # how far its tightest clearance is below the mean one
    largest: float  # the largest guard that leaves some; negative: none does


def check_guard(jobs: Sequence[Job]) -> None:
    """Raise InputError if a guard cannot be judged, or leaves some position no clearance between its limits; one line
    for each kind of a job."""
    told = [(job, text) for job in jobs if guard_of(job) for text in _objections(job)]
    if told:
        raise InputError(
            Problem(
                "guard-too-wide",
                text,
                f"{job.name}/job.toml" if job.name else "job.toml",
                guard_row(job),
                "rules.guard",
                (0, i),
            )
            for i, (job, text) in enumerate(told)
        )


def _objections(job: Job) -> list[str]:
    model, ways = _error_model(job), _ways(job)
    unknown: dict[str, None] = {}
    found: list[_TooTight] = []
    for position in (p for p in job.positions if not p.missing):
        lacking, closest = _closest(model, position, ways[position.kind])
        unknown |= dict.fromkeys(lacking)
        found += () if closest is None else _too_tight(job, position, closest)
    told = [_of_kind(job, kind, found) for kind in job.kinds if any(t.position.kind == kind for t in found)]
    if unknown:
        what = listed(list(unknown))
        told.append(
            f"a guard needs a known uncertainty, and some of it is missing: {what}; state that, or leave guard out"
        )
    return told


def _ways(job: Job) -> "dict[str, list[dict[MeasuredAs | None, None]]]":
    """For each kind, how the uppers and the lowers that may be used were measured, each way once."""
    found: dict[str, list[dict[MeasuredAs | None, None]]] = {kind: [{}, {}] for kind in job.kinds}
    for shell in job.shells:
        if shell.wall_nm is not None and shell.hold is None and shell.kind in found:
            for ways, other in zip(found[shell.kind], ("lower", "upper"), strict=True):
                if shell.half != other:
                    ways[shell.measured_as] = None
    return found


def _closest(
    model: "ErrorModel", position: Position, ways: "list[dict[MeasuredAs | None, None]]"
) -> "tuple[tuple[str, ...], tuple[Uncertainty, Uncertainty] | None]":
    """What is not known about some pair, so that nothing may be judged by it; of the pair that is known best, the
    uncertainty of the mean and of the tightest clearance."""
    found = []
    for upper, lower in product(*ways):
        uncertainty = model.combined(position, upper, lower)
        tightest = model.tightest(position, upper, lower)
        if uncertainty is None or tightest is None or uncertainty.lower_bound:
            return uncertainty.unknown if uncertainty is not None else ("the gauges",), None
        found.append((uncertainty, tightest))
    return (), min(found, key=lambda both: sum(u.expanded_nm for u in both), default=None)


def _too_tight(job: Job, position: Position, closest: "tuple[Uncertainty, Uncertainty]") -> Iterator[_TooTight]:
    from fitmatch.gauging.uncertainty.judging import largest_guard, margin_of

    if position.min_nm is None or position.max_nm is None:
        return
    stray = room(position) - tightest_room(position, limits_at(job))
    if position.max_nm - position.min_nm - sum(margin_of(guard_of(job), *closest)) < stray:
        largest = largest_guard(position, stray, *closest)
        expanded = max(u.expanded_nm for u in closest)
        yield _TooTight(position, expanded, stray, -1.0 if largest is None else largest)


def _of_kind(job: Job, kind: str, found: Sequence[_TooTight]) -> str:
    """What is wrong in one kind, shown at the position that allows the least, and the guard that would do
    everywhere."""
    mine = [t for t in found if t.position.kind == kind]
    names = [t.position.name for t in mine]
    shown = listed(names if len(names) <= _MOST_NAMED else [*names[: _MOST_NAMED - 1], "others"])
    least = min(mine, key=lambda t: t.largest)
    position = least.position
    assert position.min_nm is not None and position.max_nm is not None
    text = (
        f"{guard_of(job):g} leaves no clearance between the limits of {shown} ({kind}): at {position.name} the "
        f"uncertainty U is {least.expanded_nm / 1000:.2f} um, or more with other shells, and from min to max there "
        f"are {(position.max_nm - position.min_nm) / 1000:.2f} um"
    )
    if least.stray_nm:
        text += f", and its places differ by {least.stray_nm / 1000:.2f} um"
    everywhere = min(t.largest for t in found)
    todo = f"the largest guard that leaves every position a clearance is {everywhere:g}"
    return f"{text}; {todo if everywhere > 0 else 'no guard leaves every position a clearance, so leave it out'}"


def _error_model(job: Job) -> "ErrorModel":
    from fitmatch.gauging.uncertainty.error_model import ErrorModel

    return ErrorModel(job)
