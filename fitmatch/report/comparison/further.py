"""The further tables of a comparison: by target, without a rule, from fewer boxes, and what is traded off."""

from collections.abc import Iterator

from fitmatch.report.comparison.rows import by_kind, figures, not_proven
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.shared.layout import Column, paragraph, table, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.study.comparison.compared import Compared, Found
from fitmatch.wording import listed


def by_target(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared.targets or ()):
        best = [scale.with_unit(row.target_nm) for row in rows if row.best]
        yield [
            *paragraph(f"{told.upper()}, BY TARGET: these shells serve {listed(best, 'or')} best."),
            *table(
                rows,
                Column("target", lambda row: f"{'best ' if row.best else ''}{scale.length(row.target_nm)}"),
                *figures(rows, scale, mean=True),
            ),
            *not_proven(rows, scale, lambda row: scale.with_unit(row.target_nm)),
        ]


def without_rules(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    base = {(row.found.job, row.found.kind): row.found for row in compared.plans if row.plan == "target"}
    for told, rows in by_kind(compared.rules or ()):
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
    for told, rows in by_kind(compared.boxes or ()):
        yield [
            *paragraph(f"{told.upper()}, IF ONLY THESE BOXES HAD BEEN OPENED:"),
            *table(
                rows,
                Column("opened", lambda row: ", ".join(map(whole, row.opened)), "left", wraps=True),
                *figures(rows, scale)[:-1],
            ),
            *not_proven(rows, scale, lambda row: " and ".join(row.opened)),
        ]
    locked = dict.fromkeys((row.kind, box) for row in compared.left_out for box in row.locked)
    if locked:
        told = "; ".join(whole(f"{kind}: {box}") for kind, box in locked)
        yield paragraph(f"Left out is every choice without a box of which a shell is locked in: {told}.")


def traded_off(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    for told, rows in by_kind(compared.trade_off or ()):
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
                Column("", lambda row: "proven" if row.found.proof.proven else NOT_PROVEN, "left"),
            ),
        ]
