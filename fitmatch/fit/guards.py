"""How far a guard draws the limits of a very pair in: a multiple of its expanded uncertainty, rounded inward."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from fitmatch.parts import Job, Position, Shell
from fitmatch.problems import InputError, Problem

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty import ErrorModel
    from fitmatch.measuring import MeasuredAs


class Guards:
    """The margins of a job; 0 without a guard, and then nothing of uncertainty is loaded."""

    def __init__(self, job: Job) -> None:
        self._guard = job.rules.guard
        self.on = self._guard > 0
        self._model = _error_model(job) if self.on else None

    def margin(self, position: Position, upper: Shell, lower: Shell) -> int:
        """In whole nanometres, for both limits."""
        if self._model is None:
            return 0
        from fitmatch.gauging.judging import guard_band_nm

        uncertainty = self._model.combined(position, upper.measured_as, lower.measured_as)
        return 0 if uncertainty is None else guard_band_nm(self._guard, uncertainty)


def check_guard(jobs: Sequence[Job]) -> None:
    """Raise InputError where a guard cannot be judged, or leaves some position no clearance between its limits."""
    told: list[tuple[str, str]] = []
    for job in jobs:
        if job.rules.guard:
            model, ways = _error_model(job), _ways(job)
            file = f"{job.name}/job.toml" if job.name else "job.toml"
            for p in job.positions:
                if not p.missing:
                    told += [(file, text) for text in _objections(job, model, p, ways[p.kind])]
    if told:
        raise InputError(
            Problem("guard-too-wide", text, file, None, "rules.guard", (0, i))
            for i, (file, text) in enumerate(dict.fromkeys(told))
        )


def _ways(job: Job) -> "dict[str, list[list[MeasuredAs | None]]]":
    """For each kind, how the uppers and the lowers that may be used were measured, each way once."""
    found: dict[str, list[dict[MeasuredAs | None, None]]] = {kind: [{}, {}] for kind in job.kinds}
    for shell in job.shells:
        if shell.wall_nm is not None and shell.hold is None and shell.kind in found:
            for ways, other in zip(found[shell.kind], ("lower", "upper"), strict=True):
                if shell.half != other:
                    ways[shell.measured_as] = None
    return {kind: [list(ways) for ways in sides] for kind, sides in found.items()}


def _objections(
    job: Job, model: "ErrorModel", position: Position, ways: "list[list[MeasuredAs | None]]"
) -> Iterator[str]:
    from fitmatch.gauging.judging import guarded_limits, largest_guard

    assert position.journal is not None and position.housing_bore is not None
    stray = 0
    if job.rules.limits_at == "tightest":
        bore, journal = position.housing_bore, position.journal
        stray = bore.mean_nm - bore.smallest_nm + journal.largest_nm - journal.mean_nm
    closest = None
    for upper in ways[0]:
        for lower in ways[1]:
            uncertainty = model.combined(position, upper, lower)
            if uncertainty is None or uncertainty.lower_bound:  # not one pair may be judged by it
                unknown = ", ".join(uncertainty.unknown) if uncertainty is not None else "the gauges"
                yield f"a guard needs a known uncertainty, and nothing tells of {unknown}; tell it, or leave guard out"
                return
            if closest is None or uncertainty.expanded_nm < closest.expanded_nm:
                closest = uncertainty
    if closest is None or position.min_nm is None or position.max_nm is None:
        return
    low, high = guarded_limits(position, job.rules.guard, closest)
    assert low is not None and high is not None
    if high - low >= stray:
        return
    most = largest_guard(position, stray, closest)
    advice = f"the largest that leaves some is {most:g}" if most is not None and most >= 0 else "leave guard out"
    band = position.max_nm - position.min_nm
    yield (
        f"{job.rules.guard:g} leaves {position.name} no clearance: U is {closest.expanded_nm / 1000:.2f} um, from min "
        f"to max {band / 1000:.2f} um, its readings scatter over {stray / 1000:.2f} um; {advice}"
    )


def _error_model(job: Job) -> "ErrorModel":
    from fitmatch.gauging.uncertainty import ErrorModel

    return ErrorModel(job)
