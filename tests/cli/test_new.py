"""`fitmatch new`: blank folders that can be filled in, and samples."""

import re
from pathlib import Path
from zipfile import ZipFile

import pytest
from made.commands import Ran
from made.intake_jobs import write_job
from openpyxl import load_workbook

import fitmatch
from fitmatch.cli.job.blank import blank_job
from fitmatch.cli.job.new import sample_names
from fitmatch.intake.writing.workbooks import workbook_of


def with_limits(folder: Path, *, unit: str = "in") -> Path:
    """Do what the remarks in job.toml ask for: figures in place of the dots."""
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    for key, figure in (("min", "0.0018"), ("max", "0.0028")) if unit == "in" else (("min", "0.046"), ("max", "0.07")):
        text = re.sub(rf'^{key}( *)= "\.\.\."', rf"{key}\1= {figure}", text, flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    return folder


def files_in(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_blank_folder_reads_back_once_limits_are_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], unit: str
) -> None:
    """With limits filled in the blank files are a job: every position and shell is there, none measured yet."""
    folder = tmp_path / "my-build"
    ran = Ran(capsys, "new", folder, "--unit", unit)
    assert (ran.status, ran.err) == (0, "") and str(folder / "job.toml") in ran.out
    job = fitmatch.read_job(with_limits(folder, unit=unit))
    assert job.unit == unit and job.warnings == ()
    assert [p.name for p in job.positions] == ["R1", "R2", "R3", "R4", "M1", "M2", "M3", "M4", "M5"]
    assert all(p.missing == ("journal", "housing_bore") for p in job.positions)
    assert [sum(s.kind == kind and s.half == half for s in job.shells)
            for kind in ("rod", "main") for half in ("upper", "lower")] == [4, 4, 5, 5]  # fmt: skip
    assert len({s.name for s in job.shells}) == len(job.shells)
    assert all(s.wall_nm is None for s in job.shells)
    listed = Ran(capsys, "assign", folder)
    assert listed.status == 1 and "NOT YET MEASURED: shells of my-build-rods-A (rod)" in listed.out


def test_the_blank_folder_names_the_budget_of_boxes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the signs in front, the lines about sealed boxes are read as they stand."""
    assert Ran(capsys, "new", tmp_path / "my-build").status == 0
    path = with_limits(tmp_path / "my-build") / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("# [boxes]\n# budget", "[boxes]\nbudget"), encoding="utf-8")
    told = fitmatch.read_job(path.parent).boxes
    assert told is not None and told.budget == 3


def test_without_limits_the_blank_folder_asks_for_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The blank files name no limits of their own: until the engine maker's are filled in there is no answer."""
    folder = tmp_path / "my-build"
    Ran(capsys, "new", folder)
    ran = Ran(capsys, "assign", folder)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err and all(re.match(r"job\.toml:\d*:? ?fit\.(rod|main)", line) for line in ran.err.splitlines())
    assert all("is still to be filled in" in line for line in ran.err.splitlines())
    assert "suggests no limits" in (folder / "job.toml").read_text(encoding="utf-8")


