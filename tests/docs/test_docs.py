"""README and the documents: what they show is what the program does, and their lists are complete.

In a page, in order, within one folder of its own that holds the samples:
  ```toml my-build/job.toml   a fence whose second word is a path is written to that file
  ```console                  `$ fitmatch ...` is run and what it prints on standard output must be what stands below;
                              `2>&1` shows standard error too, `< FILE` types what the file holds; `$ echo $?` shows the
                              exit status of the run before
                              the shelf is one of the page's own, and every time on it is shown as one and the same
  ```toml                     without a path: a part of a job.toml, which must be understood
  ```pycon                    is run as a doctest
FITMATCH_REWRITE_DOCS=1 pytest tests/docs/test_docs.py writes what is printed into the pages instead of comparing it.
"""

import doctest
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest
from made.commands import ran_here
from made.intake_jobs import write_job

import fitmatch
from fitmatch.cli.main import group
from fitmatch.fit.model.order import STRATEGIES
from fitmatch.gauging.sizes.materials import MATERIALS, SOURCES
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.intake.common import quantities
from fitmatch.intake.common.catalogue import CODES
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml import settings
from fitmatch.intake.job_toml.keys import SECTIONS
from fitmatch.intake.reading import read_job
from fitmatch.intake.rows.assembled import ASSEMBLED_FORM
from fitmatch.intake.rows.long_file import READINGS_FORM
from fitmatch.intake.tables.columns import (
    MATCHED_IF_ASKED,
    OFTEN_MATCHED,
    POSITION_FORM,
    SHELL_FORM,
    STOCK_COLUMNS,
    Form,
)
from fitmatch.report.words import films as words_of_films
from fitmatch.report.words.levels import FIGURES, WORDS
from fitmatch.study.advice.advised import ACTIONS

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
REWRITE = os.environ.get("FITMATCH_REWRITE_DOCS") == "1"
PATIENCE_S = 60
TIME, SHOWN_TIME = re.compile(r"\b2\d{3}-\d\d-\d\dT\d\d:\d\d:\d\dZ"), "2026-03-02T09:30:00Z"


@dataclass
class Fence:
    """A fenced block: the words behind its opening fence, its lines, and where they are in the page."""

    words: list[str]
    lines: list[str]
    start: int  # index of the first line inside


def fences(page: Path) -> Iterator[Fence]:
    inside: Fence | None = None
    for number, line in enumerate(page.read_text(encoding="utf-8").split("\n")):
        if inside is None and line.startswith("```"):
            inside = Fence(line[3:].split(), [], number + 1)
        elif inside is not None and line == "```":
            yield inside
            inside = None
        elif inside is not None:
            inside.lines.append(line)
    assert inside is None, f"{page.name}: a fence is not closed"


def pages(*words: str) -> list[Path]:
    """Pages with a fence that opens with these words."""
    return [page for page in PAGES if any(f.words[: len(words)] == list(words) for f in fences(page))]


def named(page: Path) -> str:
    return page.name


def write_files(page: Path, folder: Path) -> None:
    shutil.copytree(ROOT / "samples", folder / "samples")
    for fence in fences(page):
        write_file(fence, folder)


def write_file(fence: Fence, folder: Path) -> None:
    if len(fence.words) == 2:
        path = folder / fence.words[1]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(fence.lines) + "\n", encoding="utf-8")


