"""The text of `fitmatch boxes`: what each number and mix of boxes would give, and what the next one is worth."""

from collections.abc import Sequence
from math import ceil
from typing import Final

from fitmatch.lengths import fixed
from fitmatch.report.boxes.words import LEFT_OUT, drawn_so, measured_so, next_box, opened
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.study.boxes.intervals import Chance, Mean
from fitmatch.study.boxes.studied import Length, MixStudied, Studied

NEVER: Final = "never all filled"
_MOST: Final = 8  # mixes of a kind on the first screen


def studied_text(found: Studied, unit: str, *, full: bool = False) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page. `full`: every mix."""
    scale = scale_for(unit, ())
    blocks = [_heading(found, scale), items("WARNINGS", list(map(clean, found.job.warnings)))]
    for one in found.kinds:
        mine = [mix for mix in found.mixes if mix.kind == one.kind]
        shown = mine if full or len(mine) <= _MOST else best_of_each(mine)
        positions = f"{one.positions} position{'' if one.positions == 1 else 's'}"
        boxes = "no box open" if not one.open_boxes else f"{one.open_boxes} open already, used in every row"
        blocks.append([*paragraph(f"{clean(one.kind).upper()}: {positions}, {boxes}"), *_figures(shown, found, scale)])
        if left := len(mine) - len(shown):
            blocks.append(paragraph(f"Of each number of boxes the best; {left} more mixes: add --full."))
        blocks.append(paragraph(next_box(one, scale)))
    told = [text for one in found.kinds for text in drawn_so(one, scale)]
    blocks += [[line for text in [*told, measured_so(found)] for line in paragraph(text)], paragraph(LEFT_OUT)]
    blocks.append(paragraph(f"Inputs' digest: {found.job.digest}") if found.job.digest else [])
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _heading(found: Studied, scale: Scale) -> list[str]:
    job, close = found.job, ""
    if found.tolerance_nm is not None:
        close = f"; close: all within {scale.steps(found.tolerance_nm)} of target"
    draws = f"{found.draws:,} draws"
    if found.precision_nm is not None:
        enough = found.draws < found.wanted
        reached = "reached" if enough else f"not known to be reached by all, {found.wanted:,} draws being the most"
        draws += f", a precision of {scale.amount(found.precision_nm)} {reached}"
    return [
        *paragraph(clean(job.title or job.folder.name)),
        *paragraph(f"Boxes to open beside those that are open: {draws}, seed {found.seed}."),
        *paragraph(
            f"Lengths in {scale.step}: mean, and what 90 % of the draws do not exceed{close}. Every figure with its "
            "95 % confidence interval, ± or from..to."
        ),
    ]


def best_of_each(mixes: Sequence[MixStudied]) -> list[MixStudied]:
    """Those with the smallest worst deviation of each number of boxes."""
    best: dict[int, MixStudied] = {}
    for mix in mixes:
        if mix.boxes not in best or _rank(mix) < _rank(best[mix.boxes]):
            best[mix.boxes] = mix
    return list(best.values())


def _rank(mix: MixStudied) -> tuple[bool, float]:
    return mix.worst.mean is None, 0.0 if mix.worst.mean is None else mix.worst.mean.mean


def _figures(mixes: Sequence[MixStudied], found: Studied, scale: Scale) -> list[str]:
    priced = any(mix.price for mix in mixes)
    return [
        *table(
            mixes,
            Column("open", opened, "left", wraps=True),
            Column("worst off", lambda mix: _mean(mix.worst.mean, scale)),
            Column("90 % up to", lambda mix: _p90(mix.worst, scale)),
            Column("spread", lambda mix: _mean(mix.spread.mean, scale)),
            Column("90 % up to", lambda mix: _p90(mix.spread, scale)),
            Column("all inside, %", lambda mix: _chance(mix.inside), shown=any(mix.inside for mix in mixes)),
        ),
        "",
        *table(
            mixes,
            Column("open", opened, "left", wraps=True),
            Column("last box saves", lambda mix: _mean(mix.gain.worst if mix.gain else None, scale)),
            Column("close, %", lambda mix: _chance(mix.close), shown=found.tolerance_nm is not None),
            Column("shells left", lambda mix: f"{mix.left:.1f}"),
            Column("price", lambda mix: _money(mix.price), shown=priced),
            Column("of that left", lambda mix: _money(mix.left_price), shown=priced),
        ),
    ]


def _mean(mean: Mean | None, scale: Scale) -> str:
    if mean is None:
        return NOTHING
    half = "" if mean.half_width is None else f" ±{fixed(ceil(mean.half_width), scale.step, 2)}"
    return f"{fixed(round(mean.mean), scale.step, 2)}{half}"


def _p90(length: Length, scale: Scale) -> str:
    if length.p90 is None:
        return NEVER if length.mean is None else NOTHING
    low, high = (NOTHING if nm is None else scale.steps(nm) for nm in (length.p90.low, length.p90.high))
    return f"{low}..{high}"


def _chance(chance: Chance | None) -> str:
    if chance is None:
        return NOTHING
    return f"{100 * chance.low:.1f}..{100 * chance.high:.1f}"


def _money(thousandths: float | None) -> str:
    return NOTHING if thousandths is None else f"{thousandths / 1000:.2f}"
