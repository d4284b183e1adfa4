"""The report on one screen, of whole jobs: how long it is, how wide, and that nothing in it is broken."""

import json
import os
import pty
import shutil
import subprocess
import sys
from collections.abc import Sequence
from fcntl import ioctl
from functools import cache
from pathlib import Path
from struct import pack
from termios import TIOCSWINSZ

import pytest
from made.builds import GAUGES as GAUGES_OF_BUILD
from made.builds import RULES, build
from made.commands import ran_here
from made.intake_jobs import GAUGES, JOB, METRIC_ROD, POSITIONS, put, write_job

import fitmatch
from fitmatch.gauging.assembled import assembled
from fitmatch.intake.reading import read_job
from fitmatch.records.answers.plans import Plan
from fitmatch.records.keys import full_name
from fitmatch.report.shared.layout import page
from fitmatch.report.text.assembled import assembled_text
from fitmatch.report.text.report import plan_text

SAMPLES = Path(__file__).parents[2] / "samples"
EVERY = [path.name for path in sorted(SAMPLES.iterdir()) if (path / "job.toml").exists()]
every_width = pytest.mark.parametrize(
    "widths",
    [
        pytest.param(range(80, 121, 5), id="some"),
        pytest.param([width for width in range(80, 121) if width % 5], id="others", marks=pytest.mark.deep),
    ],
)
RODS = "".join(f"R{i},rod,1.816{i},1.9420\n" for i in range(1, 9))


@cache
def answer(name: str) -> Plan:
    return fitmatch.assign(read_job(SAMPLES / name))


def text_of(plan: Plan, width: int, *, full: bool = False) -> str:
    with page(width):
        return plan_text(plan, plan.job.unit, full=full)


def run(*args: object, columns: str | None = "100") -> "subprocess.CompletedProcess[str]":
    ran = ran_here(*args, environment={"COLUMNS": columns})
    return subprocess.CompletedProcess(ran.args, ran.returncode, ran.stdout.decode(), ran.stderr.decode())


@pytest.mark.parametrize("width", [80, 100, 120])
def test_thirteen_good_positions_take_one_screen(width: int) -> None:
    """Eight rods and five mains, all good, with a flange, a lock and two notes, take at most 45 lines."""
    plan = answer("vee-eight")
    assert len(plan.placements) == 13 and not plan.needs_attention
    assert text_of(plan, width).count("\n") <= 45


@every_width
@pytest.mark.parametrize("boxes", ["my-build", "ketch-auxiliary-2nd-overhaul"])
@pytest.mark.parametrize(
    ("more", "marked"),
    [
        ("", False), ("", True), (GAUGES_OF_BUILD.format(limit="0.00005"), False), (RULES, True),
        (RULES + GAUGES_OF_BUILD.format(limit="0.00005"), True),
    ],
)  # fmt: skip
def test_thirteen_good_positions_of_a_new_job_take_one_screen(
    tmp_path: Path, boxes: str, more: str, *, marked: bool, widths: Sequence[int]
) -> None:
    """At every width eight rods and five mains whose boxes bear the name of the job take at most 45 lines, also with
    marks, uncertainty and moved housings; every clearance is drawn in its row, and no name is broken."""
    plan = fitmatch.assign(read_job(build(tmp_path / "job", more=more, marked=marked, name=boxes)))
    assert len(plan.placements) == 13 and not plan.needs_attention
    assert bool(plan.plans[0].moved_from) == (RULES in more and marked)
    names = {full_name(s.key) for p in plan.placements for s in (p.upper, p.lower)}
    for width in widths:
        text = text_of(plan, width)
        assert text.count("\n") <= 45 and max(map(len, text.splitlines())) <= width
        rows = [line.split() for line in text.splitlines() if line[:1] in "RM" and line[1:2].isdigit()]
        assert [row[0] for row in rows] == [p.position.name for p in plan.placements]
        assert all(any(set(cell) <= set("|-:o") and "o" in cell for cell in row) for row in rows)
        told = set(text.split())
        assert all(name in told or name.rpartition("-")[2] in told for name in names)
        assert "; limits: engine manual, p. 12" in " ".join(text.split())


