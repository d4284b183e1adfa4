"""assignment.json, as `fitmatch assign --save` wrote it: which shells it puts where, and for which inputs.

Only what commands need is read, so that a document with fewer or more keys still loads; figures are calculated afresh.
Plans that `--force` has replaced are kept in the same folder, the first as assignment-1.json.
"""

import json
import os
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, Final, NamedTuple

from fitmatch.intake.common.findings import SAVED_PLAN, Findings, Paper
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.parts import SIDES
from fitmatch.wording import listed, shorten

FILE: Final = "assignment.json"
PAPER: Final = Paper(FILE, (SAVED_PLAN,))
NEWEST_SCHEMA: Final = 1  # raise it together with a reader for the new meaning; older documents must still load
PLANNED: Final = (*SIDES, "housing")  # columns of assembled.csv in which a blank cell means what the plan has
_KEPT: Final = re.compile(r"assignment-([1-9][0-9]{0,8})\.json")
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME: Final = re.compile(r"[0-9]{2}:[0-9]{2}:[0-9]{2}")
_LARGEST_NUMBER: Final = 999_999
_AGAIN: Final = "save the plan again with `fitmatch assign --save`"


class SavedPlan(NamedTuple):
    """`shells`: box and name, by position and side. `housings`: by position, the row its housing came from if that is
    another one. `outside`: the positions outside their limits; `in_doubt`: those that rest on readings in doubt.
    `digest` is that of the inputs; None: the document has none. `number` counts the plans saved in the folder, the
    first being 1; `date` and `time`: when it was saved, as numbers begin again where the file was removed. A plan of an
    earlier version may have none of these. `job`: what it calls this job, if it is a plan of several, `others` what it
    calls these, `beside` their folders, as seen from this one, and `together` tells it from any other plan of several:
    which shells and housings it gives to which job. Of a plan with the shelf's shells: `numbers` of these, by position
    and side, how they were `described`, and the digest of their `readings`."""

    data: bytes
    digest: str | None
    shells: Mapping[tuple[str, str], ShellKey]
    housings: Mapping[str, str]
    outside: frozenset[str]
    number: int | None = None
    date: str | None = None
    time: str | None = None
    job: str | None = None
    beside: tuple[str, ...] = ()
    numbers: Mapping[tuple[str, str], int] = {}
    readings: str | None = None
    in_doubt: frozenset[str] = frozenset()
    described: Mapping[tuple[str, str], str] = {}
    others: tuple[str, ...] = ()
    together: str = ""

    def is_of(self, files: str) -> bool:
        """Whether it was made for files of this digest."""
        if self.readings is None:
            return self.digest == files
        from fitmatch.records.shelf.shelved import digest_with

        return self.digest == digest_with(files, self.readings)

    @property
    def is_of_the_shelf(self) -> bool:
        """Whether all of its shells are on the shelf. That says whose they are, and gives none to two jobs, whatever
        plan another job has."""
        return self.readings is not None and self.numbers.keys() == self.shells.keys()

    def says(self, position: str, column: str) -> str | None:
        """What it has at a position in one of `PLANNED`: BOX/NAME, None if it has no shell there, or the row of the
        housing."""
        if column == "housing":
            return self.housings.get(position, position)
        key = self.shells.get((position, column))
        return None if key is None else full_name(key)


def read_saved_plan(folder: Path, findings: Findings) -> SavedPlan | None:
    """The plan in a job folder; None if there is none or, with a problem noted, if it cannot be read."""
    if not os.path.lexists(folder / FILE):
        return None
    data = read_bytes(folder, PAPER, findings)
    return None if data is None else plan_in(data, folder, findings)


def replaced_plans(folder: Path) -> dict[str, SavedPlan | None]:
    """The plans that others have replaced, by the names of their files, the oldest first; None: one that cannot be
    read."""
    found: dict[str, SavedPlan | None] = {}
    for name in kept_plans(folder):
        data = read_bytes(folder, Paper(name, (SAVED_PLAN,)), Findings())
        found[name] = None if data is None else plan_in(data, folder, Findings())
    return found


