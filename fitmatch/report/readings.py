"""What readings were before they became sizes, and what they say about form: the same for every form of the answer."""

from collections.abc import Iterator
from typing import NamedTuple

from fitmatch.gauging.places import at_crown
from fitmatch.measuring import DIAMETERS, Form, MeasuredAs
from fitmatch.parts import Job, Position, Shell, Size
from fitmatch.placements import Placement
from fitmatch.plans import JobPlan

_NOT_MEASURED = Form()


class Corrected(NamedTuple):
    """One size: mean - zero error - ball + temperature = size, to the nanometre.

    `readings_nm` are those that make the size, as the gauge gave them. Of a coated shell the size is its wall as it was
    measured, coated or bare.
    """

    readings_nm: tuple[int, ...]
    mean_nm: int
    zero_nm: int
    ball_nm: int
    temperature_nm: int
    size_nm: int
    gauges: tuple[str, ...]


def corrected_sizes(job: Job, position: Position) -> Iterator[tuple[str, Corrected]]:
    """Journal and housing bore; nothing where the job tells nothing of gauges or temperature."""
    for feature in DIAMETERS:
        size: Size | None = getattr(position, feature)
        if size is not None and size.raw_mean_nm is not None:
            readings = job.measuring.position_readings.get(position.name, {}).get(feature, ())
            raw = tuple(r.nm for r in readings if at_crown(feature, r))
            zero, ball, gauges = _taken_off(size.measured_as)
            yield feature, Corrected(raw, size.raw_mean_nm, zero, ball, size.temperature_nm, size.mean_nm, gauges)


def corrected_wall(job: Job, shell: Shell) -> Corrected | None:
    """The wall of a shell; None as above, and where it has none yet."""
    if shell.measured_nm is None or not (job.measuring.gauges or job.measuring.temperature):
        return None
    raw = tuple(r.nm for r in shell.readings if at_crown("wall", r))
    zero, ball, gauges = _taken_off(shell.measured_as)
    return Corrected(raw, shell.measured_nm + zero + ball, zero, ball, 0, shell.measured_nm, gauges)


def forms(plan: JobPlan, position: Position, placement: Placement | None) -> list[tuple[str, Form]]:
    """The form of journal, housing bore and, if they are placed, of the upper and the lower wall. What was not measured
    is there as well and says so; nothing where no reading of the job tells its place and no limit of form is given."""
    measuring = plan.job.measuring
    if not (measuring.position_forms or measuring.wall_forms or measuring.form_limits.get(position.kind)):
        return []
    found = measuring.position_forms.get(position.name, {})
    some = [(feature, found.get(feature, _NOT_MEASURED)) for feature in DIAMETERS]
    if placement is not None:
        for side, shell in (("upper", placement.upper), ("lower", placement.lower)):
            some.append((side, measuring.wall_forms.get(shell.key, _NOT_MEASURED)))
    return some


def _taken_off(how: MeasuredAs | None) -> tuple[int, int, tuple[str, ...]]:
    """Zero error and ball, in nm, and the gauges they belong to."""
    return (how.zero_nm, how.ball_nm, how.gauges) if how is not None else (0, 0, ())
