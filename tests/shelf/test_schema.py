"""What every command of the shelf prints as JSON is what its schema says, and the schema says all of it."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.commands import Ran
from made.intake_jobs import put, write_job
from made.shelves import BOX, HOSTILE, ONE_ROD, SEALED, save_plan
from oracles.schemas import SHELF

from fitmatch.cli.shelf.main import command as group

DOCUMENTS = [entry["$ref"].rpartition("/")[2] for entry in SHELF["anyOf"]]
GAUGES = """\
title = "Pump engine"
unit = "in"
[fit.rod]
target = 0.0022
min = 0.0018
max = 0.0028
family = ["narrow-2"]
[gauge.mic]
limit = 0.0001
repeatability = 0.00005
[measured.rod]
journal = "mic"
housing_bore = "mic"
wall = "mic"
"""
SECOND = """\
shell,kind,half,wall,family,price,opened,seller,hold,note
1,rod,upper,0.0618,narrow-2,80.5,2025-03-01,a shop,,
2,rod,lower,,narrow-2,,,,dented,a note
"""


def strict(schema: Any) -> Any:
    """The same, allowing no key that it does not name."""
    if isinstance(schema, list):
        return [strict(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: strict(value) for key, value in schema.items()}
    if "properties" in schema and "required" in schema:
        found["additionalProperties"] = False
    return found


@pytest.fixture
def seen() -> set[str]:
    """The commands that were run."""
    return set()


@pytest.fixture
def run(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: set[str]
) -> Callable[..., Any]:
    """Runs a command and holds what it prints against the entry of the schema for it."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    everything = jsonschema.Draft202012Validator(SHELF)
    entries = {name: jsonschema.Draft202012Validator(strict(SHELF) | {"anyOf": [entry]}) for name, entry in _entries()}

    def _run(name: str, *args: object) -> Any:
        ran = Ran(capsys, "shelf", *args, "--json")
        seen.add(str(args[0]))
        assert ran.status in (0, 1), ran.err
        found = json.loads(ran.out)
        entries[name].validate(found)
        everything.validate(found)
        assert [other for other in DOCUMENTS if entries[other].is_valid(found)] == [name]
        return found

    return _run


def _entries() -> Iterator[tuple[str, Any]]:
    return ((name, {"$ref": f"#/$defs/{name}"}) for name in DOCUMENTS)