def test_thirteen_doubtful_positions_take_one_screen(tmp_path: Path) -> None:
    """Where no clearance is surely inside, that is said at the top, for each kind and in every row."""
    folder = build(tmp_path / "job", more=GAUGES_OF_BUILD.format(limit="0.0015"), marked=True)
    plan = fitmatch.assign(read_job(folder))
    for width in range(80, 121):
        text = text_of(plan, width)
        assert text.count("\n") <= 45 and text.count("all doubtful; target") == 2
        told = " ".join(text.split())
        assert "inside the limits as calculated; 13 doubtful within their uncertainty." in told
        assert "doubtful: all of them." in told
        rows = [line for line in text.splitlines() if line[:1] in "RM" and line[1:2].isdigit()]
        assert len(rows) == 13 and all("doubtful" in row for row in rows)


def test_boxes_are_called_by_their_ends_where_that_saves_room(tmp_path: Path) -> None:
    """Where names as they are do not fit, what all boxes of the table begin with is told once, above it; letters stand
    for them where another box goes by such an end."""
    folder = build(tmp_path / "job")
    plan = fitmatch.assign(read_job(folder))
    assert "; boxes: my-build-rods-A, -C " in " ".join(text_of(plan, 80).split()) and "boxes:" not in text_of(plan, 120)
    (folder / "shells" / "my-build-mains-B.csv").rename(folder / "shells" / "A.csv")
    text = " ".join(text_of(fitmatch.assign(read_job(folder)), 80).split())
    assert "boxes: b = my-build-rods-A, c = my-build-rods-C" in text and " b/A1 " in text


@pytest.mark.parametrize("length", [30, 50, 65])
def test_letters_stand_for_names_too_long_for_a_row(tmp_path: Path, length: int) -> None:
    """Boxes whose names have no beginning in common and no room beside each other go by letters, told above the table:
    every position keeps to one row, each shell below its side."""
    folder = write_job(tmp_path)
    (folder / "shells" / "box-1.csv").unlink()
    for half in ("upper", "lower"):
        text = "shell,kind,half,wall\n" + "".join(f"{i},rod,{half},0.0618\n" for i in (1, 2))
        (folder / "shells" / f"{half[0] * (length - 3)}-{half}.csv").write_text(text, encoding="utf-8")
    plan = fitmatch.assign(read_job(folder))
    for width in (80, 100, 120):
        text = text_of(plan, width)
        assert max(map(len, text.splitlines())) <= width
        (head,) = (line for line in text.splitlines() if "upper (beam)" in line)
        rows = [line for line in text.splitlines() if line[:1] == "R" and line[1:2].isdigit()]
        assert [row.split()[0] for row in rows] == [p.position.name for p in plan.placements]
        upper, lower = head.index("upper (beam)"), head.index("lower (cap)")
        assert all("/" in row[at:].split()[0] and row[at - 1] == " " for row in rows for at in (upper, lower))
        assert all(box in text for box in {s.box for p in plan.placements for s in (p.upper, p.lower)})


