"""`--xlsx`: answers as workbooks, read back by pandas."""

from io import StringIO
from pathlib import Path
from zipfile import ZipFile

import pandas
import pytest
from made.commands import Ran
from made.sheet_jobs import engine

SHELLS = ("upper_shell", "lower_shell", "upper_box", "lower_box", "position", "kind")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Three rods and two mains; grades and a reason for a hold that look like formulas, names that look like
    numbers."""
    folder = engine(tmp_path / "x", rods=3, mains=2)
    head, *rows = (folder / "shells" / "rods.csv").read_text(encoding="utf-8").splitlines()
    rows = [f"0{i},{row.partition(',')[2]},=1+1,{'@SUM(1)' if i == 3 else ''}" for i, row in enumerate(rows)]
    (folder / "shells" / "rods.csv").write_text("\n".join([f"{head},grade,hold", *rows]) + "\n", encoding="utf-8")
    return folder


def books(path: Path) -> dict[str, pandas.DataFrame]:
    kept = dict.fromkeys((*SHELLS, "shell", "box", "grade", "hold", "lot"), str)
    found: dict[str, pandas.DataFrame] = pandas.read_excel(path, sheet_name=None, dtype=kept, keep_default_na=False)
    return found


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_plan_as_a_workbook(unit: str, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Positions and leftovers have the columns and the figures of both CSV tables, every length in both units, the
    one asked for first; kinds have the plan beside both baselines, and held shells their reasons."""
    words = ("assign", job, "--unit", unit)
    plain = pandas.read_csv(StringIO(Ran(capsys, *words, "--csv").out), dtype=dict.fromkeys(SHELLS, str))
    left = pandas.read_csv(StringIO(Ran(capsys, *words, "--csv", "leftovers").out), dtype={"shell": str})
    ran = Ran(capsys, *words, "--xlsx", tmp_path / "plan.xlsx")
    assert ran.status == 0 and f"written to {tmp_path / 'plan.xlsx'}" in ran.err and "ROD:" in ran.out
    found = books(tmp_path / "plan.xlsx")
    assert list(found) == ["positions", "kinds", "leftover", "held"]
    other = "mm" if unit == "in" else "in"
    per = 25.4 if unit == "in" else 1 / 25.4
    for shown, csv_table in ((found["positions"], plain), (found["leftover"], left)):
        assert [name for name in shown if not name.endswith(f"[{other}]")] == list(csv_table)
        for name in csv_table:
            if name.endswith(f"[{unit}]") and csv_table[name].notna().all():
                assert (shown[name] == csv_table[name]).all()
                assert shown[f"{name.partition('[')[0]}[{other}]"].to_list() == pytest.approx(
                    (csv_table[name] * per).to_list(), abs=1e-6
                )
    assert found["positions"]["upper_shell"].to_list() == plain["upper_shell"].to_list()
    assert set(found["leftover"]["grade"]) == {"", "=1+1"} and found["held"]["hold"].to_list() == ["@SUM(1)"]
    assert found["kinds"]["plan"].to_list() == ["this plan", "as-boxed", "by-hand"] * 2
    assert found["positions"]["clearance [in]"].dtype == float and found["kinds"]["filled"].dtype == int


