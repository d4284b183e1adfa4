"""Keys that stand where they are not read, as they belong in another table."""

from collections.abc import Iterator, Mapping
from typing import Any

from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.keys import SECTIONS
from fitmatch.wording import dotted, listed


def told(path: Path, key: str, value: object) -> tuple[str, str] | None:
    """Code and text for a key in the table of this path; None if nothing better is known than the nearest key."""
    if not path and isinstance(value, dict) and not value.keys().isdisjoint(SECTIONS["fit"].keys):
        return "misplaced-key", f"looks like the name of a kind; head its table [fit.{dotted((key,))}]"
    return _misplaced(list(_places(key)))


def told_of_value(path: Path, key: str, document: Mapping[str, Any]) -> tuple[str, str] | None:
    """The same for a key with a plain value, where one table per kind or gauge belongs."""
    section = SECTIONS[path[0]]
    if key not in section.keys:
        return told(path, key, None)
    names_in, usual = ("gauge", "mic-1") if section.each == "NAME" else ("fit", "rod")
    named = document.get(names_in)
    tables = named.items() if isinstance(named, dict) else ()
    example = next((name for name, table in tables if isinstance(table, dict)), usual)
    return _misplaced([f"under [{path[0]}.{section.each}], such as [{dotted((path[0], example))}]"])


def told_of_section(name: str) -> tuple[str, str] | None:
    """The same for a top-level table that was written as a plain value."""
    return _misplaced([f"under [{other}]" for other, section in SECTIONS.items() if name in section.keys])


def _misplaced(places: list[str]) -> tuple[str, str] | None:
    return ("misplaced-key", f"belongs {listed(places, 'or')}; move it there") if places else None


def _places(key: str) -> Iterator[str]:
    if key in SECTIONS and not SECTIONS[key].keys:
        yield "at the top, above the first table"
    for name, section in SECTIONS.items():
        if key in section.keys and "." not in name:  # words such as `kind` and `wall` are columns more often
            yield f"under [{'.'.join(filter(None, (name, section.each)))}]"
