"""Values of job.toml by their dotted key, each with the type and bounds it must have."""

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any, TypeVar

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.quantities import CellError, LengthReader, Quantity
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile, Path, dotted
from fitmatch.lengths import JOB_UNITS, LengthError, parse_number
from fitmatch.names import fault_in_name, nearest, other_case
from fitmatch.records.measuring import Decimal
from fitmatch.wording import listed, shorten

T = TypeVar("T")
Strange = Callable[[Path, str, object], tuple[str, str] | None]


class TypedNumber(str):
    """A number of job.toml as it was typed, so that no digit is lost to floating point."""

    __slots__ = ()


class Values:
    """A parsed job.toml. Every reader notes what is wrong at its key and returns what a missing key would give."""

    def __init__(self, document: Mapping[str, Any], file: JobFile, findings: Findings, strange: Strange) -> None:
        """`strange`: code and text for a key that is not known at its path, with its value, where there is more to say
        than which known one is nearest."""
        self.document = document
        self.misplaced: set[str] = set()  # keys that stand where they do not belong, which was noted
        self._strange = strange
        self.report = file.report
        self.row = file.row
        unit = document.get("unit")
        self.unit: str | None = unit if unit in JOB_UNITS else None
        self._findings = findings

    def refuse_unknown(self, path: Path, known: Iterable[str]) -> None:
        """Note every key of a table that is not known, or that it is no table."""
        self._must_be_table(path, f"a table, [{dotted(path)}]")
        names = list(known)
        for key in self.table(path):
            if key not in names:
                near = f"no such key; the nearest is `{dotted((*path, nearest(key, names) or names[0]))}`"
                code, text = self._strange(path, key, self.table(path)[key]) or ("unknown-key", near)
                self.report(code, text, *path, key)
                if code == "misplaced-key":
                    self.misplaced.add(key)

    def table(self, path: Path) -> Mapping[str, Any]:
        """A table; an empty one if it is not there or something else."""
        value = self._at(path)
        return value if isinstance(value, dict) else {}

    def each(self, path: Path, keys: Collection[str], read: Callable[[Path], T | None]) -> dict[str, T]:
        """What `read` makes of these keys of a table, without nothing; other keys are noted."""
        self.refuse_unknown(path, keys)
        found = {key: read((*path, key)) for key in keys}
        return {key: value for key, value in found.items() if value is not None}

    def by_kind(
        self, path: Path, fits: Collection[str], read: Callable[[Path], T | None], what: str = "table"
    ) -> dict[str, T]:
        """What `read` makes of each kind's key in a table, without nothing; `fits` and `what` as in `kinds`."""
        found = {kind: read((*path, kind)) for kind in self.kinds(path, fits, what)}
        return {kind: value for kind, value in found.items() if value is not None}

    def text(self, path: Path, example: str = 'write it in quotes, such as "text"') -> str | None:
        """A text that is not blank."""
        value: str | None = self._typed(path, _is_text, f", not a text; {example}")
        if value is not None and not value.strip():
            self.report("empty-cell", f"is empty; {example}", *path)
            return None
        return value

    def texts(self, path: Path, example: str) -> tuple[str, ...] | None:
        """A list of texts, none of them blank."""
        value = self._list_of("text", _is_text, path, example)
        if value is None:
            return None
        if not all(v.strip() for v in value):
            self.report("empty-cell", f"holds an empty text; {example}", *path)
            return None
        return tuple(value)

    def numbers(self, path: Path, example: str) -> tuple[str, ...] | None:
        """The texts of a list of plain numbers, at least one."""
        value = self._list_of("number", self.is_number, path, example)
        if value is None:
            return None
        if not value:
            self.report("empty-cell", f"is empty; {example}", *path)
            return None
        return tuple(_digits(v) for v in value)

    def _list_of(self, what: str, belongs: Callable[[Any], bool], path: Path, example: str) -> list[Any] | None:
        value: list[Any] | None = self._typed(path, lambda v: isinstance(v, list), f", not a list; {example}")
        wrong = [one for one in value or () if not belongs(one)]
        if wrong:
            self.report("wrong-type", f"holds {_kind_of(wrong[0])} where a {what} belongs; {example}", *path)
            return None
        return value

    def word(self, path: Path, allowed: tuple[str, ...]) -> str | None:
        """One of a few words."""
        words = listed([f'"{w}"' for w in allowed], "or")
        value: str | None = self._typed(path, _is_text, f", not a text; write {words}")
        if value is None or value in allowed:
            return value
        self.report("unknown-value", f"`{shorten(value)}` is not known here; write {words}", *path)
        return None

    def flag(self, path: Path, *, default: bool) -> bool:
        value = self._typed(path, lambda v: isinstance(v, bool), "; write true or false, without quotes")
        return default if value is None else bool(value)

    def number(self, path: Path) -> str | None:
        """The text of a plain number."""
        value = self._typed(path, self.is_number, ", not a number; write a number without quotes")
        return None if value is None else _digits(value)

    def decimal(self, text: str, path: Path) -> Decimal | None:
        """The text of a number, which stands at this path, as a number."""
        try:
            return Decimal(*parse_number(text))
        except LengthError as error:
            self.report("not-a-number", str(error), *path)
            return None

    def number_within(self, path: Path, bounds: tuple[float, float, str]) -> Decimal | None:
        """A plain number within its bounds, which stand there once more in words, exactly as typed."""
        text = self.number(path)
        number = None if text is None else self.decimal(text, path)
        if text is None or number is None:
            return None
        low, high, words = bounds
        if not low <= float(number) <= high:
            self.report("implausible-number", f"`{shorten(text)}` lies outside {words}; check the figure", *path)
            return None
        return number

    @staticmethod
    def is_number(value: object) -> bool:
        """Whether a value was typed as a number, with a point or without."""
        return isinstance(value, TypedNumber) or (isinstance(value, int) and not isinstance(value, bool))

    def length(self, path: Path, quantity: Quantity, unit: str | None = None) -> int | None:
        """A length: a number in `unit` or else in the job's, or a text with a number and its unit."""
        example = 'write a number, or a number and its unit in quotes, such as "0.6 thou"'
        value = self._typed(path, lambda v: self.is_number(v) or isinstance(v, str), f", not a length; {example}")
        return None if value is None else self.length_of(_digits(value), quantity, path, unit)

    def length_of(self, text: str, quantity: Quantity, path: Path, unit: str | None = None) -> int | None:
        """A length in a text that stands at this path."""
        reader = LengthReader(quantity, unit or self.unit, inch_job=self.unit != "mm")
        try:
            nm = reader.read(text)
        except CellError as error:
            self.report(error.code, str(error), *path)
            return None
        if reader.finer:
            self._findings.rounded(text, JOB_FILE, None, dotted(path))
        return nm

    def kinds(self, path: Path, fits: Collection[str] | None, what: str = "table") -> list[str]:
        """The kinds a table has keys for; each must have a `[fit.KIND]`, whose kinds are `fits` (None: any will do)."""
        self._must_be_table(path, f"one {what} per kind, such as {dotted((*path, 'rod'))}")
        kinds = []
        for kind in self.table(path):
            if fits is None:
                fault = fault_in_name(kind) if kind == kind.strip() and kind else "is no name; write a short word"
                if fault:
                    self.report("bad-name", fault, *path, kind)
                    continue
            elif kind not in fits:
                if fits:  # without any [fit.KIND] that lack is reported, and this only follows from it
                    meant = other_case(kind, fits)
                    todo = f"the nearest kind is `{nearest(kind, fits)}`"
                    if meant is not None:
                        todo = f"write the kind with its own capitals, `{shorten(meant)}`"
                    self.report("unknown-kind", f"there is no [fit.{shorten(kind)}]; {todo}", *path, kind)
                continue
            kinds.append(kind)
        return kinds

    def _must_be_table(self, path: Path, example: str) -> None:
        self._typed(path, lambda v: isinstance(v, dict), f", not a table; write {example}")

    def _typed(self, path: Path, belongs: Callable[[Any], bool], otherwise: str) -> Any:
        """A value, which TOML lets never be None; None where there is none, or one of another type: that is noted."""
        value = self._at(path)
        if value is None or belongs(value):
            return value
        self.report("wrong-type", f"is {_kind_of(value)}{otherwise}", *path)
        return None

    def _at(self, path: Path) -> Any:
        value: Any = self.document
        for key in path:
            value = value.get(key) if isinstance(value, dict) else None
        return value


def _is_text(value: object) -> bool:
    return isinstance(value, str) and not isinstance(value, TypedNumber)


def _digits(value: int | str) -> str:
    """A number as text. Python writes out no whole number of thousands of digits, so a huge one stays hexadecimal."""
    return hex(value) if isinstance(value, int) and value.bit_length() > 10_000 else str(value)


def _kind_of(value: object) -> str:
    """A value's type in words."""
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, TypedNumber | int):
        return f"the number `{shorten(_digits(value))}`"
    if isinstance(value, str):
        return f"the text `{shorten(value)}`"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return "a date or time"  # TOML has no further types
