"""Form compared with the user's limits, and the one pairing of parts that the trade warns against."""

from collections.abc import Iterable, Iterator

from fitmatch.facts import Fact
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Flag
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.measuring import DIAMETERS, Form

_WHAT = ("taper", "barrel", "out_of_round")


def form_flags(job: Job, placements: Iterable[Placement]) -> Iterator[Flag]:
    """A flag for every form beyond its limit: for positions, filled or not, and for shells that were placed."""
    measuring = job.measuring
    if not measuring.form_limits:
        return
    placed = {p.position.name: p for p in placements}
    for position in job.positions:
        limits = measuring.form_limits.get(position.kind, {})
        forms: list[tuple[str, str | None, Form | None]] = [(f, None, position.form(f)) for f in DIAMETERS]
        placement = placed.get(position.name)
        for shell in (placement.upper, placement.lower) if placement else ():
            forms.append(("wall", full_name(shell.key), shell.measured.form if shell.measured else None))
        for feature, key, form in forms:
            for what in _WHAT:
                nm: int | None = getattr(form, f"{what}_nm", None)
                limit = limits.get(f"{feature}_{what}")
                if form is None or nm is None or limit is None or abs(nm) <= limit:
                    continue
                slots = {"feature": feature, "shell": key, "what": what, "form_nm": nm, "limit_nm": limit}
                larger = form.larger if what == "out_of_round" else None
                code = f"{feature}-{what}".replace("_", "-")
                yield Flag(position.name, code, Fact("off-form", {**slots, "larger": larger}))


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
