"""The text of `fitmatch film`: films at their clearances, what was given, and what such a film cannot tell."""

from collections.abc import Callable, Iterator, Sequence

from fitmatch.gauging.sizes.materials import MATERIALS
from fitmatch.intake.bearings import Runs
from fitmatch.records.study.bearings import Bearing
from fitmatch.records.study.oils import Oil
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, UNITS, scale_for
from fitmatch.report.shared.states import DANGER
from fitmatch.report.words.films import (
    COMPARES,
    STATES,
    UNCHECKED,
    cautioned,
    how_hot_is_known,
    mark,
    thickness,
    too_thick,
    warmth,
)
from fitmatch.study.film.films import FilmTable, Row
from fitmatch.wording import listed


def films_text(found: FilmTable, runs: Runs, unit: str) -> str:
    """The whole report, clearances in `unit`, ending in a line break."""
    rows = found.rows
    blocks = [
        paragraph(clean(runs.title) or "Steady oil films"),
        *([_films(rows, unit), *_maps(rows, unit)] if rows else []),
        items("NEEDS ATTENTION", cautions(rows, unit)),
        [line for text in outside_limits(runs) for line in paragraph(text)],
        items("GIVEN", what_was_given(rows, unit)),
        [line for text in how_hot(runs) for line in paragraph(text)],
        items("OIL AND HEAT", oils(rows)),
        items("WARNINGS", list(map(clean, runs.warnings))),
        [line for text in left_out(runs) for line in paragraph(text)],
        [*paragraph(COMPARES), *([f"Inputs' digest: {runs.digest}"] if runs.digest else [])],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _films(rows: tuple[Row, ...], unit: str) -> list[str]:
    scale = scale_for(unit, [row.bearing.clearance_nm for row in rows])
    bearings = [row.bearing for row in rows]

    def number(name: str, digits: int, per: float = 1.0) -> Callable[[Row], str]:
        def show(row: Row) -> str:
            value = getattr(row, name)
            return NOTHING if value is None else f"{value / per:.{digits}f}"

        return show

    heated = any(bearing.oil.heats for bearing in bearings)
    planned = bool(bearings[0].position)
    hot = any(bearing.state != "cold" for bearing in bearings)
    speeds, thicknesses = len({b.speed_rpm for b in bearings}) > 1, _several_viscosities(rows)
    return [
        f"FILMS, clearances in {UNITS[unit]}, diametral",
        *table(
            rows,
            Column("", lambda r: whole(r.bearing.position or ""), "left", wraps=True, shown=planned, key=True),
            Column("", lambda r: STATES[r.bearing.state], "left", shown=hot, key=True),
            Column("", mark, "left", shown=any(map(mark, rows)), key=True),
            Column("viscosity\nmPa s", lambda r: f"{r.bearing.oil.viscosity_mpa_s:g}", shown=thicknesses, key=True),
            Column("rpm", lambda r: f"{r.bearing.speed_rpm:g}", shown=speeds, key=True),
            Column("clearance", lambda r: scale.length(r.bearing.clearance_nm), key=not planned),
            Column("smallest\nfilm um", lambda r: thickness(r.min_film_thickness_um)),
            Column(
                "at the\nedge um",
                lambda r: thickness(r.edge_film_thickness_um),
                shown=any(b.slope_nm for b in bearings),
            ),
            Column("eccen-\ntricity", number("eccentricity_ratio", 3)),
            Column("power\nW", number("friction_power_w", 0)),
            Column("side flow\ncm3/s", number("side_flow_mm3_s", 2, 1000)),
            Column("feed\ncm3/s", number("feed_flow_mm3_s", 2, 1000), shown=any(b.feed_pressure_mpa for b in bearings)),
            Column("peak\nMPa", number("peak_pressure_mpa", 1)),
            Column("rise\nK", number("temperature_rise_k", 1), shown=heated),
            Column("film at\n°C", warmth, shown=heated),
            Column("viscosity\nmPa s", number("viscosity_pa_s", 2, 0.001), shown=not thicknesses),
        ),
    ]


def _several_viscosities(rows: Sequence[Row]) -> bool:
    """Whether constant viscosities were swept."""
    return len({row.bearing.oil.viscosity_mpa_s for row in rows}) > 1 and not any(r.bearing.oil.heats for r in rows)


def _maps(rows: tuple[Row, ...], unit: str) -> Iterator[list[str]]:
    """Of a sweep over clearance and something else: the smallest film and its temperature, a line for each clearance;
    nothing of other rows."""
    cases: dict[str, dict[int, Row]] = {}
    for row in rows:
        b = row.bearing
        case = f"{b.speed_rpm:g} rpm" + (f"\n{b.oil.viscosity_mpa_s:g} mPa s" if _several_viscosities(rows) else "")
        cases.setdefault(case, {})[b.clearance_nm] = row
    clearances = sorted({row.bearing.clearance_nm for row in rows})
    if rows[0].bearing.position or len(cases) < 2 or len(clearances) < 2:
        return
    sloped = any(row.bearing.slope_nm for row in rows)

    def film(row: Row) -> str:
        return thickness(row.edge_film_thickness_um if sloped else row.min_film_thickness_um)

    scale = scale_for(unit, clearances)

    def cell(show: Callable[[Row], str], of: dict[int, Row]) -> Callable[[int], str]:
        return lambda clearance: f"{mark(of[clearance])} {show(of[clearance])}".strip()

    for show, head, shown in (
        (film, f"SMALLEST FILM IN um{', at the tighter end' if sloped else ''}", True),
        (warmth, "FILM AT, IN °C", any(row.bearing.oil.heats for row in rows)),
    ):
        if shown:
            columns = [Column(case, cell(show, of)) for case, of in cases.items()]
            yield [f"{head}, by clearance in {UNITS[unit]}", *table(clearances, Column("", scale.length), *columns)]


def how_hot(runs: Runs) -> list[str]:
    """What hot clearances are, and what those of each kind are worked out from; nothing where there are none."""
    steel = f"shells of steel {_expansion(float(MATERIALS['steel']))}"
    told = [
        f"{clean(hot.kind)}: housing {hot.housing_c:g} °C and {_expansion(hot.housing_per_k)}, journal "
        f"{hot.journal_c:g} °C and {_expansion(hot.journal_per_k)}, {steel}."
        for hot in runs.hot
    ]
    return [*map(clean, how_hot_is_known(runs.bearings)), *told] if told else []


def _expansion(per_k: float) -> str:
    return f"{per_k * 1e6:.4g}e-6 per kelvin"


def cautions(rows: Sequence[Row], unit: str) -> list[str]:
    """Each caution with the films that it is about."""
    scale = scale_for(unit, [row.bearing.clearance_nm for row in rows])
    speeds, thicknesses = len({row.bearing.speed_rpm for row in rows}) > 1, _several_viscosities(rows)

    def name(b: Bearing) -> str:
        state = f" ({STATES[b.state]})" if b.state != "cold" else ""
        what = f"{whole(b.position)}{state}" if b.position else f"clearance {scale.with_unit(b.clearance_nm)}"
        at = [f"{b.speed_rpm:g} rpm"] if speeds else []
        at += [f"{b.oil.viscosity_mpa_s:g} mPa s"] if thicknesses else []
        return f"{what} at {' and '.join(at)}" if at else what

    found = []
    for names, words in cautioned((name(row.bearing), row) for row in rows):
        shown = names if len(names) <= 6 else [*names[:5], f"{len(names) - 5} more"]
        found.append(f"{listed(shown)}: {words}.")
    return found


def outside_limits(runs: Runs) -> list[str]:
    """Which positions of the plan are not to be assembled, whatever their film."""
    if not runs.outside:
        return []
    return [f"{DANGER}, outside the limits of clearance: {listed(list(map(whole, runs.outside)))}."]


def what_was_given(rows: Sequence[Row], unit: str) -> list[str]:
    """Each set of bearings that run alike, once."""
    alike: dict[tuple[float | int | None, ...], list[Bearing]] = {}
    for row in rows:
        b = row.bearing
        key = (b.width_nm, b.lands, b.load_n, b.feed_pressure_mpa, b.slope_nm, None if b.position else b.journal_nm)
        alike.setdefault(key, []).append(b)
    told = []
    for some in alike.values():
        b = some[0]
        scale = scale_for(unit, [x.journal_nm for x in some] + [b.width_nm])
        journals = sorted({x.journal_nm for x in some})
        journal = f"{scale.length(journals[0])}" + (f" to {scale.length(journals[-1])}" if len(journals) > 1 else "")
        lands = f"{b.lands} land{'s' if b.lands > 1 else ''} of {scale.length(b.width_nm)} {unit}"
        mean = b.load_n / (b.lands * b.width_nm * b.journal_nm * 1e-18) * 1e-6
        speeds = sorted({x.speed_rpm for x in some})
        speed = f"{speeds[0]:g}" + (f" to {speeds[-1]:g}" if len(speeds) > 1 else "")
        grooves = "a full groove" if b.lands == 2 else f"{b.lands // 2} full grooves, each between two lands,"
        feed = (
            f", fed by {grooves} under {b.feed_pressure_mpa:g} MPa, other feeds not counted"
            if b.feed_pressure_mpa
            else ", no oil fed under pressure is counted"
        )
        slope = (
            f", the gap sloping by {scale.length(b.slope_nm)} {unit} over each land, as by a taper of the diameter of "
            f"{scale.length(2 * b.slope_nm)}"
            if b.slope_nm
            else ""
        )
        names = f"{listed(list(dict.fromkeys(whole(x.position) for x in some if x.position)))}: " if b.position else ""
        told.append(f"{names}journal {journal} {unit}, {lands}, {b.load_n:g} N in all (mean pressure {mean:.2f} MPa), "
                    f"{speed} rpm{slope}{feed}.")  # fmt: skip
    return told


def oils(rows: Sequence[Row]) -> list[str]:
    """What was given of each oil, and how it is taken to warm."""
    found = list(dict.fromkeys(row.bearing.oil for row in rows))
    told = []
    for oil in found:
        some = [row for row in rows if row.bearing.oil == oil]
        told.append(_kinds(some) + _oil(oil, some))
    return [*told, *map(clean, too_thick(rows))]


def _kinds(rows: list[Row]) -> str:
    """Which kinds of a job these are, before what is told of them."""
    kinds = list(dict.fromkeys(clean(row.bearing.kind) for row in rows if row.bearing.kind))
    return f"{listed(kinds)}: " if kinds else ""


def _oil(oil: Oil, rows: list[Row]) -> str:
    if not oil.heats:
        laminar = f" {UNCHECKED}" if oil.density_kg_m3 is None else ""
        return f"Constant viscosity {oil.viscosity_mpa_s:g} mPa s: whether it is that warm is not asked.{laminar}"
    densities = [row.density_kg_m3 for row in rows if row.density_kg_m3 is not None]
    ends = list(dict.fromkeys(f"{end:.0f}" for end in (min(densities), max(densities)))) if densities else []
    films = f", {' to '.join(ends)} in the films" if ends else ""
    sheared = f", {oil.high_shear_mpa_s:g} mPa s sheared at 150 °C" if oil.high_shear_mpa_s is not None else ""
    given = ", ".join(f"{viscosity:g} mPa s at {at:g} °C" for at, viscosity in oil.table) or (
        f"{oil.oil_40_mm2_s:g} mm2/s at 40 °C and {oil.oil_100_mm2_s:g} at 100 °C, between them by ASTM D341{sheared}"
    )
    return (
        f"{given}, taken as known {oil.margin_k:g} K further; {oil.density_kg_m3:g} kg/m3 at 15 °C, "
        f"{oil.density_slope_kg_m3_k:g} less per kelvin{films}; {oil.heat_capacity_j_kg_k:g} J/kgK. It comes in at "
        f"{oil.inlet_c:g} °C, takes up all of the power, and the film is as warm as half way."
    )


def left_out(runs: Runs) -> list[str]:
    """Kinds and positions of which there is no film, and why."""
    told = []
    if runs.left_out:
        told.append(f"Left out, as there is no [film] table for it: {listed(list(map(clean, runs.left_out)))}.")
    if runs.empty:
        told.append(f"Without two measured shells in the saved plan: {listed(list(map(clean, runs.empty)))}.")
    return told
