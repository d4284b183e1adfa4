"""Jobs that take shells from the shelf: which they are given, how they are told apart, and what is kept of them."""

import json
from datetime import timedelta
from math import sqrt
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, POSITIONS, write_job
from made.shelves import BOX, ONE_ROD, Clock
from oracles.schemas import VALIDATOR

from fitmatch import InputError, assign, read_job
from fitmatch.records.answers.plans import Plan
from fitmatch.report.data.document import plan_document
from fitmatch.report.further.positions import from_shelf
from fitmatch.report.text.report import plan_text
from fitmatch.shelf import (
    Filters,
    RefusedError,
    Shelf,
    fitted,
    open_shelf,
    put_back,
    read_measured_again,
    read_planned,
    read_stock,
    read_supplied,
    scrap,
    set_aside,
    show,
    take_in,
    teardown,
)
from fitmatch.shelf import engine as record

FITS = JOB + 'family = ["narrow-2"]\n'
LIMIT = 0.0001
# The micrometer that set the bore gauge measures the walls too; only the zero of its scale has an error worth telling.
OF_GAUGES = f"""{FITS}
[gauge.mic]
standard_limit = {LIMIT}
repeatability = 0.000001
[gauge.bore]
set_with = "mic"
repeatability = 0.000001
[gauge.other]
repeatability = 0.000001
[measured.rod]
journal = "other"
housing_bore = "bore"
wall = "mic"
"""
HALVES = {
    half: "\n".join(row for row in BOX.splitlines() if half in row or "kind" in row) + "\n"
    for half in ("upper", "lower")
}


def stock(folder: Path, boxes: dict[str, str], job: str = JOB) -> Path:
    """A job folder that only brings boxes."""
    return write_job(folder, job=job, shells=None, **{f"shells__{name}_DOT_csv": text for name, text in boxes.items()})


@pytest.fixture
def stocked(shelf: Shelf, tmp_path: Path) -> Shelf:
    """A shelf with one box of three pairs."""
    take_in(shelf, read_stock([stock(tmp_path / "stock", {"box-1": BOX})]))
    return shelf


def engine(folder: Path, job: str = FITS, positions: str = POSITIONS, shells: str | None = None) -> Path:
    return write_job(folder, job=job, positions=positions, shells=shells)


def planned(shelf: Shelf, folder: Path) -> Plan:
    """The plan of a job that takes shells from the shelf, saved too."""
    plan = assign(read_supplied(shelf, folder))
    (folder / "assignment.json").write_text(plan_document(plan, "in"), encoding="utf-8")
    return plan


def numbers(plan: Plan) -> set[int]:
    return {one.number for one in plan.plans[0].shelved.values()}


def codes(error: pytest.ExceptionInfo[InputError]) -> list[str]:
    return [problem.code for problem in error.value.problems]


def test_a_job_without_shells_of_its_own_is_served(stocked: Shelf, tmp_path: Path) -> None:
    """The plan is that of a job with the same shells in a file; what stays on the shelf is counted and not listed."""
    plan = planned(stocked, engine(tmp_path / "first"))
    same = assign(read_job(engine(tmp_path / "files", shells=BOX)))
    assert plan.proven and plan.figures == same.figures
    assert [(p.upper.key, p.lower.key) for p in plan.placements] == [
        (p.upper.key, p.lower.key) for p in same.placements
    ]
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert document["leftover"] == [] and document["shelf"]["leftover"] == {"rod": 2}
    assert {document["positions"][0][side]["location"] for side in ("upper", "lower")} == {"drawer 1"}
    assert "On the shelf stay 2 rod shells" in plan_text(plan, "in")
    assert "today's micrometer" in plan_text(plan, "in")