@every_width
@pytest.mark.parametrize(
    ("odd", "notes", "source"),
    [(True, False, ""), (False, True, ""), (False, False, "the maker's manual, third edition, page 112, table 4")],
)
def test_thirteen_positions_with_odd_names_or_many_words_take_one_screen(
    tmp_path: Path, odd: bool, notes: bool, source: str, widths: Sequence[int]
) -> None:
    """A box whose name begins unlike the others, a long note in every row or a long source of the limits costs no row
    a second line: at most 45 lines at every width, each shell below its side; in full every note stands in full."""
    folder = build(tmp_path / "job", more=GAUGES_OF_BUILD.format(limit="0.00005"), marked=True)
    toml, positions = folder / "job.toml", folder / "positions.csv"
    if odd:
        for kind, other in (("rods", "second-hand"), ("mains", "from-the-old-shop")):
            box = folder / "shells" / f"my-build-{kind}-{'C' if kind == 'rods' else 'D'}.csv"
            box.rename(box.with_name(f"{other}.csv"))
    if source:
        toml.write_text(toml.read_text(encoding="utf-8").replace("engine manual, p. ", source), encoding="utf-8")
    if notes:
        head, *rows = (line.split(",") for line in positions.read_text(encoding="utf-8").splitlines())
        for row in rows:
            row[4] = f"journal of {row[0]} polished and measured a second time"
        positions.write_text("\n".join(map(",".join, [head, *rows])), encoding="utf-8")
    plan = fitmatch.assign(read_job(folder))
    for width in widths:
        text = text_of(plan, width)
        lines = text.splitlines()
        assert len(lines) <= 45 and max(map(len, lines)) <= width
        for kind, side in (("rod", "beam"), ("main", "block")):
            at = next(at for at, line in enumerate(lines) if f"upper ({side})" in line)
            rows = lines[at + 1 : at + 1 + len(plan.plans[0].of_kind(kind))]
            lower = lines[at].index("lower (cap)")
            assert [row.split()[0] for row in rows] == [p.position.name for p in plan.plans[0].of_kind(kind)]
            assert all(row[lower - 1] == " " != row[lower] and "/" in row[lower:].split()[0] for row in rows)
    assert not notes or all(f"{p.name}: {p.note}" in text_of(plan, 100, full=True) for p in plan.job.positions)


@every_width
@pytest.mark.parametrize("name", EVERY)
def test_every_width_is_kept_and_no_word_is_broken(name: str, widths: Sequence[int]) -> None:
    """At every width from 80 to 120 each line keeps within it, and the words are those of the widest page but for
    drawings, the ends that boxes are called by and what tells them: none is broken. In full too."""
    plan = answer(name)
    for full in (False, True):
        widest = words(text_of(plan, 120, full=full))
        for width in widths[:: 4 if full else 1]:
            text = text_of(plan, width, full=full)
            assert max(map(len, text.splitlines())) <= width
            boxes = {name.partition("/")[0] for name in widest if "-" in name}
            ends = boxes | {name.rpartition("-")[2] for name in {*widest, *boxes}}
            assert words(text) - widest <= ends | {"boxes"} | {f"-{end}" for end in ends}
            assert all(word in words(text) or word.rpartition("-")[2] in words(text) for word in widest)


def words(text: str) -> set[str]:
    """All words, without rules, the marks around them, drawings and what they have above them, and a warning that a
    narrow page has in place of one."""
    known = {word.strip(";,:") for word in text.split()} - {"NOT", "TO", "BE", "ASSEMBLED", "*", "target"}
    return {word for word in known if not set(word) <= set("-|:oX")}


def test_full_begins_with_the_screen() -> None:
    """In full the report begins with the very lines of the short one and ends with its last; the rest comes between."""
    plan = answer("generator-five")
    short, full = text_of(plan, 80), text_of(plan, 80, full=True)
    head, tail = short[: short.index("The calculated")], short[short.index("The calculated") :]
    assert full.startswith(head) and full.endswith(tail) and len(full) > 2 * len(short)
    for part in ("THE SUMS", "ALONG THE LINE", "BETWEEN THE LIMITS", "HOW GOOD IT IS", "shells and their walls"):
        assert part in full and part not in short


@pytest.mark.parametrize(
    ("columns", "width"), [("80", 80), ("97", 97), ("40", 80), ("400", 120), (None, 100), ("", 100), ("wide", 100)]
)
def test_the_page_is_as_wide_as_columns_says(columns: str | None, width: int) -> None:
    """In a pipe too, within 80 and 120; 100 where it says nothing of use. The same width gives the same bytes."""
    sample = SAMPLES / "short-of-shells"
    ran = run("assign", sample, columns=columns)
    with page(width):
        assert ran.stdout == plan_text(answer("short-of-shells"), "in")
    assert run("check", sample, columns=columns).returncode in (0, 1)


