"""Shells that somebody relies on while something changes: set aside for a plan, fitted in an engine, or worn."""

import json
import re
import shlex
from datetime import timedelta
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, POSITIONS, put, write_job
from made.shelves import BOX, ONE_ROD, Clock, planned_job

from fitmatch import InputError, assign
from fitmatch.names import fault_in_permission
from fitmatch.report.data.document import plan_document
from fitmatch.report.shelf.texts import changed_text
from fitmatch.report.shelf.words import words
from fitmatch.shelf import (
    Filters,
    RefusedError,
    Shelf,
    correct,
    engine,
    fitted,
    history,
    open_shelf,
    put_back,
    read_measured_again,
    read_planned,
    read_stock,
    read_supplied,
    release,
    set_aside,
    show,
    take_in,
    teardown,
)

FITS = JOB + 'family = ["narrow-2"]\n'
CHANGES = {
    "hold": ("void-on-hold", "is on hold (cracked lining)"),
    "family": ("void-described", "family is wide, was narrow-2"),
    "series": ("void-described", "series is B, was empty"),
    "flange": ("void-described", "flange is wide, was empty"),
}


def saved_from_shelf(shelf: Shelf, folder: Path) -> Path:
    """A job of one rod, its plan from the shelf saved."""
    write_job(folder, job=FITS, positions=ONE_ROD, shells=None)
    plan = assign(read_supplied(shelf, folder))
    put(folder / "assignment.json", plan_document(plan, "in"))
    return folder


def placed(shelf: Shelf) -> str:
    return next(s.shell for s in show(shelf).shells if s.state == "set-aside")


def described(folder: Path, shell: str, column: str, text: str) -> Path:
    """The box's file with one shell described otherwise."""
    head, *rows = BOX.splitlines()
    if column in head.split(","):
        rows = [row.replace("narrow-2", text) if row.startswith(shell) else row for row in rows]
    else:
        head, rows = f"{head},{column}", [f"{row},{text if row.startswith(shell) else ''}" for row in rows]
    put(folder / "box-1.csv", "\n".join([head, *rows]) + "\n")
    return folder / "box-1.csv"


def codes(refused: pytest.ExceptionInfo[RefusedError]) -> list[str]:
    return [reason.code for reason in refused.value.reasons]


@pytest.mark.parametrize("from_shelf", [True, False])
@pytest.mark.parametrize("column", CHANGES)
def test_a_plan_ends_with_what_it_was_made_for(shelf: Shelf, tmp_path: Path, column: str, from_shelf: bool) -> None:
    """A set-aside shell that is put on hold or described otherwise makes its position void: that is said when it is
    taken in, and neither `fitted` nor `set-aside` takes the old plan. Put back as it was, the plan holds again."""
    code, said = CHANGES[column]
    if from_shelf:
        take_in(shelf, read_stock([write_job(tmp_path / "stock", positions=ONE_ROD, shells=BOX)]))
        job = saved_from_shelf(shelf, tmp_path / "k")
    else:
        job = planned_job(tmp_path / "k", ONE_ROD)
        take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    name = placed(shelf)
    text = {"hold": "cracked lining", "series": "B"}.get(column, "wide")
    taken = take_in(shelf, read_stock([described(tmp_path, name, column, text)], "in"))
    assert [f.code for f in taken.attention] == [code]
    told = words(taken.attention[0])
    assert f"box-1/{name}" in told and said in told and "R1 of k" in told
    if not from_shelf and column != "hold":
        return  # the job's own file says what its plan goes by
    for action in (fitted, set_aside):
        with pytest.raises(RefusedError) as refused:
            action(shelf, read_planned(job))
        assert codes(refused) == [code] and said in words(refused.value.reasons[0])
    if column == "family":
        take_in(shelf, read_stock([described(tmp_path, name, column, "narrow-2")], "in"))
        fitted(shelf, read_planned(job))


def test_a_new_plan_serves(shelf: Shelf, tmp_path: Path) -> None:
    """Solved again without the shell on hold, the plan is set aside and fitted."""
    take_in(shelf, read_stock([write_job(tmp_path / "stock", positions=ONE_ROD, shells=BOX)]))
    job = saved_from_shelf(shelf, tmp_path / "k")
    set_aside(shelf, read_planned(job))
    name = placed(shelf)
    take_in(shelf, read_stock([described(tmp_path, name, "hold", "cracked")], "in"))
    saved_from_shelf(shelf, job)
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    assert name not in {s.shell for s in show(shelf, Filters(state="fitted")).shells}


def test_a_hold_is_lifted_on_purpose_only(shelf: Shelf, tmp_path: Path) -> None:
    """No file without the hold lifts it, whether it is older or the shell was measured again; `release` does, for a
    reason that the history keeps, and the plan that was void holds again. The message that tells of the hold says so.
    Corrected, the shell is on hold as before."""
    take_in(shelf, read_stock([write_job(tmp_path / "stock", positions=ONE_ROD, shells=BOX)]))
    job = saved_from_shelf(shelf, tmp_path / "k")
    set_aside(shelf, read_planned(job))
    name = placed(shelf)
    (number,) = [s.number for s in show(shelf).shells if s.shell == name]
    blank = described(tmp_path, name, "hold", "").read_bytes()
    taken = take_in(shelf, read_stock([described(tmp_path, name, "hold", "cracked")], "in"))
    assert f"once that is settled, `fitmatch shelf release {number} REASON`" in words(taken.attention[0])
    (tmp_path / "box-1.csv").write_bytes(blank)
    for again in ([], [str(number)]):
        take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"), remeasured=again)
        assert [s.hold for s in show(shelf).shells if s.number == number] == ["cracked"]
    for reason, code in (("", "no-reason"), ("a\nb", "bad-text")):
        with pytest.raises(RefusedError) as refused:
            release(shelf, str(number), reason)
        assert codes(refused) == [code]
    (event,) = release(shelf, f"box-1/{name}", "no crack under the glass", by="day shift").events
    assert (event.action, event.note, event.by, event.job) == ("release", "no crack under the glass", "day shift", "k")
    assert [s.hold for s in show(shelf).shells if s.number == number] == [""]
    assert fitted(shelf, read_planned(job)).events
    with pytest.raises(RefusedError) as refused:
        release(shelf, str(number), "again")
    assert codes(refused) == ["not-on-hold"]


