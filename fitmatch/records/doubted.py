"""What open doubts are about: the positions and the shells that wait until they are settled."""

from collections.abc import Iterable
from typing import NamedTuple

from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, ShellKey, full_name
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Position, Shell
from fitmatch.records.placements import Placement


class Doubted(NamedTuple):
    """Positions and shells by their keys, with their kinds. A housing bore has the key of the row in which it was
    measured."""

    journals: dict[PositionKey, str]
    bores: dict[PositionKey, str]
    shells: dict[ShellKey, str]

    @property
    def kinds(self) -> set[str]:
        """The kinds of which anything is in doubt."""
        return {kind for some in self for kind in some.values()}

    def concerns(self, position: Position, placed: Placement | None) -> bool:
        """Whether the position's own sizes are in doubt, or a wall of its shells."""
        if position.key in self.journals or (position.job, position.housing or position.name) in self.bores:
            return True
        return placed is not None and (placed.upper.key in self.shells or placed.lower.key in self.shells)

    def could_fill(self, position: Position) -> tuple[str, ...]:
        """The shells in doubt of the kind of an empty position: one of them might go there."""
        return tuple(full_name(key) for key, kind in self.shells.items() if kind == position.kind)


def doubted(told: Iterable[tuple[Job, Iterable[Doubt]]]) -> Doubted:
    """What is in doubt in these jobs; for a row that looks copied, the other one as well."""
    found = Doubted({}, {}, {})
    for job, doubt in ((job, doubt) for job, doubts in told for doubt in doubts):
        if doubt.feature == "wall":
            found.shells.update((s.key, s.kind) for s in _shells(job, doubt))
        else:
            rows = found.journals if doubt.feature == "journal" else found.bores
            rows.update((p.key, p.kind) for p in _positions(job, doubt))
    return found


def of_held(job: Job, doubt: Doubt) -> bool:
    """Whether a doubt is about the walls of held shells alone: nothing rests on them."""
    return doubt.feature == "wall" and all(shell.hold is not None for shell in _shells(job, doubt))


def _positions(job: Job, doubt: Doubt) -> Iterable[Position]:
    """A gauge set again, or a whole sitting, puts the kind in doubt."""
    kind, items = doubt.what.slots.get("of"), _items(doubt)
    return (p for p in job.positions if (p.name in items if kind is None else p.kind == kind))


def _shells(job: Job, doubt: Doubt) -> Iterable[Shell]:
    """A sitting is one of a kind, of a box or, if small boxes were judged together, of shells with one label; so is a
    gauge set again."""
    own, slots = job.own_shells or job.shells, doubt.what.slots
    items = _items(doubt)
    named = [s for s in own if full_name(s.key) in items]
    if "of" not in slots:
        return named
    alike = (s for s in own if s.kind == named[0].kind and slots["half"] in ("", s.half))
    return (s for s in alike if slots["of"] in (s.kind, s.box, s.label))


def _items(doubt: Doubt) -> tuple[object, ...]:
    return doubt.item, doubt.what.slots.get("other")
