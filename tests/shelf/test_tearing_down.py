"""Taking an engine down: wear with how certain it is, what cannot be true, and where used shells may go."""

import csv
import json
from io import StringIO
from math import sqrt
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, put, write_job
from made.shelves import BOX, ONE_ROD, save_plan

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.problems import InputError
from fitmatch.report.shelf.torn_down import torn_down_document, torn_down_text
from fitmatch.shelf import (
    RefusedError,
    Shelf,
    correct,
    engine,
    engines,
    fitted,
    history,
    open_shelf,
    read_measured_again,
    read_planned,
    read_stock,
    set_aside,
    show,
    take_in,
    teardown,
)
from fitmatch.shelf.answers.engines import TornDown, Wear
from fitmatch.shelf.answers.shells import ShelfShell

TENTH = 2_540  # nm
GAUGES = """
[gauge.mic]
limit = 0.0001
repeatability = 0.00005
[gauge.ball]
limit = 0.00005
repeatability = 0.00002
[measured.rod]
journal = "mic"
wall = "ball"
"""
ROOT_3 = sqrt(3)


@pytest.fixture
def job(shelf: Shelf, tmp_path: Path) -> Path:
    """A job whose only rod is fitted: engine 1."""
    folder = write_job(tmp_path / "first", JOB + GAUGES, ONE_ROD, BOX)
    save_plan(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    fitted(shelf, read_planned(folder))
    return folder


def inches(nm: int) -> str:
    return f"{nm / NM_PER_UNIT['in']:.7f}"


def worn(shelf: Shelf, job: Path, **lost: int) -> TornDown:
    """Take engine 1 down, each of these parts having lost so much in nm; no other was measured again."""
    (position,) = engine(shelf, 1).positions
    before = {"journal": position.journal_nm} | {s.half: s.wall_nm or 0 for s in position.shells}
    cells = [inches(before[part] - less) for part, less in lost.items()]
    put(job.parent / "again.csv", f"position,{','.join(lost)}\nR1,{','.join(cells)}\n")
    return teardown(shelf, 1, read_measured_again(job.parent / "again.csv", {"R1": "rod"}, None, job), by="day shift")


def shells(shelf: Shelf) -> list[ShelfShell]:
    return [shell for shell in show(shelf).shells if shell.state == "used"]


def test_wear_with_its_uncertainty(shelf: Shelf, job: Path) -> None:
    """Wear is before less after; its U is that of two days, whose zero errors and limits do not cancel: for a wall read
    once with a gauge of +/- 0.00005 in and s = 0.00002 in, set by one reading, twice (s^2 + s^2 + limit^2 / 3)."""
    found = worn(shelf, job, journal=2 * TENTH, upper=TENTH, lower=3 * TENTH)
    assert {w.part: w.wear_nm for w in found.wears} == {"journal": 2 * TENTH, "upper": TENTH, "lower": 3 * TENTH}
    for wear, limit, s in zip(found.wears, (2_540, 1_270, 1_270), (1_270, 508, 508), strict=True):
        u = sqrt(2 * (2 * s * s + limit * limit / 3))
        assert wear.u_nm is not None and 1.9 * u < wear.u_nm < 2.1 * u and not wear.grew
    assert found.attention == () and len(found.events) == 2


def test_what_has_run_is_used(shelf: Shelf, job: Path) -> None:
    """Shells come back used, with the walls that were measured the engine's record has the old ones too. The engine
    is taken down and cannot be taken down twice."""
    before = {s.number: s.wall_nm or 0 for s in engine(shelf, 1).positions[0].shells}
    found = worn(shelf, job, upper=TENTH, lower=TENTH)
    assert {s.number: (s.wall_nm, s.condition, s.engine) for s in shells(shelf)} == {
        number: (wall - TENTH, "used", 1) for number, wall in before.items()
    }
    assert {(e.action, e.from_state, e.to_state, e.job, e.engine, e.position, e.by) for e in found.events} == {
        ("teardown", "fitted", "used", "first", 1, "R1", "day shift")
    }
    (record,) = engines(shelf).engines
    assert record.torn_down and {s.number: s.wall_nm for s in record.positions[0].shells} == before
    assert {s.wall_after_nm for s in record.positions[0].shells} == {wall - TENTH for wall in before.values()}
    with pytest.raises(RefusedError) as refused:
        teardown(shelf, 1)
    assert refused.value.reasons[0].code == "nothing-fitted"


def test_what_grew_is_not_believed(shelf: Shelf, job: Path) -> None:
    """A wall that reads more than before by more than U is dirt or a mistake: it counts for nothing, and the shell is
    not measured any more. By less than U it is as good as no wear, and counts."""
    found = worn(shelf, job, journal=-10 * TENTH, upper=-3 * TENTH, lower=-100)
    assert [w.grew for w in found.wears] == [True, True, False]
    assert [(f.code, f.slots["part"]) for f in found.attention] == [("grew", "journal"), ("grew", "upper")]
    assert {s.half: s.wall_nm is None for s in shells(shelf)} == {"upper": True, "lower": False}


def test_what_was_not_measured_has_no_wall(shelf: Shelf, job: Path) -> None:
    """Nobody may rely on the wall that a used shell had when it was new."""
    found = worn(shelf, job, upper=TENTH)
    assert [(f.code, f.slots["part"]) for f in found.attention] == [("not-measured-again", "lower")]
    assert {s.half: s.wall_nm is None for s in shells(shelf)} == {"upper": False, "lower": True}


def test_without_gauges_nothing_is_claimed(shelf: Shelf, job: Path) -> None:
    """Where nothing says what took the readings of one day, wear is a difference without an uncertainty; growth is told
    beyond the limit of the other day's gauge, 0.00005 in."""
    (position,) = engine(shelf, 1).positions
    walls = {s.half: s.wall_nm or 0 for s in position.shells}
    put(
        job.parent / "a.csv",
        f"position,upper,lower\nR1,{inches(walls['upper'] + 1_280)},{inches(walls['lower'] + 1_260)}\n",
    )
    found = teardown(shelf, 1, read_measured_again(job.parent / "a.csv", {"R1": "rod"}, "in"))
    assert [(w.part, w.u_nm, w.grew) for w in found.wears] == [("upper", None, True), ("lower", None, False)]


def test_limits_and_resolution_alone(shelf: Shelf, tmp_path: Path) -> None:
    """Of gauges without repeatability no U is known, and it is said what is missing; growth within limit and resolution
    of both days (2 x (0.00005 + 0.00005) in for the walls) is not called dirt, growth beyond is."""
    told = GAUGES.replace("repeatability = 0.00005", "resolution = 0.00005")
    told = told.replace("repeatability = 0.00002", "resolution = 0.00005")
    folder = write_job(tmp_path / "limits", JOB + told, ONE_ROD, BOX)
    save_plan(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    fitted(shelf, read_planned(folder))
    found = worn(shelf, folder, journal=-TENTH, upper=-2 * TENTH, lower=-2 * TENTH - 100)
    assert [(w.part, w.u_nm, w.grew) for w in found.wears] == [
        ("journal", None, False),
        ("upper", None, False),
        ("lower", None, True),
    ]
    assert "the scatter of ball" in found.wears[1].missing
    assert "Missing for U" in torn_down_text(found, "in")


def test_a_slip_of_the_decimal_point(shelf: Shelf, job: Path) -> None:
    """A wall ten times off is neither wear nor dirt, and does not count."""
    put(job.parent / "a.csv", "position,upper,lower\nR1,0.618,0.0618\n")
    found = teardown(shelf, 1, read_measured_again(job.parent / "a.csv", {"R1": "rod"}, None, job))
    assert [f.code for f in found.attention] == ["slipped"]
    assert {s.half: s.wall_nm is None for s in shells(shelf)} == {"upper": True, "lower": False}


@pytest.mark.parametrize(("u_nm", "shown"), [(5_300.0, "0.00021"), (5_334.1, "0.00022"), (25_400.0, "0.0010")])
def test_uncertainty_has_two_digits(u_nm: float, shown: str) -> None:
    """Rounded up in the unit of the shop, in text and documents."""
    wears = (Wear("R1", "upper", "b/1", 1_570_000, 1_569_000, u_nm, grew=False),)
    found = TornDown(1, "first", wears, ())
    assert f" {shown}\n" in torn_down_text(found, "in")
    assert f'"uncertainty": {shown}' in torn_down_document(found, "in")


def test_a_coating_that_is_gone(shelf: Shelf, tmp_path: Path) -> None:
    """Wear that is more than the coating is told."""
    box = "shell,kind,half,wall,coating\n1,rod,upper,0.0618,0.0003\n2,rod,lower,0.0618,0.0003\n"
    folder = write_job(tmp_path / "coated", JOB, ONE_ROD, box)
    save_plan(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    fitted(shelf, read_planned(folder))
    found = worn(shelf, folder, upper=4 * TENTH, lower=2 * TENTH)
    assert [(f.code, f.slots["part"]) for f in found.attention] == [("worn-through", "upper")]


def test_never_run(shelf: Shelf, job: Path) -> None:
    """What has not run is free as before, in the condition and with the wall that it had; it was tried."""
    before = {s.number: s.wall_nm for s in engine(shelf, 1).positions[0].shells}
    found = teardown(shelf, 1, never_run=True)
    back = [s for s in show(shelf).shells if s.number in before]
    assert {(s.state, s.condition, s.trial_fits) for s in back} == {("free", "", 1)} and found.wears == ()
    assert {s.number: s.wall_nm for s in back} == before
    record = engine(shelf, 1)
    assert (record.state, [p.left for p in record.positions], record.wears) == ("never-run", ["never-run"], ())
    assert {s.number for s in record.positions[0].shells} == set(before)


def again_in_the_job(shelf: Shelf, job: Path) -> None:
    """The job's file gets the walls of the used shells, a lock each, and its plan anew."""
    rows = "".join(f"{s.shell},rod,{s.half},{inches(s.wall_nm or 0)}\n" for s in shells(shelf))
    put(job / "shells/box-1.csv", f"shell,kind,half,wall\n{rows}")
    save_plan(job)


def test_back_to_its_own_place_only(shelf: Shelf, job: Path, tmp_path: Path) -> None:
    """A used shell is set aside again for its own position and side of that engine, and for no other; fitted again it
    is in a new engine, and the record of the first one stays."""
    worn(shelf, job, upper=0, lower=0)
    again_in_the_job(shelf, job)
    elsewhere = write_job(tmp_path / "second", JOB, ONE_ROD, (job / "shells/box-1.csv").read_text())
    save_plan(elsewhere)
    with pytest.raises(RefusedError) as refused:
        set_aside(shelf, read_planned(elsewhere))
    assert [r.code for r in refused.value.reasons] == ["ran-elsewhere"] * 2
    first = engine(shelf, 1)
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    assert [e.number for e in engines(shelf).engines] == [1, 2]
    assert engine(shelf, 1).torn_down == first.torn_down
    again = engine(shelf, 2).positions[0].shells
    assert [(s.half, s.number) for s in again] == [(s.half, s.number) for s in first.positions[0].shells]


def test_a_teardown_is_corrected(shelf: Shelf, job: Path) -> None:
    """Corrected by any of its events, all shells are fitted as before with their old walls, and the engine stands
    again; the correction corrected, it is taken down as before."""
    before = engine(shelf, 1)
    undone = correct(shelf, worn(shelf, job, upper=TENTH, lower=TENTH).events[1].number)
    assert not engine(shelf, 1).torn_down and not engine(shelf, 1).wears
    redone = correct(shelf, undone.events[0].number)
    assert engine(shelf, 1).torn_down and engine(shelf, 1).state == "teardown" and len(engine(shelf, 1).wears) == 2
    correct(shelf, redone.events[0].number)
    assert not engine(shelf, 1).torn_down
    fitted_now = [s for s in show(shelf).shells if s.state == "fitted"]
    assert {s.number: s.wall_nm for s in fitted_now} == {s.number: s.wall_nm for s in before.positions[0].shells}
    assert {s.condition for s in fitted_now} == {""}
    assert len(worn(shelf, job, upper=TENTH, lower=TENTH).events) == 2
    actions = [e.action for e in history(shelf, str(fitted_now[0].number)).events]
    assert actions[-5:] == ["teardown", "correct", "correct", "correct", "teardown"]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("position,journal\nR1,1.8162\nR1,1.8162\n", "duplicate-position"),
        ("position,journal\nR9,1.8162\n", "unknown-item"),
        ("position,journal\n,1.8162\n", "empty-cell"),
        ("position,upper\nR1,1.8162\n", "implausible-length"),
        ("position,upper,wall_gauge\nR1,0.0618,nobody\n", "unknown-gauge"),
        ("place,upper\nR1,0.0618\n", "missing-column"),
        ("position,uper\nR1,0.0618\n", "misspelt-column"),
    ],
)
def test_bad_files(tmp_path: Path, text: str, code: str) -> None:
    """Each mistake is named, with its place."""
    put(tmp_path / "again.csv", text)
    with pytest.raises(InputError) as refused:
        read_measured_again(tmp_path / "again.csv", {"R1": "rod"}, "in")
    assert code in [problem.code for problem in refused.value.problems]


def test_the_command(capsys: pytest.CaptureFixture[str], job: Path, address: str, tmp_path: Path) -> None:
    """JSON has the wear of each part; what needs attention is status 1, a file without a unit status 2."""
    put(tmp_path / "again.csv", "position,journal,upper,lower\nR1,1.8160,0.0624,0.0611\n")
    args = ("shelf", "--db", address, "teardown", "1")
    assert Ran(capsys, *args).status == 2 and not engine(open_shelf(address), 1).torn_down
    assert Ran(capsys, *args, tmp_path / "again.csv").status == 2
    assert Ran(capsys, *args, tmp_path / "again.csv", "--never-run").status == 2
    assert Ran(capsys, *args, tmp_path / "missing.csv", "--unit", "in").status == 2
    ran = Ran(capsys, *args, tmp_path / "again.csv", "--gauges", job, "--json")
    assert ran.status == 1
    found = json.loads(ran.out)
    assert (found["wear"][0]["part"], found["wear"][0]["wear"]) == ("journal", 0.0002)
    assert [one["code"] for one in found["attention"]] == ["grew"] and len(found["events"]) == 2


def test_the_report_in_words(capsys: pytest.CaptureFixture[str], job: Path, address: str, tmp_path: Path) -> None:
    """The report says what wore, what is unlikely, and that used shells are for their own places only."""
    put(tmp_path / "again.csv", "position,journal,upper,lower\nR1,1.8160,0.0624,0.0611\n")
    ran = Ran(capsys, "shelf", "teardown", "1", tmp_path / "again.csv", "--unit", "in", "--db", address)
    said = " ".join(ran.out.split())
    for words in ("0.0002", "dirt, varnish or a mistake", "only their own position and side", "does not cancel"):
        assert words in said
    for shown in (Ran(capsys, "shelf", "--db", address, *more).out for more in (("engine", "1"), ("engines",))):
        assert "taken down on 2" in shown
    told = " ".join(Ran(capsys, "shelf", "engine", "1", "--db", address).out.split())
    assert "wear" in told and "dirt, varnish or a mistake" in told
    row = Ran(capsys, "shelf", "engines", "--csv", "--db", address).out.splitlines()[1].split(",")
    assert "0.0002" in row and "teardown" in row


def test_wear_is_before_less_after() -> None:
    """And unknown where there is no second reading."""
    assert Wear("R1", "upper", "a/1", 10, 7, None, grew=False).wear_nm == 3
    assert Wear("R1", "upper", "a/1", 10, None, None, grew=False).wear_nm is None


def test_one_uncertainty_in_every_document(
    shelf: Shelf, job: Path, address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The uncertainty of a wear has the same two digits, rounded up, in `engine` as in `teardown`, JSON and CSV."""
    found = worn(shelf, job, journal=2 * TENTH, upper=TENTH, lower=3 * TENTH)
    told = [row["uncertainty"] for row in json.loads(torn_down_document(found, "in"))["wear"]]
    record = json.loads(Ran(capsys, "shelf", "engine", "1", "--db", address, "--json").out)["engine"]
    (position,) = record["positions"]
    assert [position["journal_wear_u"], *(position[half]["wall_wear_u"] for half in ("upper", "lower"))] == told
    assert all(u is not None and len(f"{u:f}".rstrip("0").lstrip("0.")) <= 2 for u in told)
    (row,) = csv.DictReader(StringIO(Ran(capsys, "shelf", "engine", "1", "--db", address, "--csv").out))
    assert [float(row[f"{part}_wear_u [in]"]) for part in ("journal", "upper", "lower")] == told
