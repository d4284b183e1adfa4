"""Mistakes that a whole session shares: all walls of a box, all journals of a kind. Only the clearance shows them.

A box of a neighbouring wall step is not a mistake, so a box is doubted only if it fits no group of journals of its
kind, and then by how far its own walls would have to be off. Where a gauge is known to have moved, readings before and
after it are groups of their own: what they make a box miss by is that mistake and no other.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from statistics import median
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.causes.grinds import INCH, MM
from fitmatch.gauging.doubts.groups import Entry, Finding, Group
from fitmatch.records.job import Job

_STEP_NM: Final = 80_000.0  # neighbouring sets of shells change a clearance by less: 0.003 in, common practice
_BELOW_NOTHING_NM: Final = 25_400.0  # a set with an interference of more than 0.001 in fits no journal
_LARGEST_SHARE: Final = 0.003  # of the journal's diameter that a clearance can be, common practice, no source
_ALIKE_NM: Final = 40_000.0
_CLOSE_NM: Final = 10_000.0  # how close to half an undersize step the walls of a session are


class _Box(NamedTuple):
    """The groups of a box by half."""

    name: str
    halves: Mapping[str, list[Group]]

    def of(self, half: str) -> list[Group]:
        """An `either` shell serves both halves."""
        return self.halves.get(half) or self.halves.get("either") or []

    def centre(self, half: str) -> float:
        values = [value for group in self.of(half) for value in group.values]
        return median(values) if values else float("nan")

    @property
    def first(self) -> Entry:
        return next(iter(self.halves.values()))[0].entries[0]

    @property
    def walls(self) -> list[float]:
        """What its upper and lower wall may add up to; nothing if it lacks a half."""
        return [a.middle + b.middle for a, b in product(self.of("upper"), self.of("lower"))]


def shared(job: Job, groups: Sequence[Group]) -> Iterator[Finding]:
    """What all readings of a session share, kind by kind."""
    for kind in job.kinds:
        yield from _of_kind(job, kind, [g for g in groups if g.key.kind == kind and g.at_crown])


def _of_kind(job: Job, kind: str, groups: Sequence[Group]) -> Iterator[Finding]:
    journals = [group for group in groups if group.key.feature == "journal"]
    bores = [group for group in groups if group.key.feature == "housing_bore"]
    boxes: dict[tuple[str, str], dict[str, list[Group]]] = {}
    for group in groups:
        if group.key.feature == "wall":
            halves = boxes.setdefault((group.key.box, group.key.label), {})
            halves.setdefault(group.key.half, []).append(group)
    named = (_Box(name or label, halves) for (name, label), halves in boxes.items())
    found = [box for box in named if box.walls]  # both halves, or nothing can be said
    if not journals or not bores or not found:
        return
    aims = [p for p in job.positions if p.kind == kind and p.target_nm is not None]
    target = median(p.target_nm or 0 for p in aims) if aims else 0.0
    sizes = [group.middle for group in journals]
    room = [group.middle - size for group in bores for size in sizes]
    low = min([0, *(p.min_nm for p in aims if p.min_nm is not None)]) - _BELOW_NOTHING_NM
    high = max([_LARGEST_SHARE * max(sizes), *(p.max_nm for p in aims if p.max_nm is not None)]) + _STEP_NM
    off = {}  # by number: the least by which the clearance of a box that fits nowhere misses the target
    for k, box in enumerate(found):
        clearances = [r - walls for r in room for walls in box.walls]
        if not any(low <= c <= high for c in clearances):
            off[k] = min((c - target for c in clearances), key=abs)
    if not off:
        return
    if len(off) == len(found) and max(off.values()) - min(off.values()) < 2 * _ALIKE_NM:
        yield _whole_kind(kind, min(off.values(), key=_strangeness), found, journals[0].entries[0])
        return
    good = [box for k, box in enumerate(found) if k not in off]
    for k, error in off.items():
        yield from _one_box(found[k], error, good)


def _whole_kind(kind: str, off: float, boxes: list[_Box], journal: Entry) -> Finding:
    """Every box misses by about the same: the walls (all or one half), the journals or the bores may be off."""
    half = _half_apart(boxes[0], off)
    if half is not None:
        return _sitting(boxes[0].of(half)[0].entries[0], "wall", half, kind, -off, _wall_names(-off) or ("unknown",))
    by_walls = _wall_names(-off / 2)
    by_journals = _journal_names(off)
    if by_walls:
        return _sitting(boxes[0].first, "wall", "", kind, -off / 2, (*by_walls, *by_journals)[:3])
    return _sitting(journal, "journal", "", kind, -off, by_journals or ("unknown",))


def _strangeness(off: float) -> tuple[bool, float]:
    """Of several boxes that miss, the one that a known mistake explains says what is wrong: grades differ a little."""
    return not (_wall_names(-off / 2) or _journal_names(off)), abs(off)


def _half_apart(box: _Box, off: float) -> str | None:
    """The half whose walls alone explain it: it differs from the other half by what is missing."""
    upper, lower = box.centre("upper"), box.centre("lower")
    if abs(upper - lower) < _ALIKE_NM or "either" in box.halves:
        return None
    return "upper" if abs(upper - lower + off) < abs(lower - upper + off) else "lower"


def _one_box(box: _Box, off: float, good: list[_Box]) -> Iterator[Finding]:
    """One box fits nowhere, while others do."""
    if good:
        for half in box.halves:
            usual = median(other.centre(half) for other in good)
            error = box.centre(half) - usual
            if abs(error) > _ALIKE_NM:
                names = _wall_names(error) or _wall_names(-off / 2) or ("unknown",)
                yield _sitting(box.of(half)[0].entries[0], "wall", half, box.name, error, names)
        return
    yield _sitting(box.first, "wall", "", box.name, -off / 2, _wall_names(-off / 2) or ("unknown",))


def _sitting(first: Entry, feature: str, half: str, of: str, error_nm: float, signatures: tuple[str, ...]) -> Finding:
    """Readings that look off together, all of a feature `of` a kind or a box, or one `half` of them, shown at the
    first."""
    return first, feature, Fact("sitting", {"error_nm": round(error_nm), "half": half, "of": of}), signatures


def _wall_names(error: float) -> tuple[str, ...]:
    """What makes every wall of a session this much too thick or thin."""
    names = []
    if 1.5 * MM < abs(error) < 8.5 * MM:
        names.append("ball-left-in" if error > 0 else "ball-twice")
    if 120_000 < error < 260_000:
        names.append("flat-anvil")
    if any(abs(abs(error) - k * step) < _CLOSE_NM for step in (INCH / 200, MM / 8) for k in (1, 2, 3)):
        names.insert(0, "shells-for-another-grind")
    if any(abs(abs(error) - turn) < _ALIKE_NM for turn in (INCH / 40, MM / 2, MM)):
        names.append("thimble-turn")
    return tuple(names)


def _journal_names(off: float) -> tuple[str, ...]:
    """What makes every clearance of a kind this much too large, if the journals are the cause."""
    names = []
    if any(abs(abs(off) - k * step) < 2 * _CLOSE_NM for step in (INCH / 100, MM / 4) for k in (1, 2, 3, 4)):
        names.append("shells-for-another-grind")
    if any(abs(abs(off) - turn) < _ALIKE_NM for turn in (INCH / 40, MM / 2, MM)):
        names.append("thimble-turn")
    if any(abs(abs(off) - frame) < 2 * _ALIKE_NM for frame in (INCH, 25 * MM)):
        names.append("wrong-frame")
    return tuple(names)