def test_no_text_is_a_formula(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No cell of a workbook is a formula; a text that begins like one is marked so that it stays a text when typed
    over. Headings stay in sight."""
    assert Ran(capsys, "assign", job, "--xlsx", tmp_path / "plan.xlsx").status == 0
    with ZipFile(tmp_path / "plan.xlsx") as book:
        sheets = [book.read(name) for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == 4 and not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
        assert all(b'state="frozen"' in sheet for sheet in sheets)
        parts = b"".join(map(book.read, book.namelist()))
        assert b'quotePrefix="1"' in parts and b"=1+1</t>" in parts


def test_a_comparison_as_a_workbook(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every table that was asked for has a sheet of its own, with the rows of the CSV."""
    words = ("compare", job, "--rules", "--boxes")
    ran = Ran(capsys, *words, "--csv", "--xlsx", tmp_path / "plans.xlsx")
    assert ran.status == 0
    plain = pandas.read_csv(StringIO(ran.out))
    found = books(tmp_path / "plans.xlsx")
    assert list(found) == list(dict.fromkeys(plain["table"])) == ["clearances", "plans", "rules", "boxes"]
    for name, shown in found.items():
        mine = plain[plain["table"] == name]
        assert len(shown) == len(mine)
        for column in ("worst_deviation [in]", "spread [in]", "clearance [in]"):
            if column in shown:
                assert shown[column].to_list() == pytest.approx(mine[column].to_list())
    squares = found["plans"][["sum_squared_deviation [in²]", "sum_squared_deviation [mm²]"]]
    assert (squares.iloc[:, 0] * 25.4**2).to_list() == pytest.approx(squares.iloc[:, 1].to_list(), rel=1e-3)


def test_the_shelf_as_a_workbook(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Shells have the columns and the figures of the CSV, lengths in both units, the one asked for first; sealed boxes
    have a sheet of their own, with their price; counted, alike shells have a row each. Texts that look like formulas
    or numbers are texts, and an empty shelf has its headings."""
    db, path = ("--db", tmp_path / "shelf.db"), tmp_path / "shelf.xlsx"
    assert Ran(capsys, "shelf", "show", *db, "--xlsx", tmp_path / "none.xlsx").status == 0
    assert {name: len(sheet) for name, sheet in books(tmp_path / "none.xlsx").items()} == {"shells": 0, "sealed": 0}
    sealed = "part,box,family,kind,step,lot,price,location\n=A1,box-8,narrow-2,rod,0.001,7,80.50,cellar\n"
    (tmp_path / "sealed.csv").write_text(sealed, encoding="utf-8")
    assert Ran(capsys, "shelf", "take-in", job, *db).status == 0
    assert Ran(capsys, "shelf", "take-in", tmp_path / "sealed.csv", "--unit", "in", *db).status == 0
    for unit, other, per in (("in", "mm", 25.4), ("mm", "in", 1 / 25.4)):
        words = ("shelf", "show", *db, "--unit", unit)
        ran = Ran(capsys, *words, "--csv", "--xlsx", path, "--force")
        assert ran.status == 0 and f"written to {path}" in ran.err
        kept = dict.fromkeys(("shell", "box", "step"), str)
        plain = pandas.read_csv(StringIO(ran.out), dtype=kept, keep_default_na=False)
        found = books(path)
        assert list(found) == ["shells", "sealed"]
        shown = found["shells"]
        assert [name for name in shown if not name.endswith(f"[{other}]")] == list(plain)
        assert shown["shell"].to_list() == plain["shell"].to_list() and "00" in set(shown["shell"])
        assert (shown[f"wall [{unit}]"] == plain[f"wall [{unit}]"]).all() and shown["number"].dtype == int
        assert shown[f"wall [{other}]"].to_list() == pytest.approx((shown[f"wall [{unit}]"] * per).to_list(), abs=1e-6)
        assert "=1+1" in set(shown["grade"]) and shown["single"].dtype == bool
        (box,) = found["sealed"].to_dict("records")
        assert (box["name"], box["part"], box["price"], box["lot"]) == ("box-8", "=A1", 80.5, "7")
    with ZipFile(path) as book:
        sheets = [book.read(name) for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == 2 and not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
        assert all(b'state="frozen"' in sheet for sheet in sheets)
    groups = ("--group-by", "half", "--group-by", "wall")
    ran = Ran(capsys, "shelf", "show", *db, *groups, "--csv", "--xlsx", path, "--force")
    plain, shown = pandas.read_csv(StringIO(ran.out)), books(path)["alike"]
    for name in ("half", "wall [in]", "shells", "thinnest [in]"):
        assert shown[name].to_list() == plain[name].to_list()
    assert (shown["thinnest [mm]"] / 25.4).to_list() == pytest.approx(plain["thinnest [in]"].to_list(), abs=1e-9)


def test_the_shelf_is_not_written_over(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A shelf whose file ends in .xlsx is never replaced by its own workbook, nor what lies beside it, not even with
    --force; other rules are those of `assign`: each refusal is exit 2, and nothing is written."""
    db = tmp_path / "shelf.xlsx"
    show = ("shelf", "show", "--db", db)
    assert Ran(capsys, "shelf", "take-in", job, "--db", db).status == 0
    before = db.read_bytes()
    (tmp_path / "link.xlsx").symlink_to(db)
    for way in (db, tmp_path / "link.xlsx"):
        ran = Ran(capsys, *show, "--xlsx", way, "--force")
        assert (ran.status, ran.out) == (2, "") and "is the shelf itself and is never replaced" in ran.err
    (tmp_path / "mine.xlsx").write_bytes(b"mine")
    assert Ran(capsys, *show, "--xlsx", tmp_path / "mine.xlsx").status == 2
    assert Ran(capsys, *show, "--xlsx", tmp_path / "shelf.ods").status == 2
    assert Ran(capsys, *show, "--xlsx", tmp_path / "none" / "shelf.xlsx").status == 2
    assert Ran(capsys, *show, "--force").status == 2
    assert db.read_bytes() == before and (tmp_path / "mine.xlsx").read_bytes() == b"mine"
    assert Ran(capsys, *show, "--xlsx", tmp_path / "mine.xlsx", "--force").status == 0
    assert "shells" in books(tmp_path / "mine.xlsx")


@pytest.mark.parametrize("command", ["assign", "compare"])
def test_what_is_in_the_way_stays(command: str, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there is replaced with --force only; another ending, or a folder that is not there, is refused;
    each with exit 2 before anything is written."""
    path = tmp_path / "plan.xlsx"
    path.write_bytes(b"mine")
    assert Ran(capsys, command, job, "--xlsx", path).status == 2 and path.read_bytes() == b"mine"
    assert Ran(capsys, command, job, "--xlsx", tmp_path / "plan.xls").status == 2
    if command == "assign":
        assert Ran(capsys, command, job, "--xlsx", tmp_path / "none" / "plan.xlsx").status == 2
        assert Ran(capsys, command, job, "--xlsx", path, "--force").status == 0 and path.read_bytes() != b"mine"


def test_a_plan_is_not_written_over_its_own_files(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A workbook that the job is read from is never replaced, not even with --force."""
    text = (job / "job.toml").read_text(encoding="utf-8")
    rows = [row.split(",") for row in (job / "positions.csv").read_text(encoding="utf-8").splitlines()]
    pandas.DataFrame(rows[1:], columns=rows[0]).to_excel(job / "positions.xlsx", index=False)
    title, rest = text.split("\n", 1)
    own = f'{title}\n{rest.split("[", 1)[0]}[sources]\npositions = "positions.xlsx"\n[{rest.split("[", 1)[1]}'
    (job / "job.toml").write_text(own, encoding="utf-8")
    before = (job / "positions.xlsx").read_bytes()
    for command in ("assign", "compare"):
        ran = Ran(capsys, command, job, "--xlsx", job / "positions.xlsx", "--force")
        assert ran.status == 2 and "is a file of the job itself" in ran.err
    assert (job / "positions.xlsx").read_bytes() == before


def test_a_kind_that_is_not_whole_is_told_in_every_row(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each filled position of such a kind is remarked `fit none yet`, and no position of another kind."""
    positions = (job / "positions.csv").read_text(encoding="utf-8")
    (job / "positions.csv").write_text(positions.replace("R1,rod,1.81620", "R1,rod,1.82220"), encoding="utf-8")
    assert Ran(capsys, "assign", job, "--xlsx", tmp_path / "plan.xlsx").status == 1
    shown = books(tmp_path / "plan.xlsx")["positions"]
    filled = shown[shown["state"] != "not filled"]
    assert set(filled["kind"]) == {"rod", "main"}
    for kind, remark in zip(filled["kind"], filled["remark"], strict=True):
        assert remark.startswith("fit none yet: rod is not whole") is (kind == "rod")
