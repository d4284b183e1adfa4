"""What is left over, counted by box and half, and what is held."""

from collections import Counter, defaultdict
from collections.abc import Sequence

from fitmatch.records.parts import HALVES, Shell
from fitmatch.records.plans import Plan
from fitmatch.report.shared.layout import clean, paragraph, whole
from fitmatch.report.text.positions import shell_name

_MOST_BOXES = 12  # of more nobody reads every count
_MOST_HELD = 4


def left_over(plan: Plan) -> list[str]:
    """A sentence for what is left over, one for what is held."""
    count = len(plan.leftover)
    told = f"{_shells(count)}: {_by_box(plan.leftover)}" if count else "no shell"
    lines = paragraph(f"LEFT OVER: {told}.", rest="  ")
    if plan.held:
        few = len(plan.held) <= _MOST_HELD
        which = ", ".join(map(_held, plan.held)) if few else f"{_shells(len(plan.held))}: {_by_box(plan.held)}"
        lines += paragraph(f"HELD, not used: {which}.", rest="  ")
    return lines


def _by_box(shells: Sequence[Shell]) -> str:
    kinds: defaultdict[str, set[str]] = defaultdict(set)
    for shell in shells:
        kinds[shell.box].add(shell.kind)
    counts: defaultdict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for shell in shells:
        counts[shell.box, shell.kind if len(kinds[shell.box]) > 1 else ""][shell.half] += 1
    boxes = list(counts.items())
    told = [whole(" ".join(filter(None, key))) + f" {_halves(count)}" for key, count in boxes[:_MOST_BOXES]]
    if rest := boxes[_MOST_BOXES:]:
        told.append(f"{len(rest)} more boxes {_halves(sum((count for _, count in rest), Counter()))}")
    return "; ".join(told)


def _halves(count: Counter[str]) -> str:
    return ", ".join(whole(f"{count[half]} {half}") for half in HALVES if count[half])


def _held(shell: Shell) -> str:
    return shell_name(shell) + (f" ({clean(shell.hold)})" if shell.hold else "")


def _shells(count: int) -> str:
    return f"{count} shell{'' if count == 1 else 's'}"
