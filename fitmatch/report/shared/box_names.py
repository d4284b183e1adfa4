"""Names of shells; short names for boxes, for tables in which their own are too long, and what tells the full ones."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import count
from string import ascii_lowercase

from fitmatch.names import natural
from fitmatch.records.keys import full_name
from fitmatch.records.parts import Shell
from fitmatch.report.shared.layout import whole


def shell_name(shell: Shell) -> str:
    """Its box and its own name, not parted at the end of a line."""
    return whole(full_name(shell.key))


def told_short(names: Iterable[str]) -> Iterator[str]:
    """Each name in full, or only what follows its last hyphen where the one before has the same beginning: `rods-A`
    and `-B`."""
    before = ""
    for name in names:
        start, hyphen, end = name.rpartition("-")
        yield hyphen + end if start and start == before else name
        before = start


def by_their_ends(names: Iterable[str], taken: Iterable[str]) -> dict[str, str]:
    """Each name with what follows its last hyphen, in natural order, where all these differ and no other name that is
    `taken` is one of them; otherwise none, and so where nothing becomes shorter."""
    ends = {name: name.rpartition("-")[2] or name for name in sorted(set(names), key=natural)}
    short = {end for name, end in ends.items() if end != name}
    return ends if short and len(set(ends.values())) == len(ends) and short.isdisjoint(taken) else {}


def by_letters(names: Iterable[str], taken: Iterable[str]) -> dict[str, str]:
    """Each name with a letter, in natural order; none by which another box goes."""
    goes_by = {name.lower() for name in taken}
    letters = (letter * times for times in count(1) for letter in ascii_lowercase)
    free = (letter for letter in letters if letter not in goes_by)
    return dict(zip(sorted(set(names), key=natural), free, strict=False))


def legend(boxes: Mapping[str, str]) -> str:
    """What tells the full names of boxes."""
    by_end = all(name.endswith(short) for name, short in boxes.items())
    told = told_short(boxes) if by_end else (f"{short} = {name}" for name, short in boxes.items())
    return f"boxes: {', '.join(map(whole, told))}"