def test_the_family_decides_the_kind(shelf: Shelf, tmp_path: Path) -> None:
    """A shell that was taken in as another kind is of the kind whose families have its own, whatever its case."""
    job = JOB.replace("fit.rod", "fit.main")
    box = BOX.replace("rod", "main").replace("narrow-2", "Narrow-2")
    take_in(shelf, read_stock([write_job(tmp_path / "stock", job, POSITIONS.replace("rod", "main"), box)]))
    job_of_rods = read_supplied(shelf, engine(tmp_path / "first"))
    assert {shell.kind for shell in job_of_rods.shells} == {"rod"} and len(job_of_rods.shells) == 6
    other = read_supplied(shelf, engine(tmp_path / "second", FITS.replace("narrow-2", "wide")))
    assert other.shells == ()


@pytest.mark.parametrize(
    ("job", "code"),
    [(JOB, "family-missing"), (FITS + FITS[FITS.index("[fit") :].replace("fit.rod", "fit.main"), "family-twice")],
)
def test_families_must_be_told(stocked: Shelf, tmp_path: Path, job: str, code: str) -> None:
    """A kind without families, and a family of two kinds, are bad input."""
    with pytest.raises(InputError) as refused:
        read_supplied(stocked, engine(tmp_path / "first", job))
    assert codes(refused) == [code]


def test_only_what_is_free_or_its_own(stocked: Shelf, tmp_path: Path) -> None:
    """What is set aside for another job, fitted there or scrapped is not offered; what is set aside for this one, or
    fitted in its engine, is."""
    first, second = engine(tmp_path / "first", positions=ONE_ROD), engine(tmp_path / "second", positions=ONE_ROD)
    mine = numbers(planned(stocked, first))
    set_aside(stocked, read_planned(first))
    assert numbers(planned(stocked, first)) == mine
    other = numbers(planned(stocked, second))
    assert not other & mine
    scrap(stocked, str(min(other)), "dropped")
    assert min(other) not in {one.number for one in (read_supplied(stocked, second).shelved or {}).values()}
    fitted(stocked, read_planned(first))
    offered = {one.number for one in (read_supplied(stocked, first).shelved or {}).values()}
    assert offered >= mine and min(other) not in offered and len(offered) == 5
    assert not mine & {one.number for one in (read_supplied(stocked, second).shelved or {}).values()}


def test_in_a_file_and_on_the_shelf_it_is_one_shell(stocked: Shelf, tmp_path: Path) -> None:
    """It is there once, and its state on the shelf decides whether it may be used."""
    folder = engine(tmp_path / "first", shells=BOX)
    job = read_supplied(stocked, folder)
    assert len(job.shells) == 6 and not any(s.is_shelved for s in job.shells) and len(job.shelved or {}) == 6
    scrap(stocked, "1", "dropped")
    set_aside(stocked, read_planned(_saved(stocked, engine(tmp_path / "second", positions=ONE_ROD))))
    held = {s.name: s.hold for s in read_supplied(stocked, folder).shells if s.hold}
    assert held["01"] == "scrapped: dropped"
    assert sorted(held.values()) == ["scrapped: dropped", "set aside for second", "set aside for second"]


def _saved(shelf: Shelf, folder: Path) -> Path:
    planned(shelf, folder)
    return folder


@pytest.mark.parametrize("box", [BOX.replace("01,rod,upper,0.0618,", "01,rod,upper,0.06185,")])
def test_other_readings_are_refused(stocked: Shelf, tmp_path: Path, box: str) -> None:
    """A shell that reads otherwise in a file is bad input there, and no second one."""
    with pytest.raises(InputError) as refused:
        read_supplied(stocked, engine(tmp_path / "first", shells=box))
    (problem,) = refused.value.problems
    assert (problem.code, problem.file, problem.row) == ("shelf-differs", "shells/box-1.csv", 2)


def test_a_box_is_not_there_under_two_names(stocked: Shelf, tmp_path: Path) -> None:
    """A box of the files that reads like one of the shelf under another name is bad input."""
    folder = write_job(tmp_path / "first", FITS, shells=None, shells__other_DOT_csv=BOX)
    with pytest.raises(InputError) as refused:
        read_supplied(stocked, folder)
    assert codes(refused) == ["box-copied"]


