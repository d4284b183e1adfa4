"""The CSV form: one row per position, whatever its state."""

import csv
from dataclasses import replace
from io import StringIO

from made.jobs import with_given
from made.plans import ACCEPTED, accepted, clean_plan, plan_of, troubled_plan

from fitmatch.records.answers.placements import Margin
from fitmatch.records.answers.plans import Plan
from fitmatch.report.data.rows import plan_rows


def read(plan: Plan, unit: str = "in") -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(plan_rows(plan, unit))))


def test_one_row_per_position_in_file_order() -> None:
    """Filled, bad, unfilled and unmeasured positions all have a row, each with its state."""
    plan = troubled_plan()
    rows = read(plan)
    assert [row["position"] for row in rows] == [p.name for p in plan.job.positions]
    assert {row["position"]: row["state"] for row in rows} == {
        "R1": "filled",
        "R2": "filled",
        "R3": "NOT TO BE ASSEMBLED",
        "M1": "filled",
        "R4": "not filled",
        "R5": "not yet measured",
    }


def test_headers_name_the_unit() -> None:
    """Every length column carries the unit shown, and the figures are those of that unit."""
    inch, metric = read(clean_plan())[0], read(clean_plan(), "mm")[0]
    assert inch["clearance [in]"] == "0.00225" and metric["clearance [mm]"] == "0.05715"
    assert inch["deviation [in]"] == "0.00005" and inch["axis_shift [in]"] == "-0.000025"
    assert (inch["upper_box"], inch["upper_shell"], inch["upper_wall [in]"]) == ("box-1", "03", "0.06185")
    assert not [name for name in metric if "[in]" in name]


def test_remarks_and_empty_cells() -> None:
    """A reason, what is missing or a flag stands in the remark; what a position does not have is an empty cell."""
    rows = {row["position"]: row for row in read(troubled_plan())}
    assert rows["R2"]["remark"] == f"fit none yet: rod is not whole; {ACCEPTED}sleeved and bored"
    assert rows["R4"]["remark"].startswith("the housing bore 1.94300 in is above its drawing limits")
    assert rows["R5"]["remark"] == "no reading of journal"
    assert (rows["R5"]["journal [in]"], rows["R5"]["housing_bore [in]"]) == ("", "1.9421")
    assert rows["R4"]["clearance [in]"] == "" and rows["R4"]["upper_shell"] == ""
    assert rows["M1"]["clearance_to_metal [in]"] == "0.0026" and rows["R1"]["clearance_to_metal [in]"] == ""
    assert rows["R3"]["clearance_tightest [in]"] == "0.00155"


def test_locks_are_carried() -> None:
    """Each half says whether the user locked it; a row without shells says nothing."""
    r1, r2 = clean_plan().placements
    rows = read(plan_of([replace(r1, position=replace(r1.position, upper=r1.upper.key)), r2]))
    assert [(row["upper_locked"], row["lower_locked"]) for row in rows] == [("true", "false"), ("false", "false")]
    assert read(troubled_plan())[-1]["upper_locked"] == ""


def test_line_breaks_do_not_break_rows() -> None:
    """A remark is one line, whatever the user's own words in it hold."""
    plan = with_given(troubled_plan(), flags=(accepted("R2", "\r\nsleeved\nand bored"),))
    assert plan_rows(plan, "in").count("\n") == 1 + len(plan.job.positions)
    remark = {row["position"]: row["remark"] for row in read(plan)}["R2"]
    assert remark == f"fit none yet: rod is not whole; {ACCEPTED}sleeved and bored"


def test_the_same_plan_gives_the_same_rows() -> None:
    """Two tables of one plan are equal to the byte."""
    assert plan_rows(troubled_plan(), "in") == plan_rows(troubled_plan(), "in")


def test_guarded_limits_stand_beside_those_written() -> None:
    """`limit_low` and `limit_high` are min and max drawn in by the margin of the pair; empty where there is none."""
    plan = clean_plan()
    first = replace(plan.placements[0], margin=Margin(254, 254))
    rows = read(with_given(plan, placements=(first, *plan.placements[1:])))
    assert (rows[0]["min [in]"], rows[0]["limit_low [in]"]) == ("0.0018", "0.00181")
    assert (rows[0]["max [in]"], rows[0]["limit_high [in]"]) == ("0.0028", "0.00279")
    assert (rows[1]["limit_low [in]"], rows[1]["limit_high [in]"]) == (rows[1]["min [in]"], rows[1]["max [in]"])
    assert {row["limit_low [in]"] for row in read(troubled_plan()) if row["state"].startswith("not ")} == {""}
