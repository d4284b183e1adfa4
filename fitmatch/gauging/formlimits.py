"""Form held against the user's limits, and the one pairing of parts that the trade warns of."""

from collections.abc import Iterable, Iterator, Mapping

from fitmatch.facts import Fact
from fitmatch.measuring import DIAMETERS, Form
from fitmatch.parts import Job
from fitmatch.placements import Placement
from fitmatch.plans import Flag

_WHAT = ("taper", "barrel", "out_of_round")


def form_flags(job: Job, placements: Iterable[Placement]) -> Iterator[Flag]:
    """A flag for every form beyond its limit: of positions, filled or not, and of shells that were placed."""
    measuring = job.measuring
    if not measuring.form_limits:
        return
    placed = {p.position.name: p for p in placements}
    for position in job.positions:
        limits = measuring.form_limits.get(position.kind, {})
        for feature in DIAMETERS:
            yield from _beyond(position.name, feature, None, position.form(feature), limits)
        placement = placed.get(position.name)
        for shell in (placement.upper, placement.lower) if placement else ():
            form = shell.measured.form if shell.measured else None
            yield from _beyond(position.name, "wall", "/".join(shell.key), form, limits)


def _beyond(
    position: str, feature: str, shell: str | None, form: Form | None, limits: Mapping[str, int]
) -> Iterator[Flag]:
    if form is None:
        return
    for what in _WHAT:
        nm: int | None = getattr(form, f"{what}_nm")
        limit = limits.get(f"{feature}_{what}")
        if limit is None or nm is None or abs(nm) <= limit:
            continue
        larger = form.larger if what == "out_of_round" else None
        slots = {"feature": feature, "shell": shell, "what": what, "form_nm": nm, "limit_nm": limit, "larger": larger}
        yield Flag(position, f"{feature}-{what}".replace("_", "-"), Fact("off-form", slots))


def worst_meet(job: Job, kind: str) -> Iterator[str]:
    """Positions where the most out-of-round journal of the kind runs in the most out-of-round housing bore."""
    positions = [p for p in job.positions if p.kind == kind]
    worst: list[set[str]] = []
    for feature in DIAMETERS:
        forms = [(p.name, form.out_of_round_nm) for p in positions if (form := p.form(feature)) is not None]
        values = {name: nm for name, nm in forms if nm is not None}
        largest = max(values.values(), default=0)
        if len(values) < 2 or not largest:
            return
        worst.append({name for name, nm in values.items() if nm == largest})
    yield from (p.name for p in positions if all(p.name in some for some in worst))
