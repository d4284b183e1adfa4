"""The beginning of the text report: a job in one sentence, or several jobs in short and the heading of each; and what
the answer rests on, the boxes that were read and the rules in force."""

from collections.abc import Iterator

from fitmatch.records.answers.plans import GroupAnswer, JobPlan, Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import HALVES
from fitmatch.records.pools import IN_ORDER
from fitmatch.report.screen.attention import summary
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.report.shared.states import DANGER
from fitmatch.report.words.phrases import phrase
from fitmatch.rules.registry import SETTINGS


def title(plan: JobPlan, certainty: Certainty) -> list[str]:
    """Of one job alone."""
    return [*paragraph(clean(plan.job.title or plan.job.folder.name)), *paragraph(summary(plan, certainty))]


def engines(pool: Plan) -> list[str]:
    """How many engines there are, and which of them are complete in every kind."""
    names = [whole(plan.job.name) for plan in pool.plans]
    order = ", each before the next," if pool.priority == IN_ORDER else ""
    complete = list(map(whole, pool.complete))
    told = f"Complete in every kind: {len(complete)} of {len(names)}: {', '.join(complete) or 'none'}."
    if pool.priority != IN_ORDER and len(complete) < min(group.complete for group in pool.groups):
        told += (
            " Each kind by itself could be had for more engines, but not for the same ones; --priority in-order serves "
            "one engine after the other in every kind."
        )
    return [*paragraph(f"{len(names)} engines{order} from one pool of shells: {', '.join(names)}."), *paragraph(told)]


def in_short(pool: Plan, scale: Scale) -> list[list[str]]:
    """A row for each engine, then one for each kind."""

    def worst(plan: JobPlan) -> str:
        found = [f.worst_deviation_nm for f in plan.figures.values() if f.worst_deviation_nm is not None]
        return scale.steps(max(found, default=None))

    def members(answer: GroupAnswer) -> str:
        return ", ".join(whole(one.job.name) for one in pool.members(answer.group))

    rows = table(
        pool.plans,
        Column("engine", lambda plan: whole(plan.job.name), "left", wraps=True),
        Column("positions", lambda plan: str(len(plan.job.positions))),
        Column("inside the\nlimits", lambda plan: str(sum(p.within_limits for p in plan.placements))),
        Column(DANGER.replace(" BE ", " BE\n"), lambda plan: str(sum(not p.within_limits for p in plan.placements))),
        Column("not\nfilled", lambda plan: str(len(plan.unfilled))),
        Column("not yet\nmeasured", lambda plan: str(len(plan.unmeasured_positions))),
        Column(f"worst off\n{scale.step}", worst),
        Column("complete", lambda plan: "yes" if plan.is_complete() else "no"),
    )
    kinds = table(
        pool.groups,
        Column("kind", lambda g: whole(g.group.label), "left", wraps=True),
        Column("engines", members, "left", wraps=True),
        Column("complete in it", lambda g: f"{g.complete} of {len(g.group.members)}"),
    )
    return [rows, kinds]


def heading(plan: JobPlan, certainty: Certainty) -> list[str]:
    """Of one of several jobs."""
    title = f": {clean(plan.job.title)}" if plan.job.title else ""
    return [*paragraph(f"ENGINE {whole(plan.job.name)}{title}"), *paragraph(summary(plan, certainty))]


def boxes_read(job: Job) -> list[str]:
    return paragraph("Boxes read: " + (", ".join(_boxes(job)) or "none") + ".", rest="  ")


def rules_in_force(job: Job, scale: Scale) -> list[str]:
    told = [clean(phrase(code, fact, scale.unit)) for sort in SETTINGS for code, fact in sort.told(job)]
    return paragraph(f"Rules in force: {'; '.join(told)}.", rest="  ")


def _boxes(job: Job) -> Iterator[str]:
    """Every box in file order with how many shells of each kind and half it was read with, held ones and all."""
    counts: dict[str, dict[str, dict[str, int]]] = {}
    for shell in job.shells:
        halves = counts.setdefault(shell.box, {}).setdefault(shell.kind, dict.fromkeys(HALVES, 0))
        halves[shell.half] += 1
    for box, kinds in counts.items():
        held = [
            f"{kind} " + ", ".join(f"{halves[half]} {half}" for half in HALVES if halves[half])
            for kind, halves in kinds.items()
        ]
        yield whole(f"{box} ({'; '.join(held)})")
