"""What the report on one screen is based on: boxes and rules, sums and limits, corrections and form, how good it is,
and every shell left over."""

from fitmatch.records.answers.plans import JobPlan, Plan
from fitmatch.report.further.measuring import corrections, form
from fitmatch.report.further.positions import coated, from_shelf, limits, sums
from fitmatch.report.further.quality import quality
from fitmatch.report.further.remaining import remaining
from fitmatch.report.screen.heading import boxes_read, rules_in_force
from fitmatch.report.shared.axis import along_the_line
from fitmatch.report.shared.housings import moves, moves_text
from fitmatch.report.shared.layout import clean, items, paragraph, titled, whole
from fitmatch.report.shared.scale import Scale

_MOST_SUMS = 1_000  # of more positions nobody checks every sum on paper


def in_full(plan: Plan, scale: Scale) -> list[list[str]]:
    """What the answer rests on."""
    blocks: list[list[str]] = [boxes_read(plan.job)]
    for one in plan.plans:
        blocks += [
            [] if plan.alone else paragraph(f"ENGINE {whole(one.job.name)}"),
            _notes(one),
            rules_in_force(one.job, scale),
            *_figures(one, scale),
        ]
    return [*blocks, quality(plan, scale), remaining(plan, scale)]


def _notes(plan: JobPlan) -> list[str]:
    """The user's words about positions, which one screen may have no room for."""
    return items("NOTES", [f"{whole(p.name)}: {clean(p.note)}" for p in plan.job.positions if p.note])


def _figures(plan: JobPlan, scale: Scale) -> list[list[str]]:
    """The sums behind it, and what the readings say besides."""
    kinds = plan.job.kinds
    if len(plan.placements) > _MOST_SUMS:
        which = "Of so many positions sums and limits are left to --csv and --json, corrections and form to --json."
        return [["THE SUMS", *paragraph(which)]]
    blocks = [moves_text(plan, k, scale, boxes=False) for k in kinds if not moves(plan, k)]
    blocks += titled("THE SUMS (axis shift: + towards the upper half)", [sums(plan, kind, scale) for kind in kinds])
    blocks += titled("ALONG THE LINE (+ towards the upper half)", [along_the_line(plan, k, scale) for k in kinds])
    blocks += titled("BETWEEN THE LIMITS", [limits(plan, kind, scale) for kind in kinds])
    blocks += titled("COATED SHELLS", [coated(plan, scale)])
    blocks += titled("CORRECTIONS TO THE READINGS", [corrections(plan, scale)])
    blocks += titled("FROM THE SHELF", [from_shelf(plan)])
    blocks += titled("FORM (- is not measured)", [form(plan, kind, scale) for kind in kinds])
    return blocks