def test_a_hold_inside_an_engine_is_lifted(shelf: Shelf, tmp_path: Path) -> None:
    """What is fitted cannot be measured, but its hold is lifted, and comes back where that is corrected."""
    job = planned_job(tmp_path / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    name = placed(shelf)
    fitted(shelf, read_planned(job))
    taken = take_in(shelf, read_stock([described(tmp_path, name, "hold", "recalled")], "in"))
    (fact,) = taken.attention
    assert f"`fitmatch shelf release {fact.slots['number']} REASON`" in words(fact)
    done = release(shelf, f"box-1/{name}", "not of the lot that is recalled")
    held = [s for s in show(shelf).shells if s.shell == name]
    assert [(s.state, s.hold) for s in held] == [("fitted", "")] and not done.attention
    correct(shelf, done.events[0].number)
    assert [(s.state, s.hold) for s in show(shelf).shells if s.shell == name] == [("fitted", "recalled")]


def test_a_lock_to_a_shell_on_hold_says_how_it_is_lifted(shelf: Shelf, tmp_path: Path) -> None:
    """A job that locks a shell of the shelf that is on hold is refused with the command that lifts the hold."""
    take_in(shelf, read_stock([write_job(tmp_path / "stock", positions=ONE_ROD, shells=BOX)]))
    take_in(shelf, read_stock([described(tmp_path, "01", "hold", "cracked")], "in"))
    header, row = ONE_ROD.splitlines()
    job = write_job(tmp_path / "k", JOB + 'family = ["narrow-2"]\n', f"{header},upper\n{row},box-1/01\n", None)
    with pytest.raises(InputError) as refused:
        read_supplied(shelf, job)
    assert "is on the shelf, but on hold (cracked); `fitmatch shelf release 1 REASON` once that is settled" in str(
        refused.value
    )


def test_a_hold_is_shown_in_every_state(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Set aside, fitted or scrapped, a shell on hold says so; the exit status of taking that in is 1."""
    db = ("--db", tmp_path / "s.db")
    job = planned_job(tmp_path / "k", ONE_ROD)
    Ran(capsys, "shelf", "take-in", job, *db)
    Ran(capsys, "shelf", "set-aside", job, *db)
    rows = [
        line for line in Ran(capsys, "shelf", "show", "--state", "set-aside", *db).out.splitlines() if "rod" in line
    ]
    path = described(tmp_path, rows[0].split()[2], "hold", "cracked lining")
    taken = Ran(capsys, "shelf", "take-in", path, "--unit", "in", *db)
    assert taken.status == 1 and "R1 of k is void" in " ".join(taken.out.split())
    shown = Ran(capsys, "shelf", "show", "--state", "set-aside", *db).out
    assert "R1, on hold:" in shown and "cracked lining" in shown


# --- shells that have run ---

NEW = {row.split(",")[0]: row.split(",")[3] for row in BOX.splitlines()}  # the wall by the name of the shell


def taken_down(shelf: Shelf, folder: Path, wall: str) -> Path:
    """A job whose engine ran and was taken down; its upper wall was read as this, its lower one not at all."""
    job = planned_job(folder / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    put(folder / "worn.csv", f"position,upper\nR1,{wall}\n")
    teardown(shelf, 1, read_measured_again(folder / "worn.csv", {"R1": "rod"}, "in"))
    return job


@pytest.mark.parametrize("wall", ["0.0610", "0.0640"])
@pytest.mark.parametrize("half", ["upper", "lower"])
def test_a_worn_shell_does_not_get_its_new_wall_back(shelf: Shelf, tmp_path: Path, wall: str, half: str) -> None:
    """Readings from before the engine ran are refused, measured again or not, whether the wall is known, was not
    measured or was not believed; so is a day before, and the day of the teardown with readings of then. Another reading
    is taken, the same one too if its day is a later one, and the shell stays used."""
    job = taken_down(shelf, tmp_path, wall)
    one = next(s for s in show(shelf, Filters(state="used")).shells if s.half == half)
    for remeasured in ((), (str(one.number),)):
        with pytest.raises(RefusedError) as refused:
            take_in(shelf, read_stock([job]), remeasured=remeasured)
        told = [words(r) for r in refused.value.reasons if r.slots["number"] == one.number]
        assert len(told) == 1 and "older than the teardown of engine 1" in told[0] and "today's reading" in told[0]
    head = "box,shell,kind,half,wall,family,condition,measured_on"
    row = f"box-1,{one.shell},rod,{half}"
    path = tmp_path / "again.csv"
    for cells in ("0.0612,narrow-2,new,2026-02-28", f"{NEW[one.shell]},narrow-2,new,2026-03-01"):
        put(path, f"{head}\n{row},{cells}\n")
        with pytest.raises(RefusedError) as refused:
            take_in(shelf, read_stock([path], "in"), remeasured=[str(one.number)])
        assert codes(refused) == ["older-than-teardown"]
    assert "if it truly reads the same, measure it on a later day" in words(refused.value.reasons[0])
    for cells in (
        "0.0612,narrow-2,new,",
        "0.0613,narrow-2,new,2026-03-01",
        f"{NEW[one.shell]},narrow-2,new,2026-03-02",
    ):
        if cells.endswith("02"):
            assert isinstance(shelf.clock, Clock)
            shelf.clock.at += timedelta(days=1)
        put(path, f"{head}\n{row},{cells}\n")
        take_in(shelf, read_stock([path], "in"), remeasured=[str(one.number)])
    after = next(s for s in show(shelf).shells if s.number == one.number)
    assert (after.state, after.condition, after.wall_nm) == ("used", "used", float(NEW[one.shell]) * 25_400_000)


def test_what_ran_is_not_put_back_as_new(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever wants a fitted shell is told that put-back is for trial fits and teardown for engines that have run; what
    was put back is told to count as not run, with the commands that take that back, which work."""
    db = tmp_path / "s.db"
    monkeypatch.setenv("FITMATCH_DB", str(db))
    job = planned_job(tmp_path / "k", ONE_ROD)
    for command in ("take-in", "set-aside", "fitted"):
        assert Ran(capsys, "shelf", command, job).status == 0
    one = show(open_shelf(db), Filters(state="fitted")).shells[0]
    ways = "after a trial fit: `fitmatch shelf put-back k R1`; an engine that has run: `fitmatch shelf teardown 1 FILE`"
    for words_of in (("scrap", one.number, "worn"), ("move", one.number, "bin"), ("send-back", "box-1")):
        ran = Ran(capsys, "shelf", *words_of)
        assert ran.status == 2 and ways in ran.err
    assert ways in Ran(capsys, "shelf", "put-back", job).err
    ran = Ran(capsys, "shelf", "put-back", job, "R1", "--db", db)
    told = " ".join(ran.out.split())
    assert ran.status == 0 and "the shells of R1 of k are what they were before engine 1, as not run" in told
    undo, teardown_1 = re.findall("`fitmatch ([^`]*)`", told)
    assert Ran(capsys, *shlex.split(undo)).status == 0
    put(tmp_path / "worn.csv", "position,upper,lower\nR1,0.0617,0.0617\n")
    assert Ran(capsys, *shlex.split(teardown_1.replace("FILE", str(tmp_path / "worn.csv"))), "--unit", "in").status == 0
    assert {s.state for s in show(open_shelf(db)).shells if s.number == one.number} == {"used"}


def test_putting_back_what_is_set_aside_needs_no_such_word(shelf: Shelf, tmp_path: Path) -> None:
    """What was never fitted is put back without a word about engines."""
    job = planned_job(tmp_path / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    assert put_back(shelf, "k").notices == ()


def test_a_hold_in_an_engine_is_told_until_it_is_settled(
    shelf: Shelf, tmp_path: Path, capsys: pytest.CaptureFixture[str], address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shell that is put on hold while it is in an engine is told by `take-in`, also of a file that says nothing new,
    by `engines`, `engine` and the record, with exit status 1; once the engine is taken down none of them tells it."""
    monkeypatch.setenv("FITMATCH_DB", address)
    job = planned_job(tmp_path / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    looks = (("shelf", "engines"), ("shelf", "engine", "1"))
    assert [Ran(capsys, *look).status for look in looks] == [0, 0]
    one = show(shelf, Filters(state="fitted")).shells[0]
    on_hold = described(tmp_path, one.shell, "hold", "cracked lining")
    for path in (on_hold, on_hold, job):
        ran = Ran(capsys, "shelf", "take-in", path, *(() if path == job else ("--unit", "in")))
        told = " ".join(ran.out.split())
        assert ran.status == 1 and told.count("on hold (cracked lining)") == 1 and "engine 1 at R1" in told
    for look in looks:
        ran = Ran(capsys, *look)
        assert ran.status == 1 and "ON HOLD" in ran.out.replace("\xa0", " ")
        assert Ran(capsys, *look, "--csv").out.splitlines()[1].count("true") == 2  # within limits, on hold
    assert "box-1/" in ran.out and "not to run until this is settled" in " ".join(ran.out.split())
    document = json.loads(Ran(capsys, "shelf", "engine", "1", "--json").out)
    assert document["engine"]["on_hold"] == ["R1"]
    assert Ran(capsys, "sheet", "--engine", "1", "--output", tmp_path / "e.html").status == 1
    assert "ON HOLD: R1" in (tmp_path / "e.html").read_text(encoding="utf-8")
    put(tmp_path / "worn.csv", "position,upper,lower\nR1,0.0617,0.0617\n")
    teardown(shelf, 1, read_measured_again(tmp_path / "worn.csv", {"R1": "rod"}, "in"))
    assert all("ON HOLD" not in Ran(capsys, *look).out for look in looks)


def test_a_time_tells_more_than_a_day(shelf: Shelf, tmp_path: Path) -> None:
    """On the day of the teardown the readings of then are taken if their time is after it, and not if it is before it
    or is no time of a known place."""
    job = taken_down(shelf, tmp_path, "0.0610")
    one = next(s for s in show(shelf, Filters(state="used")).shells if s.half == "upper")
    put(job / "shells" / "box-1.csv", f"shell,kind,half,family\n{one.shell},rod,upper,narrow-2\n")
    put(job / "job.toml", JOB + '[sources]\nreadings = "readings.csv"\n')
    assert isinstance(shelf.clock, Clock)
    shelf.clock.at += timedelta(hours=14, minutes=30)
    for time, is_taken in (("08:00:00Z", False), ("23:00:00", False), ("23:00:00Z", True)):
        row = f"box-1/{one.shell},wall,,,{NEW[one.shell]},2026-03-01T{time}"
        put(job / "readings.csv", f"item,feature,station,angle,reading,time\n{row}\n")
        stock = read_stock([job])
        if is_taken:
            (again,) = take_in(shelf, stock, remeasured=[str(one.number)]).remeasured
            assert again.wall_nm == float(NEW[one.shell]) * 25_400_000
        else:
            with pytest.raises(RefusedError) as refused:
                take_in(shelf, stock, remeasured=[str(one.number)])
            assert codes(refused) == ["older-than-teardown"]


def test_a_shell_inside_an_engine_is_not_measured(shelf: Shelf, tmp_path: Path) -> None:
    """`--remeasured` of a fitted shell is refused, with the ways to get it out."""
    job = planned_job(tmp_path / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    one = show(shelf, Filters(state="fitted")).shells[0]
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock([job]), remeasured=[str(one.number)])
    assert codes(refused) == ["measured-inside"]
    told = words(refused.value.reasons[0])
    assert "after a trial fit: `fitmatch shelf put-back k R1`" in told
    assert "an engine that has run: `fitmatch shelf teardown 1 FILE`" in told
    assert [e.action for e in history(shelf, str(one.number)).events] == ["take-in", "set-aside", "fitted"]


def test_what_differs_is_named(shelf: Shelf, tmp_path: Path) -> None:
    """A shell that reads the same and has another coating is refused for that, by the name of the column."""
    put(tmp_path / "box-1.csv", "shell,kind,half,wall,coating\n1,rod,upper,0.0618,0.0002\n")
    take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"))
    put(tmp_path / "box-1.csv", "shell,kind,half,wall,coating\n1,rod,upper,0.0618,0.0003\n")
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"))
    told = words(refused.value.reasons[0])
    assert "coating 0.0002 in there and 0.0003 in here" in told and "0.0618" not in told


def test_another_location_in_a_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a shell lies the shelf knows better; a file that says otherwise is told with what to do."""
    db = ("--unit", "in", "--db", tmp_path / "s.db")
    put(tmp_path / "box-1.csv", BOX)
    Ran(capsys, "shelf", "take-in", tmp_path / "box-1.csv", *db)
    put(tmp_path / "box-1.csv", BOX.replace("0.001,drawer 1", "0.001,bin 9", 1))
    taken = Ran(capsys, "shelf", "take-in", tmp_path / "box-1.csv", *db)
    told = " ".join(taken.out.split())
    assert taken.status == 0 and "location in file differs" in told and "box-1/01 (drawer 1; file: bin 9)" in told
    assert "fitmatch shelf move" in told


# --- an engine of which some positions are fitted ---

CHEAP = BOX.replace("0.0617", "0.06175").replace("0.0619", "0.06185")


@pytest.fixture
def half_built(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> tuple[str, ...]:
    """A job of two rods planned from the shelf, R1 of which is fitted; the words that name its shelf."""
    monkeypatch.chdir(tmp_path)
    db = ("--db", str(tmp_path / "my shelf.db"))
    put(tmp_path / "box-1.csv", CHEAP)
    write_job(tmp_path / "my job", job=FITS, shells=None)
    for args in (
        ("shelf", "take-in", "box-1.csv", "--unit", "in", *db),
        ("assign", "my job", "--from-shelf", "--save", *db),
        ("shelf", "set-aside", "my job", *db),
        ("shelf", "fitted", "my job", "R1", *db),
    ):
        assert Ran(capsys, *args).status == 0
    return db


def shells_of(capsys: pytest.CaptureFixture[str], state: str, db: tuple[str, ...]) -> list[tuple[int, str, str]]:
    found = json.loads(Ran(capsys, "shelf", "show", "--state", state, "--json", *db).out)["shells"]
    return [(s["number"], s["position"], s["side"]) for s in found]


def test_the_next_commands_run_as_printed(half_built: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """A shell of R2 is dropped while R1 is fitted: the commands that come next are told with job and shelf, run as they
    are printed, leave R1 as it is built, and R2 can be fitted."""
    built = shells_of(capsys, "fitted", half_built)
    dropped = shells_of(capsys, "set-aside", half_built)[0][0]
    ran = Ran(capsys, "shelf", "scrap", str(dropped), "dropped", *half_built)
    commands = re.findall(r"`fitmatch ([^`]*)`", " ".join(ran.out.split()))
    assert ran.status == 1 and [command.split()[0] for command in commands] == ["assign", "shelf"]
    planned = [Ran(capsys, *shlex.split(command)) for command in commands]
    assert [one.status for one in planned] == [0, 0]
    assert "measure the 2 shells" in " ".join(planned[0].out.split())  # and not those inside the engine
    assert shells_of(capsys, "fitted", half_built) == built
    refused = Ran(capsys, "shelf", "put-back", "my job", *half_built)
    assert refused.status == 0
    assert Ran(capsys, *shlex.split(commands[1])).status == 0
    assert Ran(capsys, "shelf", "fitted", "my job", *half_built).status == 0
    assert len(shells_of(capsys, "fitted", half_built)) == 4
    nothing = Ran(capsys, "shelf", "put-back", "my job", *half_built)
    assert nothing.status == 2 and 'put-back "my job" R1' in nothing.err


def test_a_lock_on_what_is_fitted_tells_the_truth(
    half_built: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A lock that would move a fitted shell, or take one from another engine, says where it is fitted."""
    number, _, side = shells_of(capsys, "fitted", half_built)[0]
    name = f"box-1/{number:02}"
    rows = POSITIONS.splitlines()
    locked = "\n".join([f"{rows[0]},{side}", f"{rows[1]},", f"{rows[2]},{name}"]) + "\n"
    put(tmp_path / "my job/positions.csv", locked)
    ran = Ran(capsys, "assign", "my job", "--from-shelf", *half_built)
    assert ran.status == 2 and f"fitted in R1 {side} of this job's engine" in ran.err
    write_job(tmp_path / "other", job=FITS, positions=locked, shells=None)
    ran = Ran(capsys, "assign", "other", "--from-shelf", *half_built)
    assert ran.status == 2 and f"shell `{name}` is on the shelf, but fitted in engine 1 at R1" in ran.err


def test_several_jobs_leave_what_is_fitted(
    half_built: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Planned together with another job, what is fitted stays in its place too."""
    built = shells_of(capsys, "fitted", half_built)
    write_job(tmp_path / "other", job=FITS, positions=ONE_ROD, shells=None)
    assert Ran(capsys, "assign", "my job", "other", "--from-shelf", "--save", *half_built).status == 0
    assert Ran(capsys, "shelf", "set-aside", "my job", *half_built).status == 0
    assert shells_of(capsys, "fitted", half_built) == built


# --- what a correction brings back ---


@pytest.mark.parametrize("built", [False, True])
def test_a_correction_that_brings_a_hold_back_is_told(shelf: Shelf, tmp_path: Path, built: bool) -> None:
    """Correcting a release puts the hold back: of a shell that somebody relies on that is told as `take-in` tells it,
    and the event says what was written. A hold is lifted by correcting only with a note that says why."""
    job = planned_job(tmp_path / "k", ONE_ROD)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    if built:
        fitted(shelf, read_planned(job))
    (shell, *_) = (s for s in show(shelf).shells if s.state in ("set-aside", "fitted"))
    take_in(shelf, read_stock([described(tmp_path, shell.shell, "hold", "crack")], "in"))
    held = history(shelf, str(shell.number)).events[-1].number
    with pytest.raises(RefusedError) as refused:
        correct(shelf, held, note=" ")
    assert codes(refused) == ["lifts-hold"] and "crack" in words(refused.value.reasons[0])
    release(shelf, str(shell.number), "no crack under the glass")
    number = history(shelf, str(shell.number)).events[-1].number
    back = correct(shelf, number)
    assert [f.code for f in back.attention] == ["fitted-on-hold" if built else "void-on-hold"]
    assert "hold: empty > crack" in " ".join(changed_text(back, "in").split())
    again = correct(shelf, back.events[0].number, note="the other shell was meant")
    assert again.attention == () and "hold: crack > empty" in " ".join(changed_text(again, "in").split())


NO_REASONS = ("no", "None", "-", "no.", "no!", "nope", "not settled", "later", "nothing", ".", "...", "crack?", "why")


@pytest.mark.parametrize("reason", [*NO_REASONS, "reason", "REASON", "ask Bob", "tbd", "?"])
def test_no_is_no_reason(shelf: Shelf, tmp_path: Path, reason: str) -> None:
    """A hold is not lifted by words that say nothing or ask, nor by the placeholder that messages show, be it with
    `release` or with `correct`."""
    take_in(shelf, read_stock([described(tmp_path, "01", "hold", "crack")], "in"))
    with pytest.raises(RefusedError) as refused:
        release(shelf, "1", reason)
    assert codes(refused) == ["no-reason"] and show(shelf).shells[0].hold == "crack"
    take_in(shelf, read_stock([described(tmp_path, "02", "hold", "crack")], "in"))
    with pytest.raises(RefusedError) as refused:
        correct(shelf, history(shelf, "2").events[-1].number, note=reason)
    assert codes(refused) == ["lifts-hold"] and show(shelf).shells[1].hold == "crack"


@pytest.mark.parametrize("day", ["2026-03-02", "2026-03-02T10:00:00+00:00"])
def test_a_day_to_come_tells_nothing_of_a_teardown(shelf: Shelf, tmp_path: Path, day: str) -> None:
    """A reading of tomorrow does not come after the teardown of today: if it is the one from before, it is refused; if
    it is another, it may be from where it is tomorrow already."""
    taken_down(shelf, tmp_path, "0.0616")
    shell = next(s for s in show(shelf).shells if s.state == "used")
    head, *rows = BOX.splitlines()
    for wall, refuses in (("", True), ("0.06155", False)):
        (row,) = (row for row in rows if row.startswith(shell.shell))
        cells = row.split(",")
        cells[3] = wall or cells[3]
        put(tmp_path / "box-1.csv", f"{head},measured_on\n{','.join(cells)},{day[:10]}\n")
        stock = read_stock([tmp_path / "box-1.csv"], "in")
        if len(day) > 10:
            stock = stock._replace(shells=tuple(s._replace(at=day, measured_on="") for s in stock.shells))
        if refuses:
            with pytest.raises(RefusedError) as refused:
                take_in(shelf, stock, remeasured=[str(shell.number)])
            assert codes(refused) == ["older-than-teardown"]
        else:
            assert len(take_in(shelf, stock, remeasured=[str(shell.number)]).remeasured) == 1


def test_no_worn_shell_grows(shelf: Shelf, tmp_path: Path) -> None:
    """A shell that has run and is measured thicker than at its teardown is taken with a word about that; a thinner one
    without."""
    taken_down(shelf, tmp_path, "0.0616")
    shell = next(s for s in show(shelf).shells if s.state == "used" and s.wall_nm)
    head, *rows = BOX.splitlines()
    (row,) = (row for row in rows if row.startswith(shell.shell))
    for wall, told in (("0.06165", ["worn-and-thicker"]), ("0.06155", [])):
        cells = row.split(",")
        cells[3] = wall
        put(tmp_path / "box-1.csv", f"{head},measured_on\n{','.join(cells)},2026-03-02\n")
        taken = take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"), remeasured=[str(shell.number)])
        assert [fact.code for fact in taken.attention] == told
        assert not told or "thicker than 0.0616 in since" in words(taken.attention[0])


def test_what_was_put_back_needs_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An engine all of which was put back is no engine that needs attention, in `engines` or by its number."""
    db = ("--db", tmp_path / "s.db")
    job = planned_job(tmp_path / "k", ONE_ROD)
    for args in (("take-in", job), ("set-aside", job), ("fitted", job), ("put-back", job, "R1")):
        assert Ran(capsys, "shelf", *args, *db).status == 0
    assert Ran(capsys, "shelf", "engine", "1", *db).status == Ran(capsys, "shelf", "engines", *db).status == 0


# --- numbers that nothing has ---


@pytest.mark.parametrize("number", ["7", "99999999999999999999"])
def test_numbers_that_nothing_has(tmp_path: Path, capsys: pytest.CaptureFixture[str], number: str) -> None:
    """However large, it is said that there is none."""
    put(tmp_path / "box-1.csv", BOX)
    put(tmp_path / "worn.csv", "position,journal\nR1,1.8\n")
    db = ("--db", tmp_path / "s.db")
    Ran(capsys, "shelf", "take-in", tmp_path / "box-1.csv", "--unit", "in", *db)
    for command, what in (
        (("engine", number), "engine"),
        (("teardown", number, "--never-run"), "engine"),
        (("teardown", number, tmp_path / "worn.csv", "--unit", "in"), "engine"),
        (("correct", number), "event"),
        (("history", number), "shell"),
    ):
        ran = Ran(capsys, "shelf", *command, *db) if number != "7" or what != "event" else None
        assert ran is None or (ran.status == 2 and f"there is no {what} {number}" in ran.err)


def test_an_engine_is_taken_down_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file of readings for an engine that is down already is refused."""
    db = ("--db", tmp_path / "s.db")
    job = planned_job(tmp_path / "k", ONE_ROD)
    put(tmp_path / "worn.csv", "position,upper\nR1,0.0612\n")
    down = ("teardown", "1", tmp_path / "worn.csv", "--unit", "in")
    for args in (("take-in", job), ("set-aside", job), ("fitted", job), down):
        Ran(capsys, "shelf", *args, *db)
    ran = Ran(capsys, "shelf", *down, *db)
    assert ran.status == 2 and "engine 1 has no shells any more" in ran.err


# --- permissions ---


@pytest.mark.parametrize(
    "text",
    [
        *("verify", "maker to confirm", "nope", "settled"),
        *("TEXT", "?", "n/a", "N/A", "pending", "refused", "not given", "...", "no permission from the maker", "yes"),
        *("permission pending", "maker refused by letter of 2 March", "No, not allowed", "waiting for the answer"),
        *("approved?", "0.0030 in allowed? ", "ask Bob", "to ask: is 0.0030 in allowed", "asked on 2 March"),
        *("must check with the maker", "to be confirmed by letter", "we'll ask if it is permitted"),
    ],
)
def test_no_permission(text: str) -> None:
    """What says no, asks, or stands for what nobody has written yet, is no permission."""
    assert "quote the engine maker's written permission" in (fault_in_permission(text) or "")


@pytest.mark.parametrize(
    "text",
    [
        *("letter of 2 March: 0.0030 in allowed", "no objection to 0.0030 in, letter 4", "bulletin 17", "p. 3: 0.01"),
        *("2 March: up to 0.0030 in permitted, more is not permitted", "Brief vom 2. Maerz: 0,08 mm"),
        *("asked maker, yes 0.0029", "Ask & Co, letter 5 May: 0.0029 in", "maker to confirm again, 0.0030 allowed"),
        *("asked on 2 March, 0.0030 in allowed by letter of 5 March", "reply to our question of 2 March: 0.0030 in"),
    ],
)
def test_a_permission(text: str) -> None:
    """A quotation is taken, also one with a no in it."""
    assert fault_in_permission(text) is None


# --- where boxes lie, and their sizes ---


def test_a_sealed_box_is_moved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name or, where a shell has that number, by BOX/; a file with another location for it is told so."""
    db = ("--unit", "in", "--db", tmp_path / "s.db")
    put(tmp_path / "box-1.csv", BOX)
    put(tmp_path / "sealed.csv", "part,box,kind,location\nXR,2,rod,cellar\nXR,box-9,rod,cellar\n")
    for name in ("box-1.csv", "sealed.csv"):
        Ran(capsys, "shelf", "take-in", tmp_path / name, *db)
    ran = Ran(capsys, "shelf", "move", "2", "loft", *db)
    assert ran.status == 2 and "2/ for the other" in ran.err
    for names in (("2/",), ("box-9", "2")):
        ran = Ran(capsys, "shelf", "move", *names, "loft", *db)
        assert ran.status == (2 if "2" in names else 0)
    assert Ran(capsys, "shelf", "move", "box-9", "3", "attic", *db).status == 0
    shown = json.loads(Ran(capsys, "shelf", "show", "--json", *db).out)
    assert {box["name"]: box["location"] for box in shown["sealed"]} == {"2": "loft", "box-9": "attic"}
    assert [s["number"] for s in shown["shells"] if s["location"] == "attic"] == [3]
    told = Ran(capsys, "shelf", "take-in", tmp_path / "sealed.csv", *db).out
    assert "2 (loft; file: cellar), box-9 (attic; file: cellar)" in " ".join(told.split())


def test_sizes_are_grouped_wherever_they_stand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--group-by step` counts a size that is printed as undersize too."""
    db = ("--unit", "in", "--db", tmp_path / "s.db")
    put(tmp_path / "box-1.csv", BOX.replace("step", "undersize"))
    put(tmp_path / "box-2.csv", BOX)
    put(tmp_path / "box-3.csv", BOX.replace(",0.001,", ",STD,"))
    for name in ("box-1.csv", "box-2.csv", "box-3.csv"):
        Ran(capsys, "shelf", "take-in", tmp_path / name, *db)
    tallies = json.loads(Ran(capsys, "shelf", "show", "--group-by", "step", "--json", *db).out)["tallies"]
    assert {t["alike"]["step"]: t["shells"] for t in tallies} == {"0.001": 12, "STD": 6}


# --- what is told afterwards ---


def test_a_history_says_what_changed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was described anew, measured again and corrected is told by column, before and after, with the job beside
    its position, as text and as JSON; so are trial fits."""
    db = ("--db", tmp_path / "s.db")
    job = planned_job(tmp_path / "k", ONE_ROD)
    for args in (("take-in", job), ("set-aside", job), ("fitted", job), ("put-back", job, "R1"), ("set-aside", job)):
        assert Ran(capsys, "shelf", *args, *db).status == 0
    number = json.loads(Ran(capsys, "shelf", "show", "--state", "set-aside", "--json", *db).out)["shells"][0]["number"]
    name = f"{number:02}"
    path = described(tmp_path, name, "series", "B")
    Ran(capsys, "shelf", "take-in", path, "--unit", "in", "--note", "new label", *db)
    row = next(row for row in path.read_text().splitlines() if row.startswith(name))
    put(path, path.read_text().replace(row, row.replace(row.split(",")[3], "0.0612")))
    Ran(capsys, "shelf", "take-in", path, "--unit", "in", "--remeasured", str(number), *db)
    events = json.loads(Ran(capsys, "shelf", "history", str(number), "--json", *db).out)["events"]
    assert [(e["action"], e["job"], e["position"]) for e in events[-2:]] == [
        ("described", "k", "R1"),
        ("remeasured", "k", "R1"),
    ]
    assert events[-2]["note"] == "new label; series: empty > B"
    assert events[-1]["note"] == f"wall: {row.split(',')[3]} in > 0.0612 in"
    Ran(capsys, "shelf", "correct", str(events[-1]["number"]), *db)
    text = " ".join(Ran(capsys, "shelf", "history", str(number), *db).out.split())
    assert "series: empty > B" in text and f"wall: 0.0612 in > {row.split(',')[3]} in" in text
    assert "put back after a trial fit: once" in text


def test_an_engine_tells_what_its_teardown_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slip of the decimal point, a wall that was not measured again and what is missing for U stand in the record of
    the engine too."""
    db = ("--unit", "in", "--db", tmp_path / "s.db")
    job = planned_job(tmp_path / "k", ONE_ROD)
    for args in (("take-in", job), ("set-aside", job), ("fitted", job)):
        Ran(capsys, "shelf", *args, *db)
    put(tmp_path / "worn.csv", "position,journal,upper\nR1,1.8159,0.612\n")
    down = Ran(capsys, "shelf", "teardown", "1", tmp_path / "worn.csv", *db)
    record = " ".join(Ran(capsys, "shelf", "engine", "1", *db).out.split())
    told = " ".join(down.out.split())
    for said in ("likely a slip of the decimal point", "was not measured again", "Missing for U:"):
        assert said in told and said in record
    assert told[told.index("Missing for U:") :].partition(".")[0] in record


def test_small_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a filter leaves nothing it is said of how many, and one shell is not `were`."""
    db = ("--unit", "in", "--db", tmp_path / "s.db")
    put(tmp_path / "box-1.csv", "\n".join(BOX.splitlines()[:2]) + "\n")
    Ran(capsys, "shelf", "take-in", tmp_path / "box-1.csv", *db)
    assert "1 was here and is unchanged" in Ran(capsys, "shelf", "take-in", tmp_path / "box-1.csv", *db).out
    assert "none of 1 shell on the shelf" in Ran(capsys, "shelf", "show", "--half", "lower", *db).out


# --- an engine with a shell on hold in it ---


def test_an_engine_with_a_hold_is_still_recorded(
    shelf: Shelf, tmp_path: Path, address: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A shell on hold in the job's own engine stays there: what is read with it in is compared and recorded, its sheet
    is shown, and `assign` keeps it in its place; each of them tells of the hold and of `release`, with status 1."""
    monkeypatch.setenv("FITMATCH_DB", address)
    take_in(shelf, read_stock([planned_job(tmp_path / "stock")]))
    job = write_job(tmp_path / "k", job=FITS, positions=ONE_ROD, shells=None)
    assert Ran(capsys, "assign", job, "--from-shelf", "--save").status == 0
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, job).status == 0
    (one, other) = (s for s in show(shelf).shells if s.state == "fitted")
    take_in(shelf, read_stock([described(tmp_path, one.shell, "hold", "crack")], "in"))
    put(job / "assembled.csv", "position,clearance,method\nR1,0.0029,gauge\n")
    assert "NOT TO BE RUN" in Ran(capsys, "assembled", job).out
    assert Ran(capsys, "shelf", "fitted", job).status == 1
    assert [p.assembled_nm for p in engine(shelf, 1).not_to_be_run] == [73_660]
    put(job / "assembled.csv", "position,clearance,method\nR1,0.0023,gauge\n")
    assert Ran(capsys, "shelf", "fitted", job).status in (0, 1) and not engine(shelf, 1).not_to_be_run
    sheet = Ran(capsys, "sheet", job)
    assert sheet.status == 1 and "measured again" not in sheet.err
    assert "ON HOLD (crack)" in (job / "sheet.html").read_text("utf-8")
    ran = Ran(capsys, "assign", job, "--from-shelf", "--save")
    text = " ".join(ran.out.split())
    assert ran.status == 1 and "ON HOLD (crack)" in text and f"fitmatch shelf release {one.number} REASON" in text
    assert "Lay out" not in text and "until its hold is settled" in text
    assert [s.number for s in show(shelf).shells if s.state == "fitted"] == [one.number, other.number]
    assert Ran(capsys, "shelf", "set-aside", job).status == 0
    release(shelf, str(one.number), "no crack under the glass")
    assert Ran(capsys, "assign", job, "--from-shelf").status == Ran(capsys, "sheet", job).status == 0


@pytest.mark.parametrize("how", ["hold", "set aside", "taken in"])
def test_a_sheet_says_what_became_of_its_shells(
    shelf: Shelf,
    tmp_path: Path,
    address: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    how: str,
) -> None:
    """A plan whose shell is on hold or set aside for another job since is not shown, with just that as the reason; one
    whose shells were in a file alone and have been taken in since, as they read, is as good as before."""
    monkeypatch.setenv("FITMATCH_DB", address)
    job = write_job(tmp_path / "k", job=FITS, positions=ONE_ROD, shells=BOX if how == "taken in" else None)
    stock = read_stock([planned_job(tmp_path / "stock")])
    if how != "taken in":
        take_in(shelf, stock)
    assert Ran(capsys, "assign", job, "--from-shelf", "--save").status == 0
    if how == "taken in":
        take_in(shelf, stock)
        assert Ran(capsys, "sheet", job).status == 0
        assert Ran(capsys, "shelf", "set-aside", job).status == Ran(capsys, "sheet", job).status == 0
        return
    if how == "hold":
        (name, *_) = (one.shells["upper"][1] for one in read_planned(job).positions)
        take_in(shelf, read_stock([described(tmp_path, name, "hold", "crack")], "in"))
        told = f"is on hold (crack); `fitmatch shelf release {int(name)} REASON` once that is settled"
    else:
        other = write_job(tmp_path / "other", job=FITS, positions=ONE_ROD, shells=None)
        assert Ran(capsys, "assign", other, "--from-shelf", "--save").status == 0
        assert Ran(capsys, "shelf", "set-aside", other).status == 0
        told = "is set aside for other"
    ran = Ran(capsys, "sheet", job)
    text = " ".join(ran.err.split())
    assert ran.status in (1, 2) and told in text and "measured again" not in text


def test_what_is_permitted_is_told_when_planned_again(
    shelf: Shelf, tmp_path: Path, address: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`assign --from-shelf` tells of a position that is fitted outside its limits, with the words that permit it; it
    and the sheet of the engine have status 1."""
    monkeypatch.setenv("FITMATCH_DB", address)
    take_in(shelf, read_stock([planned_job(tmp_path / "stock")]))
    job = write_job(tmp_path / "k", job=FITS, positions=ONE_ROD, shells=None)
    assert Ran(capsys, "assign", job, "--from-shelf", "--save").status == 0
    assert Ran(capsys, "shelf", "set-aside", job).status == 0
    put(job / "assembled.csv", "position,clearance,method\nR1,0.0029,gauge\n")
    quoted = "letter of 2 March: 0.0030 in allowed"
    assert Ran(capsys, "shelf", "fitted", job, "--permission", f"R1={quoted}").status == 1
    ran = Ran(capsys, "assign", job, "--from-shelf")
    assert ran.status == 1 and f"R1: OUT OF LIMITS, permitted in writing: {quoted}" in " ".join(ran.out.split())
    assert Ran(capsys, "sheet", "--engine", "1", "--output", tmp_path / "engine.html").status == 1
