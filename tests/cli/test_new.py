"""`fitmatch new`: blank folders that can be filled in, and samples."""

import re
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import write_job

import fitmatch
from fitmatch.cli.blank import blank_files
from fitmatch.cli.new import sample_names


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
    assert listed.status == 1 and "NOT YET MEASURED: shells of rods-A (rod)" in listed.out


def test_without_limits_the_blank_folder_asks_for_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The blank files name no limits of their own: until the engine maker's are filled in there is no answer."""
    folder = tmp_path / "my-build"
    Ran(capsys, "new", folder)
    ran = Ran(capsys, "assign", folder)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err and all(re.match(r"job\.toml:\d*:? ?fit\.(rod|main)", line) for line in ran.err.splitlines())
    assert all("is still to be filled in" in line for line in ran.err.splitlines())
    assert "suggests no limits" in (folder / "job.toml").read_text(encoding="utf-8")


def test_the_blank_job_tells_of_workbooks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The lines that name workbooks are ready to use: without the "#" in front they are a part of job.toml."""
    folder = tmp_path / "my-build"
    Ran(capsys, "new", folder)
    path = with_limits(folder) / "job.toml"
    text = path.read_text(encoding="utf-8")
    lines = ("[sources]", 'positions = "positions.xlsx"', 'shells    = ["shells/*.csv", "shells/*.xlsx"]')
    for line in lines:
        assert f"# {line}\n" in text
        text = text.replace(f"# {line}", line)
    path.write_text(text, encoding="utf-8")
    told = Ran(capsys, "assign", folder).err
    assert "positions.xlsx: the file is missing, though positions.csv is there" in told and "shells/*.xlsx" in told


def test_a_filled_blank_folder_is_solved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings written into the blank cells give an answer."""
    folder = tmp_path / "one-lung"
    Ran(capsys, "new", folder, "--rods", "1", "--mains", "0")
    with_limits(folder)
    positions = folder / "positions.csv"
    positions.write_text(positions.read_text(encoding="utf-8").replace("R1,rod,,", "R1,rod,1.8162,1.9421"), "utf-8")
    shells = folder / "shells" / "rods-A.csv"
    text = shells.read_text(encoding="utf-8")
    shells.write_text(text.replace("upper,,", "upper,0.0619,").replace("lower,,", "lower,0.0618,"), "utf-8")
    ran = Ran(capsys, "assign", folder)
    assert ran.status == 0 and "rods-A/A1" in ran.out


@pytest.mark.parametrize(("rods", "mains"), [(0, 7), (12, 0), (99, 99)])
def test_as_many_as_asked_for(rods: int, mains: int) -> None:
    """There is a row for every position and an upper and a lower for each; a kind without positions is left out."""
    files = blank_files("mm", rods=rods, mains=mains)
    assert files["positions.csv"].count("\n") == 1 + rods + mains
    assert sum(text.count("\n") - 1 for name, text in files.items() if name.startswith("shells/")) == 2 * (rods + mains)
    assert ("[fit.rod]" in files["job.toml"], "[fit.main]" in files["job.toml"]) == (rods > 0, mains > 0)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--rods", "0", "--mains", "0"], "at least one"),
        (["--rods", "100"], "--rods"),
        (["--unit", "cm"], "--unit"),
        (["--sample", "generator-five", "--unit", "in"], "is copied as it is"),
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
    monkeypatch.chdir(tmp_path)
    assert Ran(capsys, "new", ".").status == 0
    assert files_in(tmp_path) == ["job.toml", "positions.csv", "shells", "shells/mains-B.csv", "shells/rods-A.csv"]


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
    monkeypatch.setattr("fitmatch.cli.new.samples_home", lambda: home)
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
    assert ran.status in (0, 1) and "which shell goes where" in ran.out
