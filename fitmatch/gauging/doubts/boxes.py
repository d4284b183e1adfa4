"""Boxes that do not agree with what is written on them: two with the same grade or step read differently, or as if
their labels were exchanged; and boxes whose halves do not agree."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from statistics import median
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.groups import Entry, Finding, Group
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.lengths import LengthError, parse_length
from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey
from fitmatch.records.parts import Shell, room
from fitmatch.stages import Ask, asking

_APART_NM: Final = 10_000.0  # shells of one grade or step are closer, whichever box: common practice, no source
_HALVES_APART_NM: Final = 18_000.0  # two walls of a bore are closer than 0.0007 in: common practice, no source
_ENOUGH: Final = 100  # boxes that one is held against
_AT_THE_JOINT_NM: Final = 30_000.0  # a wall at the joint is thinner by less than this


class _Box(NamedTuple):
    """Shells of one box and one label. `printed_nm` is what the step on it adds to a wall."""

    name: str
    first: Entry
    centres_nm: Mapping[str, list[float]]  # by half; several, if a gauge moved
    printed_nm: float

    def above(self, other: "_Box", printed_nm: float | None = None) -> float | None:
        """How much thicker its walls are than those of another, beyond what is printed."""
        halves = self.centres_nm.keys() & other.centres_nm.keys()
        printed = self.printed_nm - other.printed_nm if printed_nm is None else printed_nm
        above = [[a - b - printed for a, b in product(self.centres_nm[h], other.centres_nm[h])] for h in halves]
        return median(min(some, key=abs) for some in above) if above else None


def mislabelled(job: Job, groups: Sequence[Group], ask: Ask) -> Iterator[Finding]:
    """The boxes of one kind that differ from others by more than their labels do."""
    labelled = [g for g in groups if g.key.feature == "wall" and g.key.box and g.key.label and g.at_crown]
    if not labelled:
        return
    shells: dict[ItemKey, Shell] = {shell.key: shell for shell in job.shells}
    boxes: dict[tuple[str, str], dict[tuple[str, str], list[Group]]] = {}
    for group in labelled:
        key = group.key
        shell = shells[group.entries[0].item]
        if shell.grade or shell.step:
            label = shell.label if _printed(shell, job.unit) is None else f"step {shell.grade} {shell.coating_nm > 0}"
            alike = (key.kind, label)
            boxes.setdefault(alike, {}).setdefault((key.box, key.label), []).append(group)
    for (kind, _), found in boxes.items():
        if len(found) > 1:
            some = [_box(job, shells, name, parts) for (name, _), parts in found.items()]
            yield from _compared(job, kind, some, ask)


def halves_apart(job: Job, groups: Sequence[Group], scale: Scale) -> Iterator[tuple[Finding, set[ItemKey]]]:
    """Boxes whose upper and lower walls differ by more than those of a bore may; and the shells of each that agree with
    the other half, which is no doubt of its own. The later half is called off."""
    boxes: dict[tuple[str, str, str], list[Group]] = {}
    for group in groups:
        key = group.key
        if key.feature == "wall" and key.box and key.half in ("upper", "lower") and group.at_crown:
            boxes.setdefault((key.kind, key.box, key.label), []).append(group)
    for (kind, box, label), parts in boxes.items():
        if len(parts) != 2 or parts[0].key.half == parts[1].key.half:
            continue  # where a gauge moved within a half, that says enough
        first, second = parts
        error = second.middle - first.middle
        band = job.drawing.get(kind, {}).get("wall")
        if abs(error) <= max(_HALVES_APART_NM, scale.limit_nm) or (
            band is not None and not label and all(round(part.middle) in band for part in parts)
        ):
            continue
        centre = (first.middle + second.middle) / 2
        off = [e for e in (*first.entries, *second.entries) if (e.value_nm - centre) * error > 0]
        own = {e.item for e in second.entries}
        strays = {e.item for e in off} ^ own
        slots = {"error_nm": round(error), "half": second.key.half, "of": box}
        names = tuple(dict.fromkeys(e.name for e in off))
        what = Fact("clusters", {**slots, "items": names, "last": names[-1]})
        yield (off[0], "wall", what, ("gauge-setting", "two-sizes")), strays


def _printed(shell: Shell, unit: str) -> float | None:
    """What its step adds to its wall; None if that is no length."""
    try:
        return parse_length(shell.step, unit, inch_job=unit == "in")[0] / 2
    except LengthError:
        return None


def _box(job: Job, shells: Mapping[ItemKey, Shell], name: str, parts: Sequence[Group]) -> _Box:
    first = parts[0].entries[0]
    halves: dict[str, list[float]] = {}
    for part in parts:
        halves.setdefault(part.key.half, []).append(part.middle)
    return _Box(name, first, halves, _printed(shells[first.item], job.unit) or 0.0)


def _compared(job: Job, kind: str, boxes: Sequence[_Box], ask: Ask) -> Iterator[Finding]:
    """Each box against the others, or enough of them; of two either may be off, and the one further from the target is
    named."""
    off: list[tuple[float, _Box]] = []
    others = boxes[:: 1 + len(boxes) // _ENOUGH]
    for box in asking(boxes, ask, 1):
        above = [a for other in others if other is not box and (a := box.above(other)) is not None]
        if above and abs(median(above)) > _APART_NM:
            off.append((median(above), box))
    pairs = (
        (one, other)
        for k, (_, one) in enumerate(off)
        for _, other in off[k + 1 :]
        if abs(one.above(other, other.printed_nm - one.printed_nm) or 0.0) < _APART_NM / 2
        and abs(one.printed_nm - other.printed_nm) >= _APART_NM / 2
    )
    exchanged = next(pairs, ())
    for box in exchanged:
        error = next(error for error, some in off if some is box)
        yield _finding(box, error, ("labels-exchanged",))
    if exchanged:
        return
    if len(boxes) == 2 and off:
        off = [max(off, key=lambda one: _miss(job, kind, one[1]))]
    for error, box in off:
        at_the_joint = -_AT_THE_JOINT_NM < error < 0
        yield _finding(box, error, ("wall-low", "gauge-setting") if at_the_joint else ("gauge-setting",))


def _miss(job: Job, kind: str, box: _Box) -> float:
    """How far two of its walls are from giving the target; without a target the thinner box is the further."""
    walls = 2 * median(centre for some in box.centres_nm.values() for centre in some)
    measured = [p for p in job.positions if p.kind == kind and not p.missing and p.target_nm is not None]
    if not measured:
        return -walls
    return abs(median(room(p) - (p.target_nm or 0) for p in measured) - walls)


def _finding(box: _Box, error: float, names: tuple[str, ...]) -> Finding:
    return box.first, "wall", Fact("sitting", {"error_nm": round(error), "half": "", "of": box.name}), names
