"""Boxes that are one box under two names: a file that was copied gives shells that do not exist."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple

from fitmatch.records.parts import Shell
from fitmatch.wording import shorten

_FEWEST: Final = 4  # shells of a box that is contained in another
_TOLD: Final = 2  # readings by which a box tells itself from another; one alone may be like another by chance


class Copy(NamedTuple):
    """A box whose every shell is in another one too, told by the first shell of each. `reason` says why the two truly
    read alike, if anybody does."""

    shell: Shell
    other: Shell
    reason: str = ""

    def mistake(self, other_file: str) -> str:
        """What is wrong and what to do."""
        text = f"box `{shorten(self.shell.box)}` has the shells and readings of box `{shorten(self.other.box)}`"
        todo = "take this file out or write in its own readings; if two boxes truly read alike, say why in a column"
        return f"{text} ({other_file}), one box under two names; {todo} `copy_confirmed`"

    def warning(self, file: str, other_file: str) -> str:
        """That two boxes are taken as two though they read alike."""
        text = f"{file}: box `{shorten(self.shell.box)}` reads like box `{shorten(self.other.box)}` ({other_file})"
        return f"{text} and is taken as another one, as its column `copy_confirmed` says: {shorten(self.reason)}"


def copies(shells: Iterable[Shell], confirmed: Mapping[str, str]) -> Iterator[Copy]:
    """Every box that is equal to one before it, or contained in another; `confirmed`: reasons by box."""
    boxes = _Boxes(shells)
    for box, other in boxes.alike():
        yield Copy(boxes.first(box), boxes.first(other), confirmed.get(box) or confirmed.get(other) or "")


class _Boxes:
    """The shells of each box. Boxes without names in common are never compared, so that a large store costs little."""

    def __init__(self, shells: Iterable[Shell]) -> None:
        self._shells: defaultdict[str, list[Shell]] = defaultdict(list)
        for shell in shells:
            self._shells[shell.box].append(shell)

    def first(self, box: str) -> Shell:
        return self._shells[box][0]

    def alike(self) -> Iterator[tuple[str, str]]:
        """Each box that another one holds, with that one."""
        alike: defaultdict[frozenset[str], list[str]] = defaultdict(list)
        for box, shells in self._shells.items():
            alike[frozenset([s.name for s in shells])].append(box)
        of_name: defaultdict[str, list[frozenset[str]]] = defaultdict(list)
        for names in alike:
            for name in names:
                of_name[name].append(names)
        found: dict[str, str] = {}
        for names, boxes in alike.items():
            for within in min((of_name[name] for name in names), key=len):
                if names <= within and (len(boxes) > 1 or names != within):
                    self._compare(names, boxes, alike[within], found)
        yield from ((box, found[box]) for box in self._shells if box in found)

    def _compare(self, names: frozenset[str], boxes: list[str], others: list[str], found: dict[str, str]) -> None:
        """Note those of the boxes, whose shells have these names, that the first of others to hold them holds."""
        first: dict[int, str] = {}  # by a hash: what is known of a million shells is not kept
        hashes = {box: self._hash(box, names) for box in dict.fromkeys((*others, *boxes))}
        for other in others:
            first.setdefault(hashes[other], other)
        for box in boxes:
            other = first.get(hashes[box], box)
            if other != box and self._tells(box, other) and self._known(other, names) == self._known(box, names):
                found.setdefault(box, other)

    def _hash(self, box: str, names: frozenset[str]) -> int:
        """Equal where all that is known is equal."""
        shells = self._shells[box]
        if len(shells) != len(names):
            shells = [s for s in shells if s.name in names]
        first = [size.readings[0].nm if (size := s.measured) is not None else 0 for s in shells]
        return hash(frozenset(zip([s.name for s in shells], first, strict=True)))

    def _known(self, box: str, names: frozenset[str]) -> frozenset[tuple[str, str, tuple[int, ...]]]:
        """Name, half and readings of the shells of a box that have these names."""
        return frozenset([(s.name, s.half, _readings(s)) for s in self._shells[box] if s.name in names])

    def _tells(self, box: str, other: str) -> bool:
        """Whether so much of the box is measured that it is not like another by chance, or for want of readings."""
        shells = self._shells[box]
        measured = sum(s.measured is not None for s in shells)
        return measured >= (min(_TOLD, len(shells)) if len(shells) == len(self._shells[other]) else _FEWEST)


def _readings(shell: Shell) -> tuple[int, ...]:
    size = shell.measured
    return () if size is None else tuple([r.nm for r in (*size.readings, *size.aside)])
