"""JSON and CSV with numbers written exactly: lengths are whole nanometres inside, and no float may come in between."""

import csv
import json
from collections.abc import Container, Iterable, Mapping, Sequence
from functools import lru_cache
from io import StringIO
from typing import Any, NamedTuple, TypeAlias

from fitmatch.lengths import NM_PER_UNIT, exact_half, shortest
from fitmatch.names import guarded


class Number(str):
    """A number, or something larger, already written out; it goes into the document as it is."""

    __slots__ = ()


Value: TypeAlias = "str | int | bool | Mapping[str, Value] | Sequence[Value] | None"


class Table(NamedTuple):
    """Columns and their rows; lengths, in one unit, are in the columns of `lengths`."""

    columns: Sequence[str]
    lengths: Container[str]
    rows: Iterable[Mapping[str, Value]]


@lru_cache(maxsize=65_536)
def length(nm: float | None, unit: str) -> Number | None:
    """A length to half a nanometre."""
    return None if nm is None else Number(exact_half(round(2 * nm), unit))


def half_length(twice_nm: int | None, unit: str) -> Number | None:
    """Half of a whole number of nanometres."""
    return None if twice_nm is None else Number(exact_half(twice_nm, unit))


def area(nm2: int | None, unit: str) -> Number | None:
    """A sum of squared lengths in the unit squared: the shortest decimal that rounds back to the same nm squared."""
    if nm2 is None:
        return None
    digits, places = shortest(nm2, NM_PER_UNIT[unit] ** 2)
    text = str(digits)
    power = len(text) - 1 - places
    mantissa = (text[0] + "." + text[1:]).rstrip("0").rstrip(".")
    return Number(mantissa if power == 0 or not digits else f"{mantissa}e{power}")


def named_values(record: Mapping[str, Any], unit: str) -> dict[str, Value]:
    """The fields of a record by name: those ending in `_nm` as lengths, in `_nm2` as areas, without that ending."""
    found: dict[str, Value] = {}
    for name, value in record.items():
        if name.endswith("_nm"):
            found[name.removesuffix("_nm")] = length(value, unit)
        elif name.endswith("_nm2"):
            found[name.removesuffix("_nm2")] = area(value, unit)
        else:
            found[name] = value
    return found


def document(value: Mapping[str, Value]) -> str:
    """One key a line; in a list or a table of tables, one entry a line."""
    lines = [f"  {_compact(key)}: {_opened(entry)}" for key, entry in value.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def written(value: Value) -> Number:
    """The same on one line, to go into several places."""
    return Number(_compact(value))


def joined(first: Number, second: Number) -> Number:
    """The keys of two written tables in one."""
    return Number(f"{first[:-1]}, {second[1:]}")


def rows_text(columns: Sequence[str], lengths: Container[str], unit: str, rows: Iterable[Mapping[str, Value]]) -> str:
    """CSV with a header, in which a column of `lengths` names its unit; what is absent is an empty cell, and
    nothing is a formula."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f"{name} [{unit}]" if name in lengths else name for name in columns])
    writer.writerows([_cell(row.get(name)) for name in columns] for row in rows)
    return out.getvalue()


def _cell(value: Value) -> Value:
    if isinstance(value, str) and not isinstance(value, Number):
        return guarded(value)
    return str(value).lower() if isinstance(value, bool) else value


def _opened(value: Value) -> str:
    if isinstance(value, Mapping) and value and all(isinstance(v, Mapping) for v in value.values()):
        return "{\n" + ",\n".join(f"    {_compact(k)}: {_compact(v)}" for k, v in value.items()) + "\n  }"
    if isinstance(value, Sequence) and not isinstance(value, str) and value:
        return "[\n" + ",\n".join("    " + _compact(v) for v in value) + "\n  ]"
    return _compact(value)


def _compact(value: Value) -> str:
    if isinstance(value, Number):
        return value
    if value is None or isinstance(value, (str, int)):  # the most frequent first: there are millions
        return _plain(value)
    if isinstance(value, (dict, Mapping)):
        return "{" + ", ".join([f"{_plain(k)}: {_compact(v)}" for k, v in value.items()]) + "}"
    return "[" + ", ".join(map(_compact, value)) + "]"


@lru_cache(maxsize=4096, typed=True)
def _plain(value: str | int | bool | None) -> str:
    text = json.dumps(value, ensure_ascii=False)
    # What would not be shown as itself, such as a mark that turns the direction of writing, is written as its number.
    return text if text.isprintable() else "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text)
