"""The text report of `fitmatch compare`: the ways of choosing side by side, then each further table that was asked
for."""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from fitmatch.fit.model.order import KEEP_SETS_SLACK_NM
from fitmatch.lengths import exact
from fitmatch.records.placements import KindFigures
from fitmatch.records.plans import JobPlan
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.screen.table import target_and_limits
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.report.text.attention import summary
from fitmatch.report.text.report import CLOSING
from fitmatch.report.words.levels import in_words
from fitmatch.study.comparison.compared import BASELINES, BoxesRow, Compared, Found, PlanRow, Point, RuleRow, TargetRow
from fitmatch.wording import listed

_UNITS = {"in": "inches", "mm": "millimetres"}

RowT = TypeVar("RowT", PlanRow, TargetRow, RuleRow, BoxesRow, Point)


def compared_text(compared: Compared, unit: str) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page."""
    scale = scale_for(unit, _lengths(compared))
    blocks = [_heading(compared, scale), items("WARNINGS", list(map(clean, compared.warnings)))]
    measured = any(Certainty(one).known for _, one in ones(compared))
    for told, plans in by_kind(compared.plans):
        blocks.append([*paragraph(_aim(compared, told, plans[0], scale)), *_plans(plans, scale, measured=measured)])
    blocks += _targets(compared, scale)
    blocks += _rules(compared, scale)
    blocks += _boxes(compared, scale)
    blocks += _trade_off(compared, scale)
    blocks += [_meanings(compared), [line for text in grounds(compared.answers, scale) for line in paragraph(text)]]
    return "\n\n".join("\n".join(block) for block in [*blocks, paragraph(CLOSING)] if block) + "\n"


def _heading(compared: Compared, scale: Scale) -> list[str]:
    jobs = compared.jobs
    title = "; ".join(clean(job.title or job.folder.name) for job in jobs)
    step = f"worst and spread in {scale.step}{' (0.0001 in)' if scale.step == 'tenths' else ' (0.001 mm)'}"
    units = f"Lengths in {_UNITS[scale.unit]}; {step}; squares of these."
    lines = [*paragraph(title), *paragraph(units)]
    for name, one in ones(compared):
        if one.needs_attention:
            text = f"{name}NEEDS ATTENTION: {summary(one)} `fitmatch assign` says what to do."
            lines += paragraph(text)
    if not compared.complete:
        lines += paragraph(f"{NOT_PROVEN}: time ran out before all rows were reached; those that follow are missing.")
    return lines


def ones(compared: Compared) -> Iterator[tuple[str, JobPlan]]:
    """The plans by the strategy `target`, each with the name of its job and a colon where there are several."""
    several = len(compared.jobs) > 1
    names = compared.names or [one.job.name for answer in compared.answers for one in answer.plans]
    ones = [one for answer in compared.answers for one in answer.plans]
    return ((f"{whole(name)}: " if several else "", one) for name, one in zip(names, ones, strict=True))


def by_kind(rows: Sequence[RowT]) -> list[tuple[str, list[RowT]]]:
    """The rows of each kind of each job, with the name of both."""
    found: dict[tuple[str, str], list[RowT]] = {}
    for row in rows:
        found.setdefault((row.found.job, row.found.kind), []).append(row)
    return [(f"{whole(job)}, {clean(kind)}" if job else clean(kind), some) for (job, kind), some in found.items()]


def _aim(compared: Compared, told: str, row: PlanRow, scale: Scale) -> str:
    """What the kind is fitted to."""
    names = compared.names or ("",)
    answer = compared.answers[names.index(row.found.job)]
    group = next(g.group for g in answer.groups if g.group.label == row.found.kind)
    members = [one.read for one in answer.members(group)]
    positions = [p for job in members for p in job.positions if p.kind == group.kind]
    return f"{told.upper()}: {target_and_limits(positions, scale)}"


def _plans(rows: Sequence[PlanRow], scale: Scale, *, measured: bool) -> list[str]:
    lines = table(
        rows,
        Column("plan", lambda row: row.plan, "left"),
        *_figures(rows, scale, mean=True),
        Column(
            "chance\ninside",
            lambda row: NOTHING if row.joint_chance is None else f"{row.joint_chance:.4f}",
            shown=any(row.joint_chance is not None for row in rows),
        ),
        Column("sets\nleft", lambda row: NOTHING if row.leftover_sets is None else str(row.leftover_sets)),
    )
    if alike := _alike(rows):
        head = "Equal within measurement" if measured else "One and the same plan"
        lines += paragraph(f"{head}: {'; '.join(listed(names) for names in alike)}.")
    breaking = [f"{row.plan} {row.rules_broken}" for row in rows if row.rules_broken]
    if breaking:
        lines += paragraph(f"Rules broken: {', '.join(breaking)}.")
    return [*lines, *_not_proven(rows, scale, lambda row: row.plan)]


def _alike(rows: Sequence[PlanRow]) -> list[list[str]]:
    """The plans that are equal: those that are all equal to each other and to nothing else together, others in
    pairs."""
    close = {row.plan: {row.plan, *row.equal} for row in rows}
    found: list[list[str]] = []
    for at, (name, near) in enumerate(close.items()):
        later = [other for other in list(close)[at + 1 :] if other in near]
        if all(close[other] == near for other in near):
            found += [[name, *later]] if len(near) == len(later) + 1 > 1 else []
        else:
            found += [[name, other] for other in later]
    return found


def _figures(rows: Sequence[RowT], scale: Scale, *, mean: bool = False) -> list[Column[RowT]]:
    """The columns that all tables have."""

    def of(show: Callable[[KindFigures], str]) -> Callable[[RowT], str]:
        return lambda row: show(row.found.figures)

    return [
        Column("filled", of(lambda f: str(f.filled))),
        Column("below,\nabove", of(lambda f: f"{f.below}, {f.above}")),
        Column(f"worst\n{scale.step}", of(lambda f: scale.steps(f.worst_deviation_nm))),
        Column(f"spread\n{scale.step}", of(lambda f: scale.steps(f.spread_nm))),
        Column("mean", of(lambda f: scale.rounded(f.mean_clearance_nm)), shown=mean),
        Column("sum of\nsquares", of(lambda f: scale.squares(f.sum_squared_deviation_nm2))),
        Column("boxes", of(lambda f: str(f.boxes))),
    ]


def _not_proven(rows: Sequence[RowT], scale: Scale, name: Callable[[RowT], str]) -> list[str]:
    """One line for the rows that could not be proven in time."""
    found = [row for row in rows if not row.found.proof.proven]
    if not found:
        return []
    told = "; ".join(f"{clean(name(row))} ({in_words(row.found.proof, scale)})" for row in found)
    return paragraph(f"{NOT_PROVEN}, a better choice may exist: {told}.")


def _targets(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared.targets or ()):
        best = [scale.with_unit(row.target_nm) for row in rows if row.best]
        yield [
            *paragraph(f"{told.upper()}, BY TARGET: these shells serve {listed(best, 'or')} best."),
            *table(
                rows,
                Column("target", lambda row: f"{'best ' if row.best else ''}{scale.length(row.target_nm)}"),
                *_figures(rows, scale, mean=True),
            ),
            *_not_proven(rows, scale, lambda row: scale.with_unit(row.target_nm)),
        ]


def _rules(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    base = {(row.found.job, row.found.kind): row.found for row in compared.plans if row.plan == "target"}
    for told, rows in by_kind(compared.rules or ()):
        yield [
            *paragraph(f"{told.upper()}, EACH RULE LET GO:"),
            *table(
                rows,
                Column("without", lambda row: row.rule, "left"),
                *_figures(rows, scale),
                Column("it costs", lambda row: _cost(base[row.found.job, row.found.kind], row.found, scale), "left"),
            ),
            *_not_proven(rows, scale, lambda row: row.rule),
        ]
    if compared.rules == ():
        yield ["No rule of the shop's own is in force."]


def _cost(with_it: Found, without: Found, scale: Scale) -> str:
    """The first figure that is better without the rule."""
    kept, free = with_it.figures, without.figures
    inside = free.filled - free.below - free.above - (kept.filled - kept.below - kept.above)
    if inside > 0:
        return f"{inside} inside"
    for name, more in (("filled", free.filled - kept.filled), ("below min", kept.below - free.below)):
        if more > 0:
            return f"{more} {name}"
    for name, nm in (
        ("shortfall", kept.shortfall_nm - free.shortfall_nm),
        ("excess", kept.excess_nm - free.excess_nm),
        ("worst", (kept.worst_deviation_nm or 0) - (free.worst_deviation_nm or 0)),
    ):
        if nm > 0:
            return f"{name} {scale.amount(nm)} {scale.step}"
    squares = (kept.sum_squared_deviation_nm2 or 0) - (free.sum_squared_deviation_nm2 or 0)
    if squares > 0:
        return f"squares {scale.squares(squares)}"
    spread = (kept.spread_nm or 0) - (free.spread_nm or 0)
    return f"spread {scale.amount(spread)} {scale.step}" if spread > 0 else "nothing"


def _boxes(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared.boxes or ()):
        yield [
            *paragraph(f"{told.upper()}, IF ONLY THESE BOXES HAD BEEN OPENED:"),
            *table(
                rows,
                Column("opened", lambda row: ", ".join(map(whole, row.opened)), "left", wraps=True),
                *_figures(rows, scale)[:-1],
            ),
            *_not_proven(rows, scale, lambda row: " and ".join(row.opened)),
        ]
    locked = dict.fromkeys((row.kind, box) for row in compared.left_out for box in row.locked)
    if locked:
        told = "; ".join(whole(f"{kind}: {box}") for kind, box in locked)
        yield paragraph(f"Left out is every choice without a box of which a shell is locked in: {told}.")


def _trade_off(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared.trade_off or ()):
        against = rows[0].against
        yield [
            *paragraph(f"{told.upper()}, WORST DEVIATION AGAINST {against.upper()}: no plan is better in both."),
            *table(
                rows,
                Column(f"worst\n{scale.step}", lambda row: scale.steps(row.found.figures.worst_deviation_nm)),
                Column(
                    "boxes" if against == "boxes" else f"spread\n{scale.step}",
                    lambda row: (
                        str(row.found.figures.boxes)
                        if row.against == "boxes"
                        else scale.steps(row.found.figures.spread_nm)
                    ),
                ),
                Column("", lambda row: "proven" if row.found.proof.proven else NOT_PROVEN, "left"),
            ),
        ]


def _meanings(compared: Compared) -> list[str]:
    """What the plans are, and what stands in the columns."""
    there = {(row.found.job, row.found.kind) for row in compared.plans if row.plan == "even"}
    without = [told for told, rows in by_kind(compared.plans) if (rows[0].found.job, rows[0].found.kind) not in there]
    unit = compared.jobs[0].unit
    texts = [
        "target: nearest to target. even: all alike. keep-sets: fewest boxes, worst at most "
        f"{exact(KEEP_SETS_SLACK_NM, unit)} {unit} more. {' and '.join(BASELINES)}: without a search.",
        "worst, spread, mean and squares are over positions inside their limits. sets left: pairs of leftover shells "
        "that would fit a bore like these.",
    ]
    if without:
        texts.append(f"even needs min and max at every position: left out for {listed(without)}.")
    return [line for text in texts for line in paragraph(text)]


def _lengths(compared: Compared) -> Iterator[int]:
    """Every length that is written out in full."""
    yield from (row.target_nm for row in compared.targets or ())
    for position in (p for job in compared.jobs for p in job.positions):
        yield from (nm or 0 for nm in (position.target_nm, position.min_nm, position.max_nm))
        yield from (nm or 0 for nm in (position.want_min_nm, position.want_max_nm))
