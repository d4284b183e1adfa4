"""How sure the clearances of one job are: what `+/-` is, and how far it may be relied on."""

from collections.abc import Sequence

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.report.shared.certainty import Certainty, gauges_of
from fitmatch.report.shared.layout import clean, paragraph, whole
from fitmatch.rules.positions.guard import guard_of

INSIDE = "inside"


def how_sure(plan: JobPlan, certainty: Certainty, *, full: bool) -> list[str]:
    """One line where all is as it should be, or where nothing is known; in full what a verdict is in any case."""
    if not plan.placements:
        return []
    found = [u for p in plan.placements if (u := certainty.of(p)) is not None]
    if not certainty.known or not found:
        return paragraph("How sure the clearances are is not known: job.toml tells nothing of the gauges.")
    unknown = dict.fromkeys(what for u in found for what in u.unknown)
    if unknown:
        named = ", ".join(clean(what) for what in unknown)
        return paragraph(f"+/- is only a lower bound, and nothing is judged by it. Not known: {named}.")
    told = [f"+/- is the expanded uncertainty ({whole('95 %')}) of a clearance; {_judged(plan.placements, certainty)}."]
    if full or any(certainty.verdict(p) != INSIDE for p in plan.placements if p.within_limits):
        told.append(_verdicts(plan, full=full))
    return [*paragraph(" ".join(told)), *_one_pair(plan.placements, certainty), *_no_limit(plan)]


def _verdicts(plan: JobPlan, *, full: bool) -> str:
    """What the words of a verdict mean."""
    if not full:
        ends = f"inside from {whole('95 %')}, outside up to {whole('5 %')}, doubtful between"
        return f"A verdict goes by the chance of it: {ends}."
    guarded = ", both as written, without the guard" if guard_of(plan.job) else ""
    return (
        "The verdict goes by the chance that the clearance at the tightest is at least min and the mean one at most "
        f"max{guarded}: inside from {whole('95 %')}, outside up to {whole('5 %')}, doubtful between."
    )


def _judged(placements: Sequence[Placement], certainty: Certainty) -> str:
    """Which of the clearances inside their limits are not surely so."""
    others: dict[str, list[str]] = {}
    inside = [p for p in placements if p.within_limits]
    for p in inside:
        verdict = certainty.verdict(p)
        if verdict is not None and verdict != INSIDE:
            others.setdefault(verdict, []).append(whole(p.position.name))
    told = [
        f"{verdict}: {'all of them' if len(names) == len(placements) > 1 else ', '.join(names)}"
        for verdict, names in others.items()
    ]
    return "; ".join(told) or f"by it all{'' if inside == list(placements) else ' others'} are inside"


def _one_pair(placements: Sequence[Placement], certainty: Certainty) -> list[str]:
    """Which gauges scatter by no more than two readings tell, of which nobody knows how typical they are."""
    gauges = sorted({name for p in placements for name in certainty.from_one_pair(p)})
    if not gauges:
        return []
    return paragraph(
        f"How far {', '.join(map(clean, gauges))} scatters is known from one pair of readings alone: if the two "
        "happened to agree, +/- covers less than 95 %; read more places twice, or write its repeatability."
    )


def _no_limit(plan: JobPlan) -> list[str]:
    """Which gauges have no stated error limit: what they read wrong throughout is then counted nowhere."""
    silent = set()
    for p in plan.placements:
        if plan.job.fits[p.position.kind].seating_u_nm is not None:
            continue  # a seating learned from assembled checks stands for the errors that gauges share
        silent |= {name for name in gauges_of(p) if not plan.job.measuring.gauges[name].limit_nm}
    if not silent:
        return []
    return paragraph(
        f"No error limit is stated for {', '.join(map(clean, sorted(silent)))}: what such a gauge reads wrong "
        "throughout is not in +/-; write its limit."
    )