def test_the_page_is_as_wide_as_the_terminal(tmp_path: Path) -> None:
    """On a terminal its own width counts, also where only standard error is one, as before a pager."""
    ours, theirs = pty.openpty()
    ioctl(theirs, TIOCSWINSZ, pack("HHHH", 50, 93, 0, 0))
    env = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    command = [sys.executable, "-m", "fitmatch", "assign", str(SAMPLES / "short-of-shells")]
    ran = subprocess.run(command, stdout=subprocess.PIPE, stderr=theirs, check=False, timeout=60, text=True, env=env)
    os.close(ours)
    os.close(theirs)
    with page(93):
        assert ran.stdout == plan_text(answer("short-of-shells"), "in")


def test_full_is_for_readers_only() -> None:
    """`--full` lengthens the report and is refused beside the forms for programs, which hold everything anyway."""
    full = run("assign", SAMPLES / "generator-five", "--full")
    assert full.returncode == 0 and "THE SUMS" in full.stdout
    for form in ("--json", "--csv"):
        ran = run("assign", SAMPLES / "generator-five", "--full", form)
        assert (ran.returncode, ran.stdout) == (2, "") and "--full lengthens the report" in ran.stderr


@pytest.mark.deep
def test_warnings_stand_in_report_json_and_beside_errors(tmp_path: Path) -> None:
    """A file that is not read is told in the report, in JSON and on standard error, by assign and by check, and also
    beside mistakes that stop both; --quiet keeps it off standard error alone."""
    folder = write_job(tmp_path, shells__old_DOT_txt="something")
    warning = "shells/old.txt is not read; "
    for command in ("assign", "check"):
        ran = run(command, folder)
        assert "WARNINGS\n  " + warning in ran.stdout and "warning: " + warning in ran.stderr
        (told,) = json.loads(run(command, folder, "--json").stdout)["warnings"]
        assert told.startswith(warning)
        quiet = run(command, folder, "--quiet")
        assert "WARNINGS\n  " + warning in quiet.stdout and quiet.stderr == ""
    write_job(folder, positions=POSITIONS.replace("1.9421", "wide"))
    for command in ("assign", "check"):
        ran = run(command, folder)
        first, second = ran.stderr.splitlines()
        assert (ran.returncode, ran.stdout) == (2, "")
        assert first.startswith("warning: " + warning) and second.startswith("positions.csv:2: housing_bore: ")
        assert run(command, folder, "--quiet").stderr == second + "\n"


def test_assembled_readings_fit_the_page_and_carry_warnings(tmp_path: Path) -> None:
    """`assembled` keeps to the width it is given, and tells of a file that is not read in its report, in JSON and on
    standard error."""
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "metrology-bench", folder)
    (folder / "shells" / "old.txt").write_text("something", encoding="utf-8")
    for width in (80, 100, 120):
        ran = run("assembled", folder, columns=str(width))
        assert max(map(len, ran.stdout.splitlines())) <= width
        assert "WARNINGS\n  shells/old.txt is not read" in ran.stdout and "warning: shells/old.txt" in ran.stderr
    (told,) = json.loads(run("assembled", folder, "--json").stdout)["warnings"]
    assert told.startswith("shells/old.txt is not read")


@pytest.mark.parametrize("tight", [False, True])
def test_assembled_readings_of_a_new_job_stand_in_one_table(tmp_path: Path, tight: bool) -> None:
    """With the box names of a new job each position stands in one row at every width, with its shells, both clearances
    and the verdict; NEXT names no position twice."""
    folder = build(tmp_path / "job", more=GAUGES_OF_BUILD.format(limit="0.00005"))
    assert run("assign", folder, "--save").returncode == 0
    plan = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    off = dict.fromkeys(("R1", "R2"), 0.0013) if tight else {}
    rows = [f"{p['position']},{p['clearance'] + off.get(p['position'], 0.0001):.5f},gauge" for p in plan["positions"]]
    rows += ["R1,0.0031,strip", "R2,0.00345,strip"] if tight else []
    put(folder / "assembled.csv", "position,clearance,method\n" + "\n".join(rows) + "\n")
    comparison = assembled(read_job(folder, assembled=True))
    for width in (*range(80, 121, 5),):
        with page(width):
            text = assembled_text(comparison, "in")
        assert max(map(len, text.splitlines())) <= width
        table = [line.split() for line in text.splitlines() if line[:1] in "RM" and line[1:2].isdigit()]
        assert len(table) == len(rows) and all(row[1].count("/") == row[2].count("/") == 1 for row in table)
        assert {row[-1] for row in table} <= {"agrees", "APART", "MISTAKE", "RUN"}
        steps = " ".join(text[text.index("NEXT") :].split())
        assert (steps.count("R1"), steps.count("R2")) == ((1, 1) if tight else (0, 0))


