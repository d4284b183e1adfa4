"""The part of the text report that says how good the answer is, next to two other ways of choosing."""

from fitmatch.naturalorder import natural
from fitmatch.parts import KindFigures, Plan, Proof, Worth
from fitmatch.report.facts import kind_wishes
from fitmatch.report.layout import Column, clean, paragraph, table
from fitmatch.report.levels import in_words
from fitmatch.report.scale import Scale

_THIS = "this plan"
_NOTHING = "-"

_FIRST = (
    "What counts first: most positions filled inside their limits, then most filled at all, then the fewest below min "
    "and the smallest total shortfall, then the smallest total excess over max (totals in brackets)."
)
_WISH = " Then, where a band is wished, the same below and above it, over all filled."
_AIMS = {
    "target": "smallest worst deviation from target, then smallest sum of squared deviations",
    "even": "smallest spread, then smallest worst deviation from target",
    "keep-sets": "fewest boxes, then smallest worst deviation from target",
}
_PROVEN = "proven: with these readings no choice of shells does better"


def quality(plan: Plan, scale: Scale) -> list[str]:
    lines = ["HOW GOOD IT IS"]
    aim = f"Only among plans equal in these, by strategy {plan.strategy}: {_AIMS[plan.strategy]}."
    if plan.slack_nm:
        first = "spread" if plan.strategy == "even" else "worst deviation"
        aim += f" Slack: the {first} may be up to {scale.with_unit(plan.slack_nm)} larger than the smallest possible."
    wished = any(kind_wishes(plan.job, kind) for kind in plan.figures)
    lines += [*paragraph(_FIRST + (_WISH if wished else "")), *paragraph(aim)]
    for kind, figures in plan.figures.items():
        lines += ["", *_kind(plan, kind, figures, scale)]
    if plan.baselines:
        lines += [
            "",
            "as-boxed: every position in turn takes the next upper and the next lower that match.",
            "by-hand: every position in turn takes the pair that comes nearest to its target.",
        ]
    return lines


def _kind(plan: Plan, kind: str, figures: KindFigures, scale: Scale) -> list[str]:
    named: list[tuple[str, KindFigures, str]] = [(_THIS, figures, _NOTHING)]
    for name, kinds in plan.baselines.items():
        if kind in kinds:
            named.append((name, kinds[kind].figures, str(kinds[kind].rules_broken)))
    lines = paragraph(f"{clean(kind).upper()}: {_proof(plan, kind, scale)}")
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
    if kind_wishes(plan.job, kind):
        missed = [
            f"{name} {_total(f.below_want, f.want_shortfall_nm, scale)} below, "
            f"{_total(f.above_want, f.want_excess_nm, scale)} above"
            for name, f, _ in named
        ]
        lines += paragraph(f"Outside the wished band ({scale.step}): {'; '.join(missed)}.")
    if kind in plan.worth:
        lines += paragraph(_worth(plan.worth[kind], figures, scale))
    if figures.filled:
        lines += paragraph(", ".join(_boxes(plan, kind)) + ".", first="Drawn from: ")
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
    slack = scale.with_unit(plan.slack_nm)
    if plan.strategy == "keep-sets":
        within = f"is within the slack of {slack} of" if plan.slack_nm else "has"
        return f" from as few boxes, and none from fewer {within} the smallest possible worst deviation."
    first = "spread" if plan.strategy == "even" else "worst deviation"
    but = f" by more than the slack of {slack}" if plan.slack_nm else ""
    return f": none equal in what counts first has a smaller {first}{but}."


def _boxes(plan: Plan, kind: str) -> list[str]:
    used = {s.box for p in plan.placements if p.position.kind == kind for s in (p.upper, p.lower)}
    return [clean(box) for box in sorted(used, key=natural)]


def _proof(plan: Plan, kind: str, scale: Scale) -> str:
    proof = plan.proofs.get(kind, Proof())
    if not proof.proven:
        return f"NOT PROVEN: {in_words(proof, scale)}. A better choice may exist."
    if plan.figures[kind].counted:
        return f"{_PROVEN}{_meaning(plan, scale)}"
    if plan.figures[kind].filled:
        return f"{_PROVEN}."
    if any(u.position.kind == kind for u in plan.unfilled):
        return "proven: with these readings no position can be filled."
    return "nothing to choose before there are readings."


def _steps(nm: int | None, scale: Scale) -> str:
    return _NOTHING if nm is None else scale.steps(nm)


def _total(positions: int, nm: int, scale: Scale) -> str:
    """How many positions are out, and by how much in all."""
    return f"{positions} ({scale.amount(nm)})" if positions else "0"


def _mean(nm: int | None, scale: Scale) -> str:
    return _NOTHING if nm is None else scale.rounded(nm)
