"""One line of proof for each kind: how good the answer is, and what other ways of choosing give."""

from collections.abc import Iterator

from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import Baseline, GroupAnswer, Plan
from fitmatch.records.pools import IN_ORDER
from fitmatch.report.shared.layout import clean, paragraph, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.report.words.levels import in_words

NOT_PROVEN = "NOT PROVEN"
_BASELINES = {"by-hand": "by hand", "as-boxed": "as boxed"}


def proof_lines(plan: Plan, scale: Scale) -> list[str]:
    """A paragraph for every kind of one job, or of several jobs that decide it together."""
    return [
        line
        for answer in plan.groups
        for line in paragraph(f"{clean(answer.group.label).upper()}: {_told(plan, answer, scale)}.", rest="  ")
    ]


def _told(plan: Plan, answer: GroupAnswer, scale: Scale) -> str:
    figures, members = answer.figures, plan.members(answer.group)
    if not figures.filled and answer.proof.proven:
        empty = any(u.position.kind == answer.group.kind for one in members for u in one.unfilled)
        return (
            "proven: with these readings no position can be filled"
            if empty
            else "nothing to choose before there are readings"
        )
    told = ["proven" if answer.proof.proven else f"{NOT_PROVEN}: {in_words(answer.proof, scale)}"]
    if plan.strategy != "target":
        told[0] += f" by strategy {plan.strategy}"
    if plan.prefer:
        singles = sum(p.preferred for one in members for p in one.of_kind(answer.group.kind))
        told[0] += f", {singles} single shell{'' if singles == 1 else 's'} used"
    if plan.priority == IN_ORDER and len(members) > 1:
        told[0] += ", engine by engine in the order given"
    if figures.counted:
        total = sum(p.kind == answer.group.kind for one in members for p in one.job.positions)
        over = f" over {figures.counted} of {total} positions" if figures.counted < total else ""
        told.append(f"worst {scale.steps(figures.worst_deviation_nm)}, spread {_steps(figures.spread_nm, scale)}{over}")
    others = [
        f"{words} {_beside(answer.baselines[name], figures, scale)}"
        for name, words in _BASELINES.items()
        if name in answer.baselines
    ]
    if others:
        told.append(f"worst {', '.join(others)}")
    if answer.one_box:
        told.append(f"{' or '.join(map(whole, answer.one_box))} alone would do as well, with the same worst")
    return "; ".join(told)


def _beside(other: Baseline, mine: KindFigures, scale: Scale) -> str:
    """The worst deviation of another way to choose, and what else is the matter with it."""
    if not other.figures.counted:
        inside = other.figures.filled - other.figures.below - other.figures.above
        return f"{'nothing to choose' if inside else 'none inside'}{_breaking(other.rules_broken)}"
    wrong = list(_wrong(other, mine))
    worst = scale.steps(other.figures.worst_deviation_nm)
    told = f"{worst} with {' and '.join(wrong)}," if wrong else worst
    return f"{told}{_breaking(other.rules_broken)}".removesuffix(",")


def _wrong(other: Baseline, mine: KindFigures) -> Iterator[str]:
    figures = other.figures
    if outside := figures.below + figures.above:
        yield f"{outside} outside the limits"
    if (empty := mine.filled - figures.filled) > 0:
        yield f"{empty} more not filled"


def _breaking(rules: int) -> str:
    return f" breaking {rules} rule{'s' if rules > 1 else ''}" if rules else ""


def _steps(nm: int | None, scale: Scale) -> str:
    return whole(f"{scale.steps(nm)} {scale.step}")