class Console:
    """Runs the commands of a page, as a user in `folder` would: the first, and one that is typed to, in a process of
    its own, the others in this one, which takes a fraction of the time."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._status: int | None = None

    def run(self, lines: list[str]) -> list[str]:
        """The block as it should be: every command and what it prints."""
        shown: list[str] = []
        for command in (line for line in lines if line.startswith("$ ")):
            shown += [command, *self._one(command[2:])]
        return shown

    def _one(self, command: str) -> list[str]:
        if command == "echo $?":
            return [str(self._status)]
        words, typed = shlex.split(command), None
        if "<" in words:
            typed = (self._folder / words.pop()).read_bytes()
            words.remove("<")
        both = words[-1] == "2>&1"
        words = words[:-1] if both else words
        assert words[0] == "fitmatch", f"not a command of this program: {command}"
        environment = {"COLUMNS": "80", "FITMATCH_DB": str(self._folder / "shelf.db")}
        if typed is None and self._status is not None:
            ran = ran_here(*words[1:], folder=self._folder, environment=environment, both=both)
        else:
            ran = subprocess.run(
                [sys.executable, "-m", "fitmatch", *words[1:]],
                cwd=self._folder,
                env={**os.environ, "PYTHONPATH": str(Path(fitmatch.__file__).parents[1]), **environment},
                input=typed or b"",
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT if both else subprocess.PIPE,  # in the order of a terminal
                timeout=PATIENCE_S,
                check=False,
            )
        self._status = ran.returncode
        assert b"Traceback" not in (ran.stderr or ran.stdout)
        text = TIME.sub(SHOWN_TIME, ran.stdout.decode())
        return text.removesuffix("\n").split("\n") if text else []


def shown() -> list[Any]:
    """The pages with sessions, of which some are long."""
    slow = ("comparing.md", "shelf.md", "from-the-shelf.md")
    return [pytest.param(page, marks=[pytest.mark.deep] if page.name in slow else []) for page in pages("console")]


@pytest.mark.parametrize("page", shown(), ids=named)
def test_every_command_prints_what_the_page_shows(page: Path, tmp_path: Path) -> None:
    """Standard output of every command in the page is, byte for byte, what is shown below the command."""
    shutil.copytree(ROOT / "samples", tmp_path / "samples")
    console = Console(tmp_path)
    text = page.read_text(encoding="utf-8").split("\n")
    moved = 0
    for fence in fences(page):
        write_file(fence, tmp_path)
        if fence.words == ["console"]:
            shown = console.run(fence.lines)
            if REWRITE:
                text[fence.start + moved : fence.start + moved + len(fence.lines)] = shown
                moved += len(shown) - len(fence.lines)
            else:
                assert fence.lines == shown
    if REWRITE:
        page.write_text("\n".join(text), encoding="utf-8")


@pytest.mark.parametrize("page", pages("pycon"), ids=named)
def test_every_python_example_runs(page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The Python examples of a page, run one after the other, give what is shown below them."""
    write_files(page, tmp_path)
    monkeypatch.chdir(tmp_path)
    source = "\n".join("\n".join(f.lines) + "\n" for f in fences(page) if f.words == ["pycon"])
    test = doctest.DocTestParser().get_doctest(source, {}, page.name, str(page), 0)
    reports: list[str] = []
    result = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE).run(test, out=reports.append)
    assert result.attempted and not result.failed, "".join(reports)


@pytest.mark.parametrize("page", pages("toml"), ids=named)
def test_every_part_of_a_job_toml_is_understood(page: Path) -> None:
    """A part of job.toml shown in a page, with what it lacks added, is read without a mistake."""
    for fence in fences(page):
        if fence.words == ["toml"]:
            part = "\n".join(fence.lines) + "\n"
            given = tomllib.loads(part)
            head = "" if "unit" in given else 'unit = "in"\n'
            kinds = given.get("material", ("rod", "main"))  # a temperature needs the materials of every kind
            tail = "".join(f"[fit.{kind}]\ntarget = 0.002\n" for kind in kinds if kind not in given.get("fit", {}))
            findings = Findings()
            settings.read_settings((head + part + tail).encode(), findings)
            assert [str(p) for p in findings.problems] == []


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_every_link_leads_somewhere(page: Path) -> None:
    """A link within the project names a file that is there, and a heading in it."""
    for target in re.findall(r"\]\(([^)\s]+)\)", prose(page)):
        assert not re.match(r"[a-z]+:", target), f"{target} leads out of the project"
        path, _, anchor = target.partition("#")
        other = (page.parent / path).resolve() if path else page
        assert other.exists(), target
        if anchor:
            assert anchor in headings(other), target


def prose(page: Path) -> str:
    """The page without its fenced blocks."""
    return re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)


