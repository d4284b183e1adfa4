"""job.toml to settings: every key checked for its name, type and value; numbers keep the text as typed.

What is wrong is noted in the findings, and reading goes on as if the key were missing.
"""

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.quantities import LIMIT, MEASURED, WALL, CellError, Quantity
from fitmatch.intake.common.texts import decode
from fitmatch.intake.job_toml.fits import FitTable, read_fits, without_blank_aims
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile, Path
from fitmatch.intake.job_toml.keys import ABOUT_MEASURING
from fitmatch.intake.job_toml.values import TypedNumber, Values
from fitmatch.intake.tables.columns import POSITION_FORM, SHELL_FORM
from fitmatch.names import fault_in_name, holds_unseen
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Rule
from fitmatch.records.measuring import Measuring
from fitmatch.records.parts import SIDES, Band
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.registry import read_rules
from fitmatch.wording import shorten

if TYPE_CHECKING:
    from fitmatch.records.study.bearings import Running
    from fitmatch.records.study.unopened import BoxesTold

DEFAULT_POSITIONS: Final = "positions.csv"
DEFAULT_SHELLS: Final = ("shells/*.csv",)
DEFAULT_ASSEMBLED: Final = "assembled.csv"
DEFAULT_READINGS: Final = "readings.csv"

# Columns that identify parts or hold sizes cannot be matched; any other column can.
_NEVER_MATCHED: Final = frozenset(
    {*POSITION_FORM.needed, *POSITION_FORM.optional, *SHELL_FORM.needed, "box", "coating", "measured", "hold"}
)
# No key has this many parts, and the time to read one with thousands grows with the square of their number.
_MOST_KEYS: Final = 10_000  # with tables; a large job has some hundreds
_MOST_ITEMS: Final = 30_000  # of all lists
_ENDLESS_KEY: Final = re.compile(r"""(?<![\w"'-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){50}""")
# What belongs to a housing, or stays with its journal, cannot be a mark to agree in.
_NEVER_WITHIN: Final = frozenset({*POSITION_FORM.needed, *POSITION_FORM.optional} - {"pin", "note"})
Fits = Mapping[str, FitTable]
_AT_LINE: Final = re.compile(r" \(at line ([0-9]+), column ([0-9]+)\)$")


@dataclass(frozen=True, slots=True)
class Settings:
    """What job.toml says; the defaults are those of an empty file."""

    file: JobFile
    readable: bool = True
    needs_aims: bool = True  # False: a kind may have neither limits nor a target yet
    title: str = ""
    unit: str | None = None
    positions: str | None = DEFAULT_POSITIONS  # None: written wrongly
    shells: tuple[str, ...] | None = DEFAULT_SHELLS
    shells_written: bool = False
    shared: tuple[str, ...] = ()
    fits: Fits = field(default_factory=dict)
    drawing: Mapping[str, Mapping[str, Band]] = field(default_factory=dict)
    rules: tuple[Rule, ...] = ()
    match_read: bool = True  # False: the rules may ask for columns that are not in `match`
    measured_coated: bool = True
    coating_counts: bool = True
    assembled: str | None = DEFAULT_ASSEMBLED  # None: written wrongly
    readings: str | None = DEFAULT_READINGS  # the long file of readings; None: written wrongly
    readings_written: bool = False  # False: the file may be missing
    numbered_are_repeats: bool = False
    gauges_named: bool = True  # False: [gauge] has keys that belong to a gauge, whose name is unknown
    running: "Mapping[str, Running]" = field(default_factory=dict)
    polish_max_nm: int | None = None
    record: Mapping[str, str] = field(default_factory=dict)
    boxes: "BoxesTold | None" = None
    measuring: Measuring = field(default_factory=Measuring)  # what can be known before anything else is read

    @property
    def match(self) -> tuple[str, ...]:
        """The columns that the rules ask to match."""
        return tuple(rule.column for rule in self.rules if isinstance(rule, Match))

    @property
    def inch_job(self) -> bool:
        """Whether `tenths` are allowed; if the job names no unit they are."""
        return self.unit != "mm"