def test_two_boxes_of_one_name(stocked: Shelf, tmp_path: Path) -> None:
    """They are told apart, and setting aside takes the shells of the one that the plan means."""
    again = BOX.replace("0.0617", "0.0616").replace("0.0618", "0.0615").replace("0.0619", "0.0614")
    take_in(stocked, read_stock([stock(tmp_path / "more", {"box-1": again})]), new_box=True)
    folder = engine(tmp_path / "first", FITS.replace("0.0022", "0.0025"), ONE_ROD)
    plan = planned(stocked, folder)
    assert len(plan.job.shells) == len({s.key for s in plan.job.shells}) == 12
    set_aside(stocked, read_planned(folder))
    assert {s.number for s in show(stocked, Filters(state="set-aside")).shells} == numbers(plan)
    assert {s.key[0] for p in plan.placements for s in (p.upper, p.lower)} <= {"box-1 #1", "box-1 #2"}


def test_the_digest_covers_what_was_placed(stocked: Shelf, tmp_path: Path) -> None:
    """What else happens on the shelf leaves a plan valid; other readings of its shells do not."""
    folder = engine(tmp_path / "first", positions=ONE_ROD)
    plan = planned(stocked, folder)
    others = [n for n in range(1, 7) if n not in numbers(plan)]
    scrap(stocked, str(others[0]), "dropped")
    set_aside(stocked, read_planned(folder))
    put_back(stocked, "first")
    name = next(s.name for s in plan.job.shells if s.key in plan.plans[0].shelved)
    at = BOX.index(f"\n{name},")
    wall = BOX[at:].split(",")[3]
    box = BOX[:at] + BOX[at:].replace(wall, f"{wall}1", 1)
    take_in(stocked, read_stock([stock(tmp_path / "again", {"box-1": box})]), remeasured=[f"box-1/{name}"])
    with pytest.raises(RefusedError) as refused:
        set_aside(stocked, read_planned(folder))
    assert [reason.code for reason in refused.value.reasons] == ["inputs-changed"]


def test_each_day_has_its_own_zero_error(address: str, tmp_path: Path) -> None:
    """In a file the walls share the error of the micrometer that set the bore gauge, from the shelf they share that of
    their day, and of different days none."""
    clock = Clock()
    shelf = open_shelf(address, clock=clock)
    take_in(shelf, read_stock([stock(tmp_path / "stock", {"both": BOX}, OF_GAUGES)]))
    assert standard(assign(read_job(engine(tmp_path / "files", OF_GAUGES, ONE_ROD, BOX)))) == pytest.approx(1, rel=0.01)
    assert standard(assign(read_supplied(shelf, engine(tmp_path / "first", OF_GAUGES, ONE_ROD)))) == pytest.approx(
        sqrt(1 + 2**2), rel=0.01
    )
    of_days = OF_GAUGES.replace("narrow-2", "wide")
    for half, box in HALVES.items():
        take_in(shelf, read_stock([stock(tmp_path / half, {half: box.replace("narrow-2", "wide")}, of_days)]))
        clock.at += timedelta(days=1)
    assert standard(assign(read_supplied(shelf, engine(tmp_path / "second", of_days, ONE_ROD)))) == pytest.approx(
        sqrt(1 + 1 + 1), rel=0.01
    )


def standard(plan: Plan) -> float:
    """The standard uncertainty of the only clearance, in that of one zero."""
    position = json.loads(plan_document(plan, "in"))["positions"][0]
    return float(position["uncertainty"]["standard"]) / (LIMIT / sqrt(3))


