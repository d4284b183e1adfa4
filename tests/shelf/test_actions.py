"""What is done to the shelf: each action all or nothing, each an event, and no shell in two places."""

from pathlib import Path

import pytest
from made.intake_jobs import put, write_job
from made.shelves import BOX, ONE_ROD, SEALED, planned_job, save_plan
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from fitmatch.report.shelf.texts import shown_text
from fitmatch.shelf import (
    Filters,
    HeldError,
    RefusedError,
    Shelf,
    correct,
    count,
    engine,
    engines,
    fitted,
    history,
    move,
    put_back,
    read_planned,
    read_stock,
    scrap,
    send_back,
    set_aside,
    show,
    take_in,
    value,
)
from fitmatch.shelf.store.schema import BOXES, EVENTS, HOLDS

TIGHT = ONE_ROD.replace("1.9421", "1.9405")  # too little room for any two shells of the box


def states(shelf: Shelf) -> dict[str, str]:
    return {shell.shell: shell.state for shell in show(shelf).shells}


def codes(error: RefusedError) -> list[str]:
    return [reason.code for reason in error.reasons]


@pytest.fixture
def job(shelf: Shelf, tmp_path: Path) -> Path:
    """A job with one rod whose box is on the shelf."""
    folder = planned_job(tmp_path / "first", ONE_ROD)
    take_in(shelf, read_stock([folder]))
    return folder


def held(shelf: Shelf) -> list[int]:
    return [s.number for s in show(shelf, Filters(state="set-aside")).shells]


def test_setting_aside_takes_the_shells_of_the_plan(shelf: Shelf, job: Path) -> None:
    """Both shells of the position are set aside for the job there, and again changes nothing."""
    changed = set_aside(shelf, read_planned(job), by="night shift")
    assert {(e.action, e.from_state, e.to_state, e.job, e.position, e.by) for e in changed.events} == {
        ("set-aside", "free", "set-aside", "first", "R1", "night shift")
    }
    assert len(changed.events) == 2 and changed.attention == ()
    assert {(s.job, s.position, s.side == s.half) for s in show(shelf, Filters(state="set-aside")).shells} == {
        ("first", "R1", True)
    }
    assert set_aside(shelf, read_planned(job)).events == ()


def test_two_jobs_never_get_one_shell(shelf: Shelf, job: Path, tmp_path: Path) -> None:
    """What one job has another is refused, every shell named, and nothing of it is set aside."""
    set_aside(shelf, read_planned(job))
    other = planned_job(tmp_path / "second")
    with pytest.raises(HeldError) as refused:
        set_aside(shelf, read_planned(other))
    assert {(r.code, r.slots["job"]) for r in refused.value.reasons} == {("held", "first")}
    assert {r.slots["number"] for r in refused.value.reasons} <= set(held(shelf)) and len(held(shelf)) == 2


def test_the_database_itself_refuses_a_second_holder(shelf: Shelf, job: Path) -> None:
    """Even a fault in this program could not put one shell in two places, nor two shells in one."""
    set_aside(shelf, read_planned(job))
    with shelf.reading() as connection:
        row = dict(connection.execute(select(HOLDS)).mappings().first() or {})
    for wrong in (row, row | {"shell": 6}, row | {"shell": 6, "position": "R2", "job": None}):
        with pytest.raises(IntegrityError), shelf.writing() as connection:
            connection.execute(HOLDS.insert().values(**wrong))


def test_another_plan_swaps_old_for_new(shelf: Shelf, job: Path) -> None:
    """A new plan's shells are set aside and the old ones free again, in one action."""
    set_aside(shelf, read_planned(job))
    before = set(held(shelf))
    put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.94225"))
    with pytest.raises(RefusedError) as refused:
        read_planned(job)
    assert codes(refused.value) == ["inputs-changed"]
    save_plan(job)
    changed = set_aside(shelf, read_planned(job))
    after = set(held(shelf))
    assert len(after) == 2 and after != before
    assert {e.shell: e.to_state for e in changed.events} == dict.fromkeys(before - after, "free") | dict.fromkeys(
        after - before, "set-aside"
    )