def read_settings(data: bytes | None, findings: Findings, *, needs_aims: bool = True) -> Settings:
    """The settings in the bytes of job.toml; if it cannot be read, what is known without it. `needs_aims`: limits and
    targets that are still to be filled in are mistakes."""
    text = None if data is None else decode(data, JOB_FILE, findings)
    document = None if text is None else _parse(text, findings)
    file = JobFile(text or "", findings)
    if document is None:
        return Settings(file, readable=False, match_read=False)
    values = Values(document if needs_aims else without_blank_aims(document), file, findings)
    values.refuse_unknown(())
    _check_unit(values)
    for section in ("sources", "coating", "readings", "rules", "limits"):
        values.refuse_unknown((section,))
    sources = values.table(("sources",))

    def path(key: str, default: str) -> str | None:
        """None: written wrongly."""
        return values.text(("sources", key), f'write a path, such as "{default}"') if key in sources else default

    fits = read_fits(values)
    rules = read_rules(_Asked(values, fits))
    matched = any(isinstance(rule, Match) for rule in rules)
    return Settings(
        file=file,
        needs_aims=needs_aims,
        title=_title(values),
        unit=values.unit,
        positions=path("positions", DEFAULT_POSITIONS),
        shells=_globs(values, "shells") if "shells" in sources else DEFAULT_SHELLS,
        shells_written="shells" in sources,
        shared=_globs(values, "shared") or (),
        fits=fits,
        drawing=values.by_kind(("drawing",), fits, lambda path: _drawing(values, path)),
        rules=rules,
        match_read=matched or values.table(("rules",)).get("match", []) == [],
        measured_coated=values.word(("coating", "measured"), ("coated", "bare")) != "bare",
        coating_counts=values.flag(("coating", "counts"), default=True),
        assembled=path("assembled", DEFAULT_ASSEMBLED),
        readings=path("readings", DEFAULT_READINGS),
        readings_written="readings" in sources,
        numbered_are_repeats=values.word(("readings", "numbered"), ("places", "repeats")) == "repeats",
        measuring=_measuring(values, fits),
        running=_running(values, fits),
        polish_max_nm=values.length(("limits", "polish_max"), LIMIT),
        record=_record(values),
        boxes=_boxes(values, fits),
        gauges_named=values.misplaced.isdisjoint(values.table(("gauge",))),  # known once they are read
    )


def _parse(text: str, findings: Findings) -> dict[str, Any] | None:
    if text.count("=") + text.count("\n[") > _MOST_KEYS or text.count(",") > _MOST_ITEMS:
        text = f"holds more than {_MOST_KEYS:,} keys and tables or {_MOST_ITEMS:,} items, far more than any job needs"
        findings.report("too-large", f"{text}; take out what does not belong to this job", JOB_FILE)
        return None
    endless = _ENDLESS_KEY.search(text)
    if endless:
        fault = "holds a key with more than 50 dots in it; write keys as the documents show them"
        findings.report("broken-toml", fault, JOB_FILE, text.count("\n", 0, endless.start()) + 1)
        return None
    try:
        return tomllib.loads(text, parse_float=lambda typed: TypedNumber(typed.replace("_", "")))
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = _AT_LINE.search(message)
        row = int(place.group(1)) if place else None
        what = (
            message[: place.start()] if place else message.replace(" (at end of document)", " at the end of the file")
        )
        where = f" in column {place.group(2)}" if place else ""
        lines = text.replace("\r\n", "\n").split("\n")
        number = advice.for_toml_number(lines[row - 1]) if row is not None and row <= len(lines) else None
        fault = f"is not valid TOML{where} ({what}); correct that line; texts, paths and ranges need quotes"
        findings.report("broken-toml", number or fault, JOB_FILE, row)
    except (ValueError, RecursionError):
        text = "holds a number too long, or tables nested too deeply, to read; write plain numbers and tables"
        findings.report("broken-toml", text, JOB_FILE)
    return None


def _title(values: Values) -> str:
    title = values.text(("title",)) or ""
    if holds_unseen(title):
        what = "holds a line break or another invisible character; write one line"
        values.report("bad-name", what, "title")
    return title


def _record(values: Values) -> dict[str, str]:
    """Whatever the user wants to stand on the record of the build, under names of the user's own."""
    found = values.texts(("record",))
    for key in [key for key, text in found.items() if holds_unseen(key) or holds_unseen(text)]:
        values.report("bad-name", "holds a line break or another invisible character; write one line", "record", key)
        del found[key]
    return found


def _check_unit(values: Values) -> None:
    if values.unit is None and not _unit_below(values.document):
        unit = values.document.get("unit")
        shown = "is missing;"
        if "unit" in values.document:
            shown = f"{f'`{shorten(unit)}` is' if isinstance(unit, str) else 'is'} not a unit for a job;"
        values.report("no-unit", f'{shown} write unit = "in" or unit = "mm"', "unit")


def _unit_below(document: Mapping[str, Any]) -> bool:
    """Whether the job's unit stands in a table, where it is told that it does not belong there."""
    tables = [table for name, table in document.items() if name != "gauge" and isinstance(table, dict)]
    tables += [inner for table in tables for inner in table.values() if isinstance(inner, dict)]
    return any("unit" in table for table in tables)


