"""What the shelf refuses, and what needs attention on it, in sentences that say what to do next."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from fitmatch.facts import Fact
from fitmatch.lengths import with_unit
from fitmatch.names import fault_in_permission, fault_in_text
from fitmatch.wording import as_argument, listed, printable

Slots = Mapping[str, Any]


def words(fact: Fact, unit: str = "in") -> str:
    """One sentence for one fact; names are printed so that a terminal obeys none of them."""
    return printable(_SAID[fact.code](fact.slots, unit))


def _shell(s: Slots) -> str:
    return f"shell {s['number']} ({s['name']})"


def _numbers(s: Slots) -> str:
    return listed([str(number) for number in s["numbers"]], "or")


def _holder(s: Slots) -> str:
    if s["state"] == "fitted":
        return f"is fitted in engine {s['engine']} at {s['position']}"
    return f"is set aside for {s['job']} at {s['position']}"


def _how_it_is(s: Slots) -> str:
    if s["state"] in ("fitted", "set-aside"):
        todo = f"`fitmatch shelf put-back {as_argument(str(s['job']))} {as_argument(str(s['position']))}` frees it"
        return f"{_shell(s)} {_holder(s)}; {todo}"
    why = f" ({s['reason']})" if s["reason"] else ""
    return f"{_shell(s)} is {s['state']}{why}"


def _other_readings(s: Slots, unit: str) -> str:
    was, now = ("not measured" if nm is None else with_unit(nm, unit) for nm in (s["was_nm"], s["is_nm"]))
    text = f"{s['file']}:{s['row']}: {_shell(s)} is on the shelf with other readings, {was} there and {now} here"
    return f"{text}; if it was measured again say --remeasured {s['number']}, if this is another box --new-box"


def _other_half(s: Slots, _: str) -> str:
    text = f"{s['file']}:{s['row']}: {_shell(s)} is on the shelf as another kind or half"
    return f"{text}; correct the file, or say --new-box if this is another box"


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


def _newer(s: Slots, _: str) -> str:
    text = f"the shelf {s['where']} was written by a newer fitmatch (version {s['version']}, known up to {s['known']})"
    return f"{text}; use that one, nothing here was touched"


def _two_jobs(s: Slots, _: str) -> str:
    text = f"another job named {s['job']} has shells set aside, that of {s['folder']}"
    return f"{text}; rename this folder, or put that one's shells back: `fitmatch shelf put-back {s['job']}`"


def _inputs_changed(s: Slots, _: str) -> str:
    text = f"the inputs of {s['job']} have changed since its plan was saved"
    return f"{text}; save a new one with `fitmatch assign --save` and set it aside"


def _position_void(s: Slots, _: str) -> str:
    text = f"{s['position']} of {s['job']} is void: its {s['half']} shell {s['name']} is gone"
    return f"{text}; solve again with `fitmatch assign --save`, then `fitmatch shelf set-aside`"


_SAID: Final[Mapping[str, Callable[[Slots, str], str]]] = {
    # the shelf itself
    "not-an-address": lambda s, _: f"a shelf is a file or a URL that begins with postgresql://, not {s['scheme']}://",
    "newer": _newer,
    "not-a-shelf": lambda s, _: f"{s['where']} is no shelf of fitmatch; name another file, nothing here was touched",
    "damaged": lambda s, _: f"the shelf {s['where']} is damaged; go back to a copy of it",
    "cannot-open": lambda s, _: f"the shelf {s['where']} cannot be opened; check the path and its permissions",
    "no-shelf": lambda s, _: f"there is no shelf {s['where']}; correct the path, or FITMATCH_DB",
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
    "unknown-job": lambda s, _: f"no job named {s['job']} has ever had shells set aside; a job is named as its folder",
    "unknown-engine": lambda s, _: f"there is no engine {s['number']}; `fitmatch shelf engines` lists them",
    "unknown-event": lambda s, _: f"there is no event {s['number']}; `fitmatch shelf history SHELL` lists them",
    # taking in
    "future": lambda s, _: f"{s['name']}: {s['column']} {s['date']} is in the future; correct the date",
    "other-readings": _other_readings,
    "other-half": _other_half,
    "not-remeasured": lambda s, _: f"--remeasured {s['name']}: no such shell of the shelf has a reading in these files",
    # setting aside and putting back
    "no-plan": lambda s, _: f"{s['job']} has no saved plan; make one with `fitmatch assign --save`",
    "inputs-changed": _inputs_changed,
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
        f"{s['position']} of {s['job']} is fitted with other shells; first `fitmatch shelf put-back "
        f"{as_argument(s['job'])} {as_argument(s['position'])}`"
    ),
    "nothing-held": lambda s, _: f"{s['job']} has nothing set aside",
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
    "void": lambda s, _: (
        f"{s['position']} of {s['job']} is void, as a shell of it is no longer set aside; solve again with "
        "`fitmatch assign --save`, then `fitmatch shelf set-aside`"
    ),
    "not-to-be-assembled": lambda s, _: (
        f"{s['position']} of {s['job']} is outside its limits, NOT TO BE ASSEMBLED; only with the engine maker's "
        f"written permission, quoted: --permission {as_argument(s['position'] + '=TEXT')}"
    ),
    "permission-unknown": lambda s, _: f"--permission {s['position']}: no such position is being fitted",
    "permission-empty": lambda s, _: f"--permission {s['position']}: quote what the engine maker allows in writing",
    "permission-no": lambda s, _: f"--permission {s['position']}: {fault_in_permission(s['text'])}",
    "permission-idle": lambda s, _: f"--permission {s['position']}: it is inside its limits and needs none",
    "fitted-outside": lambda s, _: f"{s['position']} is fitted OUT OF LIMITS, permitted: {s['text']}",
    # handling and counting
    "bad-text": lambda s, _: f"the {s['what']} {fault_in_text(s['text'], s['what'])}",
    "no-reason": lambda s, _: "say why it is scrapped",
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