def test_what_is_not_there_is_refused(shelf: Shelf, job: Path) -> None:
    """A plan with scrapped shells is refused, and with one that was never taken in."""
    for shell in show(shelf).shells:
        scrap(shelf, str(shell.number), "test")
    with pytest.raises(RefusedError) as refused:
        set_aside(shelf, read_planned(job))
    assert set(codes(refused.value)) == {"not-there"} and not isinstance(refused.value, HeldError)


def test_a_plan_of_shells_that_were_never_taken_in(shelf: Shelf, tmp_path: Path) -> None:
    """Each is named."""
    with pytest.raises(RefusedError) as refused:
        set_aside(shelf, read_planned(planned_job(tmp_path / "job", ONE_ROD)))
    assert codes(refused.value) == ["not-on-shelf"] * 2


def test_two_open_jobs_of_one_name_are_refused(shelf: Shelf, job: Path, tmp_path: Path) -> None:
    """The name of its folder is what a job is known by, until nothing is set aside for it."""
    set_aside(shelf, read_planned(job))
    twin = planned_job(tmp_path / "elsewhere" / "first", ONE_ROD)
    with pytest.raises(RefusedError) as refused:
        set_aside(shelf, read_planned(twin))
    assert codes(refused.value) == ["two-jobs"]
    put_back(shelf, "first")
    assert len(set_aside(shelf, read_planned(twin)).events) == 2


def test_putting_back_needs_no_folder(shelf: Shelf, job: Path) -> None:
    """A job's shells are put back by its name alone; then there is nothing more to put back."""
    set_aside(shelf, read_planned(job))
    put_back(shelf, "first")
    assert set(states(shelf).values()) == {"free"}
    with pytest.raises(RefusedError) as refused:
        put_back(shelf, "first")
    assert codes(refused.value) == ["nothing-held"]


def test_an_engine_is_recorded(shelf: Shelf, job: Path) -> None:
    """Fitted shells belong to an engine with their position and clearance, and cannot be had by anybody."""
    set_aside(shelf, read_planned(job))
    changed = fitted(shelf, read_planned(job), by="night shift", note="for the saw")
    assert {(e.action, e.to_state, e.engine) for e in changed.events} == {("fitted", "fitted", 1)}
    built = engine(shelf, 1)
    (position,) = built.positions
    assert (built.job, built.by, built.note) == ("first", "night shift", "for the saw")
    assert position.clearance_nm == 49_329_340 - 46_131_480 - sum(s.wall_nm or 0 for s in position.shells)
    assert [s.half for s in position.shells] == ["upper", "lower"] and position.within_limits
    assert engines(shelf).engines == (built,)
    number = str(position.shells[0].number)
    for refused_action in (lambda: scrap(shelf, number, "x"), lambda: move(shelf, [number], "y")):
        with pytest.raises(RefusedError):
            refused_action()


def test_a_trial_fit_is_taken_apart(shelf: Shelf, job: Path) -> None:
    """Put back by its position, a fitted pair is free and knows that it was tried; the engine stays in the records,
    and is the one that is built on."""
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    put_back(shelf, "first", ["R1"])
    assert sorted(s.trial_fits for s in show(shelf, Filters(state="free")).shells) == [0, 0, 0, 0, 1, 1]
    (record,) = engines(shelf).engines
    assert (record.state, [p.left for p in record.positions]) == ("put-back", ["put-back"])
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    assert [(e.number, e.state) for e in engines(shelf).engines] == [(1, "")]
    assert [e.number for e in engines(shelf).engines] == [1]


