"""What open doubts are about: the positions and the shells that wait until they are settled."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, ShellKey, full_name
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Position, Shell


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
    for job, some in told:
        doubts = list(some)
        shells = _told(job, doubts)
        for doubt in doubts:
            if doubt.feature == "wall":
                found.shells.update((s.key, s.kind) for s in _shells(doubt, shells))
            else:
                rows = found.journals if doubt.feature == "journal" else found.bores
                rows.update((p.key, p.kind) for p in _positions(job, doubt))
    return found


def but_of_held(job: Job, doubts: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """The doubts that are not about the walls of held shells alone: nothing rests on those."""
    shells = _told(job, doubts)
    return tuple(
        doubt
        for doubt in doubts
        if doubt.feature != "wall" or any(shell.hold is None for shell in _shells(doubt, shells))
    )


def _positions(job: Job, doubt: Doubt) -> Iterable[Position]:
    """A gauge set again, or a whole sitting, puts the kind in doubt."""
    kind, items = doubt.what.slots.get("of"), _items(doubt)
    return (p for p in job.positions if (p.name in items if kind is None else p.kind == kind))


class _Told(NamedTuple):
    """The shells that doubts are about: those they name, and those alike in what a sitting is of."""

    named: dict[ShellKey, list[Shell]]
    alike: dict[object, list[Shell]]


def _told(job: Job, doubts: Iterable[Doubt]) -> _Told:
    """Looked up together, as there may be a million shells."""
    walls = [doubt for doubt in doubts if doubt.feature == "wall"]
    keys = {_key(item) for doubt in walls for item in _items(doubt)}
    sittings = {doubt.what.slots.get("of") for doubt in walls} - {None}
    told = _Told({}, {})
    for shell in (job.own_shells or job.shells) if walls else ():
        if (key := shell.key) in keys:
            told.named.setdefault(key, []).append(shell)
        if sittings:
            for what in sittings.intersection((shell.kind, shell.box, shell.label)):
                told.alike.setdefault(what, []).append(shell)
    return told


def _shells(doubt: Doubt, told: _Told) -> Iterable[Shell]:
    """A sitting is one of a kind, of a box or, if small boxes were judged together, of shells with one label; so is a
    gauge set again."""
    slots = doubt.what.slots
    mine = [shell for item in _items(doubt) for shell in told.named.get(_key(item), ())]
    if "of" not in slots:
        return mine
    return (s for s in told.alike[slots["of"]] if s.kind == mine[0].kind and slots["half"] in ("", s.half))


def _items(doubt: Doubt) -> tuple[str, ...]:
    other = doubt.what.slots.get("other")
    return (doubt.item,) if other is None else (doubt.item, str(other))


def _key(item: str) -> ShellKey:
    """The key of the shell with this full name: no name has a stroke in it."""
    box, _, name = item.rpartition("/")
    return box, name
