"""The part of the text report about shells that are not in the engine: left over, broken sets, held."""

from collections import Counter, defaultdict
from functools import partial

from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import HALVES, Shell
from fitmatch.report.shared.box_names import shell_name
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import marks_of, unmeasured_shells

_MOST_NAMED = 1_000  # of more shells nobody reads every name


def remaining(plan: Plan, scale: Scale) -> list[str]:
    lines = _left_over(plan, scale)
    broken = _broken_sets(plan)
    if broken:
        lines += paragraph("; ".join(broken) + ".", first="Halves left without a partner in their box: ", rest="  ")
    for shell in plan.held:
        reason = f": {clean(shell.hold)}" if shell.hold else ""
        lines += paragraph(
            f"Held, not used: {shell_name(shell)} ({clean(shell.kind)}, {shell.half}){reason}", rest="  "
        )
    return lines


def _broken_sets(plan: Plan) -> list[str]:
    """Boxes in which uppers remain without lowers or the other way round, and what remains. A shell of either half
    makes up for one that is lacking, and shells still to be measured are in the box as well."""
    locked = {lock for one in plan.plans for p in one.job.positions for lock in (p.upper, p.lower) if lock}
    left = {s.key: s for s in (*plan.left_in_files, *unmeasured_shells(plan.job)) if s.key not in locked}
    boxes: defaultdict[tuple[str, str], dict[str, int]] = defaultdict(lambda: dict.fromkeys(HALVES, 0))
    for shell in left.values():
        boxes[shell.box, shell.kind][shell.half] += 1
    texts = []
    for (box, kind), count in boxes.items():
        if abs(count["upper"] - count["lower"]) > count["either"]:
            halves = ", ".join(f"{count[half]} {half}" for half in count if half != "either" or count[half])
            texts.append(whole(f"{box}: {kind} {halves}"))
    return texts


def _left_over(plan: Plan, scale: Scale) -> list[str]:
    shells = plan.left_in_files
    if not shells:
        return ["LEFT OVER: no shell"]
    groups: defaultdict[tuple[str, str, str], list[Shell]] = defaultdict(list)
    for shell in shells:
        groups[shell.kind, shell.half, shell.grade or ""].append(shell)
    keys = sorted(groups, key=lambda key: (key[0], HALVES.index(key[1]), key[2]))
    named = len(shells) <= _MOST_NAMED
    each = partial(_each, plan.job)
    head, tell = ("shells and their walls", each) if named else ("how many of each wall", _counts)
    graded = any(grade for _, _, grade in keys)
    rows = table(
        keys,
        Column("kind", lambda key: clean(key[0]), "left", wraps=True),
        Column("half", lambda key: key[1], "left"),
        Column("grade", lambda key: clean(key[2]) or NOTHING, "left", wraps=True, shown=graded),
        Column("count", lambda key: str(len(groups[key]))),
        Column("walls", lambda key: _walls(groups[key], scale), "left"),
        Column(head, lambda key: tell(groups[key], scale), "left", wraps=True),
    )
    told = "" if named else "; --json names each"
    return [f"LEFT OVER: {len(shells)} shell{'s' if len(shells) > 1 else ''}{told}", *rows]


def _each(job: Job, shells: list[Shell], scale: Scale) -> str:
    """For bagging and labelling: every shell with its own wall and marks, not parted at the end of a line."""
    walls = ((s, "" if s.wall_nm is None else f" {scale.length(s.wall_nm)}") for s in shells)
    return ", ".join(whole(shell_name(s) + wall + _marks(job, s)) for s, wall in walls)


def _marks(job: Job, shell: Shell) -> str:
    return "".join(f" {clean(column)} {clean(mark)}" for column, mark in marks_of(job, shell).items())


def _counts(shells: list[Shell], scale: Scale) -> str:
    """What a store holds: of every wall how many."""
    count = Counter(s.wall_nm for s in shells if s.wall_nm is not None)
    return ", ".join(whole(f"{n} of {scale.length(wall)}") for wall, n in sorted(count.items()))


def _walls(shells: list[Shell], scale: Scale) -> str:
    walls = sorted(s.wall_nm for s in shells if s.wall_nm is not None)
    if not walls:
        return NOTHING
    return scale.length(walls[0]) if walls[0] == walls[-1] else f"{scale.length(walls[0])} to {scale.length(walls[-1])}"