def test_outside_its_limits_only_with_permission(shelf: Shelf, tmp_path: Path) -> None:
    """A position outside its limits is set aside with attention, fitted only with the maker's permission quoted, and
    says so for ever."""
    folder = planned_job(tmp_path / "tight", TIGHT)
    take_in(shelf, read_stock([folder]))
    planned = read_planned(folder)
    assert [f.code for f in set_aside(shelf, planned).attention] == ["outside-limits"]
    refusals = {"": "not-to-be-assembled", " ": "not-to-be-assembled", "no": "permission-no", "TEXT": "permission-no"}
    for text, code in refusals.items():
        with pytest.raises(RefusedError) as refused:
            fitted(shelf, planned, permissions={"R1": text} if text else {})
        assert codes(refused.value)[0] == code
    with pytest.raises(RefusedError):
        fitted(shelf, planned, permissions={"R9": "yes"})
    assert engines(shelf).engines == ()
    changed = fitted(shelf, planned, permissions={"R1": "letter of 2 March"})
    assert [f.code for f in changed.attention] == ["fitted-outside"]
    (position,) = engine(shelf, 1).positions
    assert (position.within_limits, position.permission) == (False, "letter of 2 March")
    put_back(shelf, "tight", ["R1"])
    (position,) = engine(shelf, 1).positions
    assert (position.within_limits, position.permission, position.left) == (False, "letter of 2 March", "put-back")
    assert [s.half for s in position.shells] == ["upper", "lower"]
    put(folder / "positions.csv", ONE_ROD)
    save_plan(folder)
    set_aside(shelf, read_planned(folder))
    fitted(shelf, read_planned(folder))
    (position,) = engine(shelf, 1).positions
    assert (position.within_limits, position.permission, position.left) == (True, "letter of 2 March", "")
    assert engine(shelf, 1).outside == (position,)
    number = next(e.shell for e in changed.events)
    assert next(e.remarks for e in history(shelf, str(number)).events if e.action == "fitted") == ("outside-limits",)


def test_a_position_in_doubt(shelf: Shelf, tmp_path: Path) -> None:
    """One that rests on readings in doubt is told when it is set aside and fitted, and its engine says so."""
    bores = ("1.9421", "1.9420", "1.9422", "1.9421", "1.9440")  # the last one reads too large among these
    rows = "".join(f"R{i},rod,1.8162,{bore}\n" for i, bore in enumerate(bores, 1))
    box = "".join(f"{half[0]}{i},rod,{half},0.0618\n" for half in ("upper", "lower") for i in range(1, 6))
    header = "position,kind,journal,housing_bore\n"
    folder = planned_job(tmp_path / "doubtful", header + rows, "shell,kind,half,wall\n" + box)
    take_in(shelf, read_stock([folder]))
    planned = read_planned(folder)
    told = [f.slots["position"] for f in set_aside(shelf, planned).attention if f.code == "in-doubt"]
    assert told == ["R5"]
    fitted(shelf, planned, ["R1"])
    changed = fitted(shelf, planned, ["R5"], permissions={"R5": "letter of 2 March"})
    assert "in-doubt" in [f.code for f in changed.attention]
    assert {e.remarks for e in changed.events} == {("outside-limits", "in-doubt")}
    assert {p.position for p in engine(shelf, 1).positions if p.in_doubt} == {"R5"}


def test_a_kind_that_is_not_whole(shelf: Shelf, tmp_path: Path) -> None:
    """Fitting one position tells of the others of its kind that are outside their limits."""
    rows = ONE_ROD + ONE_ROD.splitlines()[1].replace("R1", "R2").replace("1.9421", "1.9405") + "\n"
    folder = planned_job(tmp_path / "half", rows)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    changed = fitted(shelf, read_planned(folder), ["R1"])
    assert [(f.code, f.slots["position"]) for f in changed.attention] == [("outside-limits", "R2")]


def test_another_folder_is_not_put_back(shelf: Shelf, job: Path, tmp_path: Path) -> None:
    """A folder that is there must be the one whose shells are set aside."""
    set_aside(shelf, read_planned(job))
    with pytest.raises(RefusedError) as refused:
        put_back(shelf, "first", folder=tmp_path / "elsewhere" / "first")
    assert codes(refused.value) == ["other-folder"] and len(held(shelf)) == 2
    put_back(shelf, "first", folder=job.resolve())
    assert held(shelf) == []


def test_a_trial_costs_nothing_and_others_may_follow(shelf: Shelf, job: Path) -> None:
    """What was only tried in an engine is no cost of it, and other shells take its place in the record."""
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    tried = {s.number for s in engine(shelf, 1).positions[0].shells}
    put_back(shelf, "first", ["R1"])
    assert value(shelf).engines == ()
    put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.94225"))
    save_plan(job)
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    now = {s.number for s in engine(shelf, 1).positions[0].shells}
    assert len(now) == 2 and now != tried and [e.shells for e in value(shelf).engines] == [2]


