"""What the figures of a table or a picture rest on, fit for a design note: where limits come from, the temperature, how
certain clearances are, and how it is decided that one is inside."""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.measuring import Temperature
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.rules.positions.guard import guard_of
from fitmatch.rules.positions.limits_at import TIGHTEST, limits_at


class Sure(NamedTuple):
    """The largest expanded uncertainty of the clearances of a kind, 95 %, with its degrees of freedom (None: infinite),
    and whether it is only a lower bound."""

    expanded_nm: float
    degrees_of_freedom: int | None
    lower_bound: bool


def how_sure(one: JobPlan) -> Mapping[str, Sure]:
    """By kind; without those of which nothing is known."""
    certainty, found = Certainty(one), dict[str, Sure]()
    for p in one.placements:
        u = certainty.of(p)
        kind = p.position.kind
        if u is not None and (kind not in found or u.expanded_nm > found[kind].expanded_nm):
            found[kind] = Sure(u.expanded_nm, u.degrees_of_freedom, u.lower_bound)
    return found


def decision_rule(job: Job) -> str:
    """How it is decided that a clearance is inside its limits."""
    at = "at the tightest" if limits_at(job) == TIGHTEST else "by the means"
    guard = guard_of(job)
    how = f"both limits drawn in by {guard:g} U" if guard else "simple acceptance, U is not taken off"
    return f"inside is at least min {at} and at most max by the means; {how}"


def limits_from(job: Job) -> Mapping[str, str | None]:
    """By kind, where its limits come from."""
    return {kind: job.fits[kind].limits_from for kind in job.kinds}


def grounds(ones: Sequence[JobPlan], scale: Scale) -> list[str]:
    """In sentences. What all jobs have in common is said once, otherwise by job."""
    return _told([one.read for one in ones], [_uncertainty(one, scale) for one in ones])


def grounds_without_answer(jobs: Sequence[Job]) -> list[str]:
    """The same of jobs in which nothing has been chosen yet."""
    return _told(jobs, ["not known before there are shells"] * len(jobs))


def _told(jobs: Sequence[Job], uncertainties: Iterable[str]) -> list[str]:
    return [
        _each(jobs, "Limits from ", (sources(limits_from(job)) for job in jobs)),
        _each(jobs, "Temperature: ", (_temperature(job.measuring.temperature) for job in jobs)),
        _each(jobs, "U of a clearance, expanded, 95 %: ", uncertainties),
        _each(jobs, "Decision rule: ", (decision_rule(job) for job in jobs)),
        _each(jobs, "Inputs' digest: ", (job.digest for job in jobs), last=""),
    ]


def _each(jobs: Sequence[Job], head: str, texts: Iterable[str], last: str = ".") -> str:
    found = list(texts)
    if len(set(found)) == 1:
        return f"{head}{found[0]}{last}"
    names = (job.name or job.folder.name for job in jobs)
    return head + "; ".join(f"{whole(name)}: {text}" for name, text in zip(names, found, strict=True)) + last


def sources(by_kind: Mapping[str, str | None]) -> str:
    """Where limits come from, each source with its kinds."""
    by_source: dict[str, list[str]] = {}
    for kind, source in by_kind.items():
        by_source.setdefault(source or "", []).append(clean(kind))
    if set(by_source) == {""}:
        return "a source not written (limits_from in [fit.KIND])"
    told = [f"{clean(source)} ({', '.join(kinds)})" for source, kinds in by_source.items() if source]
    silent = by_source.get("", [])
    return "; ".join([*told, *([f"not written for {', '.join(silent)}"] if silent else [])])


def _temperature(heat: Temperature | None) -> str:
    if heat is None:
        return "no reading is corrected"
    limit = None if heat.limit is None else float(heat.limit)
    return corrected_from(float(heat.gauges), None if heat.one_room else float(heat.parts), limit)


def corrected_from(gauges_c: float, parts_c: float | None, limit_k: float | None) -> str:
    """The temperatures that sizes were corrected from; without one of the parts the room had one for all."""
    at = f"{gauges_c:g} C" if parts_c is None else f"gauges {gauges_c:g} C, parts {parts_c:g} C"
    limit = "" if limit_k is None else f", +/- {limit_k:g} K"
    return f"sizes corrected to 20 C from {at}{limit}"


def _uncertainty(one: JobPlan, scale: Scale) -> str:
    found = how_sure(one)
    if not found:
        return "not known, as job.toml names no gauge"
    return "; ".join(_sure(found, kind, scale) for kind in one.job.kinds)


def _sure(found: Mapping[str, Sure], kind: str, scale: Scale) -> str:
    if kind not in found:
        return f"{clean(kind)} not known"
    sure = found[kind]
    freedom = "infinite" if sure.degrees_of_freedom is None else str(sure.degrees_of_freedom)
    least = "at least " if sure.lower_bound else "up to "
    amount = f"{least}{scale.two_digits(sure.expanded_nm)} {scale.step}"
    return whole(f"{clean(kind)} {amount} ({freedom} degrees of freedom)")
