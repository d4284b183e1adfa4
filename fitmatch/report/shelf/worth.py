"""What the shelf is worth, as text, JSON and CSV. Prices are in whatever money they were written down in."""

from collections.abc import Iterable, Sequence
from typing import Final

from fitmatch.report.shared.emit import Value, rows_text
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shelf.data import price, shelf_document
from fitmatch.report.shelf.texts import NOT_KNOWN
from fitmatch.shelf.answers.worths import EngineCost, Lost, TiedUp, Worth
from fitmatch.shelf.questions.worth import AGES

_UNPRICED: Final = "unpriced"
_COLUMNS: Final = ("family", "older_than_days", "shells", "singles", "sealed", "worth", _UNPRICED)


def worth_text(worth: Worth, unit: str) -> str:
    """What `value` found."""
    lines = table(
        worth.tied_up,
        Column("family", lambda t: whole(t.family) or "(none)", "left", wraps=True),
        Column("opened", lambda t: _age(t.older_than_days) if t.shells else "sealed", "left"),
        Column("shells", lambda t: f"{t.shells:,}"),
        Column("single", lambda t: f"{t.singles:,}", shown=any(t.singles for t in worth.tied_up)),
        Column("sealed boxes", lambda t: f"{t.sealed:,}", shown=any(t.sealed for t in worth.tied_up)),
        Column("worth", lambda t: _shown(t.worth_thousandths)),
        Column("no price", lambda t: f"{t.unpriced:,}", shown=any(t.unpriced for t in worth.tied_up)),
    )
    lines = lines or ["nothing is tied up"]
    if len(worth.tied_up) > 1:
        lines.append(f"tied up in all: {_shown(_total(worth.tied_up))}")
    lines += [f"{one.state}: {_count(one)}, {_shown(one.worth_thousandths)}" for one in worth.lost]
    engines = table(
        worth.engines,
        Column("engine", lambda e: str(e.number)),
        Column("job", lambda e: clean(e.job), "left", wraps=True),
        Column("shells", lambda e: str(e.shells)),
        Column("cost", lambda e: _shown(e.worth_thousandths)),
        Column("no price", lambda e: str(e.unpriced), shown=any(e.unpriced for e in worth.engines)),
    )
    lines += ["", *engines] if engines else []
    if any(one.unpriced for part in (worth.tied_up, worth.lost, worth.engines) for one in part):
        lines += [
            "",
            *paragraph("What has no price is counted, not added up; take it in again with a price."),
        ]
    return "\n".join(lines) + "\n"


def _count(one: Lost) -> str:
    unpriced = f" ({one.unpriced:,} without a price)" if one.unpriced else ""
    return f"{one.shells:,} shell{'' if one.shells == 1 else 's'}{unpriced}"


def _age(older_than: int | None) -> str:
    if older_than is None:
        return NOT_KNOWN
    ends = [*AGES[1:], None]
    end = ends[AGES.index(older_than)]
    if end is None:
        return f"over {older_than} days ago"
    return f"up to {end} days ago" if not older_than else f"{older_than} to {end} days ago"


def _total(parts: Iterable[TiedUp | Lost | EngineCost]) -> int:
    return sum(part.worth_thousandths for part in parts)


def _shown(thousandths: int) -> str:
    """To hundredths, as people count money."""
    hundredths = round(thousandths / 10)
    return f"{hundredths // 100:,}.{hundredths % 100:02}"


def worth_document(worth: Worth, unit: str) -> str:
    """The same as JSON; `total` is what is tied up."""
    return shelf_document(
        unit,
        total=price(_total(worth.tied_up)),
        tied_up=_values(worth.tied_up),
        lost=_values(worth.lost),
        engines=_values(worth.engines),
    )


def worth_rows(worth: Worth, unit: str) -> str:
    """A row for each family and age."""
    return rows_text(_COLUMNS, (), unit, _values(worth.tied_up))


def _values(parts: Sequence[TiedUp | Lost | EngineCost]) -> "list[dict[str, Value]]":
    found = []
    for part in parts:
        own: dict[str, Value] = {name: value for name, value in part._asdict().items() if name != "worth_thousandths"}
        found.append(own | {"worth": price(part.worth_thousandths)})
    return found
