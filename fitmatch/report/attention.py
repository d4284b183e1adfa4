"""The part of the text report that says what is wrong or missing and why, and what to do next."""

from collections import defaultdict
from collections.abc import Sequence

from fitmatch.parts import Placement, Plan, Position, Shell
from fitmatch.report.facts import DANGER, unmeasured_shells
from fitmatch.report.layout import clean, paragraph
from fitmatch.report.placing import NOT_FILLED, NOT_MEASURED
from fitmatch.report.scale import Scale

_ITEM = "  "
_DEEPER = "      "
_MISFITS = ("below-min", "above-max")  # codes of the flags that say why a position is out of its limits


def summary(plan: Plan) -> str:
    """How many positions are good, and how many are not, in one sentence."""
    total = len(plan.job.positions)
    inside = sum(p.within_limits for p in plan.placements)
    if inside == total:
        return (
            f"All {_positions(total)} filled, inside the limits."
            if total > 1
            else "The position is filled, inside its limits."
        )
    counts = [
        (inside, "filled inside the limits"),
        (len(plan.placements) - inside, DANGER),
        (len(plan.unfilled), "not filled"),
        (len(plan.unmeasured_positions), "not yet measured"),
    ]
    return f"{_positions(total)}: " + ", ".join(f"{n} {words}" for n, words in counts if n) + "."


def attention(plan: Plan, scale: Scale) -> list[str]:
    """One item for each thing that needs attention; nothing where there is none."""
    if not plan.needs_attention:
        return []
    bad = [p for p in plan.placements if not p.within_limits]
    missing = unmeasured_shells(plan)
    items = [f"{DANGER}: {_named(p.position)}: {'; '.join(_why_outside(plan, p, scale))}" for p in bad]
    items += [f"{NOT_FILLED}: {_named(u.position)}: {clean(u.why)}" for u in plan.unfilled]
    items += _without_reading(plan.unmeasured_positions)
    items += _without_wall(missing)
    items += [f"{clean(flag.position)}: {clean(flag.text)}" for flag in plan.flags if flag.code not in _MISFITS]
    items += [
        f"NOT PROVEN: {clean(kind)}: a better choice may exist, see HOW GOOD IT IS"
        for kind, p in plan.proofs.items()
        if not p.proven
    ]

    lines = ["NEEDS ATTENTION"]
    for item in items:
        lines += paragraph(item, first=_ITEM, rest=_DEEPER)
    return lines


def next_steps(plan: Plan) -> list[str]:
    """What to do now, in the order of doing it."""
    bad = [p for p in plan.placements if not p.within_limits]
    steps = []
    if plan.unmeasured_positions or unmeasured_shells(plan):
        steps.append("Take the missing readings, write them in and run this again: the answer may change.")
    if bad or plan.unfilled:
        steps.append(
            "Where a position is bad or empty, measure its journal and housing bore again, and the walls. If they "
            f"stand, open another box or choose {_other_shells(bad)}."
        )
    if bad:
        steps.append(f"Run no engine with a bore marked {DANGER}: its shells are only the least bad choice.")
    if any(not p.proven for p in plan.proofs.values()):
        steps.append("Allow more time (--time-limit) if the plan is to be proven the best.")
    if len(bad) < len(plan.placements):
        which = (
            "the shells as shown"
            if len(plan.placements) == len(plan.job.positions)
            else "the shells of the good positions"
        )
        steps.append(f"Lay out {which}, fit them, tighten the caps for good, measure each assembled bore.")
    lines = ["NEXT"]
    for step in steps:
        lines += paragraph(step, first=_ITEM + "- ")
    return lines


def _other_shells(bad: list[Placement]) -> str:
    tight, loose = any(p.shortfall_nm for p in bad), any(p.excess_nm for p in bad)
    if tight == loose:
        return "shells with other walls"
    return "thinner shells" if tight else "thicker shells"


def _positions(count: int) -> str:
    return "1 position" if count == 1 else f"{count} positions"


def _named(position: Position) -> str:
    return f"{clean(position.name)} ({clean(position.kind)})"


def _why_outside(plan: Plan, placement: Placement, scale: Scale) -> list[str]:
    """By how much, and what the solver found out about why."""
    position = placement.position
    reasons: list[str] = []
    if placement.shortfall_nm:
        assert position.min_nm is not None
        at = "clearance" if placement.clearance_tightest_nm == placement.clearance_nm else "clearance at the tightest"
        reasons.append(
            f"{at} {scale.with_unit(placement.clearance_tightest_nm)} is {_steps(placement.shortfall_nm, scale)} below "
            f"the min of {scale.with_unit(position.min_nm)}"
        )
    if placement.excess_nm:
        assert position.max_nm is not None
        reasons.append(
            f"clearance {scale.with_unit(placement.clearance_nm)} is {_steps(placement.excess_nm, scale)} above "
            f"the max of {scale.with_unit(position.max_nm)}"
        )
    found = [flag.text for flag in plan.flags if flag.position == position.name and flag.code in _MISFITS]
    return reasons + [clean(text).removeprefix(f"{DANGER}: ") for text in found]


def _steps(nm: int, scale: Scale) -> str:
    return f"{scale.steps(nm)} {scale.step}"


def _without_reading(positions: Sequence[Position]) -> list[str]:
    """One item for all positions of a kind that lack the same: a blank job is one thing to do."""
    groups: defaultdict[tuple[str, tuple[str, ...]], list[str]] = defaultdict(list)
    for position in positions:
        groups[position.kind, position.missing].append(clean(position.name))
    return [
        f"{NOT_MEASURED}: {', '.join(names)} ({clean(kind)}): no reading of {' and '.join(missing).replace('_', ' ')}"
        for (kind, missing), names in groups.items()
    ]


def _without_wall(shells: list[Shell]) -> list[str]:
    """One item for each box, not for each shell: a box nobody has measured yet is one thing to do."""
    by_box: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for shell in shells:
        by_box[shell.box, shell.kind].append(clean(shell.name))
    return [
        f"{NOT_MEASURED}: shells of {clean(box)} ({clean(kind)}): no wall of {', '.join(names)}"
        for (box, kind), names in by_box.items()
    ]
