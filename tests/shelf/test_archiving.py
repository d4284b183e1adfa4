"""A shelf as plain files and back: nothing is lost, on any database, and nothing wrong gets in."""

import csv
from pathlib import Path
from shutil import copytree

import pytest
from made.commands import Ran
from made.shelves import Clock, lived_on

from fitmatch.problems import InputError
from fitmatch.shelf import RefusedError, Shelf, engines, export, history, import_, open_shelf, show
from fitmatch.shelf.store.schema import METADATA, VERSIONS


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture
def exported(shelf: Shelf, tmp_path: Path) -> Path:
    """What was exported of a shelf on which everything has happened once."""
    lived_on(shelf, tmp_path)
    export(shelf, tmp_path / "out")
    return tmp_path / "out"


def test_out_in_and_out_again_is_the_same(shelf: Shelf, exported: Path, tmp_path: Path) -> None:
    """Exported, imported into an empty shelf and exported again, all files are the same bytes; that shelf is a file,
    whatever the first one was. Every table is there, with rows, and nothing but .csv."""
    other = open_shelf(tmp_path / "other.db")
    copied = import_(other, exported)
    again = export(other, tmp_path / "again")
    assert contents(exported) == contents(tmp_path / "again") and copied.rows == again.rows
    tables = {name for name in METADATA.tables if name != "alembic_version"}
    assert set(contents(exported)) == {f"{name}.csv" for name in (*tables, "version")}
    assert all(copied.rows.values())
    assert show(other) == show(shelf) and engines(other) == engines(shelf)
    assert history(other, "7") == history(shelf, "7")


def test_into_a_shelf_on_any_database(shelf: Shelf, tmp_path: Path) -> None:
    """What was exported from a file is imported into a shelf on either database, and comes out the same."""
    lived_on(first := open_shelf(tmp_path / "first.db", clock=Clock()), tmp_path)
    export(first, tmp_path / "out")
    import_(shelf, tmp_path / "out")
    export(shelf, tmp_path / "again")
    assert contents(tmp_path / "out") == contents(tmp_path / "again")


def test_only_the_user_may_read_an_export(exported: Path) -> None:
    """An export is as private as the shelf."""
    assert exported.stat().st_mode & 0o077 == 0


def test_no_cell_is_a_formula(exported: Path) -> None:
    """Whatever people typed, no text of an export begins like a formula of a spreadsheet."""
    texts = (data.decode().splitlines(keepends=True) for data in contents(exported).values())
    typed = [cell for text in texts for row in csv.reader(text) for cell in row]
    assert "'=1+1" in typed and not any(cell[:1] in "=+-@\t\r" for cell in typed if cell)


def test_an_export_replaces_nothing(shelf: Shelf, exported: Path, tmp_path: Path) -> None:
    """A folder with anything in it is refused and left alone, and so is one that cannot be written."""
    before = contents(exported)
    (tmp_path / "file").write_text("x")
    for where, code in ((exported, "folder-taken"), (tmp_path / "file", "folder-taken"), (tmp_path / "no/x", None)):
        with pytest.raises(RefusedError) as refused:
            export(shelf, where)
        assert refused.value.reasons[0].code == (code or "cannot-export")
    assert contents(exported) == before
    (tmp_path / "empty").mkdir()
    assert export(shelf, tmp_path / "empty").rows["shells"] == 8
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_shelf_that_is_not_empty_imports_nothing(shelf: Shelf, exported: Path) -> None:
    """What is there would be mixed up with what comes."""
    before = show(shelf)
    with pytest.raises(RefusedError) as refused:
        import_(shelf, exported)
    assert refused.value.reasons[0].code == "not-empty" and show(shelf) == before


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An export of a shelf in a file, made once."""
    folder = tmp_path_factory.mktemp("sound")
    lived_on(shelf := open_shelf(folder / "shelf.db", clock=Clock()), folder)
    export(shelf, folder / "out")
    return folder / "out"


@pytest.mark.parametrize(
    ("file", "old", "new", "expected"),
    [
        ("version.csv", VERSIONS[-1], "9999", "newer"),
        ("version.csv", "version", "edition", "missing-column"),
        ("shells.csv", ",1569720,", ",1569720.5,", "unknown-value"),
        ("shells.csv", "wall_nm", "wall", "misspelt-column"),
        ("shells.csv", ",rod,upper,", ",rod,upper", "ragged-row"),
        ("shells.csv", ",rod,upper,", ",rod,left,", "contradicts"),
        ("shells.csv", ",fitted,", ",free,", "holder-contradicts"),
        ("holds.csv", "\r\n1,", "\r\n99,", "contradicts"),
        ("events.csv", "\r\n2,", "\r\n1,", "contradicts"),
        ("events.csv", "\r\n2,", "\r\ntwo,", "unknown-value"),
        ("events.csv", "\r\n2,", "\r\n,", "empty-cell"),
        ("events.csv", "\r\n2,", "\r\n3000000000,", "unknown-value"),
        ("events.csv", "\r\n2,", '\r\n"2,', "broken-quotes"),
        ("job_positions.csv", ",true", ",yes", "unknown-value"),
        ("gauges.csv", None, "", "missing-file"),
        ("boxes.csv", "cellar", "cell\0r", "control-character"),
    ],
)
def test_a_damaged_export_is_refused(
    sound: Path, tmp_path: Path, file: str, old: str | None, new: str, expected: str
) -> None:
    """Each damage is named by what is wrong, and nothing at all is imported."""
    path = Path(copytree(sound, tmp_path / "damaged")) / file
    if old is None:
        path.unlink()
    else:
        text = path.read_bytes().decode()
        assert old in text
        path.write_bytes(text.replace(old, new, 1).encode())
    shelf = open_shelf(tmp_path / "other.db")
    with pytest.raises((RefusedError, InputError)) as refused:
        import_(shelf, path.parent)
    error = refused.value
    reasons = error.reasons if isinstance(error, RefusedError) else error.problems
    assert expected in [reason.code for reason in reasons]
    assert show(shelf).shells == () and show(shelf).sealed == ()


def test_no_shelf_is_not_exported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there is no shelf nothing is exported, and --db is named; one that nothing was taken in yet is exported so
    that it can be imported and comes out the same."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    ran = Ran(capsys, "shelf", "export", tmp_path / "out")
    assert ran.status == 2 and "there is no shelf" in ran.err and "--db" in ran.err and not (tmp_path / "out").exists()
    (tmp_path / "shelf.db").touch()
    assert Ran(capsys, "shelf", "export", tmp_path / "out").status == 0
    other = open_shelf(tmp_path / "other.db")
    import_(other, tmp_path / "out")
    export(other, tmp_path / "again")
    assert contents(tmp_path / "out") == contents(tmp_path / "again")
