"""Every key that job.toml may have, by table."""

from typing import Final, NamedTuple

from fitmatch.records.measuring import DIAMETERS, FEATURES
from fitmatch.rules.registry import known_keys


class Section(NamedTuple):
    """A top-level key, or a table inside one, and the keys inside it. `each`: it has one table per KIND or NAME, with
    these keys."""

    keys: tuple[str, ...] = ()
    each: str = ""


SECTIONS: Final = {
    "title": Section(),
    "unit": Section(),
    "sources": Section(("positions", "shells", "shared", "readings", "assembled")),
    "fit": Section(
        (
            "target",
            "target_ratio",
            "min",
            "max",
            "limits_from",
            "want_min",
            "want_max",
            "seating",
            "seating_u",
            "seating_readings",
            "family",
        ),
        "KIND",
    ),
    "drawing": Section(FEATURES, "KIND"),
    "rules": Section(tuple(known_keys())),
    "coating": Section(("measured", "counts")),
    "readings": Section(("numbered",)),
    "gauge": Section(
        (
            "unit",
            "resolution",
            "limit",
            "repeatability",
            "repeatability_from",
            "repeatability_rounded",
            "standard",
            "standard_reads",
            "standard_limit",
            "ball",
            "set_with",
            "expansion",
            "expansion_limit",
        ),
        "NAME",
    ),
    "measured": Section(FEATURES, "KIND"),
    "temperature": Section(("room", "gauges", "parts", "limit")),
    "material": Section(tuple(key for feature in DIAMETERS for key in (feature, f"{feature}_limit")), "KIND"),
    "form": Section(
        (
            *(f"{feature}_{what}" for feature in DIAMETERS for what in ("taper", "barrel", "out_of_round")),
            "wall_taper",
            "wall_barrel",
        ),
        "KIND",
    ),
    "film": Section(
        (
            *("width", "slope", "lands", "load", "speed", "viscosity", "oil_40", "oil_100", "high_shear", "density"),
            *("oil_table", "density_slope", "heat_capacity", "inlet", "oil_margin", "feed_pressure"),
            *("housing_temperature", "journal_temperature"),
        ),
        "KIND",
    ),
    "limits": Section(("polish_max",)),
    "boxes": Section(("budget", "within", "between")),
    "boxes.step": Section(("kind", "wall", "shells", "price"), "NAME"),
    "record": Section(("engine", "crank", "block", "customer")),  # and any other
    "bench": Section(tuple(f"{feature}_{what}" for feature in FEATURES for what in ("stations", "angles")), "KIND"),
}
ABOUT_MEASURING: Final = frozenset(("gauge", "measured", "temperature", "material", "form", "bench"))


def keys_in(path: tuple[str, ...]) -> tuple[str, ...]:
    """The keys that the table of this path may have."""
    if not path:
        return tuple(name for name in SECTIONS if "." not in name)
    inner = ".".join(path[:2])
    below = (name.partition(".")[2] for name in SECTIONS if path == (name.partition(".")[0],) and "." in name)
    return (*SECTIONS[inner if inner in SECTIONS else path[0]].keys, *below)
