"""The parts put on pages: one HTML file that needs nothing beside it, loads nothing and runs nothing."""

import os
import sys
from base64 import b64encode
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any, Final, NamedTuple

from fitmatch.gauging.assembled import Verdict
from fitmatch.report.shared.states import (
    DANGER,
    IN_DOUBT,
    MEASURE_FIRST,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
)
from fitmatch.report.sheet.assembly import assembly
from fitmatch.report.sheet.cards import REPEATS, cards
from fitmatch.report.sheet.figures import figured
from fitmatch.report.sheet.leftovers import LEAST_PT, USUAL, leftovers, letters_pt
from fitmatch.report.sheet.record import recorded
from fitmatch.report.sheet.source import PARTS, Label, Shown, Source
from fitmatch.report.words.with_shells_in import (
    AND_THEN,
    FIND_OUT,
    HOUSING_NOT_AS_PLANNED,
    NOT_AS_PLANNED,
    VERDICTS,
    noted_otherwise,
)
from fitmatch.wording import listed, printable

MARK: Final = (
    b'<meta name="generator" content="fitmatch sheet">'  # near the beginning of every sheet, and of no other file
)
FAR: Final = 2_000  # bytes within which it stands

_TEMPLATES: Final = Path(__file__).with_name("templates")
_OF_A_PLAN: Final[Mapping[str, Callable[[Shown], Any]]] = {
    "assembly": assembly,
    "figures": figured,
    "record": recorded,
}
_AS_READ: Final = "as read with the shells in"
_LOOK: Final = "Look there before anything else"
_ALARMS: Final[Mapping[str, tuple[str, str]]] = {
    NOT_TO_BE_RUN: (_AS_READ, _LOOK),
    **{VERDICTS[verdict]: (_AS_READ, _LOOK) for verdict in (Verdict.MISTAKE, Verdict.APART)},
    NOT_AS_PLANNED: ("", FIND_OUT),
    HOUSING_NOT_AS_PLANNED: ("", FIND_OUT),
    IN_DOUBT: ("", f"{MEASURE_FIRST[0].upper()}{MEASURE_FIRST[1:]}"),
    DANGER: ("", "The clearance is outside its limits"),
    NOT_FILLED: ("", ""),
    NOT_MEASURED: ("", ""),
}
_LONGEST_TITLE: Final = 80  # characters at the head of a printed page


class Heading(NamedTuple):
    """What stands over the parts and on every printed page. `whose`: what a page shows, or the plan that it shows;
    `at_the_foot` the same in print. `void`: why nothing is to be built from it, and `cure` what to do then."""

    title: str
    engine: str
    whose: str
    at_the_foot: str
    alarms: tuple[str, ...] = ()
    void: tuple[str, ...] = ()
    cure: str = ""


def sheet(source: Source, parts: Collection[str] = PARTS) -> bytes:
    """The file with these parts, in their usual order."""
    shown = source.shown
    found: dict[str, Any] = {}
    for part in (part for part in PARTS if part in parts):
        if part == "cards":
            found[part] = cards(source.job, () if shown is None else shown.plan.shelved)
        else:
            assert shown is not None
            found[part] = leftovers(shown, source.label) if part == "leftovers" else _OF_A_PLAN[part](shown)
    title, engine = source.job.title or source.job.folder.resolve().name, source.job.record.get("engine", "")
    heading = Heading(title, engine, "", "Measuring cards")
    if shown is not None:
        plan, replaces = _plan_line(shown), "replaces all earlier sheets"
        names = shown.sharers
        shared = f"; shared, for {listed([printable(name) for name in names])} together" if names else ""
        alarms = tuple(_alarms(shown))
        heading = Heading(
            title, engine, f"{plan}{shared}; {replaces}", f"{plan}; {replaces}", alarms, shown.void, shown.cure
        )
    return page_of(heading, found, source.label)


