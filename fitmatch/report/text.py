"""The text report: a plan in, one text out, made to be read standing at the bench.

Which shell goes where comes first, then what must not be done, then what it rests on, the sums, and how good it all is.
"""

from collections.abc import Iterator

from fitmatch.parts import Plan
from fitmatch.report.alternatives import alternatives
from fitmatch.report.attention import attention, next_steps, summary
from fitmatch.report.basis import basis
from fitmatch.report.certainty import Certainty
from fitmatch.report.explaining import explanation
from fitmatch.report.layout import clean, paragraph
from fitmatch.report.measured import corrections, form
from fitmatch.report.placing import coated, how_sure, limits, sums, which_shell_goes_where
from fitmatch.report.quality import quality
from fitmatch.report.remaining import remaining
from fitmatch.report.scale import scale_for

CLOSING = (
    "The calculated clearance selects the shells; the assembled bore, measured with the shells in and",
    "caps tightened, decides. The engine and bearing maker's limits come before any figure here.",
)

_UNITS = {
    "in": "Lengths in inches; deviations in tenths (0.0001 in): + is looser, - is tighter.",
    "mm": "Lengths in millimetres; deviations in um (0.001 mm): + is looser, - is tighter.",
}


def plan_text(plan: Plan, unit: str) -> str:
    """The whole report, lengths in `unit`, ending in a line break; no line is wider than a page."""
    scale = scale_for(unit, _lengths(plan))
    blocks = [[*paragraph(clean(plan.job.title or plan.job.folder.name)), *paragraph(summary(plan)), _UNITS[unit]]]
    certainty = Certainty(plan)
    for kind in plan.job.kinds:
        blocks += [which_shell_goes_where(plan, kind, scale), how_sure(plan, kind, scale, certainty)]
    blocks += [attention(plan), next_steps(plan), basis(plan.job, scale)]
    kinds = plan.job.kinds
    blocks += _titled("THE SUMS (axis shift: + towards the upper half)", [sums(plan, kind, scale) for kind in kinds])
    blocks += _titled("BETWEEN THE LIMITS", [limits(plan, kind, scale) for kind in kinds])
    blocks += _titled("COATED SHELLS", [coated(plan, scale)])
    blocks += _titled("CORRECTIONS TO THE READINGS", [corrections(plan, scale)])
    blocks += _titled("FORM (- is not measured)", [form(plan, kind, scale) for kind in kinds])
    blocks += [
        quality(plan, scale),
        *alternatives(plan, scale),
        explanation(plan, scale),
        remaining(plan, scale),
        list(CLOSING),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


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
    for position in plan.job.positions:
        yield from (position.target_nm or 0, position.min_nm or 0, position.max_nm or 0)
    yield from (shell.wall_nm or 0 for shell in plan.leftover)
    yield plan.slack_nm
