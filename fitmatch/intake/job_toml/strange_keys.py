"""Keys that are not known where they stand: those that a later version will read, and those that belong elsewhere."""

from typing import Final

from fitmatch.intake.job_toml.fits import FIT_KEYS
from fitmatch.intake.job_toml.instruments import BENCH_KEYS, FORM_KEYS, GAUGE_KEYS, TEMPERATURE_KEYS
from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.records.measuring import DIAMETERS, FEATURES
from fitmatch.rules.registry import known_keys
from fitmatch.wording import listed, shorten

# By the first part of their path.
_LATER: Final = {
    "": ("limits", "film", "boxes", "record"),
    "fit": ("limits_from",),
    "gauge": ("repeatability_from", "repeatability_rounded", "standard_limit", "expansion_limit"),
    "material": tuple(f"{feature}_limit" for feature in DIAMETERS),
}
_PLACES: Final = {
    "at the top, above the first table": ("title", "unit"),
    "under [sources]": ("positions", "shells", "shared", "readings", "assembled"),
    "under [fit.KIND]": FIT_KEYS,
    "under [drawing.KIND]": FEATURES,
    "under [rules]": tuple(known_keys()),
    "under [coating]": ("measured", "counts"),
    "under [readings]": ("numbered",),
    "under [gauge.NAME]": GAUGE_KEYS,
    "under [measured.KIND]": FEATURES,
    "under [temperature]": TEMPERATURE_KEYS,
    "under [material.KIND]": DIAMETERS,
    "under [form.KIND]": FORM_KEYS,
    "under [bench.KIND]": BENCH_KEYS,
}


def told(path: Path, key: str, value: object) -> tuple[str, str] | None:
    """Code and text for a key of the table at this path; None where nothing better is known of it than the nearest."""
    if key in _LATER.get(path[0] if path else "", ()):
        return "not-supported-yet", "is not supported yet; take it out"
    if not path and isinstance(value, dict) and not value.keys().isdisjoint(FIT_KEYS):
        return "misplaced-key", f"is the name of a kind by the keys below it; head its table [fit.{shorten(key)}]"
    places = [place for place, keys in _PLACES.items() if key in keys]
    return ("misplaced-key", f"belongs {listed(places, 'or')}; move it there") if places else None
