"""The part of the text report that says how good the answer is, next to two other ways of choosing."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from fitmatch.fit import order
from fitmatch.naturalorder import natural
from fitmatch.plans import Baseline, KindFigures, Placement, Plan, Proof, Worth
from fitmatch.pools import IN_ORDER, PoolPlan
from fitmatch.report.layout import Column, clean, paragraph, table
from fitmatch.report.levels import in_words
from fitmatch.report.scale import Scale, scale_for

_THIS = "this plan"
_NOTHING = "-"

_FIRST = (
    "What counts first: most positions filled inside their limits, then most filled at all, then the fewest below min "
    "and the smallest total shortfall, then the smallest total excess over max (totals in brackets)."
)
_WISH = " Then, where a band is wished, the same below and above it, over all filled."
_IN_ORDER = "Engines come in the order given: for each in turn all that follows, before the next is looked at. "
_BEST = {
    order.WORST: "smallest worst deviation from target",
    order.SQUARES: "smallest sum of squared deviations",
    order.SPREAD: "smallest spread",
    order.BOXES: "fewest boxes",
}
_PROVEN = "proven: with these readings no choice of {} does better"


class Judged(NamedTuple):
    """What was decided together, a kind of one job or of several, and how well."""

    label: str
    figures: KindFigures
    proof: Proof
    baselines: Mapping[str, Baseline]
    boxes: list[str]
    some_empty: bool
    worth: Worth | None = None
    movable: bool = False  # whether housings were chosen too
    turns: str = ""  # how the jobs were ranked, where one came before the other


def quality(plan: Plan, scale: Scale) -> list[str]:
    kinds = [
        Judged(
            kind,
            figures,
            plan.proofs.get(kind, Proof()),
            {name: kinds[kind] for name, kinds in plan.baselines.items() if kind in kinds},
            _boxes(p for p in plan.placements if p.position.kind == kind),
            any(u.position.kind == kind for u in plan.unfilled),
            plan.worth.get(kind),
            kind in plan.staying,
        )
        for kind, figures in plan.figures.items()
    ]
    return _quality(plan, _FIRST, kinds, scale)


def quality_of_pool(pool: PoolPlan, scale: Scale) -> list[str]:
    """The same for what several jobs were given together."""
    in_order = pool.priority == IN_ORDER
    kinds = []
    for answer in pool.groups:
        kind, plans = answer.group.kind, [pool.plans[i] for i in answer.group.members]
        kinds.append(
            Judged(
                answer.group.label,
                answer.figures,
                answer.proof,
                answer.baselines,
                _boxes(p for plan in plans for p in plan.placements if p.position.kind == kind),
                any(u.position.kind == kind for plan in plans for u in plan.unfilled),
                movable=any(kind in plan.staying for plan in plans),
                turns=", engine by engine in the order given" if in_order and len(plans) > 1 else "",
            )
        )
    first = (
        _IN_ORDER + _FIRST
        if in_order
        else _FIRST.replace("most positions", "most engines complete in a kind, then most positions")
    )
    return _quality(pool.plans[0], first, kinds, scale)


def _quality(plan: Plan, counts_first: str, kinds: list[Judged], scale: Scale) -> list[str]:
    lines = ["HOW GOOD IT IS"]
    best = ", then ".join(_BEST[figure] for figure in order.QUALITY[plan.strategy][:2])
    aim = f"Only among plans equal in these, by strategy {plan.strategy}: {best}."
    if plan.slack_nm:
        first = (
            "spread" if order.order_of(plan.strategy, plan.slack_nm).quality[0] is order.SPREAD else "worst deviation"
        )
        aim += f" Slack: the {first} may be up to {_slack(plan, scale)} larger than the smallest possible."
    wished = any(judged.figures.below_want is not None for judged in kinds)
    lines += [*paragraph(counts_first + (_WISH if wished else "")), *paragraph(aim)]
    for judged in kinds:
        lines += ["", *_kind(plan, judged, scale)]
    if any(judged.baselines for judged in kinds):
        lines += [
            "",
            "as-boxed: every position in turn takes the next upper and the next lower that match.",
            "by-hand: every position in turn takes the pair nearest to its target that obeys the rules.",
        ]
    return lines


def _kind(plan: Plan, judged: Judged, scale: Scale) -> list[str]:
    figures = judged.figures
    named: list[tuple[str, KindFigures, str]] = [(_THIS, figures, _NOTHING)]
    named += [(name, other.figures, str(other.rules_broken)) for name, other in judged.baselines.items()]
    lines = paragraph(f"{clean(judged.label).upper()}: {_proof(plan, judged, scale)}")
    if not any(f.filled for _, f, _ in named):
        return lines
    lines += table(
        [
            Column("", [name for name, _, _ in named], "left"),
            Column("filled", [str(f.filled) for _, f, _ in named]),
            Column(
                f"below min\n({scale.step})", [_total(f.below, f.shortfall_nm, scale) for _, f, _ in named], wraps=True
            ),
            Column(
                f"above max\n({scale.step})", [_total(f.above, f.excess_nm, scale) for _, f, _ in named], wraps=True
            ),
            Column("counted", [str(f.counted) for _, f, _ in named]),
            Column(f"worst off\n{scale.step}", [_steps(f.worst_deviation_nm, scale) for _, f, _ in named]),
            Column(f"spread\n{scale.step}", [_steps(f.spread_nm, scale) for _, f, _ in named]),
            Column("mean\nclearance", [_mean(f.mean_clearance_nm, scale) for _, f, _ in named]),
            Column("boxes\nused", [str(f.boxes) for _, f, _ in named]),
            Column("rules\nbroken", [broken for _, _, broken in named]),
        ]
    )
    if figures.below_want is not None:
        missed = [
            f"{name} {_total(f.below_want or 0, f.want_shortfall_nm or 0, scale)} below, "
            f"{_total(f.above_want or 0, f.want_excess_nm or 0, scale)} above"
            for name, f, _ in named
        ]
        lines += paragraph(f"Outside the wished band ({scale.step}): {'; '.join(missed)}.")
    if judged.worth is not None:
        lines += paragraph(_worth(judged.worth, figures, scale))
    if figures.filled:
        lines += paragraph(", ".join(judged.boxes) + ".", first="Drawn from: ")
    if figures.counted != figures.filled:
        lines += paragraph("Worst, spread and mean are over the counted: inside the limits, not locked in both halves.")
    return lines


def _worth(worth: Worth, figures: KindFigures, scale: Scale) -> str:
    """The expected true figures beside the calculated ones."""
    text = (
        f"With the errors of these readings expect, on average, {scale.two_digits(worth.worst_deviation_nm)} "
        f"{scale.step} worst off and a spread of {scale.two_digits(worth.spread_nm)} (calculated "
        f"{_steps(figures.worst_deviation_nm, scale)} and {_steps(figures.spread_nm, scale)}: the search favours "
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
    first = "spread" if plan.strategy == "even" else "worst deviation"
    but = f" by more than the slack of {slack}" if plan.slack_nm else ""
    return f": none equal in what counts first has a smaller {first}{but}."


def _boxes(placements: Iterable[Placement]) -> list[str]:
    used = {s.box for p in placements for s in (p.upper, p.lower)}
    return [clean(box) for box in sorted(used, key=natural)]


def _proof(plan: Plan, judged: Judged, scale: Scale) -> str:
    if not judged.proof.proven:
        return f"NOT PROVEN: {in_words(judged.proof, scale)}. A better choice may exist."
    proven = _PROVEN.format("shells and housings" if judged.movable else "shells")
    if judged.figures.counted and not judged.turns:
        return f"{proven}{_meaning(plan, scale)}"
    if judged.figures.filled:
        return f"{proven}{judged.turns}."
    if judged.some_empty:
        return "proven: with these readings no position can be filled."
    return "nothing to choose before there are readings."


def _slack(plan: Plan, scale: Scale) -> str:
    return scale_for(scale.unit, [plan.slack_nm]).with_unit(plan.slack_nm)


def _steps(nm: int | None, scale: Scale) -> str:
    return _NOTHING if nm is None else scale.steps(nm)


def _total(positions: int, nm: int, scale: Scale) -> str:
    """How many positions are out, and by how much in all."""
    return f"{positions} ({scale.amount(nm)})" if positions else "0"


def _mean(nm: int | None, scale: Scale) -> str:
    return _NOTHING if nm is None else scale.rounded(nm)