def kept_plans(folder: Path) -> list[str]:
    """The names of their files."""
    return list(_kept(folder).values())


def what_each_has(plans: Mapping[str, SavedPlan | None], position: str, columns: Sequence[str]) -> str:
    """What each plan, by the name of its file, has at a position in some of `PLANNED`: said once if all have the same.
    None: a plan that cannot be read, which may have anything there."""
    has = {name: plan and _has(plan, position, columns) for name, plan in plans.items()}
    same = set(has.values())
    if len(has) > 1 and len(same) == 1 and None not in same:
        return f"{'both' if len(has) == 2 else f'all {len(has)}'} plans have {same.pop()} there"
    return ", ".join(f"{name} {'cannot be read' if what is None else f'has {what}'}" for name, what in has.items())


def _has(plan: SavedPlan, position: str, columns: Sequence[str]) -> str:
    said = [shorten(name) for column in columns if (name := plan.says(position, column)) is not None]
    return listed(said) if len(said) == len(columns) else "nothing"


def next_name(folder: Path) -> str:
    """The file for the next plan that is replaced."""
    return f"assignment-{max(_kept(folder), default=0) + 1}.json"


def _kept(folder: Path) -> dict[int, str]:
    matches = (_KEPT.fullmatch(path.name) for path in folder.glob("assignment-*.json"))
    return dict(sorted((int(match.group(1)), match.group()) for match in matches if match))


def plan_in(data: bytes, folder: Path, findings: Findings) -> SavedPlan | None:
    """The plan for the job in this folder that a document contains; None, with a problem noted, if it contains none."""
    try:
        document = json.loads(data.decode("utf-8-sig"))
        schema = document["schema"]
        if type(schema) is int and schema > NEWEST_SCHEMA:
            text = f"was saved by a newer fitmatch (schema {schema}, known up to {NEWEST_SCHEMA}); {_AGAIN}"
            findings.report("newer-plan", text, PAPER)
            return None
        if type(schema) is not int or schema < 1:
            raise ValueError
        name, own = _job_in(document, folder)
        digest = own.get("digest")
        mine = [p for p in document["positions"] if p.get("job") == name]
        shells = {(str(p["position"]), side): _key(p[side]) for p in mine for side in SIDES}
        numbers = {(str(p["position"]), s): int(p[s]["number"]) for p in mine for s in SIDES if "number" in p[s]}
        described = {
            (str(p["position"]), s): str(p[s]["described"]) for p in mine for s in SIDES if "described" in p[s]
        }
        readings = None
        if "shelf" in document:  # of a folder renamed since it has none, and must still be known for one of the shelf
            readings = "" if not own else (own if "jobs" in document else document["shelf"])["readings"]
        names, together = _of_several(document, name) if "jobs" in document else ((), "")
        outside = frozenset(str(p["position"]) for p in mine if p.get("within_limits") is False)
        in_doubt = frozenset(str(p["position"]) for p in mine if p.get("readings_in_doubt") is True)
        housings = {
            str(p["position"]): str(p["housing"]) for p in mine if p.get("housing", p["position"]) != p["position"]
        }
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        findings.report("broken-plan", f"is not a plan saved by fitmatch; {_AGAIN}, or remove the file", PAPER)
        return None
    digest = digest if isinstance(digest, str) else None
    beside = document.get("shared_with")
    others = tuple(filter(None, map(str, beside))) if isinstance(beside, list) else ()
    stamp = _stamp_of(document)
    known = *stamp, name, others, numbers, readings, in_doubt, described
    return SavedPlan(data, digest, shells, housings, outside, *known, names, together)


