"""`fitmatch sheet`: which plan it shows, what stands on it, what it refuses, and what it leaves alone."""

import json
import os
import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from made.commands import Ran
from made.pump_set import written
from made.sheet_jobs import HOSTILE, LIMITS, engine
from oracles.html_page import Element, page_of

import fitmatch
from fitmatch.cli.job.new import samples_home
from fitmatch.gauging.bench_check import bench_check
from fitmatch.gauging.bench_path import bench_path
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.keys import full_name
from fitmatch.report.sheet.amounts import amount

MM = Decimal("25.4")
FILM = ("--kind", "rod", "--width", "0.8", "--load", "8000", "--speed", "3000", "--viscosity", "9")
BASELINES = {"by-hand": "by hand", "as-boxed": "as boxed"}
PARTS = ["assembly", "figures", "record", "leftovers", "cards"]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Four rods on two pins and three mains, two shells of each half for every position."""
    return engine(tmp_path / "an engine", rods=4, mains=3)


def sample(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> Path:
    folder = tmp_path / name
    assert Ran(capsys, "new", folder, "--sample", name).status == 0
    return folder


def page(folder: Path) -> Element:
    return page_of((folder / "sheet.html").read_text(encoding="utf-8"))


def blocks(folder: Path) -> dict[str, Element]:
    found = [one for one in page(folder).all() if "data-position" in one.attributes]
    assert len({one["data-position"] for one in found}) == len(found)
    return {one["data-position"]: one for one in found}


def saved(folder: Path) -> dict[str, dict[str, object]]:
    document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    return {p["position"]: p for p in document["positions"]}


def change(folder: Path, name: str, before: str, after: str) -> None:
    text = (folder / name).read_text(encoding="utf-8")
    assert before in text
    (folder / name).write_text(text.replace(before, after, 1), encoding="utf-8")


def amounts(text: str, unit: str) -> list[Decimal]:
    return [Decimal(found) for found in re.findall(rf"(-?[0-9]+\.[0-9]+) {unit}\b", text)]


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_every_position_is_one_block_with_all_that_is_needed(
    unit: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every position has one block: its name, both shells with their boxes, sides and walls, wall sum and clearance in
    both units, to the digit those of the JSON document; eight boxes to tick."""
    folder = engine(tmp_path / "an engine", rods=4, mains=3, unit=unit)
    answer = {p["position"]: p for p in json.loads(Ran(capsys, "assign", folder, "--json").out)["positions"]}
    assert Ran(capsys, "sheet", folder).status == 0
    found = blocks(folder)
    assert list(found) == ["M1", "M2", "M3", "R1", "R2", "R3", "R4"]
    for name, p in answer.items():
        block = found[name]
        assert name in next(block.all("h4")).text and len(list(block.all(cls="tick"))) == 8
        halves = [one.text for one in next(block.all(cls="halves")).inside if isinstance(one, Element)]
        for side, text in zip(("upper", "lower"), halves, strict=True):
            place = "cap" if side == "lower" else "beam" if name.startswith("R") else "block"
            assert text.startswith(f"{side} ({place})")
            assert f" {p[side]['shell']} box {p[side]['box']} wall {p[side]['wall']}" in text
        sums = next(block.all(cls="sums")).text
        own, other = (amounts(sums, u) for u in ("in", "mm"))
        mine = (own if unit == "in" else other)[:2]
        assert mine == [Decimal(str(p["wall_sum"])), Decimal(str(p["clearance"]))]
        assert [abs(a * MM - b) < Decimal("0.001") for a, b in zip(own[:2], other[:2], strict=True)] == [True, True]


def test_the_bench_check_is_the_gauge_s_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the micrometer is set to and what the gauge will show are those of the bench check, in the job's unit."""
    folder = sample(tmp_path, "metrology-bench", capsys)
    assert Ran(capsys, "sheet", folder).status == 0
    job = fitmatch.read_job(folder)
    plan = fitmatch.assign(job)
    for p in plan.placements:
        found, block = bench_check(job, p, ErrorModel(job)), blocks(folder)[p.position.name]
        assert Decimal(block["data-set-to"]) * 10**6 == found.set_to_nm
        assert Decimal(block["data-expect"]) * 10**6 == found.expect_nm
        text = block.text
        assert f"set mic-1 {found.set_to_nm / 1e6:.3f} mm" in text
        assert f"expect on bore-1 {amount(found.expect_nm, 'mm').own}" in text


BORE_GAUGE = '[gauge.bore-1]\nunit = "mm"\nresolution = 0.001\nset_with = "mic-1"\n'


