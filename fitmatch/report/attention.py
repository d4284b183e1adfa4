"""The part of the text report that says what is wrong or missing and why, and what to do next."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from fitmatch.parts import Position, Shell
from fitmatch.placements import Placement
from fitmatch.plans import JobPlan, Proof
from fitmatch.report.doubts import doubt_lines
from fitmatch.report.facts import DANGER, unmeasured_shells
from fitmatch.report.failing import failing
from fitmatch.report.layout import clean, items, whole
from fitmatch.report.placing import NOT_MEASURED
from fitmatch.report.reasons import words_of


def summary(plan: JobPlan) -> str:
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


def attention(plan: JobPlan, proofs: Mapping[str, Proof], unit: str) -> list[str]:
    """One item for each thing that needs attention; nothing where there is none. `proofs` of its kinds."""
    # A misfit often follows from a reading in doubt, so those come first.
    found = [f"IN DOUBT: {line}" for line in doubt_lines(plan.doubts, unit)]
    found += failing(plan, unit)
    found += _without_reading(plan.unmeasured_positions)
    found += _without_wall(unmeasured_shells(plan.job))
    flags = [flag for flag in plan.flags if flag.what.code != "misfit"]
    found += [f"{whole(flag.position)}: {clean(words_of(flag.what, unit))}" for flag in flags]
    found += [
        f"NOT PROVEN: {clean(kind)}: a better choice may exist, see HOW GOOD IT IS"
        for kind, p in proofs.items()
        if not p.proven
    ]
    return items("NEEDS ATTENTION", found)


def next_steps(plan: JobPlan, proofs: Mapping[str, Proof]) -> list[str]:
    """What to do now, in the order of doing it."""
    bad = [p for p in plan.placements if not p.within_limits]
    unread = {p.kind for p in plan.unmeasured_positions} | {s.kind for s in unmeasured_shells(plan.job)}
    complete = [kind for kind in plan.job.kinds if kind not in unread]
    steps = []
    if unread:
        which = "any shell" if not complete else f"a shell of {' or '.join(whole(k) for k in sorted(unread))}"
        steps.append(
            "First take the missing readings, write them in and run this again. Do that before "
            f"{which} is fitted: the answer may change."
        )
    if plan.doubts:
        steps.append("Before anything else measure again what is in doubt, and write down what you find.")
    if plan.unfilled and not bad and all(u.why.code == "short" for u in plan.unfilled):
        steps.append("Open another box: shells are short.")
    elif bad or plan.unfilled:
        steps.append(
            "Where a position is bad or empty, measure its journal and housing bore again, and the walls. If they "
            f"stand, open another box or choose {_other_shells(bad)}."
        )
    if bad:
        steps.append(f"Run no engine with a bore marked {DANGER}: its shells are only the least bad choice.")
    if any(not p.proven for p in proofs.values()):
        steps.append("Allow more time (--time-limit) if the plan is to be proven the best.")
    good = [p for p in plan.placements if p.within_limits and p.position.kind in complete]
    if good:
        whose = "of the good positions" if bad or plan.unfilled else "as shown"
        if unread:
            whose += f" ({', '.join(whole(kind) for kind in complete)})"
        steps.append(
            f"Lay out the shells {whose}, fit them, tighten the caps to the maker's torque, measure each assembled "
            "bore."
        )
    return items("NEXT", steps, first="  - ", rest=None)


def _other_shells(bad: list[Placement]) -> str:
    tight, loose = any(p.shortfall_nm for p in bad), any(p.excess_nm for p in bad)
    if tight == loose:
        return "shells with other walls"
    return "thinner shells" if tight else "thicker shells"


def _positions(count: int) -> str:
    return "1 position" if count == 1 else f"{count} positions"


def _without_reading(positions: Sequence[Position]) -> list[str]:
    """One item for all positions of a kind that lack the same: a blank job is one thing to do."""
    groups: defaultdict[tuple[str, tuple[str, ...]], list[str]] = defaultdict(list)
    for position in positions:
        groups[position.kind, position.missing].append(whole(position.name))
    return [
        f"{NOT_MEASURED}: {', '.join(names)} ({clean(kind)}): no reading of {' and '.join(missing).replace('_', ' ')}"
        for (kind, missing), names in groups.items()
    ]


def _without_wall(shells: list[Shell]) -> list[str]:
    """One item for each box, not for each shell: a box nobody has measured yet is one thing to do."""
    by_box: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for shell in shells:
        by_box[shell.box, shell.kind].append(whole(shell.name))
    return [
        f"{NOT_MEASURED}: shells of {whole(box)} ({clean(kind)}): no wall of {', '.join(names)}"
        for (box, kind), names in by_box.items()
    ]
