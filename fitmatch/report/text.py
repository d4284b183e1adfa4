"""The text report: a plan in, one text out, made to be read standing at the bench.

Which shell goes where comes first, then what must not be done, then what it rests on, the sums, and how good it all is.
"""

from collections.abc import Iterator

from fitmatch.plans import Plan
from fitmatch.pools import PoolPlan
from fitmatch.report.attention import attention, next_steps, summary
from fitmatch.report.basis import basis, boxes_read, rules_in_force
from fitmatch.report.certainty import Certainty
from fitmatch.report.inline import along_the_line
from fitmatch.report.layout import clean, paragraph
from fitmatch.report.measured import corrections, form
from fitmatch.report.moves import moves_text
from fitmatch.report.placing import coated, how_sure, limits, sums, which_shell_goes_where
from fitmatch.report.pooled import engines, heading, in_short
from fitmatch.report.quality import quality, quality_of_pool
from fitmatch.report.remaining import remaining
from fitmatch.report.scale import Scale, scale_for

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
    """The whole report, lengths in `unit`, ending in a line break; no line is wider than a page."""
    scale = scale_for(unit, _lengths(plan))
    title = [*paragraph(clean(plan.job.title or plan.job.folder.name)), *paragraph(summary(plan)), _UNITS[unit]]
    blocks = [title, *_bench(plan, scale), basis(plan.job, scale), *_figures(plan, scale)]
    return _joined([*blocks, quality(plan, scale), *_beside(plan, scale), remaining(plan, scale), list(CLOSING)])


def pool_text(pool: PoolPlan, unit: str) -> str:
    """The report on several jobs that share their shells: all of them in short, then each engine, then what concerns
    all."""
    scale = scale_for(unit, (nm for plan in pool.plans for nm in _lengths(plan)))
    blocks = [[*engines(pool), _UNITS[unit]], *in_short(pool, scale)]
    for plan in pool.plans:
        blocks += [heading(plan), *_bench(plan, scale), rules_in_force(plan.job, scale), *_figures(plan, scale)]
    first = pool.plans[0]
    blocks += [["ALL ENGINES", *boxes_read(first.job)], quality_of_pool(pool, scale), *_beside(pool, scale)]
    return _joined([*blocks, remaining(first, scale), list(CLOSING)])


def _beside(answer: Plan | PoolPlan, scale: Scale) -> list[list[str]]:
    """Other plans beside the answer, where they were asked for."""
    if not answer.alternatives and answer.explanation is None:
        return []
    from fitmatch.report.alternatives import alternatives
    from fitmatch.report.explaining import explanation

    return [*alternatives(answer, scale), explanation(answer, scale)]


def _joined(blocks: list[list[str]]) -> str:
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _bench(plan: Plan, scale: Scale) -> list[list[str]]:
    """What is done at the bench."""
    certainty = Certainty(plan)
    blocks: list[list[str]] = []
    for kind in plan.job.kinds:
        blocks += [which_shell_goes_where(plan, kind, scale), how_sure(plan, kind, scale, certainty)]
    blocks += _titled("HOUSINGS", [moves_text(plan, kind, scale) for kind in plan.job.kinds])
    return [*blocks, attention(plan, scale.unit), next_steps(plan)]


def _figures(plan: Plan, scale: Scale) -> list[list[str]]:
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
    for position in plan.job.positions:
        yield from (position.target_nm or 0, position.min_nm or 0, position.max_nm or 0)
        yield from (position.want_min_nm or 0, position.want_max_nm or 0)
    yield from (shell.wall_nm or 0 for shell in plan.leftover)
