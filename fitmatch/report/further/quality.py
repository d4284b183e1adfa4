"""The part of the text report that says how good the answer is, next to two other ways of choosing."""

from collections.abc import Callable

from fitmatch.fit.model import order
from fitmatch.names import natural
from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import GroupAnswer, Plan, Worth
from fitmatch.records.pools import IN_ORDER
from fitmatch.report.shared.layout import Column, clean, paragraph, table
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.report.words.levels import in_words

_THIS = "this plan"

_FIRST = (
    "What counts first: most positions filled inside their limits, then most filled at all, then the fewest below min "
    "and the smallest total shortfall, then the smallest total excess over max (totals in brackets)."
)
_ENGINES_FIRST = _FIRST.replace("most positions", "most engines complete in a kind, then most positions", 1)
_WISH = " Then, if a band is wanted, the same below and above it, over all filled."
_IN_ORDER = "Engines come in the order given: for each in turn all that follows, before the next is looked at. "
_AS_BOXED = "as-boxed: every position in turn takes the next upper and the next lower that match."
_BY_HAND = "by-hand: every position in turn takes the pair nearest to its target that obeys the rules."
_BEST = {
    order.WORST: "smallest worst deviation from target",
    order.SQUARES: "smallest sum of squared deviations",
    order.SPREAD: "smallest spread",
    order.BOXES: "fewest boxes",
    order.PREFERRED: "most single shells of the shelf",
}


def quality(plan: Plan, scale: Scale) -> list[str]:
    """What counts, and for all that was decided together, a kind of one job or of several, how well."""
    several = _IN_ORDER + _FIRST if plan.priority == IN_ORDER else _ENGINES_FIRST
    lines = ["HOW GOOD IT IS"]
    best = ", then ".join(_BEST[figure] for figure in order.QUALITY[plan.way][:2])
    singles = ", singles preferred" if plan.prefer else ""
    aim = f"Only among plans equal in these, by strategy {plan.strategy}{singles}: {best}."
    if plan.slack_nm:
        first = "spread" if order.order_of(plan.way, plan.slack_nm).quality[0] is order.SPREAD else "worst deviation"
        aim += f" Slack: the {first} may be up to {_slack(plan, scale)} larger than the smallest possible."
    wished = any(g.figures.below_want is not None for g in plan.groups)
    lines += [*paragraph((_FIRST if plan.alone else several) + (_WISH if wished else "")), *paragraph(aim)]
    for answer in plan.groups:
        lines += ["", *_kind(plan, answer, scale)]
    if any(g.baselines for g in plan.groups):
        lines += ["", *paragraph(_AS_BOXED), *paragraph(_BY_HAND)]
    return lines


