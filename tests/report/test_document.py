"""The JSON document: valid by its schema, with exact plain numbers."""

import json
import re
from dataclasses import replace
from decimal import Decimal
from typing import Any

import jsonschema
import pytest
from made.jobs import with_found, with_given
from made.plans import clean_plan, nm, no_upper_half, plan_of, position, size, troubled_plan
from oracles.schemas import SCHEMA, VALIDATOR

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.plans import Plan, Proof, Status
from fitmatch.report.data.document import plan_document
from fitmatch.report.shared.emit import area, document, half_length, length

# Only there with several jobs, or where a job wishes for a band, has bores in a row or housings that may move, or tells
# how it was measured.
OF_SEVERAL_JOBS = {"job", "jobs", "complete", "priority"}
ABOUT_WISHES = {"want_min", "want_max", "within_want", "below_want", "want_shortfall", "above_want", "want_excess"}
ABOUT_MOVES = {"moves", "staying"}
ABOUT_ROWS = {"offset", "largest_step", "out_of_line"}
ABOUT_MEASURING = {"corrections", "form", "unknown", "joint_chance", "expected"}
IF_ASKED = {"alternatives", "explanation"}
IF_ANY = {"faults", "limits_from", "reasons", "marks", "family", "one_box"}
OF_A_SAVED_PLAN = {"plan_number", "plan_date", "plan_time", "shared_with"}
FROM_SHELF = {"shelf", "number", "location", "described", "prefer", "singles"}
SOMETIMES = {
    *(OF_A_SAVED_PLAN | OF_SEVERAL_JOBS | ABOUT_WISHES | ABOUT_MOVES | ABOUT_ROWS | ABOUT_MEASURING | IF_ASKED),
    *(IF_ANY | FROM_SHELF),
    *("readings_in_doubt", "doubts_complete"),
}


def empty_plan() -> Plan:
    plan = plan_of([], others=[position("R1", size("1.8162"), size("1.9421"))], unfilled={"R1": no_upper_half()})
    return with_found(plan, baselines={})


def read(plan: Plan, unit: str = "in") -> Any:
    return json.loads(plan_document(plan, unit))


