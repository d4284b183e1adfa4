"""assignment.json, as `fitmatch assign --save` wrote it: which shells it puts where, and for which inputs.

Only what commands need is read, so that a document with fewer or more keys still loads; figures are calculated afresh.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from fitmatch.intake.common.findings import SAVED_PLAN, Findings, Paper
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import SIDES

FILE: Final = "assignment.json"
PAPER: Final = Paper(FILE, (SAVED_PLAN,))
NEWEST_SCHEMA: Final = 1  # raise it together with a reader for the new meaning; older documents must still load
CHANGED: Final = (
    f"the inputs have changed since {FILE} was saved: the plan may no longer be the best; "
    "`fitmatch assign --save` makes a new one"
)

_AGAIN: Final = "save the plan again with `fitmatch assign --save`"


class SavedPlan(NamedTuple):
    """`shells`: box and name, by position and side. `housings`: by position, the row its housing came from if that is
    another one. `digest` is that of the inputs; None: the document has none."""

    data: bytes
    digest: str | None
    shells: Mapping[tuple[str, str], ShellKey]
    housings: Mapping[str, str]


def read_saved_plan(folder: Path, findings: Findings) -> SavedPlan | None:
    """The plan in a job folder; None if there is none or, with a problem noted, if it cannot be read."""
    if not (folder / FILE).exists():
        return None
    data = read_bytes(folder, PAPER, findings)
    if data is None:
        return None
    try:
        document = json.loads(data.decode("utf-8-sig"))
        schema = document["schema"]
        if type(schema) is int and schema > NEWEST_SCHEMA:
            text = f"was saved by a newer fitmatch (schema {schema}, known up to {NEWEST_SCHEMA}); {_AGAIN}"
            findings.report("newer-plan", text, PAPER)
            return None
        if type(schema) is not int or schema < 1:
            raise ValueError
        name, digest = _job_in(document, folder)
        mine = [p for p in document["positions"] if p.get("job") == name]
        shells = {(str(p["position"]), side): _key(p[side]) for p in mine for side in SIDES}
        housings = {
            str(p["position"]): str(p["housing"]) for p in mine if p.get("housing", p["position"]) != p["position"]
        }
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        findings.report("broken-plan", f"is not a plan saved by fitmatch; {_AGAIN}, or remove the file", PAPER)
        return None
    return SavedPlan(data, digest if isinstance(digest, str) else None, shells, housings)


def _job_in(document: Mapping[str, Any], folder: Path) -> tuple[str | None, Any]:
    """The name and the digest of the job in this folder. A plan of a single job does not name it; a plan of several
    names each by the last folders of its path, and cannot know of a folder renamed since."""
    if "jobs" not in document:
        return None, document.get("digest")
    path = folder.resolve().parts
    for job in document["jobs"]:
        last = tuple(job["job"].split("/"))
        if path[-len(last) :] == last:
            return job["job"], job.get("digest")
    return "", None


def _key(shell: Any) -> ShellKey:
    """Box and name of a placed shell."""
    box, name = shell["box"], shell["shell"]
    if not isinstance(box, str) or not isinstance(name, str):
        raise TypeError
    return box, name


def with_digest(plan: SavedPlan, digest: str) -> bytes | None:
    """The document with this digest of the inputs, every other byte as it was; None if that cannot be done safely."""
    old = json.dumps(plan.digest).encode()
    if plan.digest is None or plan.data.count(old) != 1:
        return None
    return plan.data.replace(old, json.dumps(digest).encode())
