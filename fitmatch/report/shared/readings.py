"""The readings behind the sizes, and what they say about form: the same for every form of output."""

from collections.abc import Iterator

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, Form
from fitmatch.records.parts import SIDES, Position, Shell, Size


def corrected_sizes(job: Job, position: Position) -> Iterator[tuple[str, Size]]:
    """Journal and housing bore; nothing if the job says nothing about gauges or temperature."""
    for feature in DIAMETERS:
        size: Size | None = getattr(position, feature)
        if size is not None and (size.measured_as or job.measuring.temperature):
            yield feature, size


def corrected_wall(job: Job, shell: Shell) -> Size | None:
    """The wall of a shell, as measured; None in that case, and if it has no wall yet."""
    return shell.measured if job.measuring.gauges or job.measuring.temperature else None


def forms(plan: JobPlan, position: Position, placement: Placement | None) -> list[tuple[str, Form]]:
    """The form of journal, housing bore and, if they are placed, of the upper and the lower wall. What was not measured
    is included and says so; nothing if no reading of the job says where it was taken and no limit of form is given."""
    measuring = plan.job.measuring
    if not (measuring.form_told or measuring.form_limits.get(position.kind)):
        return []
    some = [(feature, position.form(feature)) for feature in DIAMETERS]
    if placement is not None:
        for side, shell in zip(SIDES, (placement.upper, placement.lower), strict=True):
            some.append((side, shell.measured.form if shell.measured else None))
    return [(what, form or Form()) for what, form in some]