def test_warnings_of_several_jobs_carry_their_names(tmp_path: Path) -> None:
    """With several jobs each warning begins with the name of its job, beside mistakes of another job too."""
    job = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    shells = "shell,kind,half,wall,family\n" + "".join(f"{i},rod,either,0.0618,a\n" for i in range(1, 5))
    one = write_job(tmp_path / "one", job, shells=shells, shells__old_DOT_txt="something")
    others = shells.replace("0.0618", "0.0619")
    other = write_job(tmp_path / "other", job, shells=None, shells__box_DOT_csv=others)
    ran = run("assign", one, other)
    assert "WARNINGS\n  one: shells/old.txt is not read" in ran.stdout
    (told,) = json.loads(run("assign", one, other, "--json").stdout)["warnings"]
    assert told.startswith("one: shells/old.txt is not read")
    write_job(other, job, POSITIONS.replace("1.9421", "wide"), None)
    ran = run("assign", one, other)
    assert ran.returncode == 2 and ran.stderr.startswith("warning: one: shells/old.txt is not read")


@pytest.mark.deep
def test_a_slack_that_was_rounded_is_told_everywhere(tmp_path: Path) -> None:
    """What the options say amiss stands with the warnings of the files."""
    folder = write_job(tmp_path)
    args = ("assign", folder, "--slack", "0.00000001")
    assert "WARNINGS\n  --slack: " in run(*args).stdout and "warning: --slack: " in run(*args).stderr
    assert json.loads(run(*args, "--json").stdout)["warnings"][0].startswith("--slack: ")


def test_where_there_is_no_verdict_one_line_says_so(tmp_path: Path) -> None:
    """Without gauges, or where what they scatter is not known, one line says that nothing is judged, and no table or
    column of dashes stands in for it."""
    silent = text_of(answer("generator-five"), 80, full=True)
    assert silent.count("How sure the clearances are is not known: job.toml tells nothing of the gauges.\n") == 1
    assert "+/-" not in silent and "verdict" not in silent
    job = METRIC_ROD + METRIC_ROD.partition("\n")[2].replace("rod", "main") + GAUGES.replace('wall = "ball"\n', "")
    job += GAUGES[GAUGES.index("[measured.rod]") :].replace("rod", "main").replace('wall = "ball"\n', "")
    rows = "R1,rod,50.000,54.045\nM1,main,50.000,54.045\n"
    shells = "shell,kind,half,wall\n" + "".join(
        f"{k[0]}{i},{k},either,2.000\n" for k in ("rod", "main") for i in (1, 2)
    )
    folder = write_job(tmp_path, job, "position,kind,journal,housing_bore\n" + rows, shells)
    text = text_of(fitmatch.assign(read_job(folder)), 100, full=True)
    assert (
        text.count("+/- is only a lower bound, and nothing is judged by it. Not known: what measured the walls.\n") == 1
    )
    assert not any(set(line.split()[1:]) == {"-"} or line.split()[-1:] == ["-"] for line in _sure(text))


def _sure(text: str) -> list[str]:
    """The lines of the short part."""
    return text[: text.index("Boxes read")].splitlines()


def test_check_says_first_what_to_measure_again(tmp_path: Path) -> None:
    """Behind the title the first line says how many readings are in doubt and what to do before anything is fitted;
    each follows with its place."""
    rows = POSITIONS.splitlines()[0] + "\n" + RODS.replace("1.8163", "1.8413")
    folder = write_job(tmp_path, positions=rows)
    ran = run("check", folder)
    lines = ran.stdout.splitlines()
    assert ran.returncode == 1 and lines[0] == "Sawmill engine"
    assert lines[1].endswith("readings IN DOUBT: measure it again before a shell is fitted. Nothing was changed.")
    assert lines[3].startswith("  R3 journal reads 0.0")