def test_readings_with_the_shells_in(
    stocked: Shelf, capsys: pytest.CaptureFixture[str], tmp_path: Path, address: str
) -> None:
    """They are compared with the plan while its shells are set aside and when they are fitted, and what is learned
    keeps the plan valid."""
    rows = POSITIONS + "R3,rod,1.8162,1.9421\n"
    folder = engine(tmp_path / "first", positions=rows)
    plan = planned(stocked, folder)
    read = [f"{p.position.name},{p.clearance_nm / 25_400_000 - 0.0001:.5f},gauge" for p in plan.placements]
    (folder / "assembled.csv").write_text("\n".join(["position,clearance,method", *read]) + "\n", encoding="utf-8")
    set_aside(stocked, read_planned(folder))
    for action in (lambda: None, lambda: fitted(stocked, read_planned(folder))):
        action()
        ran = Ran(capsys, "assembled", folder, "--from-shelf", "--db", address, "--json")
        compared = json.loads(ran.out)["readings"]
        assert "changed" not in ran.err and [one["position"] for one in compared] == ["R1", "R2", "R3"]
    assert Ran(capsys, "assembled", folder, "--from-shelf", "--db", address, "--learn").status == 0
    assert "seating = -0.0001" in (folder / "job.toml").read_text(encoding="utf-8")
    assert read_planned(folder).digest_of_shelved == plan.plans[0].digest_of_shelved


@pytest.mark.parametrize(
    ("column", "cells", "rules"),
    [
        ("series", ("A", "B"), ""),
        ("coating", ("0.0003", ""), ""),
        ("part", ("x-1", "x-2"), '[rules]\nsame_in_bore = ["part"]\n'),
        ("finish", ("black", "grey"), '[rules]\nsame_in_bore = ["finish"]\n'),
        ("flange", ("yes", ""), ""),
    ],
)
def test_columns_count_as_in_a_file(
    shelf: Shelf, tmp_path: Path, column: str, cells: tuple[str, str], rules: str
) -> None:
    """Halves that a rule keeps apart in a file are kept apart when they come from the shelf, and a flanged one does not
    slip into a plain bore."""
    walls = {"upper": "0.0618", "lower": "0.0621" if column == "coating" else "0.0618"}
    rows = [f"{half},rod,{half},{walls[half]},narrow-2,{cells[half == 'lower']}" for half in walls]
    box = "\n".join([f"shell,kind,half,wall,family,{column}", *rows]) + "\n"
    take_in(shelf, read_stock([stock(tmp_path / "stock", {"box-1": box}, FITS)]))
    assert assign(read_supplied(shelf, engine(tmp_path / "first", FITS + rules, ONE_ROD))).placements == ()
    assert assign(read_job(engine(tmp_path / "files", FITS + rules, ONE_ROD, box))).placements == ()
    alike = "\n".join([f"shell,kind,half,wall,family,{column}", *(r.rpartition(",")[0] + "," for r in rows)]) + "\n"
    take_in(shelf, read_stock([stock(tmp_path / "more", {"box-2": alike}, FITS)]))
    assert len(assign(read_supplied(shelf, engine(tmp_path / "next", FITS + rules, ONE_ROD))).placements) == 1


def test_singles_come_first(stocked: Shelf, tmp_path: Path) -> None:
    """With halves that have no partner as many as the slack allows are used, with none only where that costs nothing;
    set aside for the job they still count as single, so that the same question has the same answer."""
    singles = "shell,kind,half,wall,family\n1,rod,upper,0.06185,narrow-2\n"
    take_in(stocked, read_stock([stock(tmp_path / "more", {"odd": singles})]))
    folder = engine(tmp_path / "first", positions=ONE_ROD)
    job = read_supplied(stocked, folder)
    assert [one.number for one in (job.shelved or {}).values() if one.single] == [7]
    plan = assign(job, prefer="singles")
    assert 7 in numbers(plan) and plan.proven
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert (document["strategy"], document["prefer"], document["kinds"]["rod"]["singles"]) == ("target", "singles", 1)
    assert "proven, 1 single shell used" in plan_text(plan, "in")
    assert "singles preferred: most single shells of the shelf" in " ".join(plan_text(plan, "in", full=True).split())
    assert 7 not in numbers(assign(job, prefer="singles", slack_nm=0))
    asked = assign(job, prefer="singles", alternatives=2, explain="R1", insist=("odd/1", "box-1/06"))
    assert not asked.faults and asked.explanation is not None and asked.explanation.insisted is not None
    assert [p.upper.key for p in asked.explanation.insisted.placements] == [("odd", "1")]
    # The single's other pairs are as good as that one, or beyond the slack.
    assert [sum(p.preferred for p in other.placements) for other in asked.alternatives["rod"].plans] == [0, 0]
    (folder / "assignment.json").write_text(plan_document(plan, "in"), encoding="utf-8")
    set_aside(stocked, read_planned(folder))
    again = assign(read_supplied(stocked, folder), prefer="singles")
    assert [p.upper.key for p in again.placements] == [p.upper.key for p in plan.placements]


