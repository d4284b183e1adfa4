"""What `fitmatch compare` found as one JSON document, described by compared.schema.json, and as CSV."""

from collections.abc import Iterator, Mapping
from typing import Final

from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import JobPlan, Plan
from fitmatch.report.data.films import figure, film_value
from fitmatch.report.data.values import chance_value, figures_value, proof_value
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import Number, Table, Value, document, length, named_values, rows_text
from fitmatch.report.shared.grounds import decision_rule, how_sure, limits_from
from fitmatch.report.shared.states import missing_of, missing_words
from fitmatch.report.words.films import COMPARES, beside
from fitmatch.report.words.reasons import words_of
from fitmatch.study.comparison.compared import BASELINES, FILM_FIGURES, Compared, Found, PlanFilms, Point
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added

_POSITION: Final = ("position", "clearance", "target", "limit_low", "limit_high", "uncertainty", "why")
_OWN: Final = ("plan", "target", "rule", "opened", "without", "against")
_FILMS: Final = (*FILM_FIGURES, "thinnest_at", "film_outside", "film_cautions")
_AFTER: Final = (
    *("joint_chance", "leftover_sets", "rules_broken", "equal", "same", *_FILMS),
    *("caution", "best", "outside", "near_min", "near_max", "proven"),
)
_FIGURES: Final = tuple(name.removesuffix("_nm").removesuffix("_nm2") for name in KindFigures._fields)
_LENGTHS: Final = frozenset(
    (*_POSITION[1:-1], *(name.removesuffix("_nm") for name in KindFigures._fields if name.endswith("_nm")))
)


def compared_document(compared: Compared, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    jobs = compared.jobs
    tables: dict[str, list[dict[str, Value]]] = {
        "targets": [
            {
                "target": length(row.target_nm, unit),
                **_found(row.found, unit),
                "best": row.best,
                "outside": row.outside,
                "joint_chance": chance_value(row.joint_chance),
                "near_min": row.near_min,
                "near_max": row.near_max,
            }
            for row in compared.targets or ()
        ],
        "rules": [{"rule": row.rule, **_found(row.found, unit)} for row in compared.rules or ()],
        "boxes": [
            {"opened": row.opened, "without": row.without, **_found(row.found, unit)} for row in compared.boxes or ()
        ],
        "trade_off": [_point(point, unit) for point in compared.trade_off or ()],
    }
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": "; ".join(job.title or job.folder.name for job in jobs),
            "unit": unit,
            "status": "proven" if compared.proven else "unproven",
            **({} if all(one.looked_through for one in compared.job_plans) else {"doubts_complete": False}),
            "complete": compared.complete,
            "plans": [
                {
                    "plan": row.plan,
                    **_found(row.found, unit),
                    **({"proven": None} if row.plan in BASELINES else {}),
                    "joint_chance": chance_value(row.joint_chance),
                    "leftover_sets": row.leftover_sets,
                    "rules_broken": row.rules_broken,
                    "equal": row.equal,
                    "same": row.same,
                    **(_film_figures(row.films) if compared.films else {}),
                }
                for row in compared.plans
            ],
            **{name: rows for name, rows in tables.items() if getattr(compared, name) is not None},
            **({"left_out": [_left_out(row._asdict()) for row in compared.left_out]} if compared.left_out else {}),
            **({"films": list(_films(compared, unit)), "caution": _caution(compared)} if compared.films else {}),
            "basis": [_basis(one, answer.strategy, unit) for answer in compared.answers for one in answer.plans],
            "warnings": compared.warnings,
            "digest": jobs[0].digest if len(jobs) == 1 else None,
        }
    )


def compared_rows(compared: Compared, unit: str) -> str:
    """All tables one below the other as CSV, the name of each in the first column."""
    table = compared_table(compared, unit)
    return rows_text(table.columns, table.lengths, unit, table.rows)


def compared_table(compared: Compared, unit: str) -> Table:
    """All tables in one: first the clearances of the plan by the strategy asked for, position by position."""
    rows = [*_clearances(compared, unit), *(_cells(record, unit) for record in compared.records())]
    job = ("job",) if any(row.get("job") for row in rows) else ()
    columns = ("table", *job, "kind", *_OWN, *_POSITION[:2], *_POSITION[3:], "positions", *_FIGURES, *_AFTER)
    used = {name for row in rows for name, value in row.items() if value not in (None, "")}
    return Table([name for name in columns if name in used], _LENGTHS, rows)


