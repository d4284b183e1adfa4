"""What was most likely meant by text that is not a valid number or header, and what to write instead."""

import re
from collections.abc import Collection, Iterable
from typing import Final

from fitmatch.lengths import LONGEST_NUMBER, NM_PER_UNIT
from fitmatch.names import nearest, other_case, other_coding
from fitmatch.wording import dotted, shorten

_LETTER_O: Final = re.compile(r"(?<![A-Za-z])[oO]+(?![A-Za-z])")
_COMMA: Final = re.compile(r"([+-]?[0-9]*),([0-9]+)\s*([A-Za-zµμ]*)")
_TENTH: Final = re.compile(r"([+-]?[0-9.,]+)\s*tenth", re.IGNORECASE)
_DASHES: Final = frozenset(("-", "--", "---", "\u2013", "\u2014", "?", "n/a"))
_WORD: Final = re.compile(r"[a-z]+")
_TOML_NUMBER: Final = re.compile(r"([+-]?)([0-9]*)([.,]?)([0-9]*)\s*([A-Za-zµμ]*)")

# Words that people use as headings for the needed columns.
_WORDS: Final = {
    "position": ("position", "pos"),
    "kind": ("kind", "type"),
    "journal": ("journal",),
    "housing_bore": ("bore", "housing"),
    "shell": ("shell", "id"),
    "half": ("half", "side"),
    "wall": ("wall", "thickness"),
}


CODED: Final = ", where the same letters are coded in another way"  # behind where a name stands already
COPY: Final = f"{CODED}; copy the name from there"  # behind where a name stands that was looked for


def for_number(text: str, why: str, *, inch_job: bool) -> str:
    """What is wrong with text that is not a length, and what to do; `why` is the message from reading it."""
    typed = text.strip()
    shown = f"`{shorten(typed)}`"
    if typed in _DASHES:
        return f"{shown} is not a number; leave it empty where there is none"
    if _LETTER_O.search(typed) and any(c.isdecimal() for c in typed):
        return f"{shown} has a letter O among its digits; write the figure 0"
    tenth = _TENTH.fullmatch(typed)
    if tenth and inch_job:
        return f"{shown} has an unknown unit `tenth`; write tenths: `{shorten(tenth.group(1))} tenths`"
    comma = _COMMA.fullmatch(typed)
    if comma and len(comma.group(2)) != 3:  # 1,816 may have a thousands separator
        return f"{shown} has a decimal comma; write a decimal point: `{shorten(typed.replace(',', '.'))}`"
    if "between cells" in why:  # worded for .csv files, but a workbook or job.toml has no separator
        return f"{shown} is not a number; write digits with one decimal point, such as 1.8162"
    return why


def for_missing_column(name: str, others: Iterable[str], *, everywhere: bool) -> str:
    """What to do about a column that is missing, here or in every shell file, when one of the `others` may be meant."""
    fault = "no shell file has this column" if everywhere else "the column is missing"
    for other in others:
        base, bracket, unit = other.rpartition("(")
        if not bracket or not unit.endswith(")"):
            base, unit = other, ""
        unit = unit.removesuffix(")").strip()
        if is_near(name, base):
            meant = f"{name} [{unit}]" if unit in NM_PER_UNIT else name
            return f"{fault}; if `{shorten(other)}` is meant, rename it to `{meant}`"
    return f"{fault}; add it{' to each' if everywhere else ''}"


def for_unknown_kind(kind: str, kinds: Collection[str]) -> str:
    """Says that a kind has no table, and which kind may be meant."""
    if other_coding(kind, kinds) is not None:
        return f"there is no [fit.{dotted((kind,))}], though job.toml has one{COPY}"
    meant = other_case(kind, kinds)
    todo = f"add it, or write the nearest kind `{shorten(nearest(kind, kinds) or '')}`"
    if meant is not None:
        todo = f"write the kind with the capitals of its table, `{shorten(meant)}`"
    return f"there is no [fit.{dotted((kind,))}]; {todo}"


def for_unknown_gauge(name: str, gauges: Iterable[str]) -> str:
    """Says that a gauge has no table, and names the nearest that has one."""
    gauges = tuple(gauges)
    if other_coding(name, gauges) is not None:
        return f"there is no [gauge.{dotted((name,))}], though job.toml has one{COPY}"
    near = nearest(name, gauges)
    text = f"there is no [gauge.{dotted((name,))}]; add it"
    return text if near is None else f"{text}, or write the nearest gauge `{near}`"


def for_unknown_position(name: str, positions: Iterable[str]) -> str:
    """Says that a position has no row, and names the nearest that has one."""
    positions = tuple(positions)
    if other_coding(name, positions) is not None:
        return f"there is no position `{shorten(name)}`, though the positions file has one{COPY}"
    near = nearest(name, positions)
    todo = f"the nearest is `{shorten(near)}`" if near else "write its row in the positions file"
    return f"there is no position `{shorten(name)}`; {todo}"


def is_near(name: str, other: str) -> bool:
    """Whether an unknown header contains a word that people use for this column."""
    return not set(_WORD.findall(other)).isdisjoint(_WORDS.get(name, ()))


def for_toml_number(line: str) -> str | None:
    """What to write if a line of job.toml has a number that TOML does not allow; None for other faults."""
    value = line.partition("=")[2].partition("#")[0].strip()
    if value and not value.strip("."):
        return "is still to be filled in; write the engine maker's figure, with a digit before the point"
    match = _TOML_NUMBER.fullmatch(value) if len(value) <= LONGEST_NUMBER else None
    if match is None:
        return None
    sign, whole, point, fraction, unit = match.groups()
    if not whole and not fraction:
        return None
    number = f"{sign}{whole or '0'}.{fraction or '0'}"
    if unit:
        return (
            f'`{shorten(value)}` is not a number in TOML; write a number with its own unit in quotes: "{number} {unit}"'
        )
    how = "decimal point" if point == "," else "digit before the point" if not whole else "digit after the point"
    return f"`{shorten(value)}` is not a number in TOML; write {number} with a {how}"