def _globs(values: Values, key: str) -> tuple[str, ...] | None:
    example = "shells/*.csv" if key == "shells" else "../boxes/*.csv"
    return values.items(("sources", key), str, f'write a list, such as ["{example}"]')


def _drawing(values: Values, path: Path) -> dict[str, Band]:
    return values.each(path, lambda feature: _band(values, feature, MEASURED[feature[-1]]))


def _band(values: Values, path: Path, quantity: Quantity) -> Band | None:
    from fitmatch.intake.common.bands import read_band  # few jobs have drawing limits

    text = values.text(path, 'write a range, such as "1.8155..1.8165"')
    if text is None:
        return None

    def reads(part: str, of: Quantity) -> int | None:
        nm = values.length_of(part, of, path)
        return None if values.unit is None else nm  # without a unit no size is known

    try:
        return read_band(text, quantity, reads, inch_job=values.unit != "mm")
    except CellError as error:
        values.report(error.code, str(error), *path)
        return None


class _Asked:
    """`[rules]` as seen by the rules."""

    def __init__(self, values: Values, kinds: Mapping[str, object]) -> None:
        self._values = values
        self._kinds = kinds

    def is_written(self, key: str) -> bool:
        return key in self._values.table(("rules",))

    def is_off(self, key: str) -> bool:
        return bool(self._values.table(("rules",)).get(key) == "off")

    def length(self, key: str) -> int | None:
        return self._values.length(("rules", key), LIMIT)

    def lengths_by_kind(self, key: str, *, of_walls: bool = False) -> dict[str, int]:
        quantity = WALL if of_walls else LIMIT
        return self._values.by_kind(
            ("rules", key), self._kinds, lambda path: self._values.length(path, quantity), "length"
        )

    def word(self, key: str, allowed: tuple[str, ...]) -> str | None:
        return self._values.word(("rules", key), allowed)

    def words_by_kind(self, key: str, allowed: tuple[str, ...], what: str) -> dict[str, str]:
        return self._values.by_kind(("rules", key), self._kinds, lambda path: self._values.word(path, allowed), what)

    def loose_kinds(self, key: str) -> tuple[str, ...]:
        def read(kind: str) -> str:
            if in_one_block(kind):
                why = f"the housings of `{shorten(kind)}` are bored in line in one block and never move; delete it"
                raise CellError("unknown-value", why)
            if self._kinds and kind not in self._kinds:
                raise CellError("unknown-kind", advice.for_unknown_kind(kind, self._kinds))
            return kind

        return self._values.items(("rules", key), read, 'write a list of kinds, such as ["rod"]') or ()

    def columns(self, key: str, refused: Collection[str] = ()) -> tuple[str, ...]:
        return self._columns(key, refused)

    def _columns(self, key: str, refused: Collection[str], *, whole: bool = False) -> tuple[str, ...]:
        """`whole`: columns about one half only are refused."""

        def read(name: str) -> str:
            column = name.casefold()
            fault = fault_in_name(column)
            if fault is not None:
                raise CellError("bad-name", fault)
            if column in refused:
                raise CellError(
                    "unknown-column", f"`{column}` cannot be named here; name another column or leave it out"
                )
            stem, _, half = column.rpartition("_")
            if whole and half in SIDES:
                raise CellError("unknown-column", f"`{column}` is about one half only; name `{stem}`, which covers it")
            return column

        return self._values.items(("rules", key), read, 'write a list of columns, such as ["finish"]') or ()

    def matched_columns(self, key: str) -> tuple[str, ...]:
        return self._columns(key, _NEVER_MATCHED, whole=True)

    def journal_columns(self, key: str) -> tuple[str, ...]:
        return self._columns(key, _NEVER_WITHIN)

    def number(self, key: str, most: float) -> float | None:
        if key not in self._values.table(("rules",)):
            return None
        number = self._values.number_within(("rules", key), (0, most, f"0 to {most:g}"))
        return None if number is None else float(number)

    def row(self, key: str) -> int | None:
        return self._values.row("rules", key)


def _running(values: Values, fits: Fits) -> "Mapping[str, Running]":
    if "film" not in values.document:
        return {}
    from fitmatch.intake.job_toml.running import read_running

    return read_running(values, fits)


def _boxes(values: Values, fits: Fits) -> "BoxesTold | None":
    if "boxes" not in values.document:
        return None
    from fitmatch.intake.job_toml.unopened import read_boxes

    return read_boxes(values, fits)


def _measuring(values: Values, fits: Fits) -> Measuring:
    if values.document.keys().isdisjoint(ABOUT_MEASURING):
        return Measuring()  # most jobs; the readers of these tables need not be loaded
    from fitmatch.intake.job_toml.instruments import read_measuring

    return read_measuring(values, fits)