def test_the_lines_about_workbooks_work_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With all three of them in force a folder is read, whichever of its tables are workbooks and which text; where
    there is neither, or both, it is told."""
    folder = tmp_path / "my-build"
    Ran(capsys, "new", folder, "--rods", "2", "--mains", "2")
    path = with_limits(folder) / "job.toml"
    text = path.read_text(encoding="utf-8")
    start = text.index("# [sources]")
    lines = text[start:].splitlines(keepends=True)
    path.write_text(text[:start] + "".join(line[2:] for line in lines[:3]) + "".join(lines[3:]), encoding="utf-8")

    def to_workbook(name: str) -> None:
        rows = [line.split(",") for line in (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()]
        (folder / f"{name}.xlsx").write_bytes(workbook_of(rows, ()))
        (folder / f"{name}.csv").unlink()

    assert len(fitmatch.read_job(folder).shells) == 8
    to_workbook("positions")
    assert len(fitmatch.read_job(folder).positions) == 4
    to_workbook("shells/my-build-rods-A")
    assert len(fitmatch.read_job(folder).shells) == 8
    to_workbook("shells/my-build-mains-B")
    assert len(fitmatch.read_job(folder).shells) == 8
    for box in (folder / "shells").iterdir():
        box.unlink()
    assert "no file matches `shells/*.csv`" in Ran(capsys, "assign", folder).err
    (folder / "positions.csv").write_text("position,kind,journal,housing_bore\n", encoding="utf-8")
    assert "`positions.*` finds positions.csv and positions.xlsx; keep one of them" in Ran(capsys, "assign", folder).err
    (folder / "positions.csv").unlink()
    (folder / "positions.xlsx").rename(folder / "positions.ods")
    assert "no file matches `positions.*`" in Ran(capsys, "assign", folder).err


@pytest.mark.parametrize(("name", "mark"), [(";", ";"), ("tab", "\t"), (",", ",")])
def test_a_separator_of_ones_own(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, mark: str) -> None:
    """Tables parted by the mark that one's spreadsheet writes are read like others, decimal commas with them, but for
    those parted by commas."""
    folder = tmp_path / "one-lung"
    assert Ran(capsys, "new", folder, "--separator", name, "--rods", "1", "--mains", "0", "--unit", "mm").status == 0
    with_limits(folder, unit="mm")
    header, *rows = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    assert header == mark.join(["position", "kind", "journal", "housing_bore", "note"])
    figures = ("38,1", "41,333") if mark != "," else ("38.1", "41.333")
    rows[0] = rows[0].replace(f"rod{mark * 3}", f"rod{mark}{mark.join(figures)}{mark}")
    (folder / "positions.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    (position,) = fitmatch.read_job(folder).positions
    assert position.housing_bore is not None and position.housing_bore.mean_nm == 41_333_000


def test_workbooks_to_fill_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --xlsx the same rows stand in workbooks that job.toml names; a name typed into them stays a text, and their
    properties name no program."""
    folder, plain = tmp_path / "a" / "my-build", tmp_path / "b" / "my-build"
    for path in (folder, plain):
        path.parent.mkdir()
    assert Ran(capsys, "new", plain).status == 0 and Ran(capsys, "new", folder, "--xlsx").status == 0
    books = ["positions.xlsx", "shells/my-build-mains-B.xlsx", "shells/my-build-rods-A.xlsx"]
    assert files_in(folder) == sorted(["job.toml", "shells", *books])
    one, two = fitmatch.read_job(with_limits(folder)), fitmatch.read_job(with_limits(plain))
    assert one.warnings == () and sorted(s.key for s in one.shells) == sorted(s.key for s in two.shells)
    assert [(p.name, p.kind) for p in one.positions] == [(p.name, p.kind) for p in two.positions]
    for book in books:
        with ZipFile(folder / book) as parts:
            properties = b"".join(parts.read(name) for name in parts.namelist() if name.startswith("docProps/")).lower()
        assert b"openpyxl" not in properties and b"<application>" not in properties and b"excel" not in properties
    sheet = load_workbook(folder / books[1]).active
    assert sheet is not None and sheet["A2"].number_format == "@" and sheet.column_dimensions["A"].number_format == "@"


def test_boxes_carry_the_name_of_their_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The blank boxes of two engines have other names, so that no pool takes them for one; a folder whose name no box
    can have leaves it out."""
    for name in ("first", "second one", ".hidden", "x" * 195):
        assert Ran(capsys, "new", tmp_path / name, "--mains", "0").status == 0
    boxes = [path.name for path in sorted(tmp_path.glob("*/shells/*"))]
    assert sorted(boxes) == ["first-rods-A.csv", "hidden-rods-A.csv", "rods-A.csv", "second one-rods-A.csv"]


def test_names_with_blanks_are_quoted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The line to type next is one that works."""
    for name, shown in (("my build", '"{}"'), ("plain", "{}"), ("a $HOME", "'{}'")):
        ran = Ran(capsys, "new", tmp_path / name)
        assert ran.out.rstrip().endswith(f"fitmatch assign {shown.format(tmp_path / name)}")