def test_the_schema_is_a_schema() -> None:
    """The schema file is valid draft 2020-12, and requires every key it describes but the two baselines and what only
    a saved plan has or several jobs have, or a job that tells of its gauges, wishes for a band or has bores in a row
    or housings that may move, what has to be asked for, and what only failing positions, sufficient boxes or readings
    that nobody had the time to look through have."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    job = SCHEMA["$defs"]["job"]
    assert set(job["required"]) == set(job["properties"]) - {"readings"}  # of jobs from the shelf
    places: list[Any] = [SCHEMA, *SCHEMA["$defs"].values()]
    for place in places:
        if "properties" in place and place is not job:
            assert set(place["required"]) == set(place["properties"]) - SOMETIMES


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("make", [clean_plan, troubled_plan, empty_plan])
def test_documents_are_valid(make: Any, unit: str) -> None:
    """A good plan, a plan with every trouble and an empty one all give documents that the schema accepts."""
    VALIDATOR.validate(read(make(), unit))


def test_warnings_and_sufficient_boxes_stand_in_the_document() -> None:
    """What was noticed while reading is a list of texts, empty where there was nothing; boxes that would do alone are
    there by kind, where there are any."""
    plan = clean_plan()
    assert read(plan)["warnings"] == [] and "one_box" not in read(plan)
    told = with_given(plan, job=replace(plan.plans[0].job, warnings=("old.csv is not read",)))
    (rod,) = told.groups
    found = read(replace(told, groups=(rod._replace(one_box=("box-2",)),)))
    VALIDATOR.validate(found)
    assert found["warnings"] == ["old.csv is not read"] and found["one_box"] == {"rod": ["box-2"]}


def test_the_schema_refuses_what_is_wrong() -> None:
    """A missing key, a length as text and an unknown state are each refused, so the schema does check something."""
    good = read(troubled_plan())
    for spoil in (
        lambda d: d.pop("digest"),
        lambda d: d["positions"][0].pop("axis_shift"),
        lambda d: d["positions"][0].update(clearance="0.00225"),
        lambda d: d["positions"][0]["upper"].update(wall=None),
        lambda d: d["kinds"]["rod"].update(filled=2.5),
        lambda d: d["unmeasured"][1].update(missing=["journal"]),
        lambda d: d.update(status="fine"),
        lambda d: d["held"][0].pop("hold"),
    ):
        bad = json.loads(json.dumps(good))
        spoil(bad)
        assert not VALIDATOR.is_valid(bad)


def test_no_key_is_unknown_to_the_schema() -> None:
    """Every key of a document is described in the schema, though the schema lets later versions add more."""
    described = set(re.findall(r'"(\w[\w-]*)": \{', json.dumps(SCHEMA)))

    def check(value: Any) -> None:
        if isinstance(value, dict):
            assert set(value) <= described | {"rod", "main"}
            for inner in value.values():
                check(inner)
        elif isinstance(value, list):
            for inner in value:
                check(inner)

    check(read(troubled_plan()))


def test_a_position_as_promised() -> None:
    """The first position has the very figures that its readings give, as exact decimals."""
    got = json.loads(plan_document(clean_plan(), "in"), parse_float=Decimal)["positions"][0]
    assert got == {
        "position": "R1",
        "kind": "rod",
        "housing": "R1",
        "pin": None,
        "upper": {"shell": "03", "box": "box-1", "wall": Decimal("0.06185"), "coating": None, "locked": False},
        "lower": {"shell": "07", "box": "box-2", "wall": Decimal("0.0618"), "coating": None, "locked": False},
        "journal": Decimal("1.8162"),
        "housing_bore": Decimal("1.9421"),
        "wall_sum": Decimal("0.12365"),
        "seating": 0,
        "clearance": Decimal("0.00225"),
        "target": Decimal("0.0022"),
        "deviation": Decimal("0.00005"),
        "min": Decimal("0.0018"),
        "max": Decimal("0.0028"),
        "limit_low": Decimal("0.0018"),
        "limit_high": Decimal("0.0028"),
        "clearance_tightest": Decimal("0.00225"),
        "within_limits": True,
        "uncertainty": {"standard": None, "expanded": None, "degrees_of_freedom": None, "chance": None},
        "verdict": None,
        "wall_difference": Decimal("0.00005"),
        "axis_shift": Decimal("-0.000025"),
        "clearance_over_coating": None,
        "clearance_to_metal": None,
    }


def test_locked_halves_as_promised() -> None:
    """A half that positions.csv locks is marked, the other one is not."""
    r1, _ = clean_plan().placements
    got = read(plan_of([replace(r1, position=replace(r1.position, lower=r1.lower.key))]))["positions"][0]
    assert (got["upper"]["locked"], got["lower"]["locked"]) == (False, True)


def test_the_rest_as_promised() -> None:
    """Status, unfilled, unmeasured, flags, proof, figures, leftovers and held shells stand under their keys."""
    got = json.loads(plan_document(troubled_plan(), "in"), parse_float=Decimal)
    assert (got["schema"], got["unit"], got["strategy"], got["status"]) == (1, "in", "target", "unproven")
    assert [u["position"] for u in got["unfilled"]] == ["R4"]
    assert got["unmeasured"] == [
        {"position": "R5", "kind": "rod", "missing": ["journal"]},
        {"shell": "13", "box": "box-1", "kind": "rod", "half": "lower", "missing": ["wall"]},
    ]
    assert [f["code"] for f in got["flags"]] == ["housing-bore-outside-drawing", "below-min"]
    rod = got["kinds"]["rod"]
    assert (rod["proven"], rod["level"], rod["bound"]) == (False, "worst_deviation", Decimal("0.00005"))
    assert (rod["below"], rod["shortfall"], rod["counted"]) == (1, Decimal("0.00025"), 2)
    assert rod["sum_squared_deviation"] == Decimal("5e-9")
    assert set(got["baselines"]) == {"as-boxed", "by-hand"}
    assert got["leftover"][0] == {
        "shell": "10", "box": "box-1", "kind": "rod", "half": "upper", "wall": Decimal("0.0619"), "grade": "2",
    }  # fmt: skip
    assert [(s["shell"], s["hold"]) for s in got["held"]] == [("14", "scratched by the wash")]
    coated = got["positions"][-1]
    assert coated["upper"]["coating"] == Decimal("0.0003")
    assert (coated["clearance_over_coating"], coated["clearance_to_metal"]) == (Decimal("0.0023"), Decimal("0.0026"))
    assert got["digest"] == "0123abcd"


def test_an_empty_plan_has_status_none() -> None:
    """Where no position could be filled the status says so and the figures are null."""
    got = read(empty_plan())
    assert got["status"] == Status.NONE and got["positions"] == []
    assert got["kinds"]["rod"]["worst_deviation"] is None and got["kinds"]["rod"]["filled"] == 0


@pytest.mark.parametrize(
    ("level", "bound", "value"),
    [("boxes", 2, "2"), ("spread", 2540, "0.0001"), ("sum_squared_deviation", 2 * 1270**2, "5e-9")],
)
def test_a_bound_is_in_the_unit_of_its_level(level: str, bound: int, value: str) -> None:
    """A bound that is a count stays one; a length is in the unit and a square in the unit squared."""
    plan = with_found(clean_plan(), proof=Proof(False, level, bound))
    assert f'"level": "{level}", "bound": {value}}}' in plan_document(plan, "in")


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_lengths_are_plain_and_lose_nothing(unit: str) -> None:
    """A length is never in exponent form, has no idle zero, and rounds back to the half nanometre it came from."""
    per_unit = NM_PER_UNIT[unit]
    for twice_nm in (*range(-40, 41), 999, 2 * per_unit, 3_141_592_653, -2_718_281):
        text = half_length(twice_nm, unit)
        assert re.fullmatch(r"-?\d+(\.\d*[1-9])?", text)
        assert round(Decimal(text) * 2 * per_unit) == twice_nm
    assert length(57_150, "in") == "0.00225"
    assert length(None, unit) is None


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_areas_round_back(unit: str) -> None:
    """A sum of squares is the shortest number that rounds back to the same square nanometres."""
    for nm2 in (0, 1, 7, 25_400, 2540**2, 2 * 1270**2, 123_456_789_012_345_678):
        text = area(nm2, unit)
        assert text is not None
        assert round(Decimal(text) * NM_PER_UNIT[unit] ** 2) == nm2
        digits = len(text.split("e")[0].replace(".", "").strip("0"))
        assert all(
            round(Decimal(f"{Decimal(text):.{short}e}") * NM_PER_UNIT[unit] ** 2) != nm2 for short in range(digits - 1)
        )
    assert area(2540**2, "in") == "1e-8"


def test_odd_texts_survive() -> None:
    """Quotes, line breaks, accents and wide letters in names come back from the document as they went in."""
    title = 'Säge "B"\nポンプ \\ \u2028'
    assert read(with_given(clean_plan(), job=replace(clean_plan().job, title=title)))["title"] == title
    assert json.loads(document({"a": [], "b": {}, "c": "x", "d": [{"e": True}]})) == {
        "a": [], "b": {}, "c": "x", "d": [{"e": True}],
    }  # fmt: skip


def test_slack_is_kept() -> None:
    """The slack of an answer stands in it."""
    assert read(replace(clean_plan(), slack_nm=nm("0.0001")))["slack"] == 0.0001


def test_the_same_plan_gives_the_same_document() -> None:
    """Two documents of one plan are equal to the byte."""
    assert plan_document(troubled_plan(), "in") == plan_document(troubled_plan(), "in")