def page_of(heading: Heading, parts: Mapping[str, Any], label: Label = USUAL) -> bytes:
    """The file with these parts by the names of their templates, each with what it shows."""
    from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
    from jinja2.bccache import Bucket
    from markupsafe import Markup

    class Compiled(FileSystemBytecodeCache):
        """Templates as compiled before; where no file may be written they are compiled each time."""

        def load_bytecode(self, bucket: Bucket) -> None:
            with suppress(OSError):
                super().load_bytecode(bucket)

        def dump_bytecode(self, bucket: Bucket) -> None:
            with suppress(OSError):
                Path(self.directory).mkdir(mode=0o700, parents=True, exist_ok=True)
                super().dump_bytecode(bucket)

    environment = Environment(
        bytecode_cache=Compiled(str(_kept_in())),
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = _style(heading, label)
    text = environment.get_template("sheet.html").render(
        title=heading.title,
        parts=parts,
        plan=heading.whose,
        alarms=heading.alarms,
        void=heading.void,
        cure=heading.cure,
        style=Markup(style),  # noqa: S704 (no text of the user's is in it but what `_css_text` made)
        digest=b64encode(sha256(style.encode()).digest()).decode(),
        repeats=range(1, REPEATS + 1),
    )
    return text.encode("utf-8", "replace")


def _kept_in() -> Path:
    """Where compiled templates are kept: beside them, as Python keeps modules; where that is not wanted, or not allowed
    to this user, among the user's own caches."""
    beside = _TEMPLATES / "__pycache__"
    if not sys.dont_write_bytecode and os.access(beside if beside.exists() else _TEMPLATES, os.W_OK):
        return beside
    from platformdirs import user_cache_path

    return user_cache_path("fitmatch", appauthor=False)


def _alarms(shown: Shown) -> Iterator[str]:
    """What forbids to go on, and at which positions, the worst first; then the kinds of which nothing may be fitted."""
    states = {p.name: shown.states_of(p) for p in shown.plan.job.positions}
    for state, (how, todo) in _ALARMS.items():
        names = [name for name, some in states.items() if state in some]
        if names:
            told = _TOLD[state](shown) if state in _TOLD else []
            what = f": {listed(told)}." if told else "." if todo else ""
            then = f" {AND_THEN}." if todo == FIND_OUT else ""
            yield " ".join(filter(None, [state, how])) + f": {listed(names)}." + (todo and f" {todo}") + what + then
    yield from filter(None, map(shown.not_yet, shown.kinds))


def _noted_shells(shown: Shown) -> list[str]:
    return noted_otherwise(fact for name in shown.noted.against for fact in shown.noted.of_shells(name))


def _noted_housings(shown: Shown) -> list[str]:
    return noted_otherwise(fact for name in shown.noted.against for fact in shown.noted.of_housings(name))


def _in_doubt(shown: Shown) -> list[str]:
    """The readings to measure again, each by its part: a housing that moved keeps the name of where it was measured."""
    doubts = (doubt for position in shown.plan.job.positions for doubt in shown.doubts_of(position))
    return list(dict.fromkeys(f"{doubt.item} {doubt.feature.replace('_', ' ')}" for doubt in doubts))


_TOLD: Final[Mapping[str, Callable[[Shown], list[str]]]] = {
    IN_DOUBT: _in_doubt,
    NOT_AS_PLANNED: _noted_shells,
    HOUSING_NOT_AS_PLANNED: _noted_housings,
}


def _style(heading: Heading, label: Label) -> str:
    """The style of all parts, with what stands at the head and foot of every printed page."""
    css = (_TEMPLATES / "sheet.css").read_text(encoding="utf-8")
    title = f"{heading.title}; engine {heading.engine}" if heading.engine else heading.title
    for name, value in {
        "HEAD": _css_text(title if len(title) <= _LONGEST_TITLE else f"{title[: _LONGEST_TITLE - 3]}..."),
        "FOOT": _css_text(heading.at_the_foot),
        "OVER": _css_text("VOID" if heading.void else ""),
        "LABEL-WIDTH": f"{label.width_mm:g}mm",
        "LABEL-HEIGHT": f"{label.height_mm:g}mm",
        "LABEL-LETTERS": f"{letters_pt(label):.2f}pt",
        "LABEL-LEAST": f"{LEAST_PT:g}pt",
    }.items():
        css = css.replace(f"@@{name}@@", value)
    return css


def _plan_line(shown: Shown) -> str:
    """Which plan it is, so that of two sheets the later one is known from the paper."""
    when = f" of {shown.date}, {shown.time}" if shown.time else f" of {shown.date}" if shown.date else ""
    return f"Plan {shown.number}{when or ', date not recorded'}"


def _css_text(text: str) -> str:
    """A text as CSS writes it, with every mark that could mean anything by its number."""
    return '"' + "".join(c if (c.isascii() and c.isalnum()) or c == " " else f"\\{ord(c):06x} " for c in text) + '"'
