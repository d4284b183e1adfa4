"""Keys that are unknown in their table: those of a later version, and those that belong in another table."""

from collections.abc import Iterator
from typing import Final

from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.keys import SECTIONS
from fitmatch.records.measuring import DIAMETERS
from fitmatch.wording import listed, shorten

# By the first part of their path.
_LATER: Final = {
    "": ("limits", "film", "boxes", "record"),
    "fit": ("limits_from",),
    "gauge": ("repeatability_from", "repeatability_rounded", "standard_limit", "expansion_limit"),
    "material": tuple(f"{feature}_limit" for feature in DIAMETERS),
}


def told(path: Path, key: str, value: object) -> tuple[str, str] | None:
    """Code and text for a key in the table of this path; None if nothing better is known than the nearest key."""
    if key in _LATER.get(path[0] if path else "", ()):
        return "not-supported-yet", "is not supported yet; take it out"
    if not path and isinstance(value, dict) and not value.keys().isdisjoint(SECTIONS["fit"].keys):
        return "misplaced-key", f"looks like the name of a kind; head its table [fit.{shorten(key)}]"
    places = list(_places(key))
    return ("misplaced-key", f"belongs {listed(places, 'or')}; move it there") if places else None


def _places(key: str) -> Iterator[str]:
    if key in SECTIONS and not SECTIONS[key].keys:
        yield "at the top, above the first table"
    for name, section in SECTIONS.items():
        if key in section.keys:
            yield f"under [{'.'.join(filter(None, (name, section.each)))}]"
