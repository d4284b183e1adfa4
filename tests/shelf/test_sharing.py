"""Several jobs that take shells from one shelf in one solve: each shell once, and only where it may go."""

import json
import re
import shlex
from pathlib import Path
from shutil import rmtree

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, POSITIONS, put, write_job
from made.shelves import BOX, ONE_ROD, Clock
from oracles.schemas import VALIDATOR

from fitmatch import InputError, assign
from fitmatch.records.answers.plans import Plan
from fitmatch.records.parts import KEPT_FOR
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text
from fitmatch.shelf import (
    Filters,
    RefusedError,
    Shelf,
    fitted,
    open_shelf,
    put_back,
    read_planned,
    read_stock,
    read_supplied,
    read_supplied_jobs,
    set_aside,
    show,
    take_in,
)
from fitmatch.shelf import engine as engine_of

FITS = JOB + 'family = ["narrow-2"]\n'


@pytest.fixture
def stocked(shelf: Shelf, tmp_path: Path) -> Shelf:
    """A shelf with one box of three pairs."""
    take_in(shelf, read_stock([boxes(tmp_path / "stock", {"box-1": BOX})]))
    return shelf


def boxes(folder: Path, found: dict[str, str], job: str = JOB) -> Path:
    return write_job(folder, job=job, shells=None, **{f"shells__{name}_DOT_csv": text for name, text in found.items()})


def engine(folder: Path, job: str = FITS, positions: str = ONE_ROD, shells: str | None = None) -> Path:
    return write_job(folder, job=job, positions=positions, shells=shells)


def saved(shelf: Shelf, *folders: Path) -> Plan:
    """The plan of all, in every folder."""
    task = read_supplied(shelf, folders[0]) if len(folders) == 1 else read_supplied_jobs(shelf, folders)
    plan = assign(task)
    for folder in folders:
        (folder / "assignment.json").write_text(plan_document(plan, "in"), encoding="utf-8")
    return plan


def numbers(plan: Plan) -> list[set[int]]:
    """By job, the shells of the shelf that it is given."""
    return [{one.number for one in mine.shelved.values()} for mine in plan.plans]


def test_each_shell_once(stocked: Shelf, tmp_path: Path) -> None:
    """Two jobs are served from one shelf in one solve, no shell twice, as from a file that both share; each is set
    aside, fitted and put back by itself."""
    first, second = engine(tmp_path / "first"), engine(tmp_path / "second", positions=POSITIONS)
    plan = saved(stocked, first, second)
    mine, other = numbers(plan)
    assert plan.proven and (len(mine), len(other)) == (2, 4) and not mine & other
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert document["leftover"] == [] and document["shelf"] == {"leftover": {}}
    assert all("number" in p[side] for p in document["positions"] for side in ("upper", "lower"))
    assert "came from the shelf again" in " ".join(plan_text(plan, "in", full=True).split())
    set_aside(stocked, read_planned(first))
    set_aside(stocked, read_planned(second))
    assert {s.number: s.job for s in show(stocked, Filters(state="set-aside")).shells} == (
        dict.fromkeys(mine, "first") | dict.fromkeys(other, "second")
    )
    fitted(stocked, read_planned(first))
    put_back(stocked, "second")
    assert {s.number for s in show(stocked, Filters(state="fitted")).shells} == mine
    assert {s.number for s in show(stocked, Filters(state="free")).shells} == other


def test_what_is_set_aside_goes_nowhere_else(stocked: Shelf, tmp_path: Path) -> None:
    """A shell set aside for one of the jobs is offered to that one alone, though another could use it better, and not
    to jobs that are not asked; the answer says so where a position stays empty for it."""
    first, second = engine(tmp_path / "first"), engine(tmp_path / "second")
    saved(stocked, first)
    set_aside(stocked, read_planned(first))
    mine = {s.number for s in show(stocked, Filters(state="set-aside")).shells}
    for folder in (tmp_path / "third", tmp_path / "fourth"):
        saved(stocked, engine(folder))
        set_aside(stocked, read_planned(folder))
    pool = read_supplied_jobs(stocked, [second, first])
    known = (pool.jobs[0].shelved or {}).values()
    assert {one.number for one in known} == mine and all(one.barred is not None for one in known)
    plan = saved(stocked, second, first)
    assert numbers(plan) == [set(), mine] and plan.proven
    assert [u.position.job for u in plan.unfilled] == ["second"]
    VALIDATOR.validate(json.loads(plan_document(plan, "in")))
    text = " ".join(plan_text(plan, "in", full=True).split())
    assert KEPT_FOR in text and "set aside for another job" in text and "narrow-2 together" not in text
    set_aside(stocked, read_planned(first))
    assert {s.number for s in show(stocked, Filters(state="set-aside")).shells if s.job == "first"} == mine


