"""What is to be said beside the figures of an oil film."""

from collections.abc import Iterable
from typing import Final

from fitmatch.study.film.films import Row
from fitmatch.study.film.reynolds import LARGEST

COMPARES: Final = (
    "Engine bearings are loaded dynamically and fed under pressure: a steady film under a peak load predicts none of "
    "them. Squeeze, whirl, edge loading, eccentric walls and roughness are absent. This compares clearances and "
    "certifies none; no position is to be judged by its film alone. The engine and bearing maker's limits decide."
)
TOO_THICK: Final = (
    "No viscosity at high shear is given: if this is a multigrade its film is thinner than shown (high_shear)."
)
UNCHECKED: Final = "Without a density it is not known whether the flow is laminar."
CAUTIONS: Final = {
    "no-clearance": "NO CLEARANCE AT ALL is left: it must not be run",
    "turbulent": "the flow is not laminar (ISO 7902: Reynolds number above 41.3 √(r/c)): these figures are wrong",
    "dry-edge": "over such a slope the film has no thickness left at the tighter end",
    "beyond-grid": f"the journal would run less than 0.0001 or more than {LARGEST:g} of the way to the wall, where no "
    "film is worked out: there is no figure",
    "beyond-oil": "the oil would be at a temperature at which nothing is known of it: there is no figure",
}


def beside(rows: Iterable[Row]) -> list[str]:
    """What goes with every document of films."""
    oils = {row.bearing.oil for row in rows}
    return [
        COMPARES,
        *([TOO_THICK] if any(oil.unsheared for oil in oils) else []),
        *([UNCHECKED] if any(oil.density_kg_m3 is None for oil in oils) else []),
    ]


def flow_of(row: Row) -> str | None:
    """Whether the flow is laminar, as documents say it; None without figures."""
    if row.viscosity_pa_s is None:
        return None
    if row.reynolds_ratio is None:
        return "unchecked"
    return "turbulent" if "turbulent" in row.cautions else "laminar"
