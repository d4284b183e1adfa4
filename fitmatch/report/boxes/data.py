"""A study of boxes as one JSON document, described by boxes.schema.json, and as CSV."""

from collections.abc import Mapping
from typing import Final

from fitmatch.facts import Fact
from fitmatch.report.shared.emit import Number, Value, document, length, rows_text
from fitmatch.report.words.refusals import refused
from fitmatch.study.boxes.intervals import Chance, Mean
from fitmatch.study.boxes.steps import Step
from fitmatch.study.boxes.studied import Gain, KindStudied, Length, MixStudied, Studied
from fitmatch.version import __version__

SCHEMA: Final = 1  # rises when a meaning changes, not when a key is added

_FIGURES: Final = ("mean", "half_width", "p90", "p90_low", "p90_high")
_LENGTHS: Final = tuple(f"{name}_{figure}" for name in ("worst_deviation", "spread") for figure in _FIGURES)
_GAINS: Final = ("gain_worst_deviation", "gain_worst_deviation_half_width", "gain_spread", "gain_spread_half_width")
_CHANCES: Final = tuple(f"{name}{end}" for name in ("inside", "within_tolerance") for end in ("", "_low", "_high"))
_LEFT: Final = ("left", "left_half_width", "left_price", "left_price_half_width")


def studied_document(found: Studied, unit: str) -> str:
    """The whole document, lengths in `unit`, ending in a line break."""
    return document(
        {
            "schema": SCHEMA,
            "version": __version__,
            "title": found.job.title,
            "unit": unit,
            "seed": found.seed,
            "draws": found.draws,
            "most_draws": found.wanted,
            "precision": length(found.precision_nm, unit),
            "tolerance": length(found.tolerance_nm, unit),
            "mixes": [_mix(mix, unit) for mix in found.mixes],
            "left_out": [_left_out(why, unit) for why in found.left_out],
            "kinds": {one.kind: _kind(one, unit) for one in found.kinds},
            "warnings": found.job.warnings,
            "digest": found.job.digest,
        }
    )


def studied_rows(found: Studied, unit: str) -> str:
    """One CSV row per mix."""
    added = tuple(f"gain_{name}" for name in _CHANCES)
    columns = ("kind", "open", "boxes", *_LENGTHS, *_CHANCES, "empty", "best", "price", *_LEFT, *_GAINS, *added)
    return rows_text(columns, (*_LENGTHS, *_GAINS), unit, (_flat(_mix(mix, unit)) for mix in found.mixes))


def _mix(mix: MixStudied, unit: str) -> dict[str, Value]:
    return {
        "kind": mix.kind,
        "open": mix.opened,
        "boxes": mix.boxes,
        "worst_deviation": _length(mix.worst, unit),
        "spread": _length(mix.spread, unit),
        **_chance("inside", mix.inside),
        **_chance("within_tolerance", mix.close),
        "price": _money(mix.price),
        "left": Number(f"{mix.left.mean:.4f}"),
        "left_half_width": None if mix.left.half_width is None else Number(f"{mix.left.half_width:.4f}"),
        "left_price": None if mix.left_price is None else _money(mix.left_price.mean),
        "left_price_half_width": None if mix.left_price is None else _money(mix.left_price.half_width),
        "empty": mix.empty,
        "best": mix.best,
        "gain": None if mix.gain is None else _gain(mix.gain, unit),
    }


def _flat(row: Mapping[str, Value]) -> dict[str, Value]:
    """Each table of a row as columns of its own: `spread` to `spread_mean` and so on."""
    flat = dict(row)
    opened, gain = row["open"], row["gain"]
    assert isinstance(opened, Mapping)
    flat["open"] = " + ".join(f"{count} {step}" for step, count in opened.items())
    empty = row["empty"]
    assert isinstance(empty, Mapping)
    flat["empty"] = "; ".join(f"{name}: {count}" for name, count in empty.items())
    for name in ("worst_deviation", "spread"):
        figures = row[name]
        assert isinstance(figures, Mapping)
        flat |= {f"{name}_{figure}": value for figure, value in figures.items()}
        saved = gain[name] if isinstance(gain, Mapping) else None
        if isinstance(saved, Mapping):
            flat |= {f"gain_{name}": saved["mean"], f"gain_{name}_half_width": saved["half_width"]}
    if isinstance(gain, Mapping):
        flat |= {f"gain_{name}": gain[name] for name in _CHANCES}
    return flat


def _length(found: Length, unit: str) -> dict[str, Value]:
    p90 = found.p90
    return {
        **_mean(found.mean, unit),
        "p90": None if p90 is None else length(p90.value, unit),
        "p90_low": None if p90 is None else length(p90.low, unit),
        "p90_high": None if p90 is None else length(p90.high, unit),
    }


def _mean(found: Mean | None, unit: str) -> dict[str, Value]:
    if found is None:
        return {"mean": None, "half_width": None}
    return {"mean": length(found.mean, unit), "half_width": length(found.half_width, unit)}


def _chance(name: str, found: Chance | None) -> dict[str, Value]:
    ends = (None, None, None) if found is None else tuple(Number(f"{part:.6f}") for part in found)
    return dict(zip((name, f"{name}_low", f"{name}_high"), ends, strict=True))


def _gain(gain: Gain, unit: str) -> dict[str, Value]:
    return {
        "over": gain.over,
        "worst_deviation": None if gain.worst is None else _mean(gain.worst, unit),
        "spread": None if gain.spread is None else _mean(gain.spread, unit),
        **_chance("inside", gain.inside),
        **_chance("within_tolerance", gain.close),
    }


def _kind(one: KindStudied, unit: str) -> dict[str, Value]:
    return {
        "positions": one.positions,
        "drawn": one.drawn,
        "left_out": one.left_out,
        "open_boxes": one.open_boxes,
        "grid": length(one.grid_nm, unit),
        "floor": length(one.floor_nm, unit),
        "floor_from": one.floor_from,
        "enough": one.enough,
        "verdict": one.verdict.code,
        "as_well": one.as_well,
        "stuck": {name: why.code for name, why in one.stuck.items()},
        "unknown": one.unknown,
        "any_marks": one.any_marks,
        "misread": one.misread,
        "locked": {name: length(nm, unit) for name, nm in one.locked.items()},
        "steps": [_step(step, unit) for step in one.steps],
    }


def _left_out(why: Fact, unit: str) -> dict[str, Value]:
    return {"kind": str(why.slots["kind"]), "code": why.code, "why": refused(why, unit)}


def _step(step: Step, unit: str) -> dict[str, Value]:
    walls = step.walls
    counts = {side: sum(half.half == side for half in step.halves) for side in ("upper", "lower", "either")}
    return {
        "step": step.name,
        "shells": counts,
        "shells_from": step.halves_from,
        "wall": {half or "any": length(nm, unit) for half, nm in walls.means_nm.items()},
        "wall_from": walls.mean_from,
        "wall_u": length(walls.mean_u_nm, unit),
        "within": length(walls.within_nm, unit),
        "within_from": walls.within_from,
        "within_degrees_of_freedom": walls.freedom,
        "between": length(walls.between_nm, unit),
        "between_from": walls.between_from,
        "between_degrees_of_freedom": walls.between_freedom,
        "measured_shells": walls.shells,
        "measured_boxes": walls.boxes,
        "prices": [_money(price) for price in step.prices_thousandths],
    }


def _money(thousandths: float | None) -> Number | None:
    """What the program reckons is money of the user's own, with three decimals at most."""
    return None if thousandths is None else Number(f"{thousandths / 1000:.3f}".rstrip("0").rstrip("."))