def test_set_aside_for_each(stocked: Shelf, tmp_path: Path) -> None:
    """Where each job has shells set aside, both are planned again from their own and from what is free."""
    first, second = engine(tmp_path / "first"), engine(tmp_path / "second")
    before = numbers(saved(stocked, first, second))
    for folder in (first, second):
        set_aside(stocked, read_planned(folder))
    again = saved(stocked, first, second)
    held = {s.number: s.job for s in show(stocked, Filters(state="set-aside")).shells}
    for name, some in zip(("first", "second"), numbers(again), strict=True):
        assert all(held.get(number, name) == name for number in some)
    assert sorted(map(len, numbers(again))) == [2, 2] and before[0] | before[1] == set(held)


@pytest.mark.parametrize("owner", [None, "first", "second", "other"])
def test_a_file_of_one_job_has_it_too(stocked: Shelf, tmp_path: Path, owner: str | None) -> None:
    """A shell in a file of one job and on the shelf is one shell for all jobs, and who may have it the shelf
    decides."""
    if owner is not None:
        folder = engine(tmp_path / owner)
        saved(stocked, folder)
        set_aside(stocked, read_planned(folder))
    taken = {s.number for s in show(stocked, Filters(state="set-aside")).shells}
    first, second = engine(tmp_path / "first", shells=BOX), engine(tmp_path / "second")
    pool = read_supplied_jobs(stocked, [first, second])
    assert len(pool.jobs[0].shells) == len({s.key for s in pool.jobs[0].shells}) == 6
    assert pool.jobs[0].shells == pool.jobs[1].shells
    mine, other = numbers(saved(stocked, first, second))
    assert len(mine) == len(other) == 2 and not mine & other
    assert not taken & {None: set(), "first": other, "second": mine, "other": mine | other}[owner]


def test_one_name_for_one_shell(stocked: Shelf, tmp_path: Path) -> None:
    """Two boxes of one name of which one job sees only one, and a file has the other: each shell keeps one name in all
    jobs, locks follow it, and none is placed twice."""
    wide = (
        BOX.replace("narrow-2", "wide")
        .replace("0.0617", "0.0616")
        .replace("0.0618", "0.06175")
        .replace("0.0619", "0.06195")
    )
    take_in(stocked, read_stock([boxes(tmp_path / "more", {"box-1": wide})]), new_box=True)
    both = FITS.replace('["narrow-2"]', '["narrow-2", "wide"]')
    locked = "position,kind,journal,housing_bore,upper\nR1,rod,1.8162,1.9421,box-1/05\n"
    first, second = engine(tmp_path / "first", positions=locked), engine(tmp_path / "second", both, POSITIONS)
    plan = saved(stocked, first, second)
    mine, other = numbers(plan)
    assert len(mine) == 2 and len(other) == 4 and not mine & other and 5 in mine
    keys = [key for one in plan.plans for key in one.shelved]
    assert {box for box, _ in keys} <= {"box-1 #1", "box-1 #2"}
    third = engine(tmp_path / "third", shells=BOX)
    pool = read_supplied_jobs(stocked, [second, third])
    known = pool.jobs[0].shelved or {}
    assert len(known) == len({one.number for one in known.values()}) == len(pool.jobs[0].shells) == 12
    assert {key[0] for key, one in known.items() if one.number <= 6} == {"box-1"}


def test_a_family_is_one_kind_in_all(stocked: Shelf, tmp_path: Path) -> None:
    """A family that is of one kind in one job and of another in the next is refused, as it decides the kind."""
    other = FITS.replace("fit.rod", "fit.big")
    folders = [engine(tmp_path / "first"), engine(tmp_path / "second", other, ONE_ROD.replace(",rod,", ",big,"))]
    with pytest.raises(InputError) as refused:
        read_supplied_jobs(stocked, folders)
    assert [(p.code, p.file) for p in refused.value.problems] == [("family-twice", "second/job.toml")]


