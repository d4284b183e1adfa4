"""Boxes that are one box under two names, or may be: a box that was copied gives shells that do not exist."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from math import prod
from typing import Final, NamedTuple

from fitmatch.records.parts import Shell
from fitmatch.wording import shorten

_FEWEST: Final = 4  # shells of a box that is contained in another
_TOLD: Final = 2  # readings by which a box tells itself from another; one alone may be like another by chance
_CONFIRM: Final = "if two boxes truly read alike, say why in a column `copy_confirmed`"
_UNLIKELY: Final = 0.01  # two boxes under other names that agree with less chance than this are not taken for two


class Copy(NamedTuple):
    """A box whose every shell is in another one too, told by the first shell of each.

    `renamed`: under other shell names, so that it may be another box all the same. `reason` says why the two truly read
    alike, if anybody does. `shares_file`: its file has other boxes too.
    """

    shell: Shell
    other: Shell
    renamed: bool
    reason: str
    shares_file: bool

    @property
    def is_mistake(self) -> bool:
        return not self.renamed and not self.reason

    @property
    def is_of_shelf(self) -> bool:
        """Whether neither is in a file: that they are two was settled when they were taken in."""
        return self.shell.is_shelved and self.other.is_shelved

    @property
    def row(self) -> int | None:
        """Where it begins in a file with other boxes."""
        return self.shell.row if self.shares_file else None

    def mistake(self, other_file: str) -> str:
        """What is wrong and what to do."""
        text = f"box `{shorten(self.shell.box)}` has the shells and readings of {self._other(other_file)}"
        todo = f"take {'its rows' if self.shares_file else 'this file'} out or write in its own readings"
        return f"{text}, one box under two names; {todo}; {_CONFIRM}"

    def warning(self, file: str, other_file: str) -> str:
        """That two boxes are taken as two though they read alike."""
        text = f"{file}: box `{shorten(self.shell.box)}`"
        if self.renamed:
            text = f"{text} has row by row the halves and readings of {self._other(other_file)}, under other shell"
            return f"{text} names; if it is a copy not yet filled in, write in its own readings; {_CONFIRM}"
        text = f"{text} reads like {self._other(other_file)} and is taken as another one, as its column"
        return f"{text} `copy_confirmed` says: {shorten(self.reason)}"

    def _other(self, file: str) -> str:
        place = f"{file}:{self.other.row}" if self.shell.file == self.other.file else file
        return f"box `{shorten(self.other.box)}` ({place})"


def copies(shells: Iterable[Shell], confirmed: Mapping[str, str]) -> Iterator[Copy]:
    """Every box that is equal to one before it, or contained in another; then those equal but for the names of their
    shells, unless confirmed. `confirmed`: reasons by box."""
    boxes = _Boxes(shells)
    for renamed, pairs in ((False, boxes.alike()), (True, boxes.row_by_row())):
        for box, other in pairs:
            first, reason = boxes.first(box), confirmed.get(box) or confirmed.get(other) or ""
            if not (renamed and reason):
                yield Copy(first, boxes.first(other), renamed, reason, boxes.share(first.file))


def look_alikes(found: Iterable[Copy]) -> tuple[tuple[str, str], ...]:
    """The boxes that may be copies, each with the one before it."""
    return tuple((copy.shell.box, copy.other.box) for copy in found if copy.renamed)


class _Boxes:
    """The shells of each box. Boxes without names in common are never compared, so that a large store costs little."""

    def __init__(self, shells: Iterable[Shell]) -> None:
        self._shells: defaultdict[str, list[Shell]] = defaultdict(list)
        for shell in shells:
            self._shells[shell.box].append(shell)

    def first(self, box: str) -> Shell:
        return self._shells[box][0]

    def share(self, file: str) -> bool:
        """Whether several boxes are in a file."""
        return sum(any(s.file == file for s in shells) for shells in self._shells.values()) > 1

    def row_by_row(self) -> Iterator[tuple[str, str]]:
        """Each box that has other names but row by row the halves and readings of one before it, with that one, where
        that is unlikely by accident."""
        alike: defaultdict[tuple[int, ...], list[str]] = defaultdict(list)
        for box, shells in self._shells.items():
            if len(shells) >= _FEWEST:
                begin = [size.readings[0].nm if (size := s.measured) is not None else 0 for s in shells[:_FEWEST]]
                alike[len(shells), *begin].append(box)
        for boxes in alike.values():
            first: dict[tuple[tuple[str, tuple[int, ...]], ...], str] = {}
            for box in boxes if len(boxes) > 1 else ():
                rows = tuple([(s.half, _readings(s)) for s in self._shells[box]])
                if any(not readings for _, readings in rows):
                    continue
                other = first.setdefault(rows, box)
                renamed = {s.name for s in self._shells[other]} != {s.name for s in self._shells[box]}
                if renamed and prod(self._chances[s.kind, s.half] for s in self._shells[box]) < _UNLIKELY:
                    yield box, other

    @cached_property
    def _chances(self) -> dict[tuple[str, str], float]:
        """How often two shells of one kind and half read the same, boxes that read alike counted once; 1 where there is
        only one shell to go by."""
        counts: defaultdict[tuple[str, str], Counter[tuple[int, ...]]] = defaultdict(Counter)
        for rows in {tuple([(s.kind, s.half, _readings(s)) for s in shells]) for shells in self._shells.values()}:
            for kind, half, readings in rows:
                counts[kind, half][readings] += 1
        every = {half: count.total() * (count.total() - 1) for half, count in counts.items()}
        same = {half: sum(n * (n - 1) for n in count.values()) for half, count in counts.items()}
        return {half: same[half] / pairs if pairs else 1.0 for half, pairs in every.items()}

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
