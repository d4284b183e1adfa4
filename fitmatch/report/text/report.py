"""The text report: a plan in, one text out, made to be read standing at the bench.

Which shell goes where comes first, then what must not be done, then what it rests on, the sums, and how good it all is.
"""

from collections.abc import Iterator

from fitmatch.records.plans import JobPlan, Plan
from fitmatch.report.shared.axis import along_the_line
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.housings import moves_text
from fitmatch.report.shared.layout import paragraph
from fitmatch.report.shared.scale import Scale, scale_for
from fitmatch.report.text.attention import attention, next_steps
from fitmatch.report.text.heading import boxes_read, engines, heading, in_short, rules_in_force, title
from fitmatch.report.text.measuring import corrections, form
from fitmatch.report.text.positions import coated, how_sure, limits, sums, which_shell_goes_where
from fitmatch.report.text.quality import quality
from fitmatch.report.text.remaining import remaining

CLOSING = (
    "The calculated clearance selects the shells; the assembled bore, measured with the shells in and",
    "caps tightened, decides. The engine and bearing maker's limits come before any figure here.",
)

_MOST_SUMS = 1_000  # of more positions nobody checks every sum on paper

_UNITS = {
    "in": "Lengths in inches; deviations in tenths (0.0001 in): + is looser, - is tighter.",
    "mm": "Lengths in millimetres; deviations in um (0.001 mm): + is looser, - is tighter.",
}


def plan_text(plan: Plan, unit: str) -> str:
    """The whole report, lengths in `unit`, ending in a line break; no line is wider than a page. Of several jobs all of
    them in short, then each engine, then what concerns all."""
    scale = scale_for(unit, _lengths(plan))
    blocks = [[*(title(plan.plans[0]) if plan.alone else engines(plan)), _UNITS[unit]]]
    blocks += [] if plan.alone else in_short(plan, scale)
    boxes = boxes_read(plan.job)
    for one in plan.plans:
        blocks += [[] if plan.alone else heading(one), *_bench(plan, one, scale)]
        blocks += [[*(boxes if plan.alone else []), *rules_in_force(one.job, scale)], *_figures(one, scale)]
    blocks += [[] if plan.alone else ["ALL ENGINES", *boxes], quality(plan, scale), *_beside(plan, scale)]
    blocks += [remaining(plan, scale), list(CLOSING)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _beside(plan: Plan, scale: Scale) -> list[list[str]]:
    """Other plans beside the answer, where they were asked for."""
    if not plan.alternatives and plan.explanation is None and not plan.faults:
        return []
    from fitmatch.report.text.beside import alternatives, faults
    from fitmatch.report.text.explaining import explanation

    return [faults(plan), *alternatives(plan, scale), explanation(plan, scale)]


def _bench(plan: Plan, one: JobPlan, scale: Scale) -> list[list[str]]:
    """What is done at the bench, for one job."""
    certainty, proofs = Certainty(one), plan.proofs_of(one)
    blocks: list[list[str]] = []
    for kind in one.job.kinds:
        blocks += [which_shell_goes_where(one, kind, scale), how_sure(one, kind, scale, certainty)]
    boxes = plan.strategy == "keep-sets"
    blocks += _titled("HOUSINGS", [moves_text(one, kind, scale, boxes=boxes) for kind in one.job.kinds])
    return [*blocks, attention(one, proofs, scale.unit), next_steps(one, proofs)]


def _figures(plan: JobPlan, scale: Scale) -> list[list[str]]:
    """The sums behind it, and what the readings say besides."""
    kinds = plan.job.kinds
    if len(plan.placements) > _MOST_SUMS:
        which = "Of so many positions sums and limits are left to --csv and --json, corrections and form to --json."
        return [["THE SUMS", *paragraph(which)]]
    blocks: list[list[str]] = []
    blocks += _titled("THE SUMS (axis shift: + towards the upper half)", [sums(plan, kind, scale) for kind in kinds])
    blocks += _titled("ALONG THE LINE (+ towards the upper half)", [along_the_line(plan, k, scale) for k in kinds])
    blocks += _titled("BETWEEN THE LIMITS", [limits(plan, kind, scale) for kind in kinds])
    blocks += _titled("COATED SHELLS", [coated(plan, scale)])
    blocks += _titled("CORRECTIONS TO THE READINGS", [corrections(plan, scale)])
    blocks += _titled("FORM (- is not measured)", [form(plan, kind, scale) for kind in kinds])
    return blocks


def _titled(title: str, blocks: list[list[str]]) -> list[list[str]]:
    """The title over the first block that has anything to say."""
    full = [block for block in blocks if block]
    return [[title, *full[0]], *full[1:]] if full else []


def _lengths(plan: Plan) -> Iterator[int]:
    """Every length that the report writes out in full."""
    for p in plan.placements:
        position = p.position
        assert position.housing_bore is not None and position.journal is not None
        yield from (position.housing_bore.mean_nm, position.journal.mean_nm, position.seating_nm)
        yield from (p.clearance_nm, p.clearance_tightest_nm)
        for shell in (p.upper, p.lower):
            yield from (shell.wall_nm or 0, shell.coating_nm)
    for position in (position for one in plan.plans for position in one.job.positions):
        yield from (position.target_nm or 0, position.min_nm or 0, position.max_nm or 0)
        yield from (position.want_min_nm or 0, position.want_max_nm or 0)
    yield from (shell.wall_nm or 0 for shell in plan.leftover)