def test_a_note_stands_with_its_row_and_a_hint_does_not(tmp_path: Path) -> None:
    """What a user writes into the column `note` of positions.csv is shown; what a blank file explains itself with is
    not."""
    rows = POSITIONS.replace("housing_bore\n", "housing_bore,note\n").replace("1.9421\n", "1.9421,pin polished\n")
    folder = write_job(tmp_path / "noted", positions=rows.replace("1.9420\n", "1.9420,\n"))
    assert "pin polished" in text_of(fitmatch.assign(read_job(folder)), 100)
    blank = tmp_path / "blank"
    assert run("new", blank, "--rods", 2, "--mains", 0).returncode == 0
    positions = (blank / "positions.csv").read_text(encoding="utf-8")
    assert "R1,rod,,,# journal: " in positions
    toml = (blank / "job.toml").read_text(encoding="utf-8")
    toml = toml.replace('min      = "..."', "min = 0.0018").replace('max      = "..."', "max = 0.0028")
    (blank / "job.toml").write_text(toml, encoding="utf-8")
    (blank / "positions.csv").write_text(positions.replace(",rod,,,", ",rod,1.8162,1.9421,"), encoding="utf-8")
    ran = run("assign", blank)
    assert ran.returncode == 1 and "journal: diameter" not in ran.stdout


def test_one_box_that_would_do_is_found(tmp_path: Path) -> None:
    """Where one of the boxes drawn from would give as good a worst deviation by itself, it is named; a box that leaves
    a position worse off, or has too few halves, is not; and so it is not where only one box is drawn from."""
    rows = POSITIONS.replace("R2,rod,1.8161,1.9420", "R2,rod,1.8162,1.9421")  # walls of 0.12370 hit both targets
    box = "shell,kind,half,wall\n1,rod,upper,0.0619\n2,rod,upper,0.0619\n3,rod,lower,{}\n4,rod,lower,0.0619\n"
    folder = write_job(tmp_path, positions=rows, shells=box.format("0.0619"))  # 1 tenth tight in either
    plan = fitmatch.assign(read_job(folder))
    assert plan.groups[0].one_box == ()
    other = "shell,kind,half,wall\n5,rod,upper,0.0618\n"  # one bore on target, the other stays as it is
    write_job(folder, positions=rows, shells=box.format("0.0619"), shells__box_2_DOT_csv=other)
    plan = fitmatch.assign(read_job(folder))
    assert plan.groups[0].figures.boxes == 2 and plan.groups[0].one_box == ("box-1",)
    assert "; box-1 alone would do as well, with the same worst." in " ".join(text_of(plan, 100).split())
    more = other + "6,rod,upper,0.0618\n"  # both on target: no longer as good by itself
    write_job(folder, positions=rows, shells=box.format("0.0619"), shells__box_2_DOT_csv=more)
    plan = fitmatch.assign(read_job(folder))
    assert plan.groups[0].figures.boxes == 2 and plan.groups[0].one_box == ()


def test_long_box_names_stay_whole_on_every_page(tmp_path: Path) -> None:
    """Names that carry the job's name keep to one line each, or their ends do."""
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "generator-five", folder)
    for path in list((folder / "shells").iterdir()):
        path.rename(path.with_name(f"generator-five-{path.name}"))
    plan = fitmatch.assign(read_job(folder))
    for width in range(80, 121):
        text = text_of(plan, width)
        rows = [line for line in text.splitlines() if line[:1] in "RM" and line[1:2].isdigit()]
        assert len(rows) == 11
        for p, row in zip(plan.placements, rows, strict=True):
            cells = row.split()
            assert cells[0] == p.position.name
            names = {f"{s.box}/{s.name}" for s in (p.upper, p.lower)}
            assert names <= set(cells) or {name.rpartition("-")[2] for name in names} <= set(cells)