def _found(found: Found, unit: str) -> dict[str, Value]:
    job: dict[str, Value] = {"job": found.job} if found.job else {}
    return {
        **job,
        "kind": found.kind,
        "positions": found.positions,
        **figures_value(found.figures, unit),
        **proof_value(found.proof, unit),
    }


def _point(point: Point, unit: str) -> dict[str, Value]:
    """The two figures that are traded off, and how many positions they are about."""
    values = _found(point.found, unit)
    names = ("job", "kind", "positions", "filled", "below", "above", "worst_deviation", point.against, "proven")
    return {name: values[name] for name in names if name in values}


def _left_out(values: dict[str, Value]) -> dict[str, Value]:
    return values if values["job"] else {name: value for name, value in values.items() if name != "job"}


def _film_figures(films: PlanFilms | None) -> dict[str, Value]:
    """Null where the kind has no [film] table."""
    if films is None:
        return dict.fromkeys(_FILMS)
    figures = {name: figure(getattr(films, name)) for name in FILM_FIGURES}
    told = {"film_outside": films.outside, "film_cautions": films.cautions}
    return {**figures, "thinnest_at": films.thinnest_at, **told}


def _films(compared: Compared, unit: str) -> Iterator[dict[str, Value]]:
    """Every film of every plan."""
    for row in compared.plans:
        job: dict[str, Value] = {"job": row.found.job} if row.found.job else {}
        for film in () if row.films is None else row.films.rows:
            yield {"plan": row.plan, **job, **film_value(film, unit), "kind": row.found.kind}


def _caution(compared: Compared) -> str:
    return " ".join(beside(film for row in compared.plans if row.films is not None for film in row.films.rows))


def _basis(one: JobPlan, strategy: str, unit: str) -> dict[str, Value]:
    """What the figures of a job rest on."""
    heat = one.job.measuring.temperature
    sure: dict[str, Value] = {
        kind: {
            "expanded": length(found.expanded_nm, unit),
            "degrees_of_freedom": found.degrees_of_freedom,
            "lower_bound": found.lower_bound,
        }
        for kind, found in how_sure(one).items()
    }
    return {
        "job": one.job.name or one.read.folder.name,
        "title": one.job.title,
        "strategy": strategy,
        "limits_from": dict(limits_from(one.job)),
        "temperature": heat
        and {
            "gauges": Number(f"{float(heat.gauges):g}"),
            "parts": Number(f"{float(heat.parts):g}"),
            "limit": None if heat.limit is None else Number(f"{float(heat.limit):g}"),
        },
        "uncertainty": sure,
        "decision_rule": decision_rule(one.job),
        "digest": one.read.digest,
    }


def _cells(record: Mapping[str, object], unit: str) -> dict[str, Value]:
    values = named_values(record, unit)
    chance = record.get("joint_chance")
    films = {name: figure(value) for name in FILM_FIGURES if isinstance(value := record.get(name), float)}
    caution: dict[str, Value] = {"caution": COMPARES} if "film_cautions" in record else {}
    return {**values, **films, **caution, "joint_chance": chance_value(chance if isinstance(chance, float) else None)}


def _clearances(compared: Compared, unit: str) -> Iterator[dict[str, Value]]:
    names = compared.names or ("",) * len(compared.answers)
    for name, answer in zip(names, compared.answers, strict=True):
        for one in answer.plans:
            yield from _of_job(name or one.job.name, answer, one, unit)


def _of_job(name: str, answer: Plan, one: JobPlan, unit: str) -> Iterator[dict[str, Value]]:
    """Every position; one without shells has no clearance but says why."""
    certainty, placed = Certainty(one), one.by_position()
    why = {u.position.key: words_of(u.why, unit) for u in one.unfilled}
    for position in one.job.positions:
        begun: dict[str, Value] = {"table": "clearances", "job": name, "kind": position.kind, "plan": answer.strategy}
        begun |= {"position": position.name, "target": length(position.target_nm, unit)}
        p = placed.get(position.key)
        if p is None:
            told = why.get(position.key) or missing_words(missing_of(one.job, position))
            low, high = length(position.min_nm, unit), length(position.max_nm, unit)
            yield {**begun, "limit_low": low, "limit_high": high, "why": told}
            continue
        known = certainty.of(p)
        yield {
            **begun,
            "clearance": length(p.clearance_nm, unit),
            "limit_low": length(p.limit_low_nm, unit),
            "limit_high": length(p.limit_high_nm, unit),
            "uncertainty": None if known is None else length(known.expanded_nm, unit),
        }
