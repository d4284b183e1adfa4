"""What the shelf refuses, and what needs attention on it, in sentences that say what to do next."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from fitmatch.facts import Fact
from fitmatch.lengths import with_unit
from fitmatch.names import fault_in_permission, fault_in_text
from fitmatch.shelf.answers.shells import Difference
from fitmatch.wording import as_argument, listed, printable, seen_from_here

Slots = Mapping[str, Any]
_LIKELY: Final = "`fitmatch assembled` tells what is likely"


def words(fact: Fact, unit: str = "in") -> str:
    """One sentence for one fact; names are printed so that a terminal obeys none of them."""
    return printable(_SAID[fact.code](fact.slots, unit))


def _shell(s: Slots) -> str:
    return f"shell {s['number']} ({s['name']})"


def _again(s: Slots) -> str:
    """The next commands for a job, as they are to be typed."""
    job, db = seen_from_here(Path(s["folder"])), _db(s)
    jobs = " ".join([job, *(seen_from_here(Path(other)) for other in s["beside"])])
    shelf = f" --from-shelf{db}" if s["from_shelf"] else ""
    return f"solve again: `fitmatch assign {jobs}{shelf} --save`, then `fitmatch shelf set-aside {job}{db}`"


def _db(s: Slots) -> str:
    """The shelf, if it was named."""
    return f" --db {as_argument(str(s['db']))}" if s.get("db") else ""


def difference(one: Difference, unit: str) -> str:
    """What a column said before, and what it says after."""
    before, after = (_cell(one, value, unit) for value in (one.before, one.after))
    return printable(f"{_column(one)}: {before} > {after}")


def _changes(s: Slots, unit: str) -> str:
    return listed([f"{_column(c)} is {_cell(c, c.after, unit)}, was {_cell(c, c.before, unit)}" for c in s["changes"]])


def _column(one: Difference) -> str:
    return one.what.removesuffix("_nm")


def _cell(one: Difference, value: object, unit: str) -> str:
    if one.what.endswith("_nm") and isinstance(value, int):
        return with_unit(value, unit)
    return str(value or "empty")


def _noted_otherwise(s: Slots) -> str:
    from fitmatch.report.words.with_shells_in import AND_THEN, FIND_OUT, noted_otherwise

    told, find_out = "; ".join(noted_otherwise(s["noted"])), f"{FIND_OUT[0].lower()}{FIND_OUT[1:]}"
    return f"{s['position']} of {s['job']}: {told}: {find_out} before it is recorded as fitted. {AND_THEN}"


def _numbers(s: Slots) -> str:
    return listed([str(number) for number in s["numbers"]], "or")


def _holder(s: Slots) -> str:
    if s["state"] == "fitted":
        return f"is fitted in engine {s['engine']} at {s['position']}"
    return f"is set aside for {s['job']} at {s['position']}"


def _how_it_is(s: Slots) -> str:
    if s["state"] in ("fitted", "set-aside"):
        todo = _out_of_engine(s) if s["state"] == "fitted" else f"{_back(s)} frees it"
        return f"{_shell(s)} {_holder(s)}; {todo}"
    why = f" ({s['reason']})" if s["reason"] else ""
    return f"{_shell(s)} is {s['state']}{why}"


def _other_readings(s: Slots, unit: str) -> str:
    was, now = ("not measured" if nm is None else with_unit(nm, unit) for nm in (s["was_nm"], s["is_nm"]))
    other = [c for c in s["changes"] if c.what != "wall_nm"]
    found = [f"{_column(c)} {_cell(c, c.before, unit)} there and {_cell(c, c.after, unit)} here" for c in other]
    if was != now or not found:
        found.insert(0, f"other readings, {was} there and {now} here")
    text = f"{s['file']}:{s['row']}: {_shell(s)} is on the shelf with {listed(found)}"
    return f"{text}; if it was measured again say --remeasured {s['number']}, if this is another box --new-box"


def _other_half(s: Slots, _: str) -> str:
    text = f"{s['file']}:{s['row']}: {_shell(s)} is on the shelf as another kind or half"
    return f"{text}; correct the file, or say --new-box if this is another box"


def _older_than_teardown(s: Slots, _: str) -> str:
    text = f"{s['file']}:{s['row']}: this file is older than the teardown of engine {s['engine']}, in which {_shell(s)}"
    text = f"{text} has run: its reading is {'one ' if s.get('same_day') else ''}from before"
    todo = f"write today's reading into it, with its day in `measured_on`, and say --remeasured {s['number']}"
    late = "; if it truly reads the same, measure it on a later day" if s.get("same_day") else ""
    return f"{text}; {todo}{late}"


def _measured_inside(s: Slots, _: str) -> str:
    text = f"{s['file']}:{s['row']}: {_shell(s)} {_holder(s)} and cannot be measured inside it"
    return f"{text}; {_out_of_engine(s)}"


def _measured_missing(s: Slots, _: str) -> str:
    where = f" --location {as_argument(s['location'])}" if s["location"] else ""
    text = f"{_shell(s)} was measured again and is still missing by the records; `fitmatch shelf count FILE{where}"
    return f"{text}{_db(s)}` with all that lies there in FILE finds it again"


def _out_of_engine(s: Slots) -> str:
    """How a fitted shell comes out: one that has run never as if it had not."""
    return f"after a trial fit: {_back(s)}; an engine that has run: {_teardown(s)}"


def _back(s: Slots) -> str:
    return f"`fitmatch shelf put-back {as_argument(str(s['job']))} {as_argument(str(s['position']))}{_db(s)}`"


def _teardown(s: Slots) -> str:
    return f"`fitmatch shelf teardown {s['engine']} FILE{_db(s)}`"


def _as_not_run(s: Slots, _: str) -> str:
    """What a position that was fitted counts as once it is put back."""
    text = f"the shells of {listed(s['positions'])} of {s['job']} are what they were before engine {s['engine']}"
    return f"{text}, as not run; if it ran: `fitmatch shelf correct {s['event']}{_db(s)}`, then {_teardown(s)}"


def _grew(s: Slots, unit: str) -> str:
    part = "the journal" if s["part"] == "journal" else f"the {s['part']} shell ({s['name']})"
    by = with_unit(s["after_nm"] - s["before_nm"], unit)
    todo = "clean it and measure it again" if s["part"] == "journal" else "clean it, measure it again and take it in"
    return f"{part} of {s['position']} reads {by} more than before, which is dirt, varnish or a mistake; {todo}"


def _slipped(s: Slots, unit: str) -> str:
    part = "the journal" if s["part"] == "journal" else f"the {s['part']} shell ({s['name']})"
    was, now = with_unit(s["before_nm"], unit), with_unit(s["after_nm"], unit)
    text = f"{part} of {s['position']} reads {now} and was {was}: likely a slip of the decimal point"
    return f"{text}; correct the reading" if s["part"] == "journal" else f"{text}; measure it again and take it in"


def _read(s: Slots, unit: str) -> str:
    """A clearance that was read with the shells in, and how far it is outside its limits."""
    over, limit = (s["shortfall_nm"], "below min") if s["shortfall_nm"] else (s["excess_nm"], "above max")
    off = f"{with_unit(over, unit)} {limit}{' at its tightest' if s['shortfall_nm'] else ''}"
    return f"{_assembled(s)} {with_unit(s['assembled_nm'], unit)} by {s['method']}, {off}: NOT TO BE RUN"


def _assembled(s: Slots) -> str:
    return f"assembled clearance{' to the metal' if s['to_metal'] else ''}"


def _read_apart(s: Slots, unit: str) -> str:
    read, calculated = (with_unit(s[name], unit) for name in ("assembled_nm", "calculated_nm"))
    text = f"{s['position']}: {_assembled(s)} {read} by {s['method']}, calculated {calculated}"
    return f"{text}: {str(s['verdict']).upper()}; find out why before the engine runs: {_LIKELY}"


def _newer(s: Slots, _: str) -> str:
    text = f"the shelf {s['where']} was written by a newer fitmatch (version {s['version']}, known up to {s['known']})"
    return f"{text}; use that one, nothing here was touched"


def _two_jobs(s: Slots, _: str) -> str:
    text = f"another job named {s['job']} has shells set aside, that of {s['folder']}"
    back = f"`fitmatch shelf put-back {as_argument(s['folder'])}{_db(s)}`"
    return f"{text}; rename this folder, or put that one's shells back: {back}"


def _permission(s: Slots) -> str:
    """On what alone it may be fitted as it is."""
    text = as_argument(s["position"] + "=TEXT")
    return f"only with the engine maker's written permission, quoted: --permission {text}"


def _release(s: Slots) -> str:
    """How a hold is lifted."""
    return f"`fitmatch shelf release {s['number']} REASON{_db(s)}`"


def _inputs_changed(s: Slots, _: str) -> str:
    return f"the inputs of {s['job']} have changed since its plan was saved; {_again(s)}"


def _nothing_held(s: Slots, _: str) -> str:
    text = f"{s['job']} has nothing set aside"
    if not s.get("fitted"):
        return text
    are = "is" if len(s["fitted"]) == 1 else "are"
    return f"{text}; {listed(s['fitted'])} of it {are} fitted; {_out_of_engine({**s, 'position': s['fitted'][0]})}"


def _position_void(s: Slots, _: str) -> str:
    text = f"{s['position']} of {s['job']} is void: its {s['half']} shell {s['name']} is gone"
    return f"{text}; {_again(s)}"


_SAID: Final[Mapping[str, Callable[[Slots, str], str]]] = {
    # the shelf itself
    "not-an-address": lambda s, _: f"a shelf is a file or a URL that begins with postgresql://, not {s['scheme']}://",
    "newer": _newer,
    "not-a-shelf": lambda s, _: f"{s['where']} is no shelf of fitmatch; name another file, nothing here was touched",
    "damaged": lambda s, _: f"the shelf {s['where']} is damaged; go back to a copy of it",
    "cannot-open": lambda s, _: f"the shelf {s['where']} cannot be opened; check the path and its permissions",
    "no-shelf": lambda s, _: f"there is no shelf {s['where']}; correct the path of --db, or FITMATCH_DB",
    "cannot-make": lambda s, _: f"the shelf {s['where']} cannot be made: {s['why']}; check the path",
    "busy": lambda s, _: (
        f"the shelf {s['where']} is in use by another command for more than {s['seconds']:g} s; try again"
    ),
    "read-only": lambda s, _: f"the shelf {s['where']} may only be read; check its permissions and those of its folder",
    "full": lambda s, _: f"the disk of the shelf {s['where']} is full; make room and try again, nothing was changed",
    "broken-disk": lambda s, _: f"the disk of the shelf {s['where']} fails; nothing was changed",
    "not-let-in": lambda s, _: f"the server of {s['where']} does not let this user in; check name and password",
    "no-database": lambda s, _: f"the server of {s['where']} has no such database; make it there first",
    "no-connection": lambda s, _: f"the server of {s['where']} cannot be reached; check the address, and that it runs",
    # names
    "unknown-shell": lambda s, _: f"there is no shell {s['name']} on the shelf; write its shelf number or BOX/NAME",
    "ambiguous": lambda s, _: f"two boxes share the name of {s['name']}; write the shelf number, {_numbers(s)}",
    "unknown-family": lambda s, _: (
        f"no free shell of the shelf has the family {s['family']}; `fitmatch shelf show --group-by family` lists them"
    ),
    "unknown-box": lambda s, _: f"there is no box {s['name']} on the shelf; `fitmatch shelf show` lists them",
    "ambiguous-box": lambda s, _: f"several boxes are named {s['name']}",
    "shell-or-box": lambda s, _: (
        f"{s['name']} is the number of a shell and a sealed box; write BOX/NAME for the one, {s['name']}/ for the other"
    ),
    "unknown-job": lambda s, _: f"no job named {s['job']} has ever had shells set aside; a job is named as its folder",
    "unknown-engine": lambda s, _: f"there is no engine {s['number']}; `fitmatch shelf engines` lists them",
    "unknown-event": lambda s, _: f"there is no event {s['number']}; `fitmatch shelf history SHELL` lists them",
    # taking in
    "future": lambda s, _: f"{s['name']}: {s['column']} {s['date']} is in the future; correct the date",
    "other-readings": _other_readings,
    "other-half": _other_half,
    "older-than-teardown": _older_than_teardown,
    "measured-inside": _measured_inside,
    "measured-missing": _measured_missing,
    "worn-and-thicker": lambda s, unit: (
        f"{_shell(s)} has run, and reads {with_unit(s['is_nm'], unit)} now, thicker than {with_unit(s['was_nm'], unit)}"
        " since: no shell grows, so that one of the two readings is wrong; measure it again"
    ),
    "not-remeasured": lambda s, _: f"--remeasured {s['name']}: no such shell of the shelf has a reading in these files",
    # setting aside and putting back
    "no-plan": lambda s, _: (
        f"{s['job']} has no saved plan; make one with `fitmatch assign {seen_from_here(Path(s['folder']))} "
        f"--from-shelf{_db(s)} --save`"
    ),
    "inputs-changed": _inputs_changed,
    "no-longer-shared": lambda s, _: f"{s['why']}; {s['cure']}",
    "taken-down": lambda s, _: (
        f"engine {s['number']}, built by this plan of {s['job']}, was taken down on {s['day']}; its record is "
        f"`fitmatch sheet --engine {s['number']}{_db(s)}`"
    ),
    "two-jobs": _two_jobs,
    "not-on-shelf": lambda s, _: f"shell {s['name']} of the plan is not on the shelf; take it in first",
    "reads-otherwise": lambda s, _: (
        f"shell {s['name']} has other readings in the job than on the shelf; "
        "take the job in again with --remeasured or --new-box"
    ),
    "held": lambda s, _: f"{_shell(s)} {_holder(s)}",
    "not-there": lambda s, _: _how_it_is(s) + "; solve again without it",
    "ran-elsewhere": lambda s, _: (
        f"{_shell(s)} was used in {s['job']} {s['position']} {s['half']} (engine {s['engine']}): only for there"
    ),
    "fitted-otherwise": lambda s, _: (
        f"{s['position']} of {s['job']} is fitted with other shells, which come out first; {_out_of_engine(s)}"
    ),
    "nothing-held": _nothing_held,
    "as-not-run": _as_not_run,
    "nothing-there": lambda s, _: f"{s['job']} has nothing set aside or fitted at {s['position']}",
    "outside-limits": lambda s, _: f"{s['position']} is outside its limits: NOT TO BE ASSEMBLED",
    "in-doubt": lambda s, _: (
        f"{s['position']} rests on readings in doubt; measure them again before anything is assembled: "
        "`fitmatch check` tells which"
    ),
    "no-shells": lambda s, _: f"{s['position']} has no shells",
    "other-folder": lambda s, _: (
        f"{s['given']} is not the folder of {s['job']} on the shelf, which is {s['folder']}; name that one"
    ),
    # fitting
    "other-plan": lambda s, _: (
        f"what {s['job']} has set aside is another plan; `fitmatch shelf set-aside` this one first"
    ),
    "not-set-aside": lambda s, _: f"{s['job']} has nothing set aside for {s['position']}",
    "already-fitted": lambda s, _: f"{s['position']} of {s['job']} is fitted already",
    "void": lambda s, _: f"{s['position']} of {s['job']} is void, as a shell of it is no longer set aside; {_again(s)}",
    "void-on-hold": lambda s, _: (
        f"{s['position']} of {s['job']} is void: {s['name']} is on hold ({s['hold']}); {_again(s)}; or, once that is "
        f"settled, {_release(s)}"
    ),
    "void-described": lambda s, unit: (
        f"{s['position']} of {s['job']} is void, planned with {s['name']} as it was: {_changes(s, unit)}; {_again(s)}"
    ),
    "fitted-on-hold": lambda s, _: (
        f"{_shell(s)}, fitted in engine {s['engine']} at {s['position']}, is on hold ({s['hold']}): that engine is "
        f"not to run until this is settled; then {_release(s)}"
    ),
    "fitted-described": lambda s, unit: (
        f"{_shell(s)}, fitted in engine {s['engine']} at {s['position']}, is described otherwise than it was fitted: "
        f"{_changes(s, unit)}; check whether it belongs there before the engine runs"
    ),
    "noted-otherwise": lambda s, _: _noted_otherwise(s),
    "not-to-be-assembled": lambda s, _: (
        f"{s['position']} of {s['job']} is outside its limits, NOT TO BE ASSEMBLED; {_permission(s)}"
    ),
    "not-to-be-run": lambda s, unit: (
        f"{s['position']} of {s['job']}: {_read(s, unit)}; take it apart and find out why: {_LIKELY}; fitted so "
        f"{_permission(s)}"
    ),
    "read-outside": lambda s, unit: f"{s['position']}: {_read(s, unit)}; take it apart and find out why: {_LIKELY}",
    "read-apart": _read_apart,
    "permission-unknown": lambda s, _: f"--permission {s['position']}: no such position is being fitted",
    "permission-empty": lambda s, _: f"--permission {s['position']}: quote what the engine maker allows in writing",
    "permission-no": lambda s, _: f"--permission {s['position']}: {fault_in_permission(s['text'])}",
    "permission-idle": lambda s, _: f"--permission {s['position']}: it is inside its limits and needs none",
    "nothing-new": lambda s, _: (
        f"{s['job']} has nothing set aside, and no reading with its shells in that is not on record"
    ),
    "fitted-outside": lambda s, _: f"{s['position']} is fitted OUT OF LIMITS, permitted: {s['text']}",
    # handling and counting
    "bad-text": lambda s, _: f"the {s['what']} {fault_in_text(s['text'], s['what'])}",
    "no-reason": lambda s, _: f"say why it is {s['what']}",
    "lifts-hold": lambda s, _: (
        f"correcting event {s['event']} lifts the hold of {_shell(s)}: {s['hold']}; say with --note why it is no "
        "longer on hold"
    ),
    "not-on-hold": lambda s, _: f"{_shell(s)} is not on hold",
    "as-it-is": lambda s, _: _how_it_is(s),
    "position-void": _position_void,
    "box-gone": lambda s, _: f"box {s['name']} was sent back already",
    "nothing-free": lambda s, _: f"nothing of box {s['name']} is free",
    "missing": lambda s, _: f"{_shell(s)} is missing",
    "found": lambda s, _: f"{_shell(s)} was missing and is found",
    "not-expected": lambda s, _: f"{_shell(s)} lies there, and is {s['state']} by the records",
    "lies-elsewhere": lambda s, _: (
        f"{_shell(s)} lies there, and by the records at {s['location'] or 'no location'}; "
        "`fitmatch shelf move` corrects that"
    ),
    # taking an engine down
    "nothing-fitted": lambda s, _: f"engine {s['number']} has no shells any more; `fitmatch shelf engines` lists those",
    "not-measured-again": lambda s, _: (
        f"the {s['part']} shell of {s['position']} ({s['name']}) was not measured again: its wall is not known any more"
    ),
    "grew": _grew,
    "slipped": _slipped,
    "worn-through": lambda s, unit: (
        f"the {s['part']} shell of {s['position']} ({s['name']}) has lost more than its coating, "
        f"{with_unit(s['before_nm'] - s['after_nm'], unit)}"
    ),
    # exporting and importing
    "folder-taken": lambda s, _: f"{s['where']} is there already and is not an empty folder; name another one",
    "cannot-export": lambda s, _: f"nothing was exported to {s['where']}: {s['why']}",
    "not-empty": lambda _s, _: "the shelf is not empty; import into a new one: --db PATH",
    "contradicts": lambda s, _: (
        f"{s['file']}: a row contradicts another one, or a row of another file: a number that stands twice or that "
        "nothing has, or a state that is impossible; export again, or restore what was edited"
    ),
    "holder-contradicts": lambda s, _: (
        f"shells.csv: the state of shell {s['number']} contradicts holds.csv or engine_shells.csv; export again, or "
        "restore what was edited"
    ),
    # correcting
    "nothing-before": lambda s, _: (
        f"nothing was before event {s['number']}; scrap the shell with a reason if it should not be here"
    ),
    "later-event": lambda s, _: f"event {s['later']} came after event {s['number']}; correct that one first",
    "place-taken": lambda s, _: f"event {s['number']} cannot be undone: another shell is at {s['position']} now",
}
