"""What is to be said beside the figures of an oil film."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from math import ceil
from typing import Final, TypeVar

from fitmatch.records.study.bearings import Bearing
from fitmatch.records.study.oils import LEAST_MM2_S, MOST_MARGIN_K
from fitmatch.report.shared.layout import whole
from fitmatch.report.shared.scale import NOTHING
from fitmatch.report.shared.states import DANGER
from fitmatch.study.film.films import Row
from fitmatch.study.film.reynolds import LARGEST
from fitmatch.wording import listed

COMPARES: Final = (
    "Engine bearings are loaded dynamically and fed under pressure: a steady film under a peak load predicts none of "
    "them. Squeeze, whirl, edge loading, eccentric walls and roughness are absent. This compares clearances and "
    "certifies none; no position is to be judged by its film alone. The engine and bearing maker's limits decide."
)
_TOO_THICK: Final = (
    "No viscosity at high shear is given: if this is a multigrade its film is thinner than shown (high_shear)."
)
UNCHECKED: Final = "Without a density it is not known whether the flow is laminar."
_ESTIMATED: Final = "Hot clearances are estimates, from the running temperatures of housing and journal in [film]"
_TWO_WAYS: Final = (
    "held, as if caps of steel let the housing grow no more than steel; free, as if all of it were of its own material"
)
_ONE_WAY: Final = "a housing that grows as steel does grows as much whether caps of steel hold it or not"
STATES: Final = {"cold": "cold", "hot": "hot", "held": "hot, held", "free": "hot, free"}
_CHECK: Final = "check clearance, load (N, on all lands together), speed, width and oil"
CAUTIONS: Final = {
    "no-clearance": "NO CLEARANCE AT ALL is left: it must not be run",
    "turbulent": "the flow is not laminar (ISO 7902: Reynolds number above 41.3 √(r/c)): these figures are wrong",
    "dry-edge": "over such a slope the film has no thickness left at the tighter end, or less than "
    f"{1 - LARGEST:.3g} of the way from the wall to the middle, as good as touching it",
    "outside-law": f"the oil is thinner than {LEAST_MM2_S:g} mm2/s, where the law of its viscosity (ASTM D341) does "
    "not hold: do not rely on these figures; give viscosities up to such a temperature (oil_table)",
    "too-light": "the load is too light: the journal would run within 0.0001 of the way from the middle to the wall, "
    f"where no film is worked out: there is no figure; {_CHECK}",
    "too-heavy": f"the load is too heavy: the journal would run more than {LARGEST:g} of the way from the middle to "
    f"the wall, as good as touching it, where no film is worked out: there is no figure; {_CHECK}, and if they are "
    "right ask the engine maker before anything is run so",
    "beyond-oil": "",
}
_Told = TypeVar("_Told")


def cautioned(rows: Iterable[tuple[_Told, Row]]) -> Iterator[tuple[list[_Told], str]]:
    """Each caution with whatever stands for the films that it is about; what is beyond an oil apart from what is beyond
    another one."""
    rows = list(rows)
    for code, words in CAUTIONS.items():
        some = [(told, row) for told, row in rows if code in row.cautions]
        if code != "beyond-oil":
            if some:
                yield [told for told, _ in some], words
            continue
        for oil in dict.fromkeys(row.bearing.oil for _, row in some):
            beyond = [(told, row) for told, row in some if row.bearing.oil == oil]
            yield [told for told, _ in beyond], _beyond([row for _, row in beyond])


def _beyond(rows: list[Row]) -> str:
    """How warm the films would be, where their oil is known, and what would let them be shown."""
    oil = rows[0].bearing.oil
    low, high = oil.ends_c
    warm = sorted(row.effective_temperature_c for row in rows if row.effective_temperature_c is not None)
    reached = [at for at in warm if at <= oil.drawn_to_c]
    shown = [f"{at:.1f}" for at in reached[:1] + reached[-1:]]
    shown += [f"more than {oil.drawn_to_c:g}"] if len(reached) < len(warm) else []
    at = " to ".join(dict.fromkeys([shown[0], shown[-1]]))
    told = (
        f"the film would be at {at} °C, and the oil's viscosity is given from {low:g} to {high:g} °C, taken as known "
        f"{oil.margin_k:g} K further (oil_margin): there is no figure; give viscosities nearer to it (oil_table)"
    )
    if not reached:
        return f"{told}, as oil_margin is at most {MOST_MARGIN_K:g}"
    needed = ceil(oil.outside_k(reached[-1]))
    margin = whole(f"oil_margin = {needed}"), whole(f"--oil-margin {needed}")
    drawn_out = f"have the line drawn out to {high + needed:g} °C with {margin[0]} ({margin[1]})"
    return f"{told}, or, if it is the same oil there, {drawn_out}"


def beside(rows: Iterable[Row], hot: Sequence[str] = ()) -> list[str]:
    """What goes with every document of films; `hot`: what is said of hot clearances."""
    rows = list(rows)
    return [COMPARES, *hot, *too_thick(rows), *_unchecked(rows)]


def too_thick(rows: Sequence[Row]) -> list[str]:
    """That the oil may be thinner than shown, and of which kinds; nothing where it is not."""
    return _said_of([row.bearing for row in rows], _TOO_THICK, lambda bearing: bearing.oil.unsheared)


def _unchecked(rows: Sequence[Row]) -> list[str]:
    return _said_of([row.bearing for row in rows], UNCHECKED, lambda bearing: bearing.oil.density_kg_m3 is None)


def how_hot_is_known(bearings: Iterable[Bearing]) -> list[str]:
    """What hot clearances are, and of which kinds; nothing where there are none."""
    bearings = list(bearings)
    states = {bearing.state for bearing in bearings}
    ways = [way for way, some in ((_TWO_WAYS, {"held", "free"}), (_ONE_WAY, {"hot"})) if some & states]
    told = f"{_ESTIMATED}: {'; '.join(ways)}. None is measured."
    return _said_of(bearings, told, lambda bearing: bearing.state != "cold")


def _said_of(bearings: Sequence[Bearing], told: str, concerns: Callable[[Bearing], bool]) -> list[str]:
    """The sentence, naming the kinds that it concerns where there are others; nothing where it concerns none."""
    some: dict[str | None, None] = {}
    others: dict[str | None, None] = {}
    for bearing in bearings:
        (some if concerns(bearing) else others)[bearing.kind] = None
    if not some:
        return []
    named = [kind for kind in some if kind is not None]
    return [f"{listed(named)}: {told}" if named and others.keys() - some.keys() else told]


def thickness(film_um: float | None) -> str:
    """A film in um; at the edge there may be none."""
    return NOTHING if film_um is None or film_um <= 0 else f"{film_um:.2f}"


def warmth(row: Row) -> str:
    """The temperature of the film in degrees Celsius, as far as anything can be told of its oil."""
    if row.effective_temperature_c is None:
        return NOTHING
    if row.effective_temperature_c > row.bearing.oil.drawn_to_c:
        return f"more than {row.bearing.oil.drawn_to_c:g}"
    return f"{row.effective_temperature_c:.1f}"


def mark(row: Row) -> str:
    """What stands beside the figures of a row: whether its position is not to be assembled, or the film has a
    caution."""
    if row.bearing.within_limits is False:
        return DANGER
    return "x" if row.cautions else ""


def flow_of(row: Row) -> str | None:
    """Whether the flow is laminar, as documents say it; None without figures."""
    if row.viscosity_pa_s is None:
        return None
    if row.reynolds_ratio is None:
        return "unchecked"
    return "turbulent" if "turbulent" in row.cautions else "laminar"