def test_repeats_count_once(shelf: Shelf, tmp_path: Path) -> None:
    """How far a gauge of the shelf scatters is known as well to two jobs as to one: no repeat counts twice."""
    gauged = (
        f"{FITS}\n[gauge.mic]\nlimit = 0.0001\n[measured.rod]\nwall = 'mic'\njournal = 'mic'\nhousing_bore = 'mic'\n"
    )
    rows = [row.split(",") for row in BOX.splitlines()[1:]]
    header = "shell,kind,half,wall_1,wall_2,family"
    box = "\n".join([header, *(f"{a},{b},{c},{wall},{wall}5,narrow-2" for a, b, c, wall, *_ in rows)]) + "\n"
    take_in(shelf, read_stock([boxes(tmp_path / "stock", {"box-1": box}, gauged)]))
    folders = [engine(tmp_path / name, gauged) for name in ("first", "second")]
    pools = [read_supplied_jobs(shelf, folders).jobs[0], read_supplied(shelf, folders[0])]
    (together, alone) = ([p for name, p in job.measuring.pooled.items() if " of " in name] for job in pools)
    assert together == alone and together[0].degrees_of_freedom == 6


def test_a_shell_measured_again(stocked: Shelf, tmp_path: Path) -> None:
    """A shell of the plan that was measured again makes the plan of its own job old, and not that of the other."""
    first, second = engine(tmp_path / "first"), engine(tmp_path / "second")
    (name, *_), _ = ([key[1] for key in one.shelved] for one in saved(stocked, first, second).plans)
    at = BOX.index(f"\n{name},")
    wall = BOX[at:].split(",")[3]
    box = BOX[:at] + BOX[at:].replace(wall, f"{wall}1", 1)
    take_in(stocked, read_stock([boxes(tmp_path / "again", {"box-1": box})]), remeasured=[f"box-1/{name}"])
    with pytest.raises(RefusedError) as refused:
        set_aside(stocked, read_planned(first))
    assert [reason.code for reason in refused.value.reasons] == ["inputs-changed"]
    set_aside(stocked, read_planned(second))


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`assign A B --from-shelf` prints, saves into both folders, and each is set aside; `compare` and `advise` look at
    the same shells."""
    db = tmp_path / "shelf.db"
    monkeypatch.setenv("FITMATCH_DB", str(db))
    take_in(open_shelf(db, clock=Clock()), read_stock([boxes(tmp_path / "stock", {"box-1": BOX})]))
    first, second = engine(tmp_path / "first"), engine(tmp_path / "second")
    ran = Ran(capsys, "assign", first, second, "--from-shelf", "--json", "--save")
    assert ran.status == 0 and json.loads(ran.out)["shelf"] == {"leftover": {"rod": 2}}
    for folder in (first, second):
        assert Ran(capsys, "shelf", "set-aside", folder).status == 0
    assert Ran(capsys, "assign", first, second, "--from-shelf", "--full").status == 0
    for command in ("compare", "advise"):
        ran = Ran(capsys, command, first, second, "--from-shelf", "--json")
        assert ran.status in (0, 1) and json.loads(ran.out)["schema"] == 1
    refused = Ran(capsys, "assign", first, second, "--from-shelf", "--prefer", "singles")
    assert refused.status == 2 and "one job at a time" in refused.err
    assert Ran(capsys, "assign", first, second, "--db", db).status == 2


@pytest.mark.parametrize("shells", [BOX, None])
def test_readings_with_the_shells_in(
    stocked: Shelf,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    address: str,
    shells: str | None,
) -> None:
    """Engines of one plan, only the first of them with a shell file or none, are fitted with what was read with their
    shells in, before that or at a second `fitted`, also outside the limits with a permission; each has its sheet."""
    monkeypatch.setenv("FITMATCH_DB", address)
    both = [engine(tmp_path / "first", shells=shells), engine(tmp_path / "second")]
    saved(stocked, *both)
    inside, outside = (f"position,clearance,method\nR1,{wall},gauge\n" for wall in ("0.0023", "0.0040"))
    put(both[0] / "assembled.csv", outside)
    for folder in both:
        assert Ran(capsys, "shelf", "set-aside", folder).status == 0
    assert Ran(capsys, "shelf", "fitted", both[0]).status == 2
    allowed = ("--permission", "R1=letter of 2 March")
    assert Ran(capsys, "shelf", "fitted", both[0], *allowed).status == 1
    assert Ran(capsys, "shelf", "fitted", both[1]).status == 0
    put(both[0] / "assembled.csv", inside)
    put(both[1] / "assembled.csv", inside)
    for folder in both:
        assert Ran(capsys, "shelf", "fitted", folder).status in (0, 1)
        assert Ran(capsys, "sheet", folder).status == 0
    assert [p.assembled_nm for n in (1, 2) for p in engine_of(stocked, n).positions] == [58_420, 58_420]


# --- whose a shell is, the shelf says, whatever plan another job has ---


@pytest.fixture
def two(stocked: Shelf, tmp_path: Path, capsys: pytest.CaptureFixture[str], two_in: str) -> tuple[Path, Path]:
    """Two engines planned together; the first is fitted, the shells of the second are set aside."""
    built, other = engine(tmp_path / "built"), engine(tmp_path / "other")
    assert Ran(capsys, "assign", built, other, "--from-shelf", "--save").status == 0
    for args in (("set-aside", built), ("fitted", built), ("set-aside", other)):
        assert Ran(capsys, "shelf", *args).status == 0
    return built, other


@pytest.fixture
def two_in(monkeypatch: pytest.MonkeyPatch, address: str) -> str:
    monkeypatch.setenv("FITMATCH_DB", address)
    return address


def typed(capsys: pytest.CaptureFixture[str], told: str) -> list[int]:
    """The exit statuses of the commands that a text has between its marks, each typed as a shell takes it."""
    commands = [shlex.split(one) for one in re.findall(r"`fitmatch ([^`]+)`", " ".join(told.split()))]
    return [Ran(capsys, *command).status for command in commands]


def dropped(stocked: Shelf, capsys: pytest.CaptureFixture[str], job: str) -> Ran:
    """What is said where a shell that is set aside for a job is scrapped."""
    number = next(s.number for s in show(stocked, Filters(state="set-aside")).shells if s.job == job)
    return Ran(capsys, "shelf", "scrap", number, "dropped")


def test_one_of_two_is_planned_anew(stocked: Shelf, two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Once a shell of the second engine is dropped the commands that are printed run as they are printed, for it alone:
    what is in the first engine stays there, its sheet is not VOID, and what is read in it can be recorded."""
    built, other = two
    ran = dropped(stocked, capsys, "other")
    assert ran.status == 1 and typed(capsys, ran.out) == [0, 0]
    assert [s.job for s in show(stocked, Filters(state="set-aside")).shells] == ["other"] * 2
    assert [s.job for s in show(stocked, Filters(state="fitted")).shells] == ["built"] * 2
    for folder in two:
        ran = Ran(capsys, "sheet", folder)
        assert ran.status == 0 and "VOID" not in ran.err
    put(built / "assembled.csv", "position,clearance,method\nR1,0.0029,gauge\n")
    assert "NOT TO BE RUN" in Ran(capsys, "assembled", built).out
    assert Ran(capsys, "shelf", "fitted", built).status == 1
    assert [p.position for p in engine_of(stocked, 1).not_to_be_run] == ["R1"]
    assert Ran(capsys, "shelf", "fitted", other).status == 0


