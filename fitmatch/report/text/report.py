"""The text report: a plan in, one text out, made to be read standing at the bench.

First one screen: which shell goes where, what must not be done, how good it is, what is left over, what to do next. In
full, what all that rests on comes after it.
"""

from collections.abc import Iterator

from fitmatch.records.answers.plans import JobPlan, Plan
from fitmatch.report.screen.attention import attention, next_steps
from fitmatch.report.screen.heading import engines, heading, in_short, title
from fitmatch.report.screen.left_over import left_over
from fitmatch.report.screen.proven import proof_lines
from fitmatch.report.screen.sure import how_sure
from fitmatch.report.screen.table import which_shell_goes_where
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.housings import moves, moves_text
from fitmatch.report.shared.layout import clean, items, paragraph, whole
from fitmatch.report.shared.scale import Scale, scale_for

CLOSING = (
    "The calculated clearance selects the shells; the assembled bore, measured with the shells in and caps tightened, "
    "decides. The engine and bearing maker's limits come before any figure here."
)

_UNITS = {
    "in": "Lengths in inches; {} in tenths (0.0001 in): + is looser, - is tighter.",
    "mm": "Lengths in millimetres; {} in um (0.001 mm): + is looser, - is tighter.",
}


def plan_text(plan: Plan, unit: str, *, full: bool = False) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page. Of several jobs all of
    them in short, then each engine, then what concerns all. `full`: with the sums, the limits and all else behind it.
    """
    scale, certainties = scale_for(unit, _lengths(plan)), [Certainty(one) for one in plan.plans]
    units = _UNITS[unit].format("off and +/-" if any(one.known for one in certainties) else "off")
    blocks = [[*(title(plan.plans[0], certainties[0]) if plan.alone else engines(plan)), *paragraph(units)]]
    blocks += [] if plan.alone else in_short(plan, scale)
    blocks += [items("WARNINGS", list(map(clean, plan.warnings)))]
    told = [*proof_lines(plan, scale), *left_over(plan)]
    if plan.alone:
        one, certainty = plan.plans[0], certainties[0]
        blocks += [
            *_bench(plan, one, scale, certainty),
            [*how_sure(one, certainty, full=full), *told],
            next_steps(one, plan.proofs),
        ]
    else:
        for one, certainty in zip(plan.plans, certainties, strict=True):
            blocks += [
                heading(one, certainty),
                *_bench(plan, one, scale, certainty),
                how_sure(one, certainty, full=full),
            ]
            blocks += [next_steps(one, plan.proofs_of(one))]
        blocks += [["ALL ENGINES", *told]]
    blocks += _beside(plan, scale)
    if full:
        from fitmatch.report.further.full import in_full

        blocks += in_full(plan, scale)
    blocks += [[*paragraph(CLOSING), *_digests(plan)]]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _beside(plan: Plan, scale: Scale) -> list[list[str]]:
    """Other plans beside the answer, where they were asked for."""
    if not plan.alternatives and plan.explanation is None and not plan.faults:
        return []
    from fitmatch.report.further.beside import alternatives, faults
    from fitmatch.report.further.explaining import explanation

    return [faults(plan), *alternatives(plan, scale), explanation(plan, scale)]


def _bench(plan: Plan, one: JobPlan, scale: Scale, certainty: Certainty) -> list[list[str]]:
    """What is done at the bench, for one job, and what must be known first."""
    boxes = plan.strategy == "keep-sets"
    blocks = [
        which_shell_goes_where(one, kind, scale, certainty)
        + (moves_text(one, kind, scale, boxes=boxes) if moves(one, kind) else [])
        for kind in one.job.kinds
    ]
    return [*blocks, attention(one, plan.proofs_of(one), scale.unit)]


def _digests(plan: Plan) -> list[str]:
    """The same files give the same: nothing here tells the time."""
    if plan.alone:
        return paragraph(f"Inputs' digest: {plan.plans[0].digest}")
    return items("Inputs' digests", [f"{whole(one.job.name)}: {one.digest}" for one in plan.plans])


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
    yield from (shell.wall_nm or 0 for shell in plan.left_in_files)