def test_a_filled_blank_folder_is_solved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings written into the blank cells give an answer."""
    folder = tmp_path / "one-lung"
    Ran(capsys, "new", folder, "--rods", "1", "--mains", "0")
    with_limits(folder)
    positions = folder / "positions.csv"
    positions.write_text(positions.read_text(encoding="utf-8").replace("R1,rod,,", "R1,rod,1.8162,1.9421"), "utf-8")
    shells = folder / "shells" / "one-lung-rods-A.csv"
    text = shells.read_text(encoding="utf-8")
    shells.write_text(text.replace("upper,,", "upper,0.0619,").replace("lower,,", "lower,0.0618,"), "utf-8")
    ran = Ran(capsys, "assign", folder)
    assert ran.status == 0 and "one-lung-rods-A/A1" in ran.out


@pytest.mark.parametrize(("rods", "mains"), [(0, 7), (12, 0), (99, 99)])
def test_as_many_as_asked_for(rods: int, mains: int) -> None:
    """There is a row for every position and an upper and a lower for each; a kind without positions is left out."""
    blank = blank_job("mm", rods=rods, mains=mains)
    assert len(blank.tables["positions"]) == 1 + rods + mains
    assert sum(len(rows) - 1 for name, rows in blank.tables.items() if name != "positions") == 2 * (rods + mains)
    assert ("[fit.rod]" in blank.job_toml, "[fit.main]" in blank.job_toml) == (rods > 0, mains > 0)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--rods", "0", "--mains", "0"], "at least one"),
        (["--rods", "100"], "--rods"),
        (["--unit", "cm"], "--unit"),
        (["--sample", "generator-five", "--unit", "in"], "is copied as it is"),
        (["--sample", "generator-five", "--xlsx"], "is copied as it is"),
        (["--xlsx", "--separator", ";"], "choose one"),
        (["--separator", "|"], "--separator"),
        (["--sample", "no-such-engine"], "there is no sample `no-such-engine`"),
    ],
)
def test_wrong_usage_makes_no_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], args: list[str], words: str
) -> None:
    """What cannot be made is refused with status 2, and no folder is left behind."""
    ran = Ran(capsys, "new", tmp_path / "my-build", *args)
    assert (ran.status, ran.out) == (2, "") and words in ran.err
    assert files_in(tmp_path) == []


def test_a_folder_in_use_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that holds anything, a file, or a place that does not exist is refused, and stays as it was."""
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "notes.txt").write_text("mine", encoding="utf-8")
    for name, words in (("used", "not empty"), ("used/notes.txt", "is a file"), ("none/at/all", "does not exist")):
        ran = Ran(capsys, "new", tmp_path / name)
        assert (ran.status, ran.out) == (2, "") and words in ran.err
    assert files_in(tmp_path) == ["used", "used/notes.txt"]


def test_an_empty_folder_is_filled(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An empty folder is accepted, even the current one, and only the job's files are put there."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    assert Ran(capsys, "new", ".").status == 0
    boxes = [f"shells/here-{kind}.csv" for kind in ("mains-B", "rods-A")]
    assert files_in(folder) == ["job.toml", "positions.csv", "shells", *boxes]


@pytest.mark.parametrize("exists", [False, True])
@pytest.mark.parametrize("call", ["write_bytes", "rename"])
def test_nothing_half_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, call: str, exists: bool
) -> None:
    """When the disk gives out at the second file or move, none of the files is left behind."""
    folder = tmp_path / "my-build"
    if exists:
        folder.mkdir()
    real = getattr(Path, call)
    calls = 0

    def failing(self: Path, argument: object) -> object:
        nonlocal calls
        calls += 1
        if calls == 2 or not (exists or call == "write_bytes"):
            raise OSError(28, "No space left on device")
        return real(self, argument)

    monkeypatch.setattr(Path, call, failing)
    ran = Ran(capsys, "new", folder)
    assert (ran.status, ran.out) == (2, "") and "No space left on device" in ran.err
    assert files_in(tmp_path) == (["my-build"] if exists else [])


def test_a_sample_is_copied_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sample's files are copied byte for byte; the existing samples are named if an unknown one is requested."""
    home = tmp_path / "samples"
    write_job(home / "one-lung")
    (home / "not-a-job").mkdir()
    monkeypatch.setattr("fitmatch.cli.job.new.samples_home", lambda: home)
    copy = tmp_path / "copy"
    ran = Ran(capsys, "new", copy, "--sample", "one-lung")
    assert ran.status == 0 and files_in(copy) == files_in(home / "one-lung")
    assert (copy / "job.toml").read_bytes() == (home / "one-lung" / "job.toml").read_bytes()
    assert "choose one of one-lung" in Ran(capsys, "new", tmp_path / "other", "--sample", "two").err


@pytest.mark.parametrize("name", ["generator-five", "short-of-shells", "vee-eight"])
def test_every_sample_is_a_job(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """Every sample that ships is known, copied, read and answered."""
    assert name in sample_names()
    assert Ran(capsys, "new", tmp_path / name, "--sample", name).status == 0
    ran = Ran(capsys, "assign", tmp_path / name)
    assert ran.status in (0, 1) and "upper (b" in ran.out