def test_what_is_fitted_stays_out_of_it(two: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Where the inputs of one engine have changed nobody is told to put the shells of a built one on hold, and the
    command that is printed is for the one engine alone."""
    built, other = two
    put(other / "positions.csv", ONE_ROD.replace("1.9421", "1.94211"))
    for ran in (Ran(capsys, "shelf", "set-aside", other), Ran(capsys, "sheet", other)):
        text = " ".join(ran.err.split())
        assert ran.status in (1, 2) and "hold" not in text and str(built) not in text
    text = (other / "sheet.html").read_text(encoding="utf-8")
    assert "first put its shells on hold" not in text
    assert typed(capsys, Ran(capsys, "shelf", "set-aside", other).err) == [0, 0]


@pytest.mark.parametrize("gone", ["teardown", "put-back", "removed"])
def test_an_engine_that_is_no_more_shares_nothing(
    stocked: Shelf, two: tuple[Path, Path], capsys: pytest.CaptureFixture[str], tmp_path: Path, gone: str
) -> None:
    """A job whose engine was taken down or put back, or whose folder is gone, has no part in what the other needs; its
    own plan is not to be used any more then, as its sheet says and `set-aside` does."""
    built, other = two
    put(tmp_path / "worn.csv", "position,upper,lower\nR1,0.0617,0.0617\n")
    if gone == "teardown":
        assert Ran(capsys, "shelf", "teardown", 1, tmp_path / "worn.csv", "--unit", "in").status in (0, 1)
    else:
        assert Ran(capsys, "shelf", "put-back", built, "R1").status == 0
    if gone == "removed":
        rmtree(built)
    ran = dropped(stocked, capsys, "other")
    assert ran.status == 1 and "built" not in ran.out and typed(capsys, ran.out) == [0, 0]
    assert Ran(capsys, "sheet", other).status == 0 and Ran(capsys, "shelf", "fitted", other).status == 0
    assert gone == "removed" or Ran(capsys, "sheet", built).status == 2
    assert Ran(capsys, "shelf", "set-aside", built).status == 2


def test_a_plan_from_files_is_still_shared(
    stocked: Shelf, two_in: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a plan from shell files, taken in or not, the command that is printed is for both jobs, and runs."""
    one, two = engine(tmp_path / "one", shells=BOX), engine(tmp_path / "two", shells=BOX)
    assert Ran(capsys, "assign", one, two, "--save").status == 0
    assert Ran(capsys, "shelf", "set-aside", one).status == 0
    assert Ran(capsys, "assign", one, "--save").status == 2
    ran = dropped(stocked, capsys, "one")
    assert f"fitmatch assign {one} {two} --save" in " ".join(ran.out.split())


# --- no shell in two engines with two clean sheets ---


@pytest.fixture
def files_too(stocked: Shelf, two_in: str, tmp_path: Path) -> tuple[Path, Path]:
    """Two engines, with the box that is on the shelf in a folder that both of them name as well."""
    put(tmp_path / "boxes" / "box-1.csv", BOX)
    job = FITS.replace("[fit.rod]", '[sources]\nshells = []\nshared = ["../boxes/*.csv"]\n[fit.rod]')
    return engine(tmp_path / "old", job), engine(tmp_path / "new", job)


def test_the_shelf_was_forgotten(files_too: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """A plan made without the shelf in place of one with its shells is refused, of one engine of two or of one that was
    planned alone since, with the command that looks there, which runs; with --force the sheet of the engine that was
    built is VOID."""
    old, new = files_too
    assert Ran(capsys, "assign", old, new, "--from-shelf", "--save").status == 0
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, old).status == 0
    for _ in range(2):
        ran = Ran(capsys, "assign", new, "--save")
        assert ran.status == 2 and f"`fitmatch assign {new} --from-shelf --save`" in " ".join(ran.err.split())
        assert typed(capsys, ran.err) == [0]
        assert [Ran(capsys, "sheet", one).status for one in files_too] == [0, 0]
    assert Ran(capsys, "assign", new, "--save", "--force").status == 0
    ran = Ran(capsys, "sheet", old)
    assert ran.status == 1 and "VOID" in ran.err
    assert typed(capsys, Ran(capsys, "shelf", "set-aside", new).err) == []
    assert Ran(capsys, "shelf", "fitted", new).status == 2


def test_the_shelf_was_forgotten_after_a_folder_was_renamed(
    files_too: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that was renamed since several jobs were planned together has a plan that is VOID, and one made without
    the shelf does not replace it; the command that is printed takes no shell of the engine that was built."""
    old, new = files_too
    assert Ran(capsys, "assign", old, new, "--from-shelf", "--save").status == 0
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, old).status == 0
    renamed = new.rename(new.with_name("renamed"))
    ran = Ran(capsys, "sheet", renamed)
    assert ran.status == 1 and "was the folder renamed?" in ran.err and "VOID" in ran.err
    ran = Ran(capsys, "assign", renamed, "--save")
    assert ran.status == 2 and f"`fitmatch assign {renamed} --from-shelf --save`" in " ".join(ran.err.split())
    assert typed(capsys, ran.err) == [0]
    placed = [json.loads((one / "assignment.json").read_text(encoding="utf-8"))["positions"] for one in (old, renamed)]
    taken = [
        {p[side]["shell"] for p in some if p.get("job", "old") == "old" for side in ("upper", "lower")}
        for some in placed
    ]
    assert not taken[0] & taken[1]


def test_the_cure_for_a_plan_made_from_files_looks_on_the_shelf(
    files_too: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a sheet is asked for from the shelf, and the shelf has the shells of a plan made from files for another
    engine, the command that is printed makes a plan that can be built."""
    old, new = files_too
    assert Ran(capsys, "assign", old, "--from-shelf", "--save").status == 0
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, old).status == 0
    assert Ran(capsys, "assign", new, "--save").status == 0
    ran = Ran(capsys, "sheet", new, "--from-shelf")
    assert ran.status == 2 and set(typed(capsys, ran.err)) == {0}
    assert [Ran(capsys, "sheet", new, "--from-shelf").status, Ran(capsys, "shelf", "set-aside", new).status] == [0, 0]


@pytest.mark.parametrize("shelved", [False, True])
def test_a_plan_with_shells_from_files(
    shelf: Shelf, two_in: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], shelved: bool
) -> None:
    """Where one engine still has a plan with shells of files, a plan of the shelf for the other one is refused, and
    with --force the sheet of the first is VOID and it cannot be set aside."""
    stock = boxes(tmp_path / "stock", {"box-1": BOX})
    old, new = (engine(tmp_path / name, shells=BOX) for name in ("old", "new"))
    if shelved:  # another box, so that the plan has shells of both
        take_in(shelf, read_stock([boxes(tmp_path / "more", {"box-2": BOX.replace("0.061", "0.065")})]))
    assert Ran(capsys, "assign", old, new, *["--from-shelf"] * shelved, "--save").status == 0
    take_in(shelf, read_stock([stock]))
    ran = Ran(capsys, "assign", new, "--from-shelf", "--save")
    assert ran.status == 2 and "what old has is then VOID" in " ".join(ran.err.split())
    assert Ran(capsys, "assign", new, "--from-shelf", "--save", "--force").status == 0
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, new).status == 0
    ran = Ran(capsys, "sheet", old)
    assert ran.status == 1 + shelved and ("has another plan since" if shelved else "VOID") in " ".join(ran.err.split())
    assert Ran(capsys, "shelf", "set-aside", old).status == 2