def tapered(tmp_path: Path) -> Path:
    """An inch engine whose micrometer reads to 0.0001 in and whose bore gauge to 0.001 mm; each journal was read twice,
    the third and sixth position with a taper of 2 tenths; everything in a room of 23 degrees."""
    warm = "[temperature]\nroom = 23.0\n"
    for kind, housing in (("rod", "steel"), ("main", "aluminium 356.0")):
        warm += f'[material.{kind}]\njournal = "steel"\nhousing_bore = "{housing}"\n'
    folder = engine(tmp_path / "tapered", rods=4, mains=3, more=BORE_GAUGE + warm)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    text = text.replace('housing_bore = "mic-1"', 'housing_bore = "bore-1"')
    (folder / "job.toml").write_text(text, encoding="utf-8")
    head, *rows = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    lines = [head.replace("journal,housing_bore", "journal_1,journal_2,housing_bore [in]")]
    for at, row in enumerate(rows, 1):
        name, kind, journal, rest = row.split(",", 3)
        taper = Decimal("0.0002" if at % 3 == 0 else "0.0001")
        lines.append(f"{name},{kind},{journal},{Decimal(journal) + taper},{rest}")
    (folder / "positions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def bench_figures(folder: Path) -> dict[str, dict[str, str]]:
    """What each block says beside expect, agrees and must read, by the first word."""
    found: dict[str, dict[str, str]] = {}
    for name, block in blocks(folder).items():
        rows = [one for one in next(block.all(cls="sums")).inside if isinstance(one, Element)]
        words = [[part.text for part in row.inside if isinstance(part, Element)] for row in rows]
        found[name] = {term.split(" on ")[0]: text for term, text in words}
    return found


def read_at_the_bench(
    folder: Path, readings: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> list[dict[str, object]]:
    """What `assembled` says of these readings with the gauge."""
    rows = [f"{name},{reading},gauge" for name, reading in readings.items()]
    text = "\n".join(["position,clearance,method", *rows]) + "\n"
    (folder / "assembled.csv").write_text(text, encoding="utf-8")
    found: list[dict[str, object]] = json.loads(Ran(capsys, "assembled", folder, "--json").out)["readings"]
    (folder / "assembled.csv").unlink()
    return found


def test_the_sheet_and_assembled_judge_alike(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Typed into assembled.csv, what a sheet expects is not off at all and teaches no seating; both ends of what the
    gauge must show are inside, both ends of what agrees agree; one step of the gauge further out neither does. The
    gauge's own unit stands first, the other one beside it, and where the journal is tapered the lower end says so."""
    folder = tapered(tmp_path)
    assert Ran(capsys, "sheet", folder).status == 0
    told = bench_figures(folder)
    assert all(" mm (0.00" in told[name][what] for name in told for what in ("expect", "agrees", "must read"))
    up = {name: re.findall(r"lower end ([0-9.]+) tenths up", figures["must read"]) for name, figures in told.items()}
    assert up == {name: ["1.0" if name in ("R3", "M2") else "0.5"] for name in told}
    expect = {name: f"{block['data-expect']} in" for name, block in blocks(folder).items()}
    exact = read_at_the_bench(folder, expect, capsys)
    assert len(exact) == 7 and all(abs(float(str(r["difference"]))) < 1e-7 for r in exact)
    for row, end in ((what, i) for what in ("must read", "agrees") for i in (0, 1)):
        ends = {name: amounts(figures[row].replace(" to ", " mm "), "mm")[end] for name, figures in told.items()}
        for outward in (0, 1):
            further = Decimal("0.001") * outward * (1 if end else -1)
            typed = {name: f"{value + further} mm" for name, value in ends.items()}
            for r in read_at_the_bench(folder, typed, capsys):
                good = r["within_limits"] if row == "must read" else r["verdict"] == "agrees"
                assert good is (not outward), (row, end, outward, r)


def test_it_shows_the_saved_plan_and_no_newer_one(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan saved by another strategy is the one that is shown, with its number and date on the page, though `assign`
    would now give another."""
    assert Ran(capsys, "assign", job, "--save", "--strategy", "even").status == 0
    assert Ran(capsys, "sheet", job).status == 0
    kept = saved(job)
    best = {p["position"]: p for p in json.loads(Ran(capsys, "assign", job, "--json").out)["positions"]}
    assert any(kept[name]["clearance"] != best[name]["clearance"] for name in kept)
    for name, block in blocks(job).items():
        assert f"clearance {kept[name]['clearance']}" in block.text
    assert re.search(r"Plan 1 of 20\d\d-\d\d-\d\d, \d\d:\d\d:\d\d; replaces all earlier sheets", page(job).text)
    assert "strategy even" in page(job).text
    assert "Lengths in inches." in page(job).text and "diametral, in inches;" in page(job).text


def test_without_a_plan_it_is_made_and_saved(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where none is saved, the job is solved and saved as `assign --save` does it, and told so; cards alone need none
    and save none."""
    assert Ran(capsys, "sheet", job, "--only", "cards").status == 0
    assert not (job / "assignment.json").exists() and "Plan 1" not in page(job).text
    ran = Ran(capsys, "sheet", job)
    assert (ran.status, ran.out) == (0, "")
    assert ran.err == f"saved to {job / 'assignment.json'}\nwritten to {job / 'sheet.html'}\n"
    first = (job / "assignment.json").read_bytes()
    Ran(capsys, "assign", job, "--save")
    assert (job / "assignment.json").read_bytes() == first


def test_changed_inputs_make_it_void(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Once an input has changed the sheet says VOID, has no box to tick, and the exit status is 1; words for the
    record change nothing. Saved again it is good again, as the next plan."""
    assert Ran(capsys, "sheet", job).status == 0
    good = (job / "sheet.html").read_text(encoding="utf-8")
    assert "VOID" not in good
    change(job, "job.toml", "title", "# looked at\ntitle")
    ran = Ran(capsys, "sheet", job)
    assert ran.status == 1 and "the sheet is VOID" in ran.err
    text = (job / "sheet.html").read_text(encoding="utf-8")
    assert "VOID" in page(job).text and '@top-right { content: "VOID"' in text
    assert not list(page(job).all(cls="tick"))
    assert Ran(capsys, "assign", job, "--save").status == 0 and Ran(capsys, "sheet", job).status == 0
    assert "Plan 2 of" in page(job).text and "VOID" not in page(job).text
    (job / "job.toml").write_text((job / "job.toml").read_text("utf-8") + '[record]\ncrank = "7"\n', encoding="utf-8")
    assert Ran(capsys, "sheet", job).status == 0 and "crank 7" in page(job).text


def test_a_plan_that_is_contradicted_is_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A saved plan with a shell in two places, a figure that does not follow, a shell that is no longer there or a
    position left out is refused with exit 2, and nothing is written."""
    assert Ran(capsys, "assign", job, "--save").status == 0
    good = (job / "assignment.json").read_text(encoding="utf-8")
    for what in ("swapped", "clearance", "gone", "left out"):
        document = json.loads(good)
        first, second = document["positions"][:2]
        if what == "swapped":
            first["upper"] = second["upper"]
        elif what == "clearance":
            first["clearance"] += 0.0001
        elif what == "left out":
            document["positions"].remove(first)
        else:
            first["upper"]["shell"] = "no such"
        (job / "assignment.json").write_text(json.dumps(document), encoding="utf-8")
        ran = Ran(capsys, "sheet", job)
        assert (ran.status, ran.out) == (2, "") and not (job / "sheet.html").exists()
        assert "assignment.json: cannot be shown: " in ran.err and " --save` makes a new plan" in ran.err


def test_a_number_or_day_that_no_plan_can_have_is_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan whose number, date or time was changed into one that cannot be is refused with exit 2, and nothing is
    written; without them, as an earlier version saved it, it is shown."""
    assert Ran(capsys, "assign", job, "--save").status == 0
    good = (job / "assignment.json").read_text(encoding="utf-8")
    wrong: tuple[tuple[str, object], ...] = (
        ("plan_number", -3),
        ("plan_number", "1"),
        ("plan_number", 10**30),
        ("plan_number", True),
        ("plan_date", "2026-13-45"),
        ("plan_date", "2026-02-30"),
        ("plan_date", 7),
        ("plan_time", "25:61:00"),
    )
    for key, value in wrong:
        (job / "assignment.json").write_text(json.dumps(json.loads(good) | {key: value}), encoding="utf-8")
        ran = Ran(capsys, "sheet", job)
        assert ran.status == 2 and f"cannot be shown: its {key} is none that a plan can have" in ran.err
        assert not (job / "sheet.html").exists()
    bare = {key: value for key, value in json.loads(good).items() if not key.startswith("plan_")}
    (job / "assignment.json").write_text(json.dumps(bare), encoding="utf-8")
    assert Ran(capsys, "sheet", job).status == 0 and "Plan 1, date not recorded" in page(job).text


def test_a_learned_seating_contradicts_no_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`assembled --learn` keeps the saved plan up to date: the sheet is good, with the seating in its clearances, and
    the record has the assembled readings."""
    folder = sample(tmp_path, "metrology-bench", capsys)
    assert Ran(capsys, "assign", folder, "--save").status == 0
    change(folder, "assembled.csv", "M1,3,5", "M1,,")
    before = saved(folder)["M1"]["clearance"]
    assert Ran(capsys, "assembled", folder, "--learn").status == 0
    assert Ran(capsys, "sheet", folder).status == 0
    now = amounts(next(blocks(folder)["M1"].all(cls="clearance")).text, "mm")[0]
    assert now != Decimal(str(before))
    record = next(one for one in page(folder).all("section") if one["class"] == "part record").text
    assert "seating 0.00325 mm counted in" in record and " 0.0512 " in record


def test_what_is_not_to_be_assembled_has_no_box_to_tick(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither a kind that is not whole nor a position NOT TO BE ASSEMBLED has boxes to tick, and the exit status is 1;
    the kind that is whole has them."""
    folder = sample(tmp_path, "short-of-shells", capsys)
    assert Ran(capsys, "sheet", folder).status == 1
    document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    inside = {p["position"] for p in document["positions"] if p["within_limits"]}
    bad = {p["position"] for p in document["positions"]} - inside
    kinds = {p["kind"] for p in (*document["positions"], *document["unfilled"])}
    broken = {p["kind"] for p in document["positions"] if not p["within_limits"]}
    broken |= {p["kind"] for p in document["unfilled"]}
    whole = kinds - broken
    found = blocks(folder)
    assert broken and (bad or document["unfilled"])
    for name, block in found.items():
        kind = "rod" if name.startswith("R") else "main"
        assert bool(list(block.all(cls="tick"))) == (kind in whole)
        assert ("NOT TO BE ASSEMBLED" in block.text) == (name in bad)
        assert ("NOT FILLED" in block.text) == (name in {p["position"] for p in document["unfilled"]})
    text = page(folder).text
    assert all(f"Fit no shell of {kind} yet" in text for kind in broken)


def test_sixes_and_nines_are_underlined(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In every name of a shell and of its box each 6 and each 9 is underlined, and nothing else: on the assembly, the
    record and the leftovers. No box is called a box twice."""
    (job / "shells" / "mains.csv").rename(job / "shells" / "box 69.csv")
    shells = (job / "shells" / "rods.csv").read_text(encoding="utf-8")
    (job / "shells" / "rods.csv").write_text(re.sub(r"(?m)^([ul])(\d)", r"\g<1>69\2", shells), encoding="utf-8")
    assert Ran(capsys, "sheet", job).status == 0
    names = [one for block in blocks(job).values() for one in block.all(cls="shell")]
    assert len(names) == 14 and sum("69" in one.text for one in names) == 8
    for one in names:
        assert [u.text for u in one.all("u")] == re.findall("[69]", one.text)
    boxes = [one for block in blocks(job).values() for one in block.all(cls="box")]
    assert {one.text for one in boxes} == {"box 69", "box rods"}
    assert all([u.text for u in one.all("u")] == re.findall("[69]", one.text) for one in boxes)
    parts = {one["id"]: one for one in page(job).all("section")}
    for row in (one for one in parts["record"].all("tr") if "box 69/" in one.text):
        assert [u.text for half in row.all(cls="half") for u in half.all("u")] == ["6", "9"] * row.text.count("box 69/")
    back = [one for one in parts["leftovers"].all("dt") if one.text == "box 69"]
    assert len(back) == 1 and [u.text for u in back[0].all("u")] == ["6", "9"]
    labels = [one for one in parts["leftovers"].all(cls="label") if "; box 69 " in one.text]
    assert labels and all({"6", "9"} <= {u.text for u in one.all("u")} for one in labels)
    assert "box box" not in page(job).text


def test_each_part_alone(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--only` writes that part and no other; given twice, both in the usual order."""
    for part in PARTS:
        assert Ran(capsys, "sheet", job, "--only", part, "--output", job / "one.html").status == 0
        assert Ran(capsys, "sheet", job, "--only", part, "--only", "record", "--output", job / "two.html").status == 0
        for name, parts in (("one", [part]), ("two", [p for p in PARTS if p in (part, "record")])):
            found = page_of((job / f"{name}.html").read_text(encoding="utf-8"))
            assert [s["id"] for s in found.all("section") if "part" in s.classes] == parts


def test_nothing_else_is_replaced(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that `sheet` did not write stays as it is, exit 2, and no plan is saved; --force replaces it, and a sheet
    is replaced without being asked. A folder in the way, or no folder, is refused."""
    (job / "sheet.html").write_text("<p>mine", encoding="utf-8")
    ran = Ran(capsys, "sheet", job)
    assert ran.status == 2 and "is there already and is not a sheet; add --force to replace it" in ran.err
    assert (job / "sheet.html").read_text(encoding="utf-8") == "<p>mine" and not (job / "assignment.json").exists()
    assert Ran(capsys, "sheet", job, "--force").status == 0 and Ran(capsys, "sheet", job).status == 0
    assert Ran(capsys, "sheet", job, "--output", job / "shells").status == 2
    assert Ran(capsys, "sheet", job, "--output", job / "no such" / "sheet.html").status == 2
    assert Ran(capsys, "sheet", job / "no such").status == 2


@pytest.mark.parametrize(
    "name", ["job.toml", "positions.csv", "shells/rods.csv", "readings.csv", "assembled.csv", "assignment.json"]
)
def test_no_file_of_the_job_is_ever_replaced(name: str, job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not even with --force, nor by a link or another way to the same file, nor where the file is yet to come: exit 2,
    every byte as it was."""
    assert Ran(capsys, "assign", job, "--save").status == 0
    before = {path: path.read_bytes() for path in job.rglob("*") if path.is_file()}
    (job / "link.html").symlink_to(job / name)
    for way in (job / name, job / "shells" / ".." / name, job / "link.html"):
        ran = Ran(capsys, "sheet", job, "--output", way, "--force")
        assert ran.status == 2 and "is a file of the job itself and is never replaced" in ran.err
    (job / "link.html").unlink()
    assert {path: path.read_bytes() for path in job.rglob("*") if path.is_file()} == before


def test_cards_need_no_limits(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a folder as `fitmatch new` leaves it, with every limit still to be filled in, cards are printed; of a limit
    that is wrong they are not, nor anything else without limits."""
    folder = tmp_path / "blank"
    assert Ran(capsys, "new", folder, "--rods", "2", "--mains", "3").status == 0
    assert Ran(capsys, "sheet", folder, "--only", "cards").status == 0
    assert len(list(page(folder).all("table", cls="card"))) == 6
    assert Ran(capsys, "sheet", folder).status == 2
    change(folder, "job.toml", 'min      = "..."', 'min      = "wide"')
    ran = Ran(capsys, "sheet", folder, "--only", "cards")
    assert ran.status == 2 and "fit.rod.min" in ran.err and "fit.main.min" not in ran.err


def test_cards_underline_what_could_be_read_upside_down(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every 6 and 9 in the name of a shell or its box is underlined on the cards, as on the rest of the sheet."""
    folder = engine(tmp_path / "turned", rods=2, mains=2, long="69")
    assert Ran(capsys, "sheet", folder, "--only", "cards").status == 0
    named = [row for table in page(folder).all("table", cls="card") for row in table.all("th")]
    shells = [row for row in named if row.attributes.get("scope") == "row" and list(row.all(cls="of"))]
    assert shells and all([one.text for one in row.all("u")] == ["6", "9"] for row in shells)
    assert "6 and 9 are underlined" in page(folder).text


def test_of_two_sheets_the_later_is_known_from_the_paper(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the saved plan was removed, numbers begin again; the time beside the number does not. A plan saved without
    a time, by an earlier version, has its day alone."""
    assert Ran(capsys, "assign", job, "--save").status == 0
    path = job / "assignment.json"
    early = re.sub(r'"plan_time": "[^"]*"', '"plan_time": "00:00:01"', path.read_text(encoding="utf-8"))
    path.write_text(early, encoding="utf-8")
    assert Ran(capsys, "sheet", job).status == 0 and ", 00:00:01; replaces all earlier sheets" in page(job).text
    path.write_text(re.sub(r'  "plan_time": .*\n', "", early), encoding="utf-8")
    assert Ran(capsys, "sheet", job).status == 0
    assert re.search(r"Plan 1 of 20\d\d-\d\d-\d\d; replaces", page(job).text)
    path.unlink()
    assert Ran(capsys, "sheet", job).status == 0 and "Plan 1 of" in page(job).text
    assert ", 00:00:01;" not in page(job).text and re.search(r", \d\d:\d\d:\d\d; replaces", page(job).text)


def test_kinds_come_in_one_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is in one block comes first in every part that goes kind by kind, wherever it stands in job.toml."""
    folder = engine(tmp_path / "x", rods=2, mains=2)
    assert Ran(capsys, "sheet", folder).status == 0
    for part in ("assembly", "figures"):
        section = next(one for one in page(folder).all("section") if one["id"] == part)
        heads = [one.text for one in section.all("h3")]
        assert [head for head in heads if head in ("rod", "main")] == ["main", "rod"]
    record = next(one for one in page(folder).all("section") if one["id"] == "record")
    assert [one.text.partition(":")[0] for one in record.all("caption")] == ["main", "rod"]


def test_a_plan_that_cannot_be_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing is measured there is no plan to show: exit 2 and nothing written; cards can be printed, one line
    for each reading in the order of `measure`."""
    folder = tmp_path / "blank"
    assert Ran(capsys, "new", folder, "--rods", "2", "--mains", "3").status == 0
    for before, after in (('min      = "..."', "min = 0.001"), ('max      = "..."', "max = 0.003")):
        for _ in range(2):
            change(folder, "job.toml", before, after)
    ran = Ran(capsys, "sheet", folder)
    assert ran.status == 2 and "no plan is saved, and none can be made" in ran.err
    assert not (folder / "assignment.json").exists() and not (folder / "sheet.html").exists()
    assert Ran(capsys, "sheet", folder, "--only", "cards").status == 0
    asked = bench_path(fitmatch.read_job(folder))
    rows = [row for table in page(folder).all("table", cls="card") for row in table.all("tr") if list(row.all("td"))]
    assert [next(row.all("th")).text.split()[0] for row in rows] == [
        one.key[1] if isinstance(one.key, tuple) else one.item for one in asked
    ]
    assert all(len(list(row.all("td", cls="write"))) == 3 for row in rows)


def test_cards_are_the_same_once_all_is_measured(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings that are there take nothing off the cards: a part is measured again by the same card."""
    assert Ran(capsys, "sheet", job, "--only", "cards").status == 0
    measured = page(job).text
    for name, column in (("positions.csv", 2), ("shells/rods.csv", 3), ("shells/mains.csv", 3)):
        head, *rows = (job / name).read_text(encoding="utf-8").splitlines()
        cells = [row.split(",") for row in rows]
        for row in cells:
            row[column : column + (2 if name == "positions.csv" else 1)] = [""] * (2 if name == "positions.csv" else 1)
        (job / name).write_text("\n".join([head, *map(",".join, cells)]) + "\n", encoding="utf-8")
    assert Ran(capsys, "sheet", job, "--only", "cards").status == 0
    assert page(job).text == measured


@pytest.mark.parametrize("size", ["60", "60x30x2", "191x30", "60x241", "39x30", "60x19", "-60x30", "60  30", "axb"])
def test_labels_that_do_not_fit_the_paper(size: str, job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no size, or does not fit A4 and Letter or its own letters, is refused with exit 2, nothing written."""
    ran = Ran(capsys, "sheet", job, "--label", size)
    assert ran.status == 2 and "--label" in ran.err
    assert not (job / "sheet.html").exists() and not (job / "assignment.json").exists()


def test_a_size_may_be_written_with_spaces(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """60 x 30 is 60x30."""
    written = []
    for size in ("70x37.5", "70 x 37.5", " 70 × 37.5 "):
        assert Ran(capsys, "sheet", job, "--label", size).status == 0
        written.append((job / "sheet.html").read_bytes())
    assert written[0] == written[1] == written[2] and b"70mm" in written[0]


def test_what_goes_back_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every shell that is left over, and every one on hold, is named with its box and has a label of the size asked
    for, with all that is known of it; no other shell has."""
    job = engine(tmp_path / "x", rods=4, mains=3, note="P-4417")
    shells = (job / "shells" / "rods.csv").read_text(encoding="utf-8").splitlines()
    shells = [f"{line},{'hold' if i == 0 else 'dropped' if i == 1 else ''}" for i, line in enumerate(shells)]
    (job / "shells" / "rods.csv").write_text("\n".join(shells) + "\n", encoding="utf-8")
    assert Ran(capsys, "sheet", job, "--label", "70x37.5").status == 0
    document = json.loads((job / "assignment.json").read_text(encoding="utf-8"))
    labels = [one.text for one in page(job).all(cls="label")]
    left = [(s["box"], s["shell"]) for s in (*document["leftover"], *document["held"])]
    assert len(labels) == len(left) and len(document["held"]) == 1
    for box, name in left:
        assert sum(text.startswith(f"{name} ") and f"; box {box} " in text for text in labels) == 1
    (held,) = [text for text in labels if "HELD: dropped" in text]
    assert "step" not in held and sum("step 0.25" in text for text in labels) > 3
    # A browser drops a space at the end of a box of its own.
    html = (job / "sheet.html").read_text(encoding="utf-8")
    assert "; </span>" not in html and ';</span> <span class="one">' in html
    assert all("wall 0.0" in text and " mm)" in text and "measured with mic-1" in text for text in labels)
    # The day is not known here: there is room to write it.
    assert all(len(list(one.all(cls="blank"))) == 1 for one in page(job).all(cls="label"))
    css = (job / "sheet.html").read_text(encoding="utf-8")
    assert "min(100%, 70mm)" in css and "min-height: 37.5mm" in css


def test_hostile_names_do_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Names, notes, titles and records that look like markup, style, template or script stand on the page as they were
    typed; the page has no script, no attribute that could run anything, and forbids itself all but its own style."""
    long = "".join(HOSTILE).replace("/", "")[:150]
    words = "".join(HOSTILE)
    folder = engine(tmp_path / "x", rods=2, mains=2, long=long, title=words, note=words, record=words)
    assert Ran(capsys, "sheet", folder).status == 0
    found = page(folder)
    tags = {one.tag for one in found.all()}
    assert not tags & {"script", "img", "iframe", "object", "embed", "base", "foreignobject", "animate"}
    names = {name for one in found.all() for name in one.attributes}
    assert not any(name.startswith("on") or name in ("style", "src", "action") for name in names)
    assert {one["href"] for one in found.all("a")} == {f"#{part}" for part in PARTS}
    head = next(found.all("head"))
    policy = next(one["content"] for one in head.all("meta") if "http-equiv" in one.attributes)
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy
    assert next(found.all("html"))["lang"] == "en" and len(list(found.all("style"))) == 1
    style = "".join(one for one in next(found.all("style")).inside if isinstance(one, str))
    assert "display:none}" not in style and "color: red" not in style
    spaced = " ".join(words.split())
    assert found.text.count(spaced) >= 6 and next(found.all("h1")).text == spaced
    assert set(blocks(folder)) == {f"{letter}{n}{long}" for letter in "RM" for n in (1, 2)}


def test_every_drawing_says_what_it_shows(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every drawing has a title; that of the crank names every position, that of a clearance its limits."""
    assert Ran(capsys, "sheet", job).status == 0
    drawings = list(page(job).all("svg"))
    titles = [next(one.all("title")).text for one in drawings]
    assert all(one["role"] == "img" for one in drawings) and all(titles)
    assert titles[0] == ("The crank from front to flywheel: main M1, rod R1, rod R2, main M2, rod R3, rod R4, main M3")
    assert sum("limits 0.00140 to 0.00340 in" in title for title in titles) == 7


def shared_engines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[Path]:
    """Two engines with a plan that they share."""
    family = 'family = ["plain"]\n'
    names = ("one", "two")
    folders = [engine(tmp_path / name, rods=2, mains=2, long="plain", turn=i) for i, name in enumerate(names)]
    for folder in folders:
        text = (folder / "job.toml").read_text(encoding="utf-8")
        (folder / "job.toml").write_text(text.replace("limits_from", f"{family}limits_from"), encoding="utf-8")
        for path in list((folder / "shells").iterdir()):
            path.rename(path.with_name(f"{folder.name}-{path.name}"))
    assert Ran(capsys, "assign", *folders, "--save").status == 0
    return folders


def test_a_plan_of_several_jobs_is_shown_job_by_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a plan that several engines share each folder's sheet shows its own positions; shells that went to the other
    are not left over, and a kind that is not whole in the other is not begun in this one."""
    folders = shared_engines(tmp_path, capsys)
    shown = []
    for folder in folders:
        ran = Ran(capsys, "sheet", folder)
        assert ran.status == 0, ran.err
        document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
        mine = [p for p in document["positions"] if p["job"] == folder.name]
        for p in mine:
            assert p["upper"]["shell"] in blocks(folder)[p["position"]].text
        own = {full_name(s.key) for s in fitmatch.read_job(folder).shells}
        used = {f"{p[s]['box']}/{p[s]['shell']}" for p in document["positions"] for s in ("upper", "lower")}
        assert len(list(page(folder).all(cls="label"))) == len(own - used)
        shown.append(used & own)
    change(folders[1], "positions.csv", "R1plain,rod,1.81620", "R1plain,rod,1.81320")
    assert Ran(capsys, "assign", *folders, "--save").status == 1
    ran = Ran(capsys, "sheet", folders[0])
    assert ran.status == 1 and "its shells may still change for two" in page(folders[0]).text
    ticked = {name[0] for name, block in blocks(folders[0]).items() if list(block.all(cls="tick"))}
    assert ticked == {"M"}


def test_a_shared_plan_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan of two engines says at the top and beside its proof that it is for both, and stands beside the baselines
    and its own figures for both; once the inputs of the other change, the sheet is VOID and says whose they are, with
    the command that makes a new plan for both."""
    folders = shared_engines(tmp_path, capsys)
    assert Ran(capsys, "sheet", folders[1]).status == 0
    document = json.loads((folders[1] / "assignment.json").read_text(encoding="utf-8"))
    text = page(folders[1]).text
    assert "shared, for one and two together; replaces all earlier sheets" in text
    assert text.count("Proven when it was saved, for one and two together") == 2
    for kind in ("rod", "main"):
        (table,) = [t for t in page(folders[1]).all("table") if f"Ways of choosing for {kind}" in t.text]
        cells = {row.text: [cell.text for cell in row.all("td")] for row in table.all("tr")}
        for way, figures in (("this plan", document["kinds"]), *((k, document["baselines"][k]) for k in BASELINES)):
            start = f"{BASELINES.get(way, way)}, one and two together"
            (row,) = [found for text, found in cells.items() if text.startswith(start)]
            assert row[3] == f"{figures[kind]['spread'] * 10_000:.1f}" and row[0] == str(figures[kind]["filled"])
    change(folders[0], "positions.csv", "R1plain,rod,1.81620", "R1plain,rod,1.81610")
    ran = Ran(capsys, "sheet", folders[1])
    assert ran.status == 1 and "the inputs of one have changed" in ran.err and "of two have" not in ran.err
    top = page(folders[1]).text.split("Bench check")[0]
    assert "Build nothing from this sheet: the inputs of one have changed" in top
    assert f"fitmatch assign {folders[1]} {folders[0]} --save" in top


def test_no_shell_stands_on_two_sheets(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan for one of two engines that share one is not saved, and the message has the command for both; saved by
    force, the other's sheet is VOID and names the engine that left, its blank rows of assembled.csv and its shells are
    refused, and a film is told so; saved for both again all is well."""
    folders = one, two = shared_engines(tmp_path, capsys)
    before = (one / "assignment.json").read_bytes()
    ran = Ran(capsys, "assign", one, "--save")
    assert ran.status == 2 and (one / "assignment.json").read_bytes() == before
    assert f"is shared with two, and the new plan may take shells from there; `fitmatch assign {one} {two}" in ran.err
    ran = Ran(capsys, "assign", one, "--save", "--force")
    assert ran.status == 0 and "two shared the previous plan" in ran.err
    assert Ran(capsys, "sheet", one).status == 0
    ran = Ran(capsys, "sheet", two)
    why = "one, which shares this plan, has another plan since"
    assert ran.status == 1 and f"{why}: a shell may stand in both engines: the sheet is VOID" in ran.err
    assert page(two).text.count("VOID") and not list(page(two).all(cls="tick"))
    assert f"fitmatch assign {two} {one} --save" in page(two).text
    (two / "assembled.csv").write_text("position,clearance,method\nR1plain,0.0021,gauge\n", encoding="utf-8")
    for command in ("assembled", "sheet"):
        ran = Ran(capsys, command, two)
        assert ran.status == 2 and f"{why}: a shell may stand in both engines; write the shell that is in" in ran.err
    (two / "assembled.csv").unlink()
    ran = Ran(capsys, "shelf", "set-aside", two, "--db", tmp_path / "shelf.db")
    assert ran.status == 2 and why in ran.err
    ran = Ran(capsys, "film", *FILM, two)
    assert why in ran.err
    assert Ran(capsys, "assign", *folders, "--save").status == 0
    assert [Ran(capsys, "sheet", folder).status for folder in folders] == [0, 0]


def test_where_the_others_of_a_plan_are_gone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where another job of a shared plan has none any more, the sheet is VOID, exit 1; where its folder is gone, or
    this one was renamed, that is told, and the command names only folders that are there."""
    one, two = shared_engines(tmp_path, capsys)
    plan = (one / "assignment.json").read_bytes()
    (one / "assignment.json").unlink()
    ran = Ran(capsys, "sheet", two)
    assert ran.status == 1 and "one, which shares this plan, has no assignment.json" in ran.err
    (one / "assignment.json").write_bytes(plan)
    one.rename(tmp_path / "away")
    (two / "sheet.html").unlink()
    ran = Ran(capsys, "sheet", two)
    assert ran.status == 2 and f"one, which shares this plan, is not in {one} any more" in ran.err
    assert f"`fitmatch assign {two} --save`" in ran.err and not (two / "sheet.html").exists()
    (tmp_path / "away").rename(one)
    two.rename(tmp_path / "renamed")
    ran = Ran(capsys, "sheet", tmp_path / "renamed")
    assert ran.status == 1 and "knows no job of this name: was the folder renamed?" in ran.err


def test_a_shared_plan_has_its_assembled_readings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of an engine that shares its plan the record has what was read with its shells in, also where these came from
    the other engine's boxes; a reading outside the limits is NOT TO BE RUN there as anywhere, and a mistake in the file
    is told with its folder and row."""
    folders = shared_engines(tmp_path, capsys)
    document = json.loads((folders[0] / "assignment.json").read_text(encoding="utf-8"))
    foreign = [
        (at, p)
        for at, folder in enumerate(folders)
        for p in document["positions"]
        if p["job"] == folder.name and not p["upper"]["box"].startswith(folder.name)
    ]
    assert foreign
    at, p = foreign[0]
    folder, name = folders[at], p["position"]
    for clearance, status in ((p["clearance"], 0), (0.0052, 1)):
        text = f"position,clearance,method\n{name},{clearance},gauge\n"
        (folder / "assembled.csv").write_text(text, encoding="utf-8")
        assert Ran(capsys, "sheet", folder).status == status
        record = next(one for one in page(folder).all("section") if one["id"] == "record")
        (line,) = [row.text for row in record.all("tr") if row.text.startswith(f"{name} ")]
        assert f" {p['clearance']:.5f} " in line and f"reads {clearance} in (mic-1), corrected {clearance:.5f}" in line
        assert ("NOT TO BE RUN" in line) is bool(status)
        assert bool(list(blocks(folder)[name].all(cls="tick"))) is not bool(status)
    (folder / "assembled.csv").write_text("position,clearance,method\nX9,0.002,gauge\n", encoding="utf-8")
    ran = Ran(capsys, "sheet", folder)
    assert ran.status == 2 and f"{folder.name}/assembled.csv:2: position: " in ran.err


def test_a_housing_that_moved_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where housings may move, the block that one went to says whose it is, and so does the record; the others say
    nothing of it."""
    folder = engine(tmp_path / "x", rods=6, mains=2, more='[rules]\nmovable = ["rod"]\n')
    assert Ran(capsys, "sheet", folder).status == 0
    moved = {name: p["housing"] for name, p in saved(folder).items() if p["housing"] != name}
    warning = "mark both before anything is moved"
    assert moved and page(folder).text.count(warning) == len(moved)
    for name, block in blocks(folder).items():
        told = re.findall(r"the housing of (\S+) goes here", block.text)
        assert told == ([moved[name]] if name in moved else [])


def test_a_housing_in_doubt_is_not_moved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a housing that would move has a bore in doubt, the top names that bore and not the position it would go to
    alone; no block of the kind says that a housing goes there, and the one that it would go to says after what."""
    folder = engine(tmp_path / "x", rods=6, mains=2, more='[rules]\nmovable = ["rod"]\n')
    text = (folder / "positions.csv").read_text(encoding="utf-8")
    rows = text.splitlines()
    for at, row in enumerate(rows):
        if row.startswith("R3,"):
            cells = row.split(",")
            cells[3] = f"{float(cells[3]) + 0.0013:.5f}"
            rows[at] = ",".join(cells)
    (folder / "positions.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert Ran(capsys, "assign", folder, "--save").status == 1
    assert Ran(capsys, "sheet", folder).status == 1
    moved = {name: p["housing"] for name, p in saved(folder).items() if p["housing"] != name}
    (doubted,) = [name for name, housing in moved.items() if housing == "R3"]
    top = next(page(folder).all("header")).text
    assert f"IN DOUBT: {doubted}. Measure again before anything else: R3 housing bore." in top
    assert "goes here" not in page(folder).text
    told = "Do not move the housing of R3 here before its bore is measured again"
    assert [name for name, block in blocks(folder).items() if told in block.text] == [doubted]
    waiting = "here before its kind may be fitted"
    assert [name for name, block in blocks(folder).items() if waiting in block.text] == [
        n for n in moved if n != doubted
    ]


def test_other_commands_load_no_templates(job: Path) -> None:
    """`assign` loads neither the template library nor any of the sheet."""
    code = (
        "import sys\nfrom fitmatch.cli.main import main\ntry:\n    main(sys.argv[1:])\n"
        "finally:\n    print(*(n for n in sys.modules if 'jinja' in n or 'sheet.' in n), file=sys.stderr)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, "assign", str(job), "--quiet", "--save"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stderr.strip()) == (0, "")


@pytest.mark.parametrize("allowed", [True, False])
def test_compiled_templates_are_kept(allowed: bool, job: Path, tmp_path: Path) -> None:
    """Where Python may not keep modules beside the package, compiled templates are in the user's cache, and the next
    run writes none; where that cannot be written either, the sheet is written all the same."""
    cache = tmp_path / "cache"
    if not allowed:
        cache.write_text("a file where the folder would be", encoding="utf-8")
    env = {**os.environ, "XDG_CACHE_HOME": str(cache), "PYTHONDONTWRITEBYTECODE": "1"}
    run = [sys.executable, "-m", "fitmatch", "sheet", str(job), "--quiet"]
    written = []
    for _ in range(2):
        assert subprocess.run(run, env=env, capture_output=True, check=True).stderr == b""
        written.append({path: path.stat().st_mtime_ns for path in cache.rglob("*.cache")})
    assert written[0] == written[1] and bool(written[0]) is allowed and page(job).text


def test_labels_leave_out_what_is_needed_least(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On small labels letters are never below 6 points: what there is no room for goes in the order grade, part, step,
    family, measured, location, and three dots tell so; name, wall, half, box and why it is held always stand. Letters
    of large labels are larger."""
    folder = engine(tmp_path / "x", rods=3, mains=2, note="P-4417-X and a long number of a part")
    path = folder / "shells" / "rods.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([f"{head},grade", *(f"{row},a grade of some words" for row in rows)]) + "\n", "utf-8")
    told: dict[str, str] = {}
    for size in ("40x20", "60x30", "190x240"):
        assert Ran(capsys, "sheet", folder, "--only", "leftovers", "--label", size).status == 0
        told[size] = next(one.text for one in page(folder).all(cls="label") if "rod" in one.text)
        style = next(one for one in next(page(folder).all("style")).inside if isinstance(one, str))
        letters = [float(pt) for pt in re.findall(r"font-size: max\(6pt, ([0-9.]+)pt\)", style)]
        assert letters == [{"40x20": 5.0, "60x30": 7.5, "190x240": 23.75}[size]]
    assert "grade" not in told["40x20"] and "..." in told["40x20"] and "wall " in told["40x20"]
    for size in ("60x30", "190x240"):
        assert "grade a grade of some words" in told[size] and "part P-4417-X" in told[size] and "..." not in told[size]


@pytest.mark.deep
def test_sixty_positions_fit_into_two_megabytes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet of sixty positions has all of them and is below two million bytes."""
    folder = engine(tmp_path / "large", rods=40, mains=20)
    assert Ran(capsys, "sheet", folder).status == 0
    assert len(blocks(folder)) == 60 and (folder / "sheet.html").stat().st_size < 2_000_000


def test_every_sample_has_its_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of each sample there is a sheet that is well formed, and the same files give the same sheet."""
    for home in sorted(samples_home().glob("*/job.toml")):
        folder = sample(tmp_path, home.parent.name, capsys)
        status = Ran(capsys, "assign", folder, "--save", "--quiet").status
        assert Ran(capsys, "sheet", folder, "--quiet").status == status
        first = (folder / "sheet.html").read_bytes()
        assert Ran(capsys, "sheet", folder, "--quiet").status == status
        assert (folder / "sheet.html").read_bytes() == first and page(folder).text


def test_an_assembled_reading_outside_the_limits_is_not_to_be_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once a bore was read outside its limits with these shells in, its block and its line of the record say NOT TO BE
    RUN with the reading and the limit, the page says so at its top, the block has nothing to tick, and the exit status
    is 1; the other positions stay as they are."""
    folder = sample(tmp_path, "metrology-bench", capsys)
    assert Ran(capsys, "assign", folder, "--save").status == 0
    change(folder, "assembled.csv", "M2,1,7,50.046,50.046", "M2,1,7,50.086,50.086")
    assert Ran(capsys, "sheet", folder).status == 1
    found = blocks(folder)
    assert [name for name, block in found.items() if "NOT TO BE RUN" in block.text] == ["M2"]
    assert [name for name, block in found.items() if not list(block.all(cls="tick"))] == ["M2"]
    assert (
        "the bore reads 50.086 50.086 mm, 50.0860 mm on average (1.97189 in) by gauge, must read at most 50.0560 mm;"
        in found["M2"].text
    )
    assert "max 0.0620 mm: 30.0 um above" in found["M2"].text
    assert "A MISTAKE" in found["M2"].text and "a cap that is not fully seated" in found["M2"].text
    top = next(page(folder).all("header")).text
    assert "NOT TO BE RUN as read with the shells in: M2." in top and "A MISTAKE as read" in top
    assert [name for name in found if "NOT TO BE RUN; A MISTAKE" in row_of(folder, name)] == ["M2"]
    (note,) = [note.text for note in page(folder).all("span", cls="note") if note.text.startswith("M2: ")]
    assert "NOT TO BE RUN: assembled clearance 0.0920" in note and "; A MISTAKE: assembled is " in note


def test_a_reading_that_is_not_as_calculated_stops_the_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A reading inside the limits that is apart from the calculation, or a mistake, is told in its block with what to
    look for; the block has nothing to tick, and the exit status is 1. One that agrees changes nothing."""
    job = engine(tmp_path / "x", rods=4, mains=3, gauges=False)
    assert Ran(capsys, "assign", job, "--save").status == 0
    calm = saved(job)["R1"]["clearance"]
    assert isinstance(calm, float)
    for off, word in ((0.0001, ""), (0.0004, "APART"), (0.0007, "A MISTAKE")):
        text = f"position,clearance,method\nR1,{calm + off:.5f},gauge\n"
        (job / "assembled.csv").write_text(text, encoding="utf-8")
        assert Ran(capsys, "sheet", job).status == (1 if word else 0)
        block, top = blocks(job)["R1"], next(page(job).all("header")).text
        assert bool(list(block.all(cls="tick"))) is (not word)
        assert f"{off * 1e4:.1f} tenths looser than calculated" in block.text if word else "looser" not in block.text
        read = f"the clearance reads {calm + off:.5f} in ({(calm + off) * 25.4:.4f} mm) by gauge, agrees up to"
        assert f"{word}: {read} {calm + 0.0003:.5f} in: " in block.text if word else "agrees up to" not in block.text
        assert (f"{word} as read with the shells in: R1" in top) is bool(word)


def test_a_kind_that_is_not_whole_is_not_begun(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every block of such a kind says FIT NOT YET in itself, and has no figures for the bench; a block of another kind
    has both. Where a reading is in doubt the block says which and to measure again first, wants nothing of the walls,
    and the record says so too."""
    change(job, "positions.csv", "R2,rod,1.81640", "R2,rod,1.84140")
    assert Ran(capsys, "assign", job, "--save").status == 1
    assert Ran(capsys, "sheet", job).status == 1
    for name, block in blocks(job).items():
        assert ("FIT NOT YET: rod is not whole" in block.text) is (
            name.startswith("R") and "NOT FILLED" not in block.text
        )
        assert ("must read" in block.text) is ("it reads" in block.text) is name.startswith("M")
    doubted = blocks(job)["R2"].text
    assert "IN DOUBT, measure again before anything else: R2 journal reads 0.0252 in high" in doubted
    assert "measure R2 again" in doubted and "walls" not in doubted
    record = next(one for one in page(job).all("section") if one["class"] == "part record").text
    assert "R2: IN DOUBT, measure again before anything else: R2 journal reads" in record
    top = next(page(job).all("header")).text
    assert (
        "IN DOUBT: R2. Measure again before anything else: R2 journal. NOT FILLED: R2. Fit no shell of rod yet" in top
    )
    for part in (page(job).text[page(job).text.index("Record Plan") :], top):
        assert part.count("Fit no shell of rod yet: rod is not whole") == 1 and "Fit no shell of main" not in part
    marked = [one.text for one in page(job).all("text", cls="flagged")]
    assert marked == ["R2"] and "A name in a filled field is not ready" in page(job).text


def test_a_doubtful_shell_comes_before_the_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a shell in doubt could go to an empty position, its block and the record say so before why it is empty; the
    position itself is not IN DOUBT."""
    halves = (("upper", "0.0620 0.0621 0.0620 0.0625"), ("lower", "0.0621 0.0620 0.0620 0.0624"))
    shells = [(half, wall) for half, walls in halves for wall in walls.split()]
    folder = written(
        tmp_path / "x",
        toml='unit = "in"\n[fit.rod]\nmin = 0.0018\nmax = 0.0030\n[drawing.rod]\nhousing_bore = "2.1255..2.1270"\n',
        positions="position,kind,journal,housing_bore\n"
        "R1,rod,2.0000,2.1265\nR2,rod,2.0001,2.1266\nR3,rod,2.0000,2.1275\n",
        shells="shell,kind,half,wall\n" + "".join(f"{n},rod,{h},{w}\n" for n, (h, w) in enumerate(shells, 1)),
    )
    assert Ran(capsys, "assign", folder, "--save").status == 1
    assert Ran(capsys, "sheet", folder).status == 1
    (name,) = [name for name, block in blocks(folder).items() if "NOT FILLED" in block.text]
    block = blocks(folder)[name].text
    record = next(one for one in page(folder).all("section") if one["id"] == "record")
    (note,) = [note.text for note in record.all("span", cls="note") if note.text.startswith(name)]
    for text in (block, note):
        assert "a shell that could go there is in doubt, measure again before anything else: box-1/4 wall" in text
        assert "IN DOUBT" not in text
    assert block.index("box-1/4 wall reads") < block.index("drawing")


def row_of(folder: Path, position: str) -> str:
    """The row of a position on the record."""
    record = next(one for one in page(folder).all("section") if one["id"] == "record")
    (row,) = [row.text for row in record.all("tr") if row.text.startswith(f"{position} ")]
    return row


def test_the_record_says_what_is_to_be_written_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the blank for the assembled reading stand what the gauge is set to and what it must read, in its own unit,
    as in the block of the position: it is no clearance, and min and max do not apply to it as it is read."""
    folder = tapered(tmp_path)
    assert Ran(capsys, "sheet", folder).status == 0
    for name, figures in bench_figures(folder).items():
        must = figures["must read"].partition(" (")[0]
        assert must.endswith(" mm")
        setting = next(text for word, text in figures.items() if word.startswith("set ")).partition(" (")[0]
        assert row_of(folder, name).endswith(f"set mic-1 {setting} must read {must} it reads")
        assert re.fullmatch(r"[12]\.\d{4} in", setting)


def test_the_record_has_what_was_read_and_what_it_means(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of an assembled reading the record has the reading as the gauge gave it, in its unit, with the gauge, by whom and
    when, and beside it the corrected clearance; a strip is told as such. Readings of journals and bores stand in the
    unit and with the decimals of their gauges."""
    folder = tapered(tmp_path)
    assert Ran(capsys, "assign", folder, "--save").status == 0
    text = "position,clearance [mm],method,by,date\nR1,0.0510,gauge,A. B.,2026-11-29\nR2,0.051,strip,,\n"
    (folder / "assembled.csv").write_text(text, encoding="utf-8")
    answers = {r["position"]: r for r in json.loads(Ran(capsys, "assembled", folder, "--json").out)["readings"]}
    Ran(capsys, "sheet", folder)
    corrected = {name: f"corrected {Decimal(str(r['assembled'])):.5f} in" for name, r in answers.items()}
    assert f"reads 0.0510 mm (bore-1, by A. B., 2026-11-29), {corrected['R1']}" in row_of(folder, "R1")
    assert f"reads 0.051 mm (strip), {corrected['R2']}" in row_of(folder, "R2")
    assert "it reads" not in row_of(folder, "R1") and row_of(folder, "M1").endswith("it reads")
    journals = dict(line.split(",")[0:4:2] for line in (folder / "positions.csv").read_text().splitlines()[1:])
    assert f" {Decimal(journals['M1']):.4f} " in row_of(folder, "M1").replace(" in ", " ")


def crossed(tmp_path: Path) -> Path:
    """An engine of which one rod has limits of its own that no shells can meet, and nothing else is wrong."""
    folder = engine(tmp_path / "crossed", rods=4, mains=3)
    head, *rows = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    lines = [f"{head},max", *(f"{row},{'0.0016' if row.startswith('R2,') else ''}" for row in rows)]
    (folder / "positions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def test_what_is_out_is_told_with_its_amount(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position NOT TO BE ASSEMBLED is named at the top, marked in the drawing, and told in its block and on the
    record with its clearance, the limit and by how much it is out; the figures say over how many positions they
    are."""
    folder = crossed(tmp_path)
    assert Ran(capsys, "sheet", folder).status == 1
    told = re.compile(r"NOT TO BE ASSEMBLED: clearance 0\.\d+ in, max 0\.00160 in: [0-9.]+ tenths? above")
    block = blocks(folder)["R2"].text
    notes = [note.text for note in page(folder).all("span", cls="note")]
    assert told.search(block) and any(note.startswith("R2: ") and told.search(note) for note in notes)
    assert "NOT TO BE ASSEMBLED: R2. The clearance is outside its limits." in next(page(folder).all("header")).text
    assert [one.text for one in page(folder).all("text", cls="flagged")] == ["R2"]
    assert "NOT TO BE ASSEMBLED" in row_of(folder, "R2") and row_of(folder, "R2").endswith(" -")
    rows = [[cell.text for cell in row.all("td")] for row in page(folder).all("tr") if row.text.startswith("this plan")]
    assert [cells[:2] for cells in rows] == [["3", "0"], ["4", "1"]]
    assert [cell.partition(" ")[2] for cell in rows[1][2:5]] == ["over 3 of 4 positions"] * 3
    assert not any("over" in cell for cell in rows[0])


def test_doubt_and_amount_are_both_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the reading of a position outside its limits is in doubt, the doubt comes first, then by how much it is
    out; nothing is said of the walls that it would need."""
    folder = engine(tmp_path / "x", rods=6, mains=3)
    change(folder, "positions.csv", "R2,rod,1.81640", "R2,rod,1.81440")
    assert Ran(capsys, "sheet", folder).status == 1
    block = blocks(folder)["R2"].text
    assert block.index("IN DOUBT, measure again") < block.index("tenths above")
    assert "NOT TO BE ASSEMBLED: clearance 0.00" in block and "needs walls" not in block


def test_the_drawing_along_the_line_has_its_scale(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The figures say which way plus is, what the middle and the ends of the drawing are, and have these figures over
    it; the ends are those of the bearing that lies furthest out."""
    folder = sample(tmp_path, "metrology-bench", capsys)
    assert Ran(capsys, "sheet", folder).status == 0
    figures = next(one for one in page(folder).all("section") if one["id"] == "figures")
    axes = [Decimal(cell.text) for cell in figures.all("td") if cell.attributes.get("data-label") == "axis"]
    reach = max(map(abs, axes))
    ends = f"the ends of the long one are -{reach} and +{reach} um"
    assert reach and figures.text.count(f"+ is towards the upper half (block). The short line is 0, {ends}") == 1
    scales = [[t.text for t in svg.all("text")] for svg in figures.all("svg") if list(svg.all("text"))]
    assert scales == [[f"-{reach}", "0", f"+{reach}"]]


def test_a_reading_just_outside_looks_outside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A reading that is out by less than the usual decimals show has more of them wherever it stands beside its limit:
    in the block and on the record."""
    folder = engine(tmp_path / "x", rods=4, mains=3, gauges=False)
    assert Ran(capsys, "assign", folder, "--save").status == 0
    text = "position,clearance,method\nR1,0.0034001,gauge\n"
    (folder / "assembled.csv").write_text(text, encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 1
    told = "assembled clearance 0.0034001 in, max 0.0034000 in: 0.001 tenths above"
    block = blocks(folder)["R1"].text
    assert told in block and "reads 0.0034001 in (0.0864 mm) by gauge, must read at most 0.0034000 in;" in block
    assert "corrected 0.0034001 in" in row_of(folder, "R1")
    (note,) = [note.text for note in page(folder).all("span", cls="note") if note.text.startswith("R1: ")]
    assert told in note


def coated(tmp_path: Path, *, counts: bool) -> Path:
    """Four coated rods, walls measured over the coating, with limits to the metal or over the coating."""
    folder = engine(tmp_path / "coated", rods=4, mains=0, gauges=False)
    text = (folder / "shells" / "rods.csv").read_text(encoding="utf-8")
    head, *rows = text.splitlines()
    thicker = [row.split(",") for row in rows]
    lines = [
        ",".join([*row[:3], str(Decimal(row[3]) + Decimal("0.0003" if not counts else 0)), *row[4:], "0.0003"])
        for row in thicker
    ]
    (folder / "shells" / "rods.csv").write_text("\n".join([f"{head},coating", *lines]) + "\n", encoding="utf-8")
    (folder / "shells" / "mains.csv").unlink()
    job = (folder / "job.toml").read_text(encoding="utf-8")
    job = re.sub(r"(?s)\[fit\.main\].*?(?=\[|\Z)", "", job)
    (folder / "job.toml").write_text(f"{job}[coating]\ncounts = {str(counts).lower()}\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("counts", [True, False])
def test_the_gauge_is_expected_over_the_coating(
    counts: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the sheet expects on the bore gauge is the clearance over the coating, whether that counts as wall or not,
    and says what the clearance lies between; typed into assembled.csv it is not off at all, and a reading that is above
    max to the metal is NOT TO BE RUN though it is below max as read."""
    folder = coated(tmp_path, counts=counts)
    assert Ran(capsys, "sheet", folder).status == 0
    plan, found = saved(folder), blocks(folder)
    for name, p in plan.items():
        over = Decimal(str(p["clearance_over_coating"]))
        assert Decimal(found[name]["data-expect"]) == over
        clearance = Decimal(str(p["clearance"]))
        assert clearance - over == (0 if counts else Decimal("0.0006"))
        text = found[name].text
        assert ("over the coating; to the metal" if counts else "to the metal; over the coating") in text
        assert ("the bore gauge touches the coating, 0.00060 in (0.0152 mm) on both shells" in text) is not counts
        assert text.count("coated 0.00030 in (0.0076 mm), not in the wall") == (0 if counts else 2)
        low, high = (LIMITS["in"][end] - (0 if counts else 0.0006) for end in ("min", "max"))
        assert f"must read {low:.5f} to {high:.5f} in" in text
    exact = read_at_the_bench(folder, {name: found[name]["data-expect"] for name in found}, capsys)
    assert [float(str(r["difference"])) for r in exact] == [0.0] * 4
    (one, *_) = read_at_the_bench(folder, {"R1": "0.0031"}, capsys)
    assert one["within_limits"] is counts and one["uncounted"] == (0 if counts else 0.0006)
    (folder / "assembled.csv").write_text("position,clearance,method\nR1,0.0031,gauge\n", encoding="utf-8")
    told = Ran(capsys, "assembled", folder)
    assert ("NOT TO BE RUN" in told.out) is not counts
    assert ("is added to what was read" in " ".join(told.out.split())) is not counts
    assert Ran(capsys, "sheet", folder).status == 1
    assert ("NOT TO BE RUN" in blocks(folder)["R1"].text) is not counts
    record = next(one for one in page(folder).all("section") if one["class"] == "part record").text
    walls = {p[side]["wall"] for p in plan.values() for side in ("upper", "lower")}
    assert all(f" {Decimal(str(wall)) + (0 if counts else Decimal('0.0003')):.5f} " in record for wall in walls)
    assert record.count("0.00060 in of coating does not count as wall: add it") == (0 if counts else 1)


def test_shells_that_are_noted_elsewhere_stop_their_positions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reading taken with other shells in than the plan's is named on top, at its position and on the record, and
    there is nothing to tick there, nor where the plan wants a shell that was noted elsewhere; a leftover that was noted
    in is marked; exit 1. A later row with the plan's own shells settles it."""
    folder = engine(tmp_path / "noted", rods=4, mains=3)
    assert Ran(capsys, "sheet", folder).status == 0
    plan = saved(folder)
    left = json.loads(Ran(capsys, "assign", folder, "--json").out)["leftover"]
    spare = next(one["shell"] for one in left if one["kind"] == "main" and one["half"] == "upper")
    lower, taken = plan["M1"]["lower"]["shell"], plan["R2"]["upper"]["shell"]
    rows = ["position,upper,lower,clearance,method", f"M1,mains/{spare},mains/{lower},0.0021,gauge"]
    rows += [f"R1,rods/{taken},rods/{plan['R1']['lower']['shell']},0.0022,gauge"]
    (folder / "assembled.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 1
    top, found = next(page(folder).all("header")).text, blocks(folder)
    ours = plan["M1"]["upper"]["shell"]
    line = f"assembled.csv says mains/{spare} is in M1, the plan says mains/{ours}"
    assert "SHELLS NOT AS PLANNED: R1, R2 and M1. Find out which" in top and line in top
    assert f"assembled.csv says rods/{taken} is in R1, the plan says R2" in found["R2"].text
    for name, block in found.items():
        stopped = name in ("M1", "R1", "R2")
        assert bool(list(block.all(cls="tick"))) is not stopped and ("it reads" in block.text) is not stopped
    assert line in found["M1"].text
    parts = {one["id"]: one for one in page(folder).all("section")}
    record = parts["record"].text
    assert line in record and f"with mains/{spare} and mains/{lower} in: set mic-1 " in record
    assert "reads 0.0021 in (mic-1)" in record
    labels = [one.text for one in parts["leftovers"].all(cls="label") if "NOTED IN M1: find out" in one.text]
    assert len(labels) == 1 and labels[0].startswith(f"{spare} ")
    rows += ["M1,,,0.0022,gauge", "R1,,,0.0022,gauge"]
    (folder / "assembled.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    Ran(capsys, "sheet", folder)
    assert "SHELLS NOT AS PLANNED" not in page(folder).text


def test_shells_that_are_noted_elsewhere_are_also_not_to_be_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was read outside its limits with other shells in than the plan's is NOT TO BE RUN as well: on top, at its
    position and on the record, which all name those shells."""
    folder = engine(tmp_path / "outside", rods=2, mains=2)
    assert Ran(capsys, "sheet", folder).status == 0
    plan = saved(folder)
    left = json.loads(Ran(capsys, "assign", folder, "--json").out)["leftover"]
    spare = next(one["shell"] for one in left if one["kind"] == "main" and one["half"] == "upper")
    lower = plan["M1"]["lower"]["shell"]
    rows = f"M1,mains/{spare},mains/{lower},0.0060,gauge\n"
    (folder / "assembled.csv").write_text(f"position,upper,lower,clearance,method\n{rows}", encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 1
    top, block = next(page(folder).all("header")).text, blocks(folder)["M1"].text
    assert "NOT TO BE RUN as read with the shells in: M1" in top and "SHELLS NOT AS PLANNED: M1" in top
    assert "If it is what the plan says, clear the reading of the other row; if it is not, fit what" in top
    assert f"NOT TO BE RUN: with mains/{spare} and mains/{lower} in the clearance reads 0.0060 in" in block
    record = next(one for one in page(folder).all("section") if one["id"] == "record").text
    assert "NOT TO BE RUN; A MISTAKE; SHELLS NOT AS PLANNED" in record
    assert "NOT TO BE RUN: assembled clearance 0.00600 in, max" in record


def test_shells_that_are_noted_crosswise_are_told_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two positions that are noted with each other's shells are told in one sentence, at both and on top."""
    folder = engine(tmp_path / "crosswise", rods=2, mains=2)
    assert Ran(capsys, "sheet", folder).status == 0
    plan = saved(folder)
    pairs = [",".join(f"rods/{plan[name][side]['shell']}" for side in ("upper", "lower")) for name in ("R2", "R1")]
    rows = "".join(f"{name},{pair},0.0022,gauge\n" for name, pair in zip(("R1", "R2"), pairs, strict=True))
    (folder / "assembled.csv").write_text(f"position,upper,lower,clearance,method\n{rows}", encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 1
    told = "assembled.csv has the shells of R1 and R2 the other way round"
    (top, found) = next(page(folder).all("header")).text, blocks(folder)
    assert top.count("assembled.csv") == 1 and told in top and "R1 and R2. Find out which is in" in top
    for name in ("R1", "R2"):
        assert found[name].text.count("assembled.csv") == 1 and told in found[name].text
        assert not list(found[name].all(cls="tick"))


def test_a_housing_that_is_noted_elsewhere_stops_both_positions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reading with another housing than the plan's stops that position and the one that the housing is planned for;
    it is the housing that is not as planned there, and no shell."""
    folder = engine(tmp_path / "housing", rods=3, mains=2, more='[rules]\nmovable = ["rod"]\n')
    assert Ran(capsys, "sheet", folder).status in (0, 1)
    plan = saved(folder)
    homes = {name: p.get("housing") or name for name, p in plan.items() if p["kind"] == "rod"}
    other = next(name for name in homes if homes[name] != homes["R1"])
    rows = f"R1,{homes[other]},0.0022,gauge\n"
    (folder / "assembled.csv").write_text(f"position,housing,clearance,method\n{rows}", encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 1
    top, found = next(page(folder).all("header")).text, blocks(folder)
    first = f"assembled.csv says the housing of {homes[other]} is in R1, the plan says that of {homes['R1']}"
    assert "HOUSING NOT AS PLANNED: " in top and "SHELLS NOT AS PLANNED" not in top and first in top
    assert first in found["R1"].text
    assert f"housing of {homes[other]} is in R1, the plan says {other}" in found[other].text
    for name in ("R1", other):
        assert not list(found[name].all(cls="tick")) and "HOUSING NOT AS PLANNED: assembled.csv" in found[name].text


def test_the_record_of_a_job_can_be_checked_on_paper(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings stand with the decimals of the finest of their kind, so that no written zero is lost, every line at the
    foot is a sentence, and a reading with the shells in keeps what the micrometer was set to and what it had to be."""
    folder = engine(tmp_path / "bare", rods=4, mains=3, gauges=False)
    text = (folder / "positions.csv").read_text(encoding="utf-8").replace("housing_bore", "housing_bore_1")
    rows = [row.split(",") for row in text.splitlines()]
    more = ["housing_bore_2", *(f"{Decimal(row[3]) + Decimal('0.00004')}" for row in rows[1:])]
    lines = [",".join([*row[:4], again, *row[4:]]) for row, again in zip(rows, more, strict=True)]
    (folder / "positions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert Ran(capsys, "sheet", folder).status == 0
    plan = saved(folder)
    first = rows[1]
    (folder / "assembled.csv").write_text("position,clearance,method\nR1,0.0023,gauge\n", encoding="utf-8")
    Ran(capsys, "sheet", folder)
    record = next(one for one in page(folder).all("section") if one["id"] == "record").text
    assert re.search(rf"{first[3]} {Decimal(first[3]) + Decimal('0.00004'):.5f} in", record) and len(first[3]) == 7
    assert re.search(r"Inputs' digest: [0-9a-f]{64}\. What was read", record) and "\u00a0" not in record
    assert f"set micrometer {plan['R1']['journal']:.5f} in, must read 0.00140 to 0.00340 in; reads 0.0023 in" in record


def test_standard_output_is_no_file(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--output -` is refused, exit 2, and no file of that name is written."""
    ran = Ran(capsys, "sheet", job, "--output", "-")
    assert ran.status == 2 and "not written to standard output" in ran.err
    assert not Path("-").exists() and not (job / "assignment.json").exists()
