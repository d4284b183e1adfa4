"""An engine that was taken down: what has worn, as text, JSON and CSV."""

from collections.abc import Sequence
from typing import Final

from fitmatch.lengths import exact
from fitmatch.report.shared.emit import Value, length, rows_text
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shelf.data import attention_values, event_value, shelf_document, wear_u
from fitmatch.report.shelf.words import words
from fitmatch.shelf.answers.engines import TornDown, Wear
from fitmatch.wording import listed

_COLUMNS: Final = ("position", "part", "label", "before", "after", "wear", "uncertainty", "grew")
_LENGTHS: Final = frozenset(("before", "after", "wear", "uncertainty"))
_USED: Final = (
    "Used shells fit only their own position and side again, and only if the makers of engine and bearing allow "
    "it: a wall says nothing about fatigue, dirt in the lining, or whether the shell still has its spread."
)
_UNCERTAIN: Final = (
    "Wear without a figure behind it is the plain difference of two days' readings: say which gauges took both, with "
    "their figures in job.toml, as the zero of one day does not cancel that of another."
)


def torn_down_text(found: TornDown, unit: str) -> str:
    """What `teardown` found."""
    count = len(found.events)
    lines = [f"engine {found.engine} ({whole(found.job)}) is taken down: {count} shell{'' if count == 1 else 's'} back"]
    worn = [wear for wear in found.wears if wear.after_nm is not None]
    lines += wear_table(worn, unit)
    if found.attention:
        lines += ["", *items("ATTENTION", [words(fact, unit) for fact in found.attention])]
    lines += missing_for_u(worn)
    if any(wear.u_nm is None for wear in worn):
        lines += ["", *paragraph(_UNCERTAIN)]
    if found.wears:
        lines += ["", *paragraph(_USED)]
    return "\n".join(lines) + "\n"


def missing_for_u(worn: Sequence[Wear]) -> list[str]:
    """What would have to be known."""
    missing = dict.fromkeys(what for wear in worn for what in wear.missing)
    return ["", *paragraph(f"Missing for U: {clean(listed([*missing]))}.")] if missing else []


def wear_table(worn: Sequence[Wear], unit: str) -> list[str]:
    """A row for each journal and shell."""
    return table(
        worn,
        Column("position", lambda w: whole(w.position), "left"),
        Column("", lambda w: w.part, "left"),
        Column("shell", lambda w: whole(w.label), "left", wraps=True),
        Column(f"before [{unit}]", lambda w: exact(w.before_nm, unit)),
        Column("after", lambda w: "" if w.after_nm is None else exact(w.after_nm, unit)),
        Column("wear", lambda w: "" if w.wear_nm is None else exact(w.wear_nm, unit)),
        Column("U", lambda w: wear_u(w.u_nm, unit) or "", shown=any(w.u_nm is not None for w in worn)),
    )


def torn_down_document(found: TornDown, unit: str) -> str:
    """The same as JSON."""
    return shelf_document(
        unit,
        engine=found.engine,
        job=found.job,
        wear=[_value(wear, unit) for wear in found.wears],
        events=[event_value(event, unit) for event in found.events],
        attention=attention_values(found.attention, unit),
    )


def torn_down_rows(found: TornDown, unit: str) -> str:
    """A row for each journal and shell."""
    return rows_text(_COLUMNS, _LENGTHS, unit, (_value(wear, unit) for wear in found.wears))


def _value(wear: Wear, unit: str) -> dict[str, Value]:
    return {
        "position": wear.position,
        "part": wear.part,
        "label": wear.label or None,
        "before": length(wear.before_nm, unit),
        "after": length(wear.after_nm, unit),
        "wear": length(wear.wear_nm, unit),
        "uncertainty": wear_u(wear.u_nm, unit),
        "missing": [*wear.missing],
        "grew": wear.grew,
    }