def headings(page: Path) -> set[str]:
    """The anchors of a page: headings in small letters, hyphens for spaces, other marks away."""
    titles = re.findall(r"^#+ (.+)$", prose(page), flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


def test_every_page_is_linked_from_the_index() -> None:
    """docs/README.md leads to every other page of the documents."""
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    for page in PAGES[1:]:
        assert page.name == "README.md" or f"]({page.name})" in index


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_only_commands_and_options_that_exist_are_shown(page: Path) -> None:
    """Every `fitmatch WORD` of a page is a command, and every option behind it one of that command's."""
    context = group.make_context("fitmatch", [], resilient_parsing=True)
    known = set(group.list_commands(context))
    for line in re.findall(r"(?:`|\$ |/)fitmatch ([^`\n]+)", page.read_text(encoding="utf-8")):
        word, *rest = line.split()
        if word.startswith("-"):
            assert word in ("--help", "--version")
            continue
        assert word in known, line
        command = group.get_command(context, word)
        if isinstance(command, click.Group) and rest:  # it has commands of its own
            word, *rest = rest
            command = command.get_command(context, word)
        assert command is not None, line
        options = {name for parameter in command.params for name in parameter.opts} | {"--help"}
        assert {w.split("=")[0] for w in rest if w.startswith("--")} <= options, line


def test_the_set_up_commands_name_what_is_there() -> None:
    """README's two commands for a fresh machine are single lines; the sample and the extra they name exist."""
    blocks = [f.lines for f in fences(ROOT / "README.md") if f.words == ["sh"]]
    assert [len(lines) for lines in blocks] == [1, 1]
    run, test = (lines[0] for lines in blocks)
    for line in (run, test):
        assert line.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    job = re.search(r"&& \.venv/bin/fitmatch assign (\S+)$", run)
    assert job is not None and (ROOT / job.group(1) / "job.toml").is_file()
    extra = re.search(r"'\.\[(\w+)\]' && \.venv/bin/pytest -q -n auto$", test)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert extra is not None and extra.group(1) in project["optional-dependencies"]
    assert project["requires-python"] == ">=3.11" and "Python 3.11" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_windows_has_the_same_commands() -> None:
    """README's lines for Windows are the two for a fresh machine, command by command, in the manner of that system."""
    (shown,) = [f.lines for f in fences(ROOT / "README.md") if f.words == ["bat"]]
    commands = [c for f in fences(ROOT / "README.md") if f.words == ["sh"] for c in f.lines[0].split(" && ")]
    elsewhere = [re.sub(r"^\.venv/bin/", ".venv/Scripts/", c).replace("python3", "py") for c in commands]
    assert shown == list(dict.fromkeys(c.replace("/", "\\").replace("'", '"') for c in elsewhere))


def test_safety_comes_before_the_session() -> None:
    """Whoever reads README from the top has read what can go wrong before the first answer."""
    titles = re.findall(r"^## (.+)$", prose(ROOT / "README.md"), flags=re.MULTILINE)
    assert titles.index("Before you rely on it") < titles.index("Install it and try it") < titles.index("A session")


def test_ten_minutes_are_ten_from_the_clone() -> None:
    """README's ten minutes begin with getting the folder, and its steps take ten together."""
    _, _, after = prose(ROOT / "README.md").partition("\n## Ten minutes to your own answer\n")
    steps = re.findall(r"^\*\*(One|Two|Three|Four) minutes?[^:*]*: ([^*]+)\*\*", after, flags=re.MULTILINE)
    assert sum(["One", "Two", "Three", "Four"].index(count) + 1 for count, _ in steps) == 10
    assert steps[0][1].startswith("get it and install it")


CAUTIONS = {
    "README.md": (
        "There is no warranty; whoever signs for the engine answers for it",
        "says to consult the maker's manuals; who may do the work is in 14 CFR 43.3 and 43.7 (from memory)",
        "two and a half tenths in the clearance, and four at worst",
        "by torque, by angle or by stretch",
        "ask which bolts may be used for measuring",
        "Shells that the maker matched as a set are not mixed with others",
        "Never file caps, parting faces or the ends of shells",
        "Eyes and fingers",
    ),
    "docs/getting-started.md": (
        "as the engine maker says: by torque, by angle or by stretch",
        "ask the maker which may be used for measuring",
        "square to the split",
        "the wall of most shells is thickest at the crown",
        "Each shell's hole against the housing's",
        "Tangs in their slots",
        "the bore reads tight",
        "The ends stand equally proud",
        "The chamfer towards the cheek",
        "Backs and housings dry and clean",
        "Never file caps, parting faces or the ends of shells",
        "light pressure, and one touch a spot",
        "Shells that the maker matched as a set are not mixed with others",
        "tolerated up to its limit, not harmless",
        "two and a half tenths in the clearance, and four at worst",
    ),
    "docs/from-readings-to-sizes.md": ("tolerated up to its limit, not harmless",),
    "docs/film.md": (
        "It certifies none.",
        "loaded dynamically and fed under pressure: a steady film under a peak load predicts none of them",
        "No position is to be judged by its film alone",
        "Neither is measured",
    ),
    "docs/sheet.md": (
        "come before every figure on the sheet",
        "only licensed or authorised persons may do the work, to approved data; the sheet approves nothing",
        "the engine is NOT TO BE RUN",
        "A sheet replaces all earlier ones: throw those away.",
    ),
    "docs/range.md": ("It says nothing about any part that has been made", "Limits are the engine and bearing maker's"),
    "docs/boxes.md": (
        "the engine and bearing maker's limits come before any figure here",
        "shells that the maker matched as a set are not mixed with others",
    ),
    "docs/rules.md": ("half a thou and a tenth for the scatter", "those sets are not mixed"),
    "docs/tables.md": ("the engine maker's written permission", "touch each spot once only"),
}


@pytest.mark.parametrize("page", CAUTIONS)
def test_cautions_stand_where_they_are_needed(page: str) -> None:
    """What a reader must know before harm can be done stands on the page that is read then."""
    text = " ".join(prose(ROOT / page).replace("*", "").split())
    for caution in CAUTIONS[page]:
        assert caution in text, caution


@pytest.mark.parametrize("words", ["final torque", "as in final assembly", "reason in `accept`"])
def test_nothing_tells_to_go_by_less_than_the_maker_says(words: str) -> None:
    """Neither a page nor a message names torque alone, where the maker may ask for an angle or a stretch, or takes a
    reason of the shop's own for the maker's permission."""
    texts = {page.name: prose(page) for page in PAGES} | modules()
    assert [name for name, text in texts.items() if words in " ".join(text.split())] == []


def rows_of(page: str, heading: str) -> dict[str, str]:
    """The table under a heading: what is in backquotes in its first column, and the rest of the row."""
    text = (ROOT / "docs" / page).read_text(encoding="utf-8")
    _, _, after = text.partition(f"\n{heading}\n")
    assert after, f"{page} has no heading {heading}"
    section = re.split(r"^#+ ", after, maxsplit=1, flags=re.MULTILINE)[0]
    rows: dict[str, str] = {}
    for line in section.splitlines():
        cells = line.split("|", 2)
        if len(cells) == 3 and "`" in cells[1]:
            for name in re.findall(r"`([^`]+)`", cells[1]):
                assert name not in rows, f"{name} stands twice under {heading}"
                rows[name] = cells[2]
    return rows


def modules() -> dict[str, str]:
    """The text of every module of the program, with what is broken over lines joined."""
    package = Path(fitmatch.__file__).parent
    texts = ((path.relative_to(package).as_posix(), path.read_text(encoding="utf-8")) for path in package.rglob("*.py"))
    return {name: re.sub(r'"\s*\n\s*f?"', "", text) for name, text in texts}


# Words of messages whose codes are given elsewhere.
WORDED = (
    *("lengths.py", "names.py", "intake/common/advice.py", "intake/job_toml/fits.py", "intake/together/copies.py"),
    *("intake/together/all_shells.py", "intake/rows/long_file.py"),
)


def test_the_catalogue_of_mistakes_is_complete() -> None:
    """errors.md lists every code a mistake can have, no other one, in the catalogue's words, with what to do and with
    words that are seen, which are near where the program gives that code."""
    rows = rows_of("errors.md", "## Every mistake by its code")
    program = {name: text for name, text in modules().items() if name != "intake/common/catalogue.py"}
    assert list(rows) == list(CODES)
    for code, rest in rows.items():
        seen, meaning, todo, _ = (cell.strip() for cell in rest.split(" |"))
        assert meaning == CODES[code] and len(todo) > 10, code
        near = "".join(text for name, text in program.items() if f'"{code}"' in text or name in WORDED)
        assert all(part.strip() in near for part in seen.strip("`").split("…")), seen


@pytest.mark.parametrize(
    "heading",
    [
        "## The files are refused",
        "## Warnings",
        "## The answer is not what you expected",
        "## The program stops or complains about itself",
    ],
)
def test_messages_are_quoted_as_the_program_says_them(heading: str) -> None:
    """What errors.md quotes in its first columns is in the program, the parts left out (`…`) aside."""
    program = "".join(modules().values())
    quoted = rows_of("errors.md", heading)
    assert quoted
    for message in quoted:
        for part in message.split("…"):
            assert part.strip() in program, message


@pytest.mark.parametrize(
    ("heading", "form"), [("### Columns of positions.csv", POSITION_FORM), ("### Columns of a shell file", SHELL_FORM)]
)
def test_the_tables_of_columns_are_complete(heading: str, form: Form) -> None:
    """tables.md lists every column a file can have, and none that is not read yet."""
    always = {*form.needed, *form.optional}
    halves = {f"{name}_{side}" for name in (*OFTEN_MATCHED, *MATCHED_IF_ASKED) for side in ("upper", "lower")}
    rows = set(rows_of("tables.md", heading))
    numbered = {f"{feature}_1" for feature in form.readings}
    matched = {*OFTEN_MATCHED, *MATCHED_IF_ASKED}
    further = halves if form is POSITION_FORM else set(STOCK_COLUMNS)
    assert rows == always | numbered | matched | further


def test_the_columns_of_the_long_file_are_complete() -> None:
    """tables.md lists every column of the long file."""
    rows = set(rows_of("tables.md", "### Columns of the long file"))
    assert rows - {"journal", "housing_bore", "wall"} == {*READINGS_FORM.needed, *READINGS_FORM.optional}


def test_the_columns_of_assembled_csv_are_complete() -> None:
    """after-assembly.md lists every column of assembled.csv."""
    rows = set(rows_of("after-assembly.md", "### Columns of assembled.csv"))
    assert rows == {*ASSEMBLED_FORM.needed, *ASSEMBLED_FORM.optional}


def test_the_table_of_materials_is_complete() -> None:
    """from-readings-to-sizes.md lists every material with its coefficient and source."""
    rows = rows_of("from-readings-to-sizes.md", "## Materials")
    assert list(rows) == list(MATERIALS)
    for name, coefficient in MATERIALS.items():
        value, source, _ = (cell.strip() for cell in rows[name].split("|"))
        assert (float(value), source) == (float(coefficient * 10**6), SOURCES[name])


def test_the_worked_example_of_an_uncertainty(tmp_path: Path) -> None:
    """Every term of the example that is worked out by hand is the program's, and so are u, nu and U of both
    clearances."""
    page = (ROOT / "docs" / "from-readings-to-sizes.md").read_text(encoding="utf-8")
    example = page.partition("### A worked example")[2].partition("### ")[0]
    gauges = example.partition("```toml\n")[2].partition("\n```")[0]
    positions = "position,kind,journal_1,journal_2,housing_bore\nR1,rod,50.000,50.001,54.050\n"
    shells = "shell,kind,half,wall\n1,rod,upper,2.000\n2,rod,lower,2.000\n"
    job = read_job(write_job(tmp_path, f'unit = "mm"\n[fit.rod]\ntarget = 0.05\n{gauges}\n', positions, shells))
    upper, lower = (s.measured_as for s in job.shells)
    model = ErrorModel(job)
    mean, tightest = model.combined(job.positions[0], upper, lower), model.tightest(job.positions[0], upper, lower)
    assert mean is not None and tightest is not None
    found = {t.name: t.standard_nm**2 / 1e6 for t in mean.terms}
    shown = {cells[1].strip(): cells for line in example.splitlines() if len(cells := line.split("|")) == 6}
    by_hand = {name: float(cells[3]) for name, cells in shown.items() if cells[3].strip()[:1].isdigit()}
    bore, wall = "housing bore size", "wall size"
    of_mic = [found.pop(f"error limit of mic at {size}") for size in ("journal size", bore)]
    found["limit of mic, at two sizes"] = sum(of_mic)
    of_others = [found.pop(f"error limit of {gauge} at {size}") for gauge, size in (("bore", bore), ("ball", wall))]
    found["limits of bore and ball"] = sum(of_others)
    found["expansion of the housings"] = found.pop("expansion of the housings of rod")
    assert by_hand == pytest.approx(found, abs=1e-4)
    for uncertainty, told in ((mean, ("2.114", "175", "4.17")), (tightest, ("2.166", "185", "4.27"))):
        u, nu, expanded = uncertainty.standard_nm / 1e3, uncertainty.degrees_of_freedom, uncertainty.expanded_nm / 1e3
        assert (f"{u:.3f}", str(nu), f"{expanded:.2f}") == told
        assert all(text in example for text in told)
    assert tightest.apart_nm == pytest.approx(500, abs=0.5) and "a = 0.5" in example


def test_the_table_of_keys_is_complete() -> None:
    """job-toml.md lists every key that job.toml may have, and each of them is read: a date is refused there."""
    rows = set(rows_of("job-toml.md", "## Keys of job.toml"))
    assert rows == {
        ".".join(filter(None, (name, section.each, key)))
        for name, section in SECTIONS.items()
        for key in section.keys or ("",)
    }
    for key in (row.replace("KIND", "rod") for row in rows):
        findings = Findings()
        beside = "fit.rod.min" if key == "fit.rod.max" else "fit.rod.max"
        settings.read_settings(f"{beside} = 0.003\n{key} = 2026-01-31\n".encode(), findings)
        codes = [p.code for p in findings.problems if p.column == key]
        assert codes and "unknown-key" not in codes, key


def test_the_long_example_has_every_table() -> None:
    """The job.toml of which the page says so has every table that there is."""
    text = (ROOT / "docs" / "job-toml.md").read_text(encoding="utf-8")
    _, _, after = text.partition("This one has every table")
    example = tomllib.loads(after.partition("```toml\n")[2].partition("\n```")[0])
    assert set(example) == {name.partition(".")[0] for name in SECTIONS if name} | {"title", "unit"}


def test_plausible_ranges_are_the_ones_checked() -> None:
    """The ranges in job-toml.md are those that cells are checked against."""
    rows = rows_of("job-toml.md", "### Plausible lengths")
    bounds = {
        "journal": quantities.JOURNAL,
        "housing_bore": quantities.HOUSING_BORE,
        "wall": quantities.WALL,
        "target": quantities.TARGET,
        "min": quantities.LIMIT,
        "seating": quantities.SEATING,
        "offset": quantities.OFFSET,
        "coating": quantities.COATING,
        "resolution": quantities.RESOLUTION,
        "limit": quantities.GAUGE_ERROR,
        "standard": quantities.STANDARD,
        "ball": quantities.BALL,
    }
    for name, quantity in bounds.items():
        assert quantity.bounds in rows[name]


def test_the_json_document_is_described_wholly() -> None:
    """json.md names every key of every object in the document's schema, and no other one."""
    path = Path(fitmatch.__file__).parent / "report" / "data" / "assignment.schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    listed: set[str] = set()
    for heading in re.findall(r"^### .+$", (ROOT / "docs" / "json.md").read_text(encoding="utf-8"), flags=re.MULTILINE):
        listed |= set(rows_of("json.md", heading))
    assert listed == keys_in(schema)


def test_the_document_of_a_comparison_is_described_wholly() -> None:
    """comparing.md names every key of every object in the document's schema, and no other one."""
    path = Path(fitmatch.__file__).parent / "report" / "data" / "compared.schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    rows = set(rows_of("comparing.md", "## The JSON document"))
    ways = set(schema["$defs"]["plan"]["properties"]["plan"]["enum"])
    assert rows == keys_in(schema)
    assert ways <= set(rows_of("comparing.md", "## Ways of choosing"))


def test_the_document_of_films_is_described_wholly() -> None:
    """json.md names every key of every object in the document's schema, and no other one; film.md every caution."""
    path = Path(fitmatch.__file__).parent / "report" / "data" / "films.schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    assert set(rows_of("json.md", "## Film")) == keys_in(schema)
    codes = schema["properties"]["rows"]["items"]["properties"]["cautions"]["items"]["enum"]
    assert set(codes) == set(words_of_films.CAUTIONS)
    text = (ROOT / "docs" / "film.md").read_text(encoding="utf-8")
    assert [code for code in codes if f"`{code}`" not in text] == []


def test_the_document_of_advice_is_described_wholly() -> None:
    """advising.md names every key of every object in the document's schema, those of figures by json.md, and every
    action."""
    path = Path(fitmatch.__file__).parent / "report" / "data" / "advised.schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    rows = set(rows_of("advising.md", "## The JSON document"))
    assert rows == keys_in(schema)
    assert set(rows_of("advising.md", "## What is proposed")) == set(ACTIONS)


def keys_in(schema: object) -> set[str]:
    """The names under every `properties` of a JSON Schema, however deep."""
    if isinstance(schema, list):
        return {key for part in schema for key in keys_in(part)}
    if not isinstance(schema, dict):
        return set()
    own = schema.get("properties", {})
    return {key for part in schema.values() for key in keys_in(part)} | (set(own) if isinstance(own, dict) else set())


def test_every_level_is_named_where_it_is_defined() -> None:
    """what-best-means.md names every level that an unproven answer can stop at, in the report's words."""
    rows = rows_of("what-best-means.md", "## Names of the levels")
    assert list(rows) == list(FIGURES) == list(WORDS)
    for name, words in WORDS.items():
        assert words in rows[name]


def test_every_strategy_is_described() -> None:
    """what-best-means.md has a row for every strategy."""
    assert set(rows_of("what-best-means.md", "### Level 2: quality, by strategy")) == set(STRATEGIES)
