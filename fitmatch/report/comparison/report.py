"""The text report of `fitmatch compare`: the ways of choosing side by side, each further table that was asked for, and
what all of it rests on."""

from collections.abc import Iterator

from fitmatch.fit.model.order import SLACK_NM
from fitmatch.lengths import exact
from fitmatch.records.answers.plans import JobPlan
from fitmatch.report.comparison.films import films_of_plans
from fitmatch.report.comparison.further import by_target, fewer_boxes, traded_off, without_rules
from fitmatch.report.comparison.plans import ways_of_choosing
from fitmatch.report.comparison.rows import by_kind
from fitmatch.report.comparison.summary import side_by_side
from fitmatch.report.screen.attention import NOT_LOOKED_THROUGH_YET, summary
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.layout import clean, items, paragraph, whole
from fitmatch.report.shared.scale import UNITS, Scale, scale_for
from fitmatch.report.text.report import CLOSING
from fitmatch.study.comparison.compared import BASELINES, Compared
from fitmatch.wording import listed


def compared_text(compared: Compared, unit: str) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page."""
    scale = scale_for(unit, _lengths(compared))
    blocks = [_heading(compared, scale), items("WARNINGS", list(map(clean, compared.warnings)))]
    blocks += side_by_side(compared, scale)
    blocks += [ways_of_choosing(compared, told, plans, scale) for told, plans in by_kind(compared, compared.plans)]
    blocks += films_of_plans(compared, scale)
    blocks += by_target(compared, scale)
    blocks += without_rules(compared, scale)
    blocks += fewer_boxes(compared, scale)
    blocks += traded_off(compared, scale)
    blocks += [_meanings(compared), [line for text in grounds(compared.job_plans, scale) for line in paragraph(text)]]
    return "\n\n".join("\n".join(block) for block in [*blocks, paragraph(CLOSING)] if block) + "\n"


def _heading(compared: Compared, scale: Scale) -> list[str]:
    jobs = compared.jobs
    title = "; ".join(clean(job.title or job.folder.name) for job in jobs)
    step = f"worst and spread in {scale.step}{' (0.0001 in)' if scale.step == 'tenths' else ' (0.001 mm)'}"
    units = f"Lengths in {UNITS[scale.unit]}; {step}; squares of these."
    lines = [*paragraph(title), *paragraph(units)]
    for name, one in ones(compared):
        if one.needs_attention:
            doubts = f" {len(one.doubts)} reading{'s' if len(one.doubts) > 1 else ''} IN DOUBT." if one.doubts else ""
            lines += paragraph(
                f"{name}NEEDS ATTENTION: {summary(one, Certainty(one))}{doubts} `fitmatch assign` says what to do."
            )
    if not all(one.looked_through for one in compared.job_plans):
        lines += paragraph(NOT_LOOKED_THROUGH_YET)
    if not compared.complete:
        lines += paragraph(f"{NOT_PROVEN}: time ran out before all rows were reached; those that follow are missing.")
    return lines


def ones(compared: Compared) -> Iterator[tuple[str, JobPlan]]:
    """The plans by the strategy asked for, each with the name of its job and a colon where there are several."""
    several = len(compared.jobs) > 1
    names = compared.names or [one.job.name for answer in compared.answers for one in answer.plans]
    ones = [one for answer in compared.answers for one in answer.plans]
    return ((f"{whole(name)}: " if several else "", one) for name, one in zip(names, ones, strict=True))


def _meanings(compared: Compared) -> list[str]:
    """What the plans are, and what stands in the columns."""
    there = {(row.found.job, row.found.kind) for row in compared.plans if row.plan == "even"}
    without = [
        told for told, rows in by_kind(compared, compared.plans) if (rows[0].found.job, rows[0].found.kind) not in there
    ]
    unit = compared.jobs[0].unit
    texts = [
        "target: nearest to target. even: all alike. keep-sets: fewest boxes, worst at most "
        f"{exact(SLACK_NM, unit)} {unit} more. {' and '.join(BASELINES)}: without a search.",
        "worst, spread, mean and squares are over positions inside their limits. sets left: pairs of leftover shells "
        "that would fit a bore like these.",
    ]
    if any(table is not None for table in (compared.targets, compared.rules, compared.boxes)):
        texts.append("The further tables are by strategy target.")
    if without:
        texts.append(f"even needs min and max at every position: left out for {listed(without)}.")
    return [line for text in texts for line in paragraph(text)]


def _lengths(compared: Compared) -> Iterator[int]:
    """Every length that is written out in full."""
    yield from (row.target_nm for row in compared.targets or ())
    for position in (p for job in compared.jobs for p in job.positions):
        yield from (nm or 0 for nm in (position.target_nm, position.min_nm, position.max_nm))
        yield from (nm or 0 for nm in (position.want_min_nm, position.want_max_nm))
