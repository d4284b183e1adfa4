"""What `fitmatch advise` found as one JSON document, described by advised.schema.json, and as CSV."""

from collections.abc import Iterator
from typing import Final

from fitmatch.records.keys import full_name
from fitmatch.report.data.document import SCHEMA
from fitmatch.report.data.values import figures_value
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.emit import Number, Value, document, half_length, length, named_values, rows_text
from fitmatch.study.advice.advised import Advice, Advised, AdvisedJobs, Boxes, Machined, Order, Reached, Run
from fitmatch.version import __version__

_COLUMNS: Final = (
    *("position", "kind", "housing", "inside", "clearance_now", "target", "min", "max", "uncertainty"),
    *("wall_sum_wanted", "lowest", "highest", "action", "half", "wall", "step", "amount"),
    *("size_lowest", "size_highest", "size_best", "gauge", "reads_lowest", "reads_highest", "reads_best"),
    *("chance_lowest", "chance_highest", "chance_best", "chance", "clearance", "deviation"),
    *("filled", "below", "above", "worst_deviation", "spread"),
)
_CHANCES: Final = ("chance_lowest", "chance_highest", "chance_best", "chance")
_NO_LENGTHS: Final = frozenset(
    (
        *("position", "kind", "housing", "inside", "action", "half", "step", "gauge"),
        *_CHANCES,
        "filled",
        "below",
        "above",
    )
)
_LENGTHS: Final = frozenset(_COLUMNS) - _NO_LENGTHS


def advised_document(found: AdvisedJobs, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    jobs = found.jobs
    several = len(jobs) > 1
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": "; ".join(job.title or job.folder.name for job in jobs),
            "unit": unit,
            "status": "proven" if found.proven else "unproven",
            **({} if found.looked_through else {"doubts_complete": False}),
            "positions": [
                ({"job": one.position.job} if several else {}) | _position(one, unit) for one in found.positions
            ],
            "orders": [_order(order, unit) for order in found.orders],
            "boxes_together": [some._asdict() | {"positions": _names(some)} for some in found.boxes_together],
            "warnings": found.warnings,
            "digest": None if several else jobs[0].digest,
        }
    )


def advised_rows(found: AdvisedJobs, unit: str) -> str:
    """One row for each advice, and one for a position that needs none."""
    sure = dict(_uncertainties(found, unit))
    rows = [
        named_values(record, unit)
        | {name: _chance(record.get(name)) for name in _CHANCES}
        | {"uncertainty": sure.get((record.get("job", ""), record["position"]))}
        for record in found.records()
    ]
    job = ("job",) if len(found.jobs) > 1 else ()
    return rows_text((*job, *_COLUMNS), _LENGTHS, unit, rows)


def _uncertainties(found: AdvisedJobs, unit: str) -> Iterator[tuple[tuple[object, object], Value]]:
    """Of the clearances now, as far as they are known."""
    for one in () if found.answer is None else found.answer.plans:
        certainty = Certainty(one)
        for p in one.placements:
            if (known := certainty.of(p)) is not None:
                yield p.position.key, length(known.expanded_nm, unit)


def _position(one: Advised, unit: str) -> dict[str, Value]:
    wanted = one.wanted
    steps = wanted and wanted.steps
    return {
        "position": one.position.name,
        "kind": one.position.kind,
        "housing": one.position.housing or one.position.name,
        "inside": None if one.unjudged else one.is_inside,
        "in_doubt": one.in_doubt,
        "clearance": length(one.clearance_nm, unit),
        "wall_sum_wanted": length(wanted and wanted.wall_sum_nm, unit),
        "lowest": length(wanted and wanted.lowest_nm, unit),
        "highest": length(wanted and wanted.highest_nm, unit),
        "each_half": half_length(wanted and wanted.wall_sum_nm, unit),
        "steps": steps and named_values(steps._asdict(), unit),
        "complete": one.complete,
        "advice": [_advice(advice, unit) for advice in one.advice],
    }


def _advice(advice: Advice, unit: str) -> dict[str, Value]:
    amount = advice.amount_nm
    return {
        "action": advice.action,
        "what": {**named_values(advice.what, unit), **_machined(advice.machined, unit)},
        "amount": _length(amount, unit),
        **({} if advice.most_nm is None else {"most": length(advice.most_nm, unit)}),
        **({} if advice.chance is None else {"chance": _chance(advice.chance)}),
        **({} if advice.reached is None else _reached(advice.reached, unit)),
    }


def _machined(machined: Machined | None, unit: str) -> dict[str, Value]:
    """Sizes and readings, each from `lowest` to `highest` and the `best`, and the chances there."""
    if machined is None:
        return {}
    sizes, reads = (some and named_values(some._asdict(), unit) for some in (machined.sizes, machined.reads))
    chances = machined.chances and dict(zip(("lowest", "highest", "best"), map(_chance, machined.chances), strict=True))
    return {"sizes": sizes, "gauge": machined.gauge, "reads": reads, "chances": chances}


def _reached(reached: Reached, unit: str) -> dict[str, Value]:
    """What the position has then, and the figures of its kind."""
    p = reached.placement
    return {
        "wall_sum": length(p.wall_sum_nm, unit),
        "clearance": length(p.clearance_nm, unit),
        "clearance_tightest": length(p.clearance_tightest_nm, unit),
        "deviation": length(p.deviation_nm, unit),
        "within_limits": p.within_limits,
        "wall_difference": length(p.wall_difference_nm, unit),
        **figures_value(reached.figures, unit),
    }


def _length(nm: object, unit: str) -> Value:
    """A length, or the ends of a run of them."""
    if isinstance(nm, Run):
        return named_values(nm._asdict(), unit)
    return length(nm, unit) if isinstance(nm, int) else None


def _order(order: Order, unit: str) -> dict[str, Value]:
    return {
        "kind": order.kind,
        "half": order.half,
        "step": order.step,
        "marks": dict(order.marks),
        "walls": [length(nm, unit) for nm in order.walls_nm],
        "positions": _names(order),
        "chances": list(map(_chance, order.chances)),
    }


def _names(some: Order | Boxes) -> list[str]:
    return [full_name(key) for key in some.positions]


def _chance(chance: object) -> Number | None:
    return Number(f"{chance:.2f}") if isinstance(chance, float) else None
