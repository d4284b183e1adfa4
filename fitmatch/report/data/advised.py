"""What `fitmatch advise` found as one JSON document, described by advised.schema.json, and as CSV."""

from typing import Final

from fitmatch.report.data.document import SCHEMA
from fitmatch.report.data.values import figures_value
from fitmatch.report.shared.emit import Number, Value, document, half_length, length, named_values, rows_text
from fitmatch.study.advice.advised import Advice, Advised, AdvisedJobs, Reached, Run
from fitmatch.version import __version__

_COLUMNS: Final = (
    *("position", "kind", "inside", "wall_sum_wanted", "lowest", "highest", "action", "half", "wall", "step", "amount"),
    *("size_lowest", "size_highest", "chance", "clearance", "deviation", "filled", "below", "above"),
    *("worst_deviation", "spread"),
)
_LENGTHS: Final = frozenset(
    ("wall_sum_wanted", "lowest", "highest", "wall", "amount", "size_lowest", "size_highest", "clearance", "deviation")
) | {"worst_deviation", "spread"}


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
            "positions": [
                ({"job": one.position.job} if several else {}) | _position(one, unit) for one in found.positions
            ],
            "orders": [named_values(_plain(order._asdict(), unit), unit) for order in found.orders],
            "warnings": found.warnings,
            "digest": None if several else jobs[0].digest,
        }
    )


def advised_rows(found: AdvisedJobs, unit: str) -> str:
    """One row for each advice, and one for a position that needs none."""
    rows = [named_values(record, unit) | {"chance": _chance(record["chance"])} for record in found.records()]
    job = ("job",) if len(found.jobs) > 1 else ()
    return rows_text((*job, *_COLUMNS), _LENGTHS, unit, rows)


def _position(one: Advised, unit: str) -> dict[str, Value]:
    wanted = one.wanted
    steps = wanted and wanted.steps
    return {
        "position": one.position.name,
        "kind": one.position.kind,
        "inside": one.is_inside,
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
    run = isinstance(amount, Run)
    return {
        "action": advice.action,
        "what": named_values(advice.what, unit),
        "amount": named_values(amount._asdict(), unit) if isinstance(amount, Run) else length(amount, unit),
        **({} if advice.most_nm is None else {"most": length(advice.most_nm, unit)}),
        **({} if advice.chance is None or run else {"chance": _chance(advice.chance)}),
        **({} if advice.reached is None else _reached(advice.reached, unit)),
    }


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


def _plain(record: dict[str, object], unit: str) -> dict[str, object]:
    walls = record.pop("walls_nm")
    assert isinstance(walls, tuple)
    return record | {"walls": [length(nm, unit) for nm in walls]}


def _chance(chance: object) -> Number | None:
    return Number(f"{chance:.2f}") if isinstance(chance, float) else None