def test_three_engines_through_one_shelf(stocked: Shelf, tmp_path: Path) -> None:
    """Each engine is planned from what the others left, set aside and fitted, until the shelf has nothing that fits."""
    seen: set[int] = set()
    for name in ("first", "second", "third"):
        folder = engine(tmp_path / name, positions=ONE_ROD)
        plan = planned(stocked, folder)
        assert plan.proven and len(plan.placements) == 1 and not numbers(plan) & seen
        seen |= numbers(plan)
        set_aside(stocked, read_planned(folder))
        fitted(stocked, read_planned(folder))
    last = assign(read_supplied(stocked, engine(tmp_path / "fourth", positions=ONE_ROD)))
    assert last.placements == () and {s.state for s in show(stocked).shells} == {"fitted"}


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`--from-shelf` takes the shelf of --db or FITMATCH_DB; what makes no sense beside it is a usage error."""
    db = tmp_path / "shelf.db"
    take_in(open_shelf(db, clock=Clock()), read_stock([stock(tmp_path / "stock", {"box-1": BOX})]))
    folder, other = engine(tmp_path / "first"), engine(tmp_path / "second")
    ran = Ran(capsys, "assign", folder, "--from-shelf", "--db", db, "--json", "--save")
    assert ran.status == 0 and json.loads(ran.out)["shelf"]["leftover"] == {"rod": 2}
    monkeypatch.setenv("FITMATCH_DB", str(db))
    assert Ran(capsys, "shelf", "set-aside", folder).status == 0
    for command in ("compare", "advise"):
        ran = Ran(capsys, command, other, "--from-shelf", "--json")
        assert ran.status in (0, 1) and json.loads(ran.out)["schema"] == 1
    assert Ran(capsys, "assign", other, "--from-shelf", "--prefer", "singles").status in (0, 1)
    assert Ran(capsys, "assign", other, "--prefer", "singles").status == 2
    assert Ran(capsys, "assign", other, "--from-shelf", "--prefer", "singles", "--strategy", "even").status == 2
    assert Ran(capsys, "compare", folder, other, "--from-shelf", "--separately").status == 2
    assert Ran(capsys, "assign", folder, "--db", db).status == 2
    assert Ran(capsys, "assign", folder).status == 2  # no shell file


def run_once(shelf: Shelf, folder: Path) -> Path:
    """A job whose only rod has run: its shells are used, and their walls are as before."""
    first = engine(folder, positions=ONE_ROD)
    planned(shelf, first)
    set_aside(shelf, read_planned(first))
    fitted(shelf, read_planned(first))
    shells = record(shelf, 1).positions[0].shells
    cells = ",".join(f"{(s.wall_nm or 0) / 25_400_000:.5f}" for s in shells)
    (folder / "again.csv").write_text(f"position,upper,lower\nR1,{cells}\n", encoding="utf-8")
    teardown(shelf, 1, read_measured_again(folder / "again.csv", {"R1": "rod"}, "in"))
    return first


def locking(folder: Path, upper: str, lower: str) -> None:
    header, row = ONE_ROD.splitlines()
    (folder / "positions.csv").write_text(f"{header},upper,lower\n{row},{upper},{lower}\n", encoding="utf-8")


def used(shelf: Shelf) -> dict[str, str]:
    """The shells that have run, by the side on which they did."""
    return {shell.side or "": shell.label for shell in show(shelf, Filters(state="used")).shells}


def test_used_shells_go_back_by_a_lock(stocked: Shelf, tmp_path: Path) -> None:
    """Locked into their own position and side, used shells are planned again with a warning that the makers decide, and
    again when they are set aside; they can be set aside and fitted. Without the lock they are not offered."""
    first = run_once(stocked, tmp_path / "first")
    labels = used(stocked)
    assert not {s.label for s in show(stocked, Filters(state="used")).shells} & {
        f"{s.box}/{s.name}" for s in read_supplied(stocked, first).shells
    }
    locking(first, labels["upper"], labels["lower"])
    plan = planned(stocked, first)
    (placed,) = plan.placements
    assert ["/".join(s.key) for s in (placed.upper, placed.lower)] == [labels["upper"], labels["lower"]]
    warnings = read_supplied(stocked, first).warnings
    assert sum("maker decide" in text for text in warnings) == 2 == len(warnings)  # not that others are not `used`
    set_aside(stocked, read_planned(first))
    again = planned(stocked, first)
    assert numbers(again) == numbers(plan)
    locking(first, "", "")
    assert not numbers(planned(stocked, first)) & numbers(plan)
    locking(first, labels["upper"], labels["lower"])
    planned(stocked, first)
    fitted(stocked, read_planned(first))
    assert {s.number for s in record(stocked, 2).positions[0].shells} == numbers(plan)


@pytest.mark.parametrize("where", ["other side", "other engine"])
def test_used_shells_go_nowhere_else(stocked: Shelf, tmp_path: Path, where: str) -> None:
    """A lock elsewhere is refused and says where the shell was used; no reason says that one would fit."""
    folder = run_once(stocked, tmp_path / "first")
    labels = used(stocked)
    if where == "other side":
        locking(folder, labels["lower"], labels["upper"])
    else:
        rows = [BOX.splitlines()[0], *(row for row in BOX.splitlines() if f"box-1/{row[:2]}" in labels.values())]
        folder = engine(tmp_path / "second", positions=ONE_ROD, shells="\n".join(rows) + "\n")
        for number in show(stocked, Filters(state="free")).shells:
            scrap(stocked, str(number.number), "dropped")
        text = plan_text(assign(read_supplied(stocked, folder)), "in")
        assert "would fit" not in text
        locking(folder, labels["upper"], labels["lower"])
    with pytest.raises(InputError) as refused:
        read_supplied(stocked, folder)
    assert set(codes(refused)) == ({"lock-held"} if where == "other engine" else {"lock-held", "lock-wrong-half"})
    texts = [p.text for p in refused.value.problems if p.code == "lock-held"]
    assert all("used in first R1" in text and "only for there" in text for text in texts)


def test_when_walls_were_measured_is_not_made_up(stocked: Shelf, tmp_path: Path) -> None:
    """Where nobody wrote down the day, the report says that only the day of taking in is known."""
    plan = planned(stocked, engine(tmp_path / "first"))
    assert "not known, taken in 2026-03-01" in " ".join(" ".join(from_shelf(plan.plans[0])).split())


def test_thousands_of_boxes_need_a_time_limit(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leaving out each of more boxes than anybody waits for is refused until it is said how long it may take."""
    db = tmp_path / "shelf.db"
    monkeypatch.setenv("FITMATCH_DB", str(db))
    rows = [f"b{n},{half},rod,{half},0.0618,narrow-2" for n in range(101) for half in ("upper", "lower")]
    box = "\n".join(["box,shell,kind,half,wall,family", *rows]) + "\n"
    (tmp_path / "boxes.csv").write_text(box.replace("0.0618", "0.06185", 4), encoding="utf-8")
    monkeypatch.setattr("fitmatch.intake.stock.copies", lambda *_: ())  # they read alike
    take_in(open_shelf(db, clock=Clock()), read_stock([tmp_path / "boxes.csv"], "in"))
    folder = engine(tmp_path / "first", positions=ONE_ROD)
    ran = Ran(capsys, "compare", folder, "--from-shelf", "--boxes")
    assert ran.status == 2 and "--time-limit" in ran.err and "101" in ran.err
    assert Ran(capsys, "compare", folder, "--from-shelf").status in (0, 1)
    assert Ran(capsys, "compare", folder, "--from-shelf", "--boxes", "--time-limit", "2").status in (0, 1)
