"""The part of the text report that says what the answer rests on: the boxes that were read and the rules in force."""

from collections.abc import Iterator

from fitmatch.lengths import exact
from fitmatch.parts import ANY, HALVES, Job
from fitmatch.report.layout import clean, paragraph, whole
from fitmatch.report.scale import Scale


def boxes_read(job: Job) -> list[str]:
    return paragraph("Boxes read: " + (", ".join(_boxes(job)) or "none") + ".", rest="  ")


def rules_in_force(job: Job, scale: Scale) -> list[str]:
    return paragraph("Rules in force: " + "; ".join(_rules(job, scale)) + ".", rest="  ")


def _boxes(job: Job) -> Iterator[str]:
    """Every box in file order with how many shells of each kind and half it was read with, held ones and all."""
    counts: dict[str, dict[str, dict[str, int]]] = {}
    for shell in job.shells:
        halves = counts.setdefault(shell.box, {}).setdefault(shell.kind, dict.fromkeys(HALVES, 0))
        halves[shell.half] += 1
    for box, kinds in counts.items():
        held = [
            f"{kind} " + ", ".join(f"{halves[half]} {half}" for half in HALVES if halves[half])
            for kind, halves in kinds.items()
        ]
        yield whole(f"{box} ({'; '.join(held)})")


def _rules(job: Job, scale: Scale) -> Iterator[str]:
    rules = job.rules
    difference = rules.wall_difference_nm
    yield "wall_difference " + ("off" if difference is None else _size(difference, scale))
    if rules.thick_half:
        sides = ", ".join(f"{clean(kind)} {side}" for kind, side in rules.thick_half.items())
        yield f"thick_half {sides}, from {_size(rules.thick_half_from_nm, scale)}"
    matched = [column for at, column in enumerate(job.matched_columns) if not job.name or _asked(job, at)]
    if matched:
        yield "match " + ", ".join(map(clean, matched))
    if rules.same_in_bore:
        yield "same_in_bore " + ", ".join(map(clean, rules.same_in_bore))
    for name, limits in (("neighbour_step", rules.neighbour_step_nm), ("line", rules.line_nm)):
        if limits:
            yield f"{name} " + ", ".join(f"{clean(kind)} {_size(nm, scale)}" for kind, nm in limits.items())
    if rules.movable:
        within = f" within {', '.join(map(clean, rules.movable_within))}" if rules.movable_within else ""
        yield f"movable {', '.join(map(clean, rules.movable))}{within}"
    yield f"limits_at {rules.limits_at}"
    if rules.guard:
        yield f"guard {rules.guard:g}"


def _asked(job: Job, at: int) -> bool:
    """Whether a column that some of several jobs match is matched in this one."""
    return any({p.wants_upper[at], p.wants_lower[at]} != {ANY} for p in job.positions)


def _size(nm: int, scale: Scale) -> str:
    """To the last digit: walls are held against this very figure."""
    return f"{exact(2 * nm, scale.unit)} {scale.unit}"
