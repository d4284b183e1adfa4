"""The further tables of a comparison: by target, without a rule, from fewer boxes, and what is traded off."""

from collections.abc import Iterator, Sequence

from fitmatch.report.comparison.rows import by_kind, chance_inside, figures, not_proven, trade_offs
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, paragraph, table, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.study.comparison.boxes import MOST_BOXES
from fitmatch.study.comparison.compared import BoxesRow, Compared, Found, Point, TargetRow
from fitmatch.wording import listed


def by_target(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared, compared.targets or ()):
        best = [row for row in rows if row.best]
        names = [scale.with_unit(row.target_nm) for row in best]
        yield [
            *paragraph(f"{told.upper()}, BY TARGET: these shells serve {listed(names, 'or')} best."),
            *_still_outside(best, scale),
            *(line for text in near_limits(best, scale) for line in paragraph(text)),
            *table(
                rows,
                Column("target", lambda row: f"{'best ' if row.best else ''}{scale.length(row.target_nm)}"),
                *figures(rows, scale, mean=True),
                chance_inside(rows),
            ),
            *not_proven(rows, scale, lambda row: scale.with_unit(row.target_nm)),
        ]


def near_limits(rows: Sequence[TargetRow], scale: Scale) -> Iterator[str]:
    """Of the targets that are met best, how many positions that puts so near to a limit that they may be outside."""
    for row in rows:
        near = [f"{count} of {row.found.positions} lie within U of {end}" for end, count in
                (("min", row.near_min), ("max", row.near_max)) if count]  # fmt: skip
        if near:
            chance = "" if row.joint_chance is None else f"; the chance that all are inside is {row.joint_chance:.4f}"
            yield f"Aimed most exactly, not safest: at {scale.with_unit(row.target_nm)} {' and '.join(near)}{chance}."


def _still_outside(best: Sequence[TargetRow], scale: Scale) -> list[str]:
    """That even the best target leaves positions outside, and which: no other one leaves fewer."""
    by_names: dict[tuple[str, ...], list[str]] = {}
    for row in best:
        if row.outside:
            by_names.setdefault(row.outside, []).append(scale.with_unit(row.target_nm))
    told = [f"{listed(list(map(whole, names)))} not at {listed(targets, 'or')}" for names, targets in by_names.items()]
    if not told:
        return []
    return paragraph(
        f"NEEDS ATTENTION: no target brings all positions inside their limits: {'; '.join(told)}. NOT TO BE "
        "ASSEMBLED so; see `fitmatch advise`."
    )


def without_rules(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    base = {(row.found.job, row.found.kind): row.found for row in compared.plans if row.plan == "target"}
    for told, rows in by_kind(compared, compared.rules or ()):
        yield [
            *paragraph(f"{told.upper()}, EACH RULE LET GO:"),
            *table(
                rows,
                Column("without", lambda row: row.rule, "left"),
                *figures(rows, scale),
                Column("it costs", lambda row: _cost(base[row.found.job, row.found.kind], row.found, scale), "left"),
            ),
            *not_proven(rows, scale, lambda row: row.rule),
        ]
    if compared.rules == ():
        yield ["No rule of the shop's own is in force."]


def _cost(with_it: Found, without: Found, scale: Scale) -> str:
    """The first figure that is better without the rule."""
    kept, free = with_it.figures, without.figures
    inside = free.filled - free.below - free.above - (kept.filled - kept.below - kept.above)
    if inside > 0:
        return f"{inside} inside"
    for name, more in (("filled", free.filled - kept.filled), ("below min", kept.below - free.below)):
        if more > 0:
            return f"{more} {name}"
    for name, nm in (
        ("shortfall", kept.shortfall_nm - free.shortfall_nm),
        ("excess", kept.excess_nm - free.excess_nm),
        ("worst", (kept.worst_deviation_nm or 0) - (free.worst_deviation_nm or 0)),
    ):
        if nm > 0:
            return f"{name} {scale.amount(nm)} {scale.step}"
    squares = (kept.sum_squared_deviation_nm2 or 0) - (free.sum_squared_deviation_nm2 or 0)
    if squares > 0:
        return f"squares {scale.squares(squares)}"
    spread = (kept.spread_nm or 0) - (free.spread_nm or 0)
    return f"spread {scale.amount(spread)} {scale.step}" if spread > 0 else "nothing"


def fewer_boxes(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared, compared.boxes or ()):
        many = len(rows[0].opened) + len(rows[0].without) > MOST_BOXES
        head = "IF ALL BUT THESE BOXES" if many else "IF ONLY THESE BOXES"
        yield [
            *paragraph(f"{told.upper()}, {head} HAD BEEN OPENED:"),
            *table(rows, Column("opened", _opened, "left", wraps=True), *figures(rows, scale)[:-1]),
            *not_proven(rows, scale, _opened),
        ]
    locked = dict.fromkeys((row.kind, box) for row in compared.left_out for box in row.locked)
    if locked:
        told = "; ".join(whole(f"{kind}: {box}") for kind, box in locked)
        yield paragraph(f"Left out is every choice without a box of which a shell is locked in: {told}.")


def _all_inside(row: Point) -> bool:
    figures = row.found.figures
    return not (row.found.unfilled or figures.below or figures.above)


def _opened(row: BoxesRow) -> str:
    """By name, or where there are many boxes by those left out."""
    if len(row.opened) + len(row.without) > MOST_BOXES:
        return f"without {listed(list(map(whole, row.without)))}"
    return ", ".join(map(whole, row.opened))


def traded_off(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in trade_offs(compared):
        against = rows[0].against
        yield [
            *paragraph(f"{told.upper()}, WORST DEVIATION AGAINST {against.upper()}: no plan is better in both."),
            *table(
                rows,
                Column(f"worst\n{scale.step}", lambda row: scale.steps(row.found.figures.worst_deviation_nm)),
                Column(
                    "boxes" if against == "boxes" else f"spread\n{scale.step}",
                    lambda row: (
                        str(row.found.figures.boxes)
                        if row.against == "boxes"
                        else scale.steps(row.found.figures.spread_nm)
                    ),
                ),
                *([] if all(map(_all_inside, rows)) else figures(rows, scale)[:2]),
                Column("", lambda row: "proven" if row.found.proof.proven else NOT_PROVEN, "left"),
            ),
        ]
