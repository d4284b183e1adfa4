"""The text of `fitmatch boxes`: what each number and mix of boxes would give, and what the next one is worth."""

from collections.abc import Sequence
from math import ceil
from typing import Final

from fitmatch.lengths import fixed
from fitmatch.report.boxes.words import (
    LEFT_OUT,
    best_of_each,
    counted,
    drawn_so,
    left_empty,
    locked,
    measured_so,
    misread,
    money,
    next_box,
    not_studied,
    opened,
    precise,
)
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table
from fitmatch.report.shared.scale import NOTHING, Scale, scale_for
from fitmatch.study.boxes.intervals import Chance, Mean
from fitmatch.study.boxes.studied import Gain, Length, MixStudied, Studied

NEVER: Final = "never all filled"
_MOST: Final = 8  # mixes of a kind on the first screen


def studied_text(found: Studied, unit: str, *, full: bool = False) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page. `full`: every mix."""
    scale = scale_for(unit, ())
    blocks = [_heading(found, scale), items("WARNINGS", list(map(clean, found.job.warnings)))]
    for one in found.kinds:
        mine = [mix for mix in found.mixes if mix.kind == one.kind]
        shown = mine if full or len(mine) <= _MOST else [m for m in mine if m.best or m.opened == one.as_well]
        positions = counted(one.positions, "position")
        boxes = "no box open" if not one.open_boxes else f"{one.open_boxes} open already, used in every row"
        blocks.append([*paragraph(f"{clean(one.kind).upper()}: {positions}, {boxes}"), *_figures(shown, found, scale)])
        if left := len(mine) - len(shown):
            blocks.append(paragraph(f"{best_of_each(mine)}; {left} more: add --full."))
        told = [
            left_empty(shown, one, found.draws),
            misread(one, found.draws),
            locked(one, scale),
            next_box(one, found, scale),
        ]
        blocks.append([line for text in filter(None, told) for line in paragraph(text)])
    told = [text for one in found.kinds for text in drawn_so(one, scale)]
    blocks += [
        [line for text in [*told, *not_studied(found, unit), measured_so(found)] for line in paragraph(text)],
        paragraph(LEFT_OUT),
    ]
    blocks.append(paragraph(f"Inputs' digest: {found.job.digest}") if found.job.digest else [])
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _heading(found: Studied, scale: Scale) -> list[str]:
    job, close = found.job, ""
    if found.tolerance_nm is not None:
        close = f"; close: all within {scale.steps(found.tolerance_nm)} of target"
    draws, precision = counted(found.draws, "draw"), precise(found, scale)
    return [
        *paragraph(clean(job.title or job.folder.name)),
        *paragraph(f"Boxes to open beside those that are open: {draws}, seed {found.seed}."),
        *paragraph(
            f"Lengths in {scale.step}: mean, and what 90 % of the draws do not exceed{close}. Every figure with its "
            "95 % confidence interval, ± or (from..to)."
        ),
        *paragraph(
            "box saves, adds: of the worst deviation, and to the chance that all are inside (without limits: filled), "
            "against the best mix of one box fewer. left: shells of new boxes that no position takes; of equal plans "
            "another may leave more."
        ),
        *(paragraph(precision) if precision else []),
    ]


def _figures(mixes: Sequence[MixStudied], found: Studied, scale: Scale) -> list[str]:
    priced, limited = any(mix.price for mix in mixes), any(mix.inside for mix in mixes)
    return [
        *table(
            mixes,
            Column("open", opened, "left", wraps=True),
            Column("worst off", lambda mix: _mean(mix.worst.mean, scale)),
            Column("90 % up to", lambda mix: _p90(mix.worst, scale)),
            Column("box saves", lambda mix: _mean(mix.gain.worst if mix.gain else None, scale)),
            Column("spread", lambda mix: _mean(mix.spread.mean, scale)),
            Column("90 % up to", lambda mix: NOTHING if mix.worst.p90 is None else _p90(mix.spread, scale)),
        ),
        "",
        *table(
            mixes,
            Column("open", opened, "left", wraps=True),
            Column("all inside, %", lambda mix: _chance(mix.inside), shown=limited),
            Column("box adds, %", lambda mix: _added(mix.gain)),
            Column("close, %", lambda mix: _chance(mix.close), shown=found.tolerance_nm is not None),
            Column("left", lambda mix: _spread(mix.left, 1, 1)),
            Column("price", lambda mix: money(mix.price), shown=priced),
            Column("of it left", lambda mix: _spread(mix.left_price, 1000, 2), shown=priced),
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
    value, low, high = (scale.steps(nm) for nm in length.p90)
    return f"{value} ({low}..{high})"


def _chance(chance: Chance | None) -> str:
    return NOTHING if chance is None else f"{_percent(chance.value)} ({_percent(chance.low)}..{_percent(chance.high)})"


def _percent(part: float) -> str:
    """Hundredths, with a decimal near the ends: what failed once in a thousand draws is not certain."""
    if part in (0.0, 1.0):
        return "100" if part else "0"
    if 0.01 <= part <= 0.99:
        return f"{100 * part:.0f}"
    return f"{min(max(100 * part, 0.1), 99.9):.1f}"


def _added(gain: Gain | None) -> str:
    """By how many hundredths the chance grew; the interval goes as far on either side as it goes on the wider one."""
    if gain is None:
        return NOTHING
    value, low, high = gain.inside
    return f"{100 * value:+.1f} ±{ceil(1000 * max(value - low, high - value)) / 10:.1f}"


def _spread(mean: Mean | None, per: int, places: int) -> str:
    """A mean of numbers that are no lengths, in multiples of `per`."""
    if mean is None:
        return NOTHING
    half = mean.half_width
    wide = "" if half is None else f" ±{ceil(half / per * 10**places) / 10**places:.{places}f}"
    return f"{mean.mean / per:.{places}f}{wide}"
