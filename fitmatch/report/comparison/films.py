"""The oil film of each way of choosing, beside the figures of the fit."""

from collections.abc import Callable, Iterator, Sequence

from fitmatch.report.comparison.rows import by_kind, filled
from fitmatch.report.shared.layout import Column, items, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, Scale
from fitmatch.report.shared.states import DANGER
from fitmatch.report.text.films import oils, what_was_given
from fitmatch.report.words.films import COMPARES, cautioned, thickness
from fitmatch.study.comparison.compared import Compared, PlanFilms, PlanRow
from fitmatch.study.film.films import Row
from fitmatch.wording import listed


def films_of_plans(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    """A table for each kind that has films, and what they rest on."""
    if not compared.films:
        return
    for told, rows in by_kind(compared, compared.plans):
        filmed = [row for row in rows if row.films is not None]
        if filmed:
            yield [*paragraph(f"{told.upper()}, OIL FILMS AT THE CALCULATED CLEARANCES:"), *_table(filmed, scale)]
    yield items("NEEDS ATTENTION", list(cautions(compared)))
    yield [line for text in outside_limits(compared) for line in paragraph(text)]
    yield items("HOW IT RUNS", how_it_runs(compared, scale.unit))
    yield [line for text in without_films(compared) for line in paragraph(text)]
    yield paragraph(
        "Of all filled positions, those outside their limits too: the thinnest film and where it is, the warmest, and "
        "the sums of power and flow. "
        f"{COMPARES}"
    )


def without_films(compared: Compared) -> list[str]:
    """Which kinds have none."""
    without = [told for told, rows in by_kind(compared, compared.plans) if rows[0].films is None]
    return [f"No films, as there is no [film] table for it: {listed(without)}."] if without else []


def how_it_runs(compared: Compared, unit: str) -> list[str]:
    """What was given of the bearings and of their oil."""
    return [*what_was_given(_each_once(compared), unit), *oils([film for _, film in _films(compared)])]


def _table(rows: Sequence[PlanRow], scale: Scale) -> list[str]:
    films = [row.films for row in rows if row.films is not None]

    def number(name: str, digits: int, per: float = 1.0) -> Callable[[PlanRow], str]:
        def show(row: PlanRow) -> str:
            value = getattr(row.films, name)
            return NOTHING if value is None else f"{value / per:.{digits}f}"

        return show

    return table(
        rows,
        Column("plan", lambda row: row.plan, "left", key=True),
        Column(
            "",
            lambda row: "x" if row.films and row.films.cautions else "",
            "left",
            key=True,
            shown=any(some.cautions for some in films),
        ),
        Column("filled", lambda row: filled(row.found)),
        Column(f"worst\n{scale.step}", lambda row: scale.steps(row.found.figures.worst_deviation_nm)),
        Column(f"spread\n{scale.step}", lambda row: scale.steps(row.found.figures.spread_nm)),
        Column("thinnest\nfilm um", lambda row: thickness(row.films and row.films.min_film_thickness_um)),
        Column(
            "at the\nedge um",
            lambda row: thickness(row.films and row.films.edge_film_thickness_um),
            shown=any(film.bearing.slope_nm for some in films for film in some.rows),
        ),
        Column(
            "at", lambda row: NOTHING if row.films is None else _thinnest_at(row.films) or NOTHING, "left", wraps=True
        ),
        Column("power\nW", number("friction_power_w", 0)),
        Column("side flow\ncm3/s", number("side_flow_mm3_s", 2, 1000)),
        Column("feed\ncm3/s", number("feed_flow_mm3_s", 2, 1000), shown=any(some.feed_flow_mm3_s for some in films)),
        Column(
            "warmest\n°C",
            number("effective_temperature_c", 1),
            shown=any(film.bearing.oil.heats for some in films for film in some.rows),
        ),
    )


def cautions(compared: Compared) -> Iterator[str]:
    """Each caution with the plans and positions that it is about."""
    for told, words in cautioned(_films(compared)):
        yield f"{_by_plan(told)}: {words}."


def outside_limits(compared: Compared) -> list[str]:
    """Which positions of which plan are not to be assembled, whatever their film."""
    told = [told for told, film in _films(compared) if film.bearing.within_limits is False]
    return [f"{DANGER}, outside the limits of clearance: {_by_plan(told)}."] if told else []


def _thinnest_at(films: PlanFilms) -> str:
    """Where the thinnest film is, and whether that position is not to be assembled; nothing without a figure."""
    if films.thinnest is None:
        return ""
    name = whole(films.thinnest_at or "")
    return f"{name}, {whole(DANGER)}" if films.thinnest.bearing.within_limits is False else name


def _films(compared: Compared) -> Iterator[tuple[tuple[str, str], Row]]:
    """Every film of every plan, by the names of plan and position."""
    for row in (row for _, rows in by_kind(compared, compared.plans) for row in rows):
        for film in () if row.films is None else row.films.rows:
            yield (row.plan, whole("/".join(filter(None, (row.found.job, film.bearing.position))))), film


def _by_plan(told: Sequence[tuple[str, str]]) -> str:
    found: dict[str, list[str]] = {}
    for plan, name in told:
        found.setdefault(plan, []).append(name)
    return "; ".join(f"{plan}: {listed(names)}" for plan, names in found.items())


def _each_once(compared: Compared) -> list[Row]:
    """A film of every position that has one, whichever plan it is of."""
    found: dict[str | None, Row] = {}
    for row in compared.plans:
        for film in () if row.films is None else row.films.rows:
            found.setdefault(f"{row.found.job} {film.bearing.position}", film)
    return list(found.values())
