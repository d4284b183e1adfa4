"""Values of job.toml by their dotted key, each checked for type and bounds."""

from collections.abc import Callable, Collection, Iterator, Mapping
from fractions import Fraction
from typing import Any, Final, TypeVar

from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.quantities import CellError, LengthReader, Quantity
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile, Path
from fitmatch.intake.job_toml.keys import keys_in
from fitmatch.intake.job_toml.strange_keys import told, told_of_section, told_of_value
from fitmatch.lengths import JOB_UNITS, LengthError, parse_number
from fitmatch.names import composed, fault_in_name, nearest
from fitmatch.wording import dotted, listed, shorten

T = TypeVar("T")
_MOST_ITEMS: Final = 1_000  # of one list


class TypedNumber(str):
    """A number of job.toml as typed, so that no digit is lost to floating point."""

    __slots__ = ()


class Values:
    """A parsed job.toml. Every reading method notes what is wrong at its key and returns what a missing key would
    give."""

    def __init__(self, document: Mapping[str, Any], file: JobFile, findings: Findings) -> None:
        self.document = document
        self.misplaced: set[str] = set()  # keys in a table where they do not belong, which was noted
        self.report = file.report
        self.row = file.row
        unit = document.get("unit")
        self.unit: str | None = unit if unit in JOB_UNITS else None
        self._findings = findings

    def refuse_unknown(self, path: Path) -> None:
        """Note every unknown key of a table, or that it is not a table."""
        self._must_be_table(path, f"a table, [{dotted(path)}]")
        known = keys_in(path)
        for key in self.table(path):
            if key not in known:
                near = f"no such key; did you mean `{dotted((*path, nearest(key, known) or known[0]))}`?"
                code, text = told(path, key, self.table(path)[key]) or ("unknown-key", near)
                self._strange(code, text, path, key)

    def _strange(self, code: str, text: str, path: Path, key: str) -> None:
        self.report(code, text, *path, key)
        if code == "misplaced-key":
            self.misplaced.add(key)

    def table(self, path: Path) -> Mapping[str, Any]:
        """A table; an empty one if it is not there or something else."""
        value = self._at(path)
        return value if isinstance(value, dict) else {}

    def each(self, path: Path, read: Callable[[Path], T | None]) -> dict[str, T]:
        """What `read` makes of each key that a table may have, leaving out None; other keys are noted."""
        self.refuse_unknown(path)
        found = {key: read((*path, key)) for key in keys_in(path)}
        return {key: value for key, value in found.items() if value is not None}

    def by_kind(
        self, path: Path, fits: Collection[str], read: Callable[[Path], T | None], what: str = "table"
    ) -> dict[str, T]:
        """What `read` makes of each kind's key in a table, leaving out None; `fits` and `what` as in `kinds`."""
        found = {kind: read((*path, kind)) for kind in self.kinds(path, fits, what)}
        return {kind: value for kind, value in found.items() if value is not None}

    def text(self, path: Path, example: str = 'write it in quotes, such as "text"') -> str | None:
        """A text that is not blank, trimmed."""
        value: str | None = self._typed(path, _is_text, f", not a text; {example}")
        if value is not None and not value.strip():
            self.report("empty-cell", f"is empty; {example}", *path)
            return None
        return value and value.strip()

    def texts(self, path: Path) -> dict[str, str]:
        """Every key of a table that may have any, with its text."""
        self._must_be_table(path, f"a table, [{dotted(path)}]")
        found = {key: self.text((*path, key)) for key in self.table(path)}
        return {key: text for key, text in found.items() if text is not None}

    def items(
        self, path: Path, read: Callable[[str], T], example: str, *, numbers: bool = False, filled: bool = False
    ) -> tuple[T, ...] | None:
        """What `read` makes of each text of a list, trimmed and without repeats, or of each of its `numbers`,
        repeats included; a CellError is noted. `filled`: the list must not be empty."""
        value: list[Any] | None = self._typed(path, lambda v: isinstance(v, list), f", not a list; {example}")
        if value is None:
            return None
        if len(value) > _MOST_ITEMS:
            text = f"has {len(value):,} items, and may have {_MOST_ITEMS:,}; take out what does not belong to this job"
            self.report("too-large", text, *path)
            return None
        what, belongs = ("number", self.is_number) if numbers else ("text", _is_text)
        wrong = [one for one in value if not belongs(one)]
        texts = [] if wrong else [_digits(one).strip() for one in value]
        if wrong:
            self.report("wrong-type", f"holds {_kind_of(wrong[0])} where a {what} belongs; {example}", *path)
        elif not all(texts):
            self.report("empty-cell", f"holds an empty text; {example}", *path)
        elif filled and not texts:
            self.report("empty-cell", f"is empty; {example}", *path)
        else:
            found = [one for text in texts for one in self._accepted(path, read, text)]
            return tuple(found if numbers else dict.fromkeys(found))
        return None

    def _accepted(self, path: Path, read: Callable[[str], T], text: str) -> Iterator[T]:
        try:
            yield read(text)
        except CellError as error:
            self.report(error.code, str(error), *path)

    def word(self, path: Path, allowed: tuple[str, ...]) -> str | None:
        """One of a few words."""
        words = listed([f'"{w}"' for w in allowed], "or")
        value: str | None = self._typed(path, _is_text, f", not a text; write {words}")
        if value is None or value in allowed:
            return value
        self.report("unknown-value", f"`{shorten(value)}` is not allowed here; write {words}", *path)
        return None

    def flag(self, path: Path, *, default: bool) -> bool:
        value = self._typed(path, lambda v: isinstance(v, bool), "; write true or false, without quotes")
        return default if value is None else bool(value)

    def number(self, path: Path) -> str | None:
        """The text of a plain number."""
        value = self._typed(path, self.is_number, ", not a number; write a number without quotes")
        return None if value is None else _digits(value)

    def fraction(self, text: str, path: Path) -> Fraction | None:
        """The text of the number at this path, as an exact number."""
        try:
            return parse_number(text)
        except LengthError as error:
            self.report("not-a-number", str(error), *path)
            return None

    def number_within(self, path: Path, bounds: tuple[Fraction | float, Fraction | float, str]) -> Fraction | None:
        """A plain number within its bounds, exactly as typed; `words` says the bounds in words."""
        text = self.number(path)
        number = None if text is None else self.fraction(text, path)
        if text is None or number is None:
            return None
        low, high, words = bounds
        if not low <= number <= high:
            self.report("implausible-number", f"`{shorten(text)}` is outside {words}; check the figure", *path)
            return None
        return number

    def count(self, path: Path, most: int, what: str, least: int = 1) -> int | None:
        """A whole number from `least` to `most`; `what` says in words what it counts."""
        text = self.number(path)
        if text is None:
            return None
        if text.isascii() and text.isdecimal() and len(text) <= len(str(most)) and least <= int(text) <= most:
            return int(text)
        some = ", ".join(str(least + i) for i in range(3))
        self.report("not-a-whole-number", f"`{shorten(text)}` is not a {what}; write {some} and so on", *path)
        return None

    @staticmethod
    def is_number(value: object) -> bool:
        """Whether a value was typed as a number, with a point or without."""
        return isinstance(value, TypedNumber) or (isinstance(value, int) and not isinstance(value, bool))

    def length(self, path: Path, quantity: Quantity, unit: str | None = None) -> int | None:
        """A length: a number in `unit` or else in the job's, or a text with a number and its unit."""
        example = 'write a number, or a number and its unit in quotes, such as "0.6 thou"'
        value = self._typed(path, lambda v: self.is_number(v) or isinstance(v, str), f", not a length; {example}")
        return None if value is None else self.length_of(_digits(value), quantity, path, unit)

    def lengths(self, path: Path, quantity: Quantity, unit: str | None = None) -> tuple[int, ...]:
        """One length or a list of them, as `length` reads each; empty if one of them is none."""
        value = self._at(path)
        if not isinstance(value, list):
            nm = self.length(path, quantity, unit)
            return () if nm is None else (nm,)
        if not value:
            self.report("empty-cell", "is empty; write at least one reading", *path)
        for one in value:
            if not (self.is_number(one) or isinstance(one, str)):
                self.report("wrong-type", f"holds {_kind_of(one)} where a length belongs; write readings", *path)
                return ()
        found = [nm for one in value if (nm := self.length_of(_digits(one), quantity, path, unit)) is not None]
        return tuple(found) if len(found) == len(value) else ()

    def length_of(self, text: str, quantity: Quantity, path: Path, unit: str | None = None) -> int | None:
        """A length given as text at this path."""
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
        """The kinds a table has keys for; each must be one of `fits`, the kinds with a `[fit.KIND]` (None: any kind is
        allowed)."""
        self._must_be_table(path, f"one {what} per kind, such as {dotted((*path, 'rod'))}")
        kinds: dict[str, str] = {}  # as `composed` gives them, and as they are
        for kind, value in self.table(path).items():
            if len(path) == 1 and not isinstance(value, dict):
                strange = told_of_value(path, kind, self.document)
                if strange is not None:
                    self._strange(*strange, path, kind)
                    continue
            if fits is None:
                fault = fault_in_name(kind) if kind == kind.strip() and kind else "is not a name; write a short word"
                if fault:
                    self.report("bad-name", fault, *path, kind)
                    continue
                if composed(kind) in kinds:
                    text = f"`{shorten(kind)}` stands above already{advice.CODED}; keep one of them"
                    self.report("coded-twice", text, *path, kind)
                    continue
            elif kind not in fits:
                if fits:  # if there is no [fit.KIND] at all, that is reported, and this only follows from it
                    self.report("unknown-kind", advice.for_unknown_kind(kind, fits), *path, kind)
                continue
            kinds[composed(kind)] = kind
        return [*kinds.values()]

    def _must_be_table(self, path: Path, example: str) -> None:
        value = self._at(path)
        strange = told_of_section(path[0]) if len(path) == 1 and not isinstance(value, dict | None) else None
        if strange is not None:
            self._strange(*strange, (), path[0])
        else:
            self._typed(path, lambda v: isinstance(v, dict), f", not a table; write {example}")

    def _typed(self, path: Path, belongs: Callable[[Any], bool], otherwise: str) -> Any:
        """A value (TOML has no None); None if it is missing, or of another type, which is noted."""
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
    """A number as text. Python refuses to write out numbers of thousands of digits, so a huge one stays hexadecimal."""
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