def _kind(plan: Plan, answer: GroupAnswer, scale: Scale) -> list[str]:
    figures, members = answer.figures, plan.members(answer.group)
    named: list[tuple[str, KindFigures, str]] = [(_THIS, figures, NOTHING)]
    named += [(name, other.figures, str(other.rules_broken)) for name, other in answer.baselines.items()]
    lines = paragraph(f"{clean(answer.group.label).upper()}: {_proof(plan, answer, scale)}")
    if not any(f.filled for _, f, _ in named):
        return lines

    def of(show: Callable[[KindFigures], str]) -> Callable[[tuple[str, KindFigures, str]], str]:
        return lambda row: show(row[1])

    lines += table(
        named,
        Column("", lambda row: row[0], "left"),
        Column("filled", of(lambda f: str(f.filled))),
        Column(f"below min\n({scale.step})", of(lambda f: _total(f.below, f.shortfall_nm, scale)), wraps=True),
        Column(f"above max\n({scale.step})", of(lambda f: _total(f.above, f.excess_nm, scale)), wraps=True),
        Column("counted", of(lambda f: str(f.counted))),
        Column(f"worst off\n{scale.step}", of(lambda f: scale.steps(f.worst_deviation_nm))),
        Column(f"spread\n{scale.step}", of(lambda f: scale.steps(f.spread_nm))),
        Column("mean\nclearance", of(lambda f: scale.rounded(f.mean_clearance_nm))),
        Column("boxes\nused", of(lambda f: str(f.boxes))),
        Column("rules\nbroken", lambda row: row[2]),
    )
    if figures.below_want is not None:
        missed = [
            f"{name} {_total(f.below_want or 0, f.want_shortfall_nm or 0, scale)} below, "
            f"{_total(f.above_want or 0, f.want_excess_nm or 0, scale)} above"
            for name, f, _ in named
        ]
        lines += paragraph(f"Outside the wanted band ({scale.step}): {'; '.join(missed)}.")
    if plan.alone and answer.group.kind in members[0].worth:
        lines += paragraph(_worth(members[0].worth[answer.group.kind], figures, scale))
    if figures.filled:
        used = {s.box for one in members for p in one.of_kind(answer.group.kind) for s in (p.upper, p.lower)}
        lines += paragraph(", ".join(map(clean, sorted(used, key=natural))) + ".", first="Drawn from: ")
    if figures.counted != figures.filled:
        lines += paragraph("Worst, spread and mean are over the counted: inside the limits, not locked in both halves.")
    return lines


def _worth(worth: Worth, figures: KindFigures, scale: Scale) -> str:
    """The expected true figures beside the calculated ones."""
    text = (
        f"With the errors of these readings expect, on average, {scale.two_digits(worth.worst_deviation_nm)} "
        f"{scale.step} worst off and a spread of {scale.two_digits(worth.spread_nm)} (calculated "
        f"{scale.steps(figures.worst_deviation_nm)} and {scale.steps(figures.spread_nm)}: the search favours "
        f"readings whose errors cancel; {worth.trials} draws)."
    )
    if worth.by_hand is not None:
        text += f" Against by-hand its worst deviation is {worth.by_hand}."
    return text


def _meaning(plan: Plan, scale: Scale) -> str:
    """What the proof of this strategy means, for a kind that has positions to count."""
    slack = _slack(plan, scale)
    if plan.strategy == "keep-sets":
        within = f"is within the slack of {slack} of" if plan.slack_nm else "has"
        return f" from as few boxes, and none from fewer {within} the smallest possible worst deviation."
    if plan.prefer:
        within = f"is within the slack of {slack} of" if plan.slack_nm else "has"
        return f", and none with more single shells {within} the smallest possible worst deviation."
    first = "spread" if plan.strategy == "even" else "worst deviation"
    but = f" by more than the slack of {slack}" if plan.slack_nm else ""
    return f": none equal in what counts first has a smaller {first}{but}."


def _proof(plan: Plan, answer: GroupAnswer, scale: Scale) -> str:
    if not answer.proof.proven:
        return f"NOT PROVEN: {in_words(answer.proof, scale)}. A better choice may exist."
    kind, members = answer.group.kind, plan.members(answer.group)
    movable = any(kind in one.staying for one in members)
    proven = f"proven: with these readings no choice of {'shells and housings' if movable else 'shells'} does better"
    in_turn = plan.priority == IN_ORDER and len(members) > 1
    if answer.figures.counted and not in_turn:
        return f"{proven}{_meaning(plan, scale)}"
    if answer.figures.filled:
        return f"{proven}{', engine by engine in the order given' if in_turn else ''}."
    if any(u.position.kind == kind for one in members for u in one.unfilled):
        return "proven: with these readings no position can be filled."
    return "nothing to choose before there are readings."


def _slack(plan: Plan, scale: Scale) -> str:
    return scale_for(scale.unit, [plan.slack_nm]).with_unit(plan.slack_nm)


def _total(positions: int, nm: int, scale: Scale) -> str:
    """How many positions are out, and by how much in all."""
    return f"{positions} ({scale.amount(nm)})" if positions else "0"
