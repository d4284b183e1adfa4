"""Form held against the user's limits, and the one pairing of parts that the trade warns of."""

from collections.abc import Iterable, Iterator, Mapping

from fitmatch.lengths import fixed
from fitmatch.measuring import DIAMETERS, Form
from fitmatch.parts import Job
from fitmatch.plans import Flag, Placement

_WHAT = ("taper", "barrel", "out_of_round")
_PLACES = {"in": 5, "mm": 4}


def form_flags(job: Job, placements: Iterable[Placement]) -> Iterator[Flag]:
    """A flag for every form beyond its limit: of positions, filled or not, and of shells that were placed."""
    measuring = job.measuring
    if not measuring.form_limits:
        return
    placed = {p.position.name: p for p in placements}
    for position in job.positions:
        limits = measuring.form_limits.get(position.kind, {})
        for feature in DIAMETERS:
            name = f"the {feature.replace('_', ' ')}"
            yield from _beyond(job, position.name, feature, name, position.form(feature), limits)
        placement = placed.get(position.name)
        for shell in (placement.upper, placement.lower) if placement else ():
            form = shell.measured.form if shell.measured else None
            yield from _beyond(job, position.name, "wall", f"the wall of {shell.box}/{shell.name}", form, limits)


def _beyond(
    job: Job, position: str, feature: str, name: str, form: Form | None, limits: Mapping[str, int]
) -> Iterator[Flag]:
    if form is None:
        return
    for what in _WHAT:
        limit, nm = limits.get(f"{feature}_{what}"), measured(form, what)
        if limit is None or nm is None or abs(nm) <= limit:
            continue
        places, unit = _PLACES[job.unit], job.unit
        found, given = (fixed(length, unit, places) for length in (abs(nm), limit))
        text = f"{name} has {in_words(what, nm)} {found} {unit}, more than the {given} given"
        if what == "out_of_round" and form.larger is not None:
            text += f"; its larger diameter lies {form.larger}"
        yield Flag(position, f"{feature}-{what}".replace("_", "-"), text)


def measured(form: Form, what: str) -> int | None:
    """One of the figures of a form by its name."""
    return {"taper": form.taper_nm, "barrel": form.barrel_nm, "out_of_round": form.out_of_round_nm}[what]


def in_words(what: str, nm: int) -> str:
    """A figure's name; a middle smaller than the ends is an hour-glass."""
    if what == "out_of_round":
        return "out-of-round"
    return "hour-glass" if what == "barrel" and nm < 0 else what


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
