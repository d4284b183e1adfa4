"""The picture of `fitmatch advise`: the clearance of every position now, and after the cheapest change that would put
it inside its limits."""

from typing import TYPE_CHECKING

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.report.plots.clearances import MOST_NAMES, between_limits
from fitmatch.report.plots.paper import INK, Panel, plain, sheet
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.layout import clean
from fitmatch.report.shared.scale import scale_for
from fitmatch.report.shared.states import DANGER
from fitmatch.report.words.advice import AFTER_METAL, METAL
from fitmatch.study.advice.advised import Advised, AdvisedJobs

if TYPE_CHECKING:
    from fitmatch.report.plots.paper import Axes


def advised_picture(found: AdvisedJobs, unit: str, ending: str) -> bytes:
    """The file of the picture, always the same for the same answer, which there must be; its numbers are those of
    `advised_rows`."""
    assert found.answer is not None
    panels = [_panel(found, job.name, kind, unit) for job in found.jobs for kind in job.kinds]
    title = "; ".join(clean(job.title or job.folder.name) for job in found.jobs)
    changes = {one.cheapest.action for one in found.positions if one.cheapest is not None}
    notes = [
        f"Now: by strategy {found.answer.strategy}. After: with the cheapest change that was solved and puts the "
        "position inside, made for it alone; the text of `fitmatch advise` says by how much, and at what risk.",
        *([AFTER_METAL] if changes.intersection(METAL) else []),
        "The engine and bearing maker's limits come before any figure here.",
        *grounds(found.answer.plans, scale_for(unit, ())),
    ]
    return sheet(title, notes, panels, ending)


def _panel(found: AdvisedJobs, job: str, kind: str, unit: str) -> Panel:
    rows = [one for one in found.positions if (one.position.job, one.position.kind) == (job, kind)]
    assert found.answer is not None
    certainty = next(Certainty(one) for one in found.answer.plans if one.job.name == job)

    def draw(axes: "Axes") -> None:
        per_unit = NM_PER_UNIT[unit]
        for at, one in enumerate(rows):
            known = None if one.placed is None else certainty.of(one.placed)
            between_limits(axes, at, one.position, one.placed, known, unit)
            if one.cheapest is not None and one.cheapest.reached is not None:
                then = one.cheapest.reached.placement.clearance_nm / per_unit
                axes.plot([then], [at], marker="D", markersize=5, color=INK, markerfacecolor="white", linestyle="none")
                if one.clearance_nm is not None:
                    axes.annotate(
                        "", (then, at), (one.clearance_nm / per_unit, at), arrowprops={"arrowstyle": "->", "shrinkB": 4}
                    )
        if len(rows) <= MOST_NAMES:
            axes.set_yticks(range(len(rows)), [_named(one) for one in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.locator_params(axis="x", nbins=6)
        axes.set_xlabel(
            f"clearance, {unit} (bar: limits, dotted: target, whiskers: U where known)\n"
            f"dot: now; x: now outside, {DANGER}\ndiamond: after the change named"
        )

    return Panel(f"{f'{job}, ' if job else ''}{kind}: now, and after the cheapest change", draw)


def _named(one: Advised) -> str:
    """The position, and the change after which its diamond is."""
    if one.in_doubt:
        told = "IN DOUBT"
    elif one.position.missing:
        told = "not measured"
    elif one.unjudged:
        told = "no limits"
    elif one.is_inside:
        told = ""
    else:
        told = "no change found" if one.cheapest is None else one.cheapest.action
        told = told if one.placed is not None else f"not filled; {told}"
    return plain(clean(f"{one.position.name}: {told}" if told else one.position.name))