def test_every_document(run: Callable[..., Any], seen: set[str], tmp_path: Path) -> None:
    """Of every command, on a shelf that is empty, stocked, set aside, fitted, taken down and put right again."""
    for name, args in {"shown": ("show",), "engines": ("engines",), "worth": ("value",)}.items():
        run(name, *args)
    job = write_job(tmp_path / "first", GAUGES, ONE_ROD, BOX)
    save_plan(job)
    put(tmp_path / "sealed.csv", SEALED)
    put(tmp_path / "box-2.csv", SECOND)
    assert run("taken_in", "take-in", job, "--by", HOSTILE[0])["numbers"] == {"first": 1, "last": 6}
    run("taken_in", "take-in", job)
    run("taken_in", "take-in", tmp_path / "sealed.csv", "--unit", "in")
    run("taken_in", "take-in", tmp_path / "box-2.csv", "--unit", "in")
    put(tmp_path / "box-8.csv", SECOND.replace("80.5", "90"))
    assert run("taken_in", "take-in", tmp_path / "box-8.csv", "--unit", "in")["opened"]
    put(tmp_path / "box-8.csv", SECOND.replace("80.5", "91").replace("0.0618", "0.06185").replace("a note", "another"))
    again = run("taken_in", "take-in", tmp_path / "box-8.csv", "--unit", "in", "--remeasured", "box-8/1")
    assert again["remeasured"] and again["changed"] and again["box_changes"]
    run("shown", "show", "--unit", "mm")
    run("shown", "show", "--older-than", "5")
    every = ("family", "kind", "half", "grade", "step", "wall", "box", "age", "location", "state")
    run("tallied", "show", *(word for name in every for word in ("--group-by", name)))
    run("sets", "sets", job)
    run("sets", "sets", "--family", "narrow-2", "--pairs", "2")
    run("changed", "set-aside", job, "--by", HOSTILE[5])
    held = [shell["number"] for shell in run("shown", "show", "--state", "set-aside")["shells"]]
    run("changed", "put-back", job)
    run("changed", "set-aside", job)
    assert run("changed", "scrap", held[0], "dropped")["attention"]
    last = run("history", "history", held[0])["events"][-1]["number"]
    run("changed", "correct", last)
    run("changed", "fitted", job)
    run("changed", "put-back", job, "R1")
    run("engines", "engines")
    run("changed", "set-aside", job)
    run("changed", "fitted", job)
    run("engine", "engine", "1")
    run("changed", "move", "7", HOSTILE[5])
    put(tmp_path / "counted.csv", "number\n7\n")
    assert run("changed", "count", tmp_path / "counted.csv")["attention"]
    run("changed", "send-back", "box-9")
    run("changed", "send-back", "box-2")
    put(tmp_path / "box-8.csv", "shell,kind,half,wall,hold\n2,rod,lower,,rust\n")
    run("taken_in", "take-in", tmp_path / "box-8.csv", "--unit", "in")
    run("changed", "release", "box-8/2", "polished off")
    run("worth", "value")
    put(tmp_path / "again.csv", "position,journal,upper,lower\nR1,1.8160,0.0617,0.0630\n")
    assert run("torn_down", "teardown", "1", tmp_path / "again.csv", "--gauges", job)["attention"]
    run("engine", "engine", "1")
    for number in held:
        run("history", "history", number)
    run("shown", "show", "--state", "used")
    run("worth", "value", "--unit", "mm")
    run("copied", "export", tmp_path / "out")
    run("copied", "import", tmp_path / "out", "--db", tmp_path / "other.db")
    assert seen == set(group.list_commands(None))


def test_without_gauges_and_never_run(run: Callable[..., Any], tmp_path: Path) -> None:
    """Also where nothing is known of an uncertainty, of an engine outside its limits, and of one that never ran."""
    job = write_job(tmp_path / "tight", positions=ONE_ROD.replace("1.9421", "1.9405"), shells=BOX)
    save_plan(job)
    run("taken_in", "take-in", job)
    assert run("changed", "set-aside", job)["attention"]
    run("changed", "fitted", job, "--permission", "R1=letter of 2 March")
    assert run("engine", "engine", "1")["engine"]["out_of_limits"] == ["R1"]
    put(tmp_path / "again.csv", "position,upper\nR1,0.0617\n")
    run("torn_down", "teardown", "1", tmp_path / "again.csv", "--unit", "in")
    run("engine", "engine", "1")
    other = write_job(tmp_path / "second", positions=ONE_ROD, shells=BOX.replace("0.06", "0.060"))
    put(other / "shells" / "box-1.csv", BOX.replace("01,", "11,").replace("02,", "12,"))
    (other / "shells" / "box-1.csv").rename(other / "shells" / "box-3.csv")
    save_plan(other)
    run("taken_in", "take-in", other)
    run("changed", "set-aside", other)
    run("changed", "fitted", other)
    run("torn_down", "teardown", "2", "--never-run")
    assert [one["state"] for one in run("engines", "engines")["engines"]] == ["teardown", "never-run"]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_schema_is_sound(name: str) -> None:
    """It is a schema, every entry is described, and names no other that is not there."""
    jsonschema.Draft202012Validator.check_schema(SHELF)
    assert SHELF["$defs"][name]["description"].startswith("What `")
    assert {ref.rpartition("/")[2] for ref in _refs(SHELF)} == set(SHELF["$defs"])


def _refs(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        yield from ([schema["$ref"]] if "$ref" in schema else [])
        schema = list(schema.values())
    for one in schema if isinstance(schema, list) else []:
        yield from _refs(one)