def test_a_whole_action_is_corrected(shelf: Shelf, job: Path) -> None:
    """Correcting one event of an action undoes all of it: both halves, and what was swapped for them."""
    first = set_aside(shelf, read_planned(job))
    assert len(correct(shelf, first.events[1].number).events) == 2 and held(shelf) == []
    set_aside(shelf, read_planned(job))
    before = set(held(shelf))
    put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.94225"))
    save_plan(job)
    swapped = set_aside(shelf, read_planned(job))
    assert {e.action for e in swapped.events} == {"put-back", "set-aside"}
    correct(shelf, swapped.events[-1].number)
    assert set(held(shelf)) == before
    moved = move(shelf, ["1", "2", "3"], "drawer 2")
    assert [e.shell for e in correct(shelf, moved.events[0].number).events] == [1, 2, 3]
    assert {s.location for s in show(shelf).shells} == {"drawer 1"}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@a", "a\nb", "\x1b[31mred"])
def test_texts_that_tables_do_not_take(shelf: Shelf, job: Path, text: str) -> None:
    """What is typed is held to the rules of files: no formulas, line breaks or escapes."""
    for action in (lambda: scrap(shelf, "1", text), lambda: move(shelf, ["1"], text)):
        with pytest.raises(RefusedError) as refused:
            action()
        assert codes(refused.value) == ["bad-text"]


def test_a_document_that_was_edited_is_judged_again(shelf: Shelf, tmp_path: Path) -> None:
    """Limits are compared again when a plan is set aside, whatever the saved document says of itself."""
    folder = planned_job(tmp_path / "tight", TIGHT)
    take_in(shelf, read_stock([folder]))
    plan = folder / "assignment.json"
    plan.write_text(plan.read_text().replace('"within_limits": false', '"within_limits": true'))
    assert [f.code for f in set_aside(shelf, read_planned(folder)).attention] == ["outside-limits"]


def test_a_dropped_shell_makes_its_position_void(shelf: Shelf, job: Path) -> None:
    """A set-aside shell can be scrapped: the other half stays set aside, and nothing is fitted there until another plan
    is set aside."""
    set_aside(shelf, read_planned(job))
    first, other = held(shelf)
    changed = scrap(shelf, str(first), "dropped")
    assert [f.code for f in changed.attention] == ["position-void"] and held(shelf) == [other]
    with pytest.raises(RefusedError) as refused:
        fitted(shelf, read_planned(job))
    assert codes(refused.value) == ["void"]


def test_stock_taking(shelf: Shelf, job: Path) -> None:
    """What does not lie there is missing, what lies there again is found, and only where it was counted."""
    changed = count(shelf, ["1", "box-1/02", "3", "4", "5"], location="drawer 1")
    assert [(f.code, f.slots["number"]) for f in changed.attention] == [("missing", 6)]
    assert states(shelf)["06"] == "missing"
    assert [f.code for f in count(shelf, ["6"], location="drawer 2").attention] == ["found", "lies-elsewhere"]
    assert set(states(shelf).values()) == {"free"}
    with pytest.raises(RefusedError):
        count(shelf, ["1", "box-9/01"])


def test_a_box_goes_back(shelf: Shelf, job: Path) -> None:
    """A box is sent back with what is free of it, and not while anything of it is set aside."""
    set_aside(shelf, read_planned(job))
    with pytest.raises(RefusedError) as refused:
        send_back(shelf, "box-1")
    assert codes(refused.value) == ["as-it-is"] * 2
    put_back(shelf, "first")
    send_back(shelf, "box-1")
    assert set(states(shelf).values()) == {"sent-back"}


def test_an_event_is_corrected_by_another(shelf: Shelf, job: Path) -> None:
    """Correcting restores what was before, the event stays, and a second correction brings it back again."""
    set_aside(shelf, read_planned(job))
    first = held(shelf)[0]
    dropped = scrap(shelf, str(first), "dropped").events[0]
    (undone,) = correct(shelf, dropped.number, note="it was the other one").events
    assert (undone.action, undone.from_state, undone.to_state, undone.corrects) == (
        "correct",
        "scrapped",
        "set-aside",
        dropped.number,
    )
    assert len(fitted(shelf, read_planned(job)).events) == 2
    assert [e.action for e in history(shelf, str(first)).events] == [
        "take-in",
        "set-aside",
        "scrap",
        "correct",
        "fitted",
    ]


@pytest.mark.parametrize("by_box", [True, False])
def test_a_box_comes_back(shelf: Shelf, job: Path, by_box: bool) -> None:
    """A box that was sent back by mistake comes back with its shells, by an event of either, as it was; it can be sent
    back again, and a correction of the correction sends it back too. Not if something came after."""
    scrap(shelf, "6", "dropped")
    for _ in range(2):
        sent = send_back(shelf, "box-1").events
        back = correct(shelf, sent[0 if by_box else -1].number).events
        assert [e.corrects for e in back] == [e.number for e in sent] and box_state(shelf, "box-1") == "opened"
        assert sorted(states(shelf).values()) == ["free"] * 5 + ["scrapped"]
    correct(shelf, back[-1 if by_box else 0].number)
    assert box_state(shelf, "box-1") == "sent-back"
    with pytest.raises(RefusedError) as refused:
        correct(shelf, sent[0].number)
    assert set(codes(refused.value)) == {"later-event"}


def test_a_sealed_box_comes_back(shelf: Shelf, tmp_path: Path) -> None:
    """A sealed box that was sent back is shown among what was, and by mistake is sealed again; taking it in has nothing
    before it."""
    put(tmp_path / "sealed.csv", SEALED)
    take_in(shelf, read_stock([tmp_path / "sealed.csv"], "in"))
    (sent,) = send_back(shelf, "box-9").events
    gone = show(shelf, Filters(state="sent-back"))
    assert [box.name for box in gone.sealed] == ["box-9"] and "1 sealed, sent back" in shown_text(gone, "in")
    assert show(shelf, Filters(state="free")).sealed == ()
    (back,) = correct(shelf, sent.number).events
    assert (back.from_state, back.to_state, back.corrects) == ("sent-back", "sealed", sent.number)
    assert {box.name for box in show(shelf).sealed} == {"box-8", "box-9"}
    with pytest.raises(RefusedError) as refused:
        correct(shelf, 1)
    assert codes(refused.value) == ["nothing-before"]


def box_state(shelf: Shelf, name: str) -> str:
    with shelf.reading() as connection:
        return str(connection.execute(select(BOXES.c.state).where(BOXES.c.name == name)).scalar_one())


def test_only_the_last_event_of_a_shell_is_corrected(shelf: Shelf, job: Path) -> None:
    """A later event of the same shell stands in the way; the first of all has nothing before it."""
    moved = move(shelf, ["1"], "drawer 2").events[0]
    move(shelf, ["1"], "drawer 3")
    for number, code in ((moved.number, "later-event"), (1, "nothing-before"), (999, "unknown-event")):
        with pytest.raises(RefusedError) as refused:
            correct(shelf, number)
        assert codes(refused.value) == [code]


def test_a_place_that_was_taken_is_not_restored(shelf: Shelf, job: Path) -> None:
    """A shell whose place in the job another one has by now cannot come back to it."""
    set_aside(shelf, read_planned(job))
    gone = held(shelf)[0]
    dropped = scrap(shelf, str(gone), "dropped").events[0]
    put(job / "shells/box-1.csv", BOX.replace(f"0{gone},rod", f"1{gone},rod"))
    save_plan(job)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    with pytest.raises(RefusedError) as refused:
        correct(shelf, dropped.number)
    assert codes(refused.value) == ["place-taken"] and states(shelf)[f"0{gone}"] == "scrapped"


def test_an_action_that_fails_leaves_nothing(shelf: Shelf, job: Path) -> None:
    """What an action wrote before it failed is gone with it, its events as well."""
    with pytest.raises(RefusedError):
        move(shelf, ["1", "77"], "drawer 2")
    with pytest.raises(RuntimeError), shelf.writing() as connection:
        connection.execute(EVENTS.delete())
        raise RuntimeError
    assert len(history(shelf, "1").events) == 1 and show(shelf).shells[0].location == "drawer 1"


def test_hostile_names_never_become_commands(shelf: Shelf, tmp_path: Path) -> None:
    """A name that looks like a command of the database is a name."""
    name = "x'); DROP TABLE shells;--"
    folder = write_job(tmp_path / "odd", shells=f'shell,kind,half,wall\n"{name}",rod,upper,0.0618\n')
    take_in(shelf, read_stock([folder]))
    assert [s.shell for s in show(shelf).shells] == [name]
    assert history(shelf, f"box-1/{name}").shell.number == 1