def _stamp_of(document: Mapping[str, Any]) -> tuple[int | None, str | None, str | None]:
    number, day, at = (document.get(f"plan_{what}") for what in ("number", "date", "time"))
    counted = type(number) is int and 0 < number <= _LARGEST_NUMBER
    dated = isinstance(day, str) and _DAY.fullmatch(day) is not None and _exists(date, day)
    timed = dated and isinstance(at, str) and _TIME.fullmatch(at) is not None and _exists(time, at)
    return number if counted else None, day if dated else None, at if timed else None


def _exists(sort: type[date] | type[time], text: str) -> bool:
    try:
        sort.fromisoformat(text)
    except ValueError:
        return False
    return True


def stamped(document: bytes, folder: Path, before: SavedPlan | None, others: Sequence[Path] = ()) -> bytes:
    """The document with its number, day and time, in place of the plan `before`. A plan with the same shells and
    housings for the same inputs is still that plan, and keeps them. `others`: the folders that share it."""
    after = plan_in(document, folder, Findings())
    assert after is not None
    number, stamp = 1, _now()
    if before is not None:
        number = before.number or 1
        same = (before.shells, before.housings, before.digest) == (after.shells, after.housings, after.digest)
        if not same:
            number += 1
        elif before.date:
            stamp = {"plan_date": before.date} | ({"plan_time": before.time} if before.time else {})
    elif kept := [plan.number or 1 for plan in replaced_plans(folder).values() if plan is not None]:
        number = max(kept) + 1
    shared = {"shared_with": [_seen_from(folder, other) for other in others]} if others else {}
    start = "".join(
        f"  {json.dumps(key)}: {json.dumps(value)},\n"
        for key, value in ({"plan_number": number} | stamp | shared).items()
    )
    assert document.startswith(b"{\n")
    return b"{\n" + start.encode() + document.removeprefix(b"{\n")


def _now() -> dict[str, str]:
    """The day and the time, as the clock on the wall shows them."""
    day, _, time = datetime.now().isoformat(timespec="seconds").partition("T")
    return {"plan_date": day, "plan_time": time}


def _seen_from(folder: Path, other: Path) -> str:
    """The way to another folder, which both may be moved with; the whole of it where there is none."""
    try:
        return Path(os.path.relpath(other.resolve(), folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return other.resolve().as_posix()


def _job_in(document: Mapping[str, Any], folder: Path) -> tuple[str | None, Mapping[str, Any]]:
    """The name of the job in this folder and what belongs to it alone. A plan of a single job does not name it; a plan
    of several names each by the last folders of its path, and cannot know of a folder renamed since."""
    if "jobs" not in document:
        return None, document
    path = folder.resolve().parts
    for job in document["jobs"]:
        last = tuple(job["job"].split("/"))
        if path[-len(last) :] == last:
            return job["job"], job
    return "", {}


def _of_several(document: Mapping[str, Any], own: str | None) -> tuple[tuple[str, ...], str]:
    """What a plan of several jobs calls the others, and what tells it from any other."""
    from hashlib import sha256

    names = [str(job["job"]) for job in document["jobs"]]
    rows = sorted(
        [str(p["job"]), str(p["position"]), *_key(p["upper"]), *_key(p["lower"]), str(p.get("housing"))]
        for p in document["positions"]
    )
    return tuple(name for name in names if name != own), sha256(json.dumps([names, rows]).encode()).hexdigest()


def _key(shell: Any) -> ShellKey:
    """Box and name of a placed shell."""
    box, name = shell["box"], shell["shell"]
    if not isinstance(box, str) or not isinstance(name, str):
        raise TypeError
    return box, name


def with_digest(plan: SavedPlan, files: str) -> bytes | None:
    """The document for files of this digest, every other byte as it was; None if that cannot be done safely."""
    old = json.dumps(plan.digest).encode()
    if plan.digest is None or plan.data.count(old) != 1:
        return None
    digest = files
    if plan.readings is not None:
        from fitmatch.records.shelf.shelved import digest_with

        digest = digest_with(files, plan.readings)
    return plan.data.replace(old, json.dumps(digest).encode())
