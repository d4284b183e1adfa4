"""What is left over, counted by box and half, and what is held."""

from collections import Counter, defaultdict
from collections.abc import Sequence

from fitmatch.records.answers.plans import Plan
from fitmatch.records.keys import full_name
from fitmatch.records.parts import Shell
from fitmatch.report.shared.box_names import shell_name, told_short
from fitmatch.report.shared.layout import clean, paragraph, whole

_MOST_BOXES = 12  # of more nobody reads every count
_MOST_HELD = 4
_MOST_ASTRAY = 12


def left_over(plan: Plan) -> list[str]:
    """A sentence for what is left over, one for what is held."""
    shells = plan.left_in_files
    told = f"{_counted(shells)}" if shells else "no shell"
    stays = _on_shelf(plan)
    lines = paragraph(f"LEFT OVER: {told}.{stays}", rest="  ")
    if plan.held:
        few = len(plan.held) <= _MOST_HELD
        which = ", ".join(map(_held, plan.held)) if few else _counted(plan.held)
        lines += paragraph(f"HELD, not used: {which}.", rest="  ")
    return lines + _astray(plan)


def _on_shelf(plan: Plan) -> str:
    """How many shells that fit stay on the shelf, by kind."""
    if plan.job.shelved is None:
        return ""
    left = Counter(shell.kind for shell in plan.leftover if shell.is_shelved)
    if not left:
        return " None of these families is left on the shelf."
    each = ", ".join(f"{count} {clean(kind)}" for kind, count in left.items())
    return f" On the shelf stay {each} shells of these families."


def _astray(plan: Plan) -> list[str]:
    """Shells whose mark no position asks for, each with its mark: they must not be taken for others of their box."""
    named = [
        whole(f"{full_name(shell.key)} {clean(stray.column)} {clean(stray.mark)}")
        for one in plan.plans
        for stray in one.strays
        for shell in stray.shells
    ]
    if not named:
        return []
    more = [f"{len(named) - _MOST_ASTRAY} more"] if len(named) > _MOST_ASTRAY else []
    return paragraph(f"Among these, marked for no position: {', '.join([*named[:_MOST_ASTRAY], *more])}.", rest="  ")


def _counted(shells: Sequence[Shell]) -> str:
    halves = ", upper + lower" if any(shell.half != "either" for shell in shells) else ""
    return f"{len(shells)} shell{'' if len(shells) == 1 else 's'}{halves}: {_by_box(shells)}"


def _by_box(shells: Sequence[Shell]) -> str:
    kinds: defaultdict[str, set[str]] = defaultdict(set)
    for shell in shells:
        kinds[shell.box].add(shell.kind)
    counts: defaultdict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for shell in shells:
        counts[shell.box, shell.kind if len(kinds[shell.box]) > 1 else ""][shell.half] += 1
    boxes = list(counts.items())
    names = told_short(box for (box, _), _ in boxes[:_MOST_BOXES])
    each = zip(names, boxes, strict=False)
    told = [whole(" ".join(filter(None, [name, kind, _halves(count)]))) for name, ((_, kind), count) in each]
    if rest := boxes[_MOST_BOXES:]:
        told.append(f"{len(rest)} more boxes {_halves(sum((count for _, count in rest), Counter()))}")
    return "; ".join(told)


def _halves(count: Counter[str]) -> str:
    both = f"{count['upper']} + {count['lower']}" if count["upper"] or count["lower"] else ""
    return whole(", ".join(filter(None, [both, f"{count['either']} either" if count["either"] else ""])))


def _held(shell: Shell) -> str:
    return shell_name(shell) + (f" ({clean(shell.hold)})" if shell.hold else "")