def test_what_comes_next_begins_with_setting_aside(
    stocked: Shelf, two_in: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before shells of the shelf are laid out the plan is set aside, with the command for that; no more once they
    are fitted."""
    job = engine(tmp_path / "old")
    ran = Ran(capsys, "assign", job, "--from-shelf", "--save")
    text = " ".join(ran.out.split())
    assert text.index("`fitmatch shelf set-aside`") < text.index("Lay out the shells")
    for action in ("set-aside", "fitted"):
        assert Ran(capsys, "shelf", action, job).status == 0
    assert "set-aside" not in Ran(capsys, "assign", job, "--from-shelf").out


def test_what_is_only_planned_is_not_held(
    stocked: Shelf, two_in: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A new plan for one of two engines, none of whose shells are set aside yet, is refused with the command for both,
    which runs; with --force the plan of the other one is VOID, whether the shells are set aside then or not."""
    old, new = engine(tmp_path / "old"), engine(tmp_path / "new")
    assert Ran(capsys, "assign", old, new, "--from-shelf", "--save").status == 0
    ran = Ran(capsys, "assign", new, "--from-shelf", "--save")
    assert ran.status == 2 and typed(capsys, ran.err) == [0]
    assert Ran(capsys, "assign", new, "--from-shelf", "--save", "--force").status == 0
    for after in (("sheet", new), ("shelf", "set-aside", new)):
        ran = Ran(capsys, "sheet", old)
        assert ran.status == 1 and "which shares this plan, has another plan since" in " ".join(ran.err.split())
        assert Ran(capsys, "shelf", "set-aside", old).status == 2
        assert Ran(capsys, *after).status == 0
    ran = Ran(capsys, "sheet", old)
    assert ran.status == 1 and f"fitmatch assign {old} --from-shelf --save" in (old / "sheet.html").read_text("utf-8")
