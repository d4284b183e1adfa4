"""Sheets in a real browser and on paper, and workbooks in an office suite: what only other programs can tell."""

import csv
import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from made.commands import Ran
from made.sheet_jobs import HOSTILE, engine
from pypdf import PdfReader

from fitmatch.shelf import fitted, open_shelf, read_assembled, read_planned, read_stock, set_aside, take_in

HERE = Path(__file__).parent
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
WORDS = "".join(HOSTILE)
Page = dict[str, Any]
Look = Callable[[str], tuple[Path, Page]]

pytestmark = pytest.mark.outside


def tool(*names: str) -> str:
    """The path of an installed program; without it the test is skipped, which .ci/run does not accept."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        pytest.skip(f"none of {', '.join(names)} is installed")
    return found


def looked_at(pages: list[tuple[Path, Path | None]]) -> list[Page]:
    """What the browser says of pages, each printed to a PDF where a name is given for it."""
    if not (HERE / "node_modules").exists():
        pytest.skip("npm install in tests/outside is missing")
    asked = [{"file": str(page), "pdf": pdf and str(pdf), "rules": page.parent.name in RULED} for page, pdf in pages]
    ran = subprocess.run(
        [tool("node"), HERE / "look.mjs"],
        input=json.dumps(asked),
        env={**os.environ, "BROWSER_PATH": tool(*BROWSERS)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    found: list[Page] = json.loads(ran.stdout)
    return found


JOBS: dict[str, dict[str, Any]] = {
    "three": {"rods": 2, "mains": 1, "unit": "mm"},
    "thirteen": {"rods": 8, "mains": 5, "title": "Engine 0815, winter overhaul", "record": "No. 7"},
    "sixty": {"rods": 40, "mains": 20},
    "long": {"rods": 14, "mains": 10, "unit": "mm", "long": " with a name that goes on and on, as some do"},
    "hostile": {
        "rods": 2, "mains": 2, "long": WORDS.replace("/", "")[:150], "title": WORDS, "note": WORDS, "record": WORDS,
    },
    "void": {"rods": 4, "mains": 3},
    "full": {"rods": 8, "mains": 5, "note": "P-4417-X", "title": "Sawmill engine, winter overhaul", "repeats": 4},
    "out": {"rods": 4, "mains": 5, "tight": True},
    "twenty-four": {"rods": 12, "mains": 12, "pins": False},
    "full-out": {"rods": 4, "mains": 5, "repeats": 4, "customer": " " + "n" * 200},
    **{f"full-{n}": {"rods": n - 7, "mains": 7, "note": "P-4417-X", "repeats": 2} for n in range(20, 28, 2)},
}  # fmt: skip
# Of every job with "repeats": its own keys for the record, all gauges that there may be, and a room that is told.
FULL = tuple(name for name in JOBS if name.startswith("full"))
OWN_KEYS = ("engine", "crank", "block", "customer", "order", "oil")
PRINTED = ("thirteen", "sixty", "void", *FULL)
RULED = ("three", "void", "bad")  # of which the rules of accessibility are asked, as that takes long


def of(names: Iterable[str]) -> pytest.MarkDecorator:
    """A test of each of these jobs; all that are of one job go to the same worker, if there are several, which looks
    at its sheet once."""
    return pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.xdist_group(n)) for n in names])


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Look:
    """The folder of a job, and what the browser says of its sheet, looked at when the first test asks for it."""
    home = tmp_path_factory.mktemp("sheets")

    @cache
    def look(name: str) -> tuple[Path, Page]:
        tool(*BROWSERS)
        folder = made(home / name, **JOBS[name])
        _run("assign", folder, "--save")
        if name == "full-out":  # every reading with the shells in is outside its limits
            names = [f"{letter}{n}" for letter, count in (("R", 4), ("M", 5)) for n in range(1, count + 1)]
            rows = "".join(f"{name},0.00342,gauge,A. Fitter,2026-11-29\n" for name in names)
            (folder / "assembled.csv").write_text(f"position,clearance,method,by,date\n{rows}", encoding="utf-8")
        if name == "void":
            with (folder / "job.toml").open("a", encoding="utf-8") as file:
                file.write("# changed since\n")
        _run("sheet", folder)
        (found,) = looked_at([(folder / "sheet.html", folder / "sheet" if name in PRINTED else None)])
        return folder, found

    return look


@cache
def printed(pdf: Path) -> list[str]:
    """The text of each page. It takes seconds, and several tests look at the same."""
    return [page.extract_text() for page in PdfReader(pdf).pages]


def made(
    folder: Path, *, repeats: int = 1, customer: str = "", pins: bool = True, tight: bool = False, **job: Any
) -> Path:
    """An engine, or one without `pins`, or with a bore that is too `tight`; with `repeats`, every journal and housing
    bore read so often, and a job.toml that says all it can, also this of the customer."""
    if repeats == 1:
        engine(folder, **job)
        text = (folder / "positions.csv").read_text(encoding="utf-8")
        if not pins:
            text = re.sub(r"(?m)^(R[0-9]+,rod,[0-9.]+,[0-9.]+),[0-9]+,", r"\1,,", text)
        if tight:
            text, number = re.subn(r",1\.8164\d,1\.94\d+,", ",1.81640,1.94070,", text, count=1)
            assert number == 1
        (folder / "positions.csv").write_text(text, encoding="utf-8")
        return folder
    more = "".join(
        f"[gauge.{name}]\nresolution = 0.0001\nlimit = 0.0001\nrepeatability = 0.00005\n{further}"
        for name, further in (("bore-gauge-1", 'set_with = "mic-1"\n'), ("ball-micrometer", ""))
    )
    more += "[temperature]\nroom = 21.0\nlimit = 1.0\n"
    more += "".join(f'[material.{kind}]\njournal = "steel"\nhousing_bore = "steel"\n' for kind in ("rod", "main"))
    own = {key: f"words for the {key}, some more{customer if key == 'customer' else ''}" for key in OWN_KEYS}
    more += "[record]\n" + "".join(f'{key} = "{text}"\n' for key, text in own.items())
    engine(folder, more=more, **job)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    text = text.replace(
        'housing_bore = "mic-1"\nwall = "mic-1"', 'housing_bore = "bore-gauge-1"\nwall = "ball-micrometer"'
    )
    (folder / "job.toml").write_text(text, encoding="utf-8")
    head, *rows = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    columns = [f"{what}_{n}" for what in ("journal", "housing_bore") for n in range(1, repeats + 1)]
    lines = [head.replace("journal,housing_bore", ",".join(columns))]
    for row in rows:
        name, kind, journal, bore, rest = row.split(",", 4)
        readings = [f"{float(nm) + n % 2 * 0.0001:.5f}" for nm in (journal, bore) for n in range(repeats)]
        lines.append(",".join([name, kind, *readings, rest]))
    (folder / "positions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def _run(*words: object) -> None:
    from fitmatch.cli.main import main

    with pytest.raises(SystemExit) as left:
        main([*map(str, words), "--quiet"])
    assert left.value.code in (0, 1)


@of(JOBS)
def test_a_sheet_in_a_browser(name: str, seen: Look) -> None:
    """At the widths of a telephone, a tablet and a desk, light and dark, and as printed: no text is clipped or stands
    over another, the console stays empty, nothing is requested, a validator and the rules of accessibility find
    nothing; shells are printed in 14 points at least, and what is printed is black on white."""
    _, found = seen(name)
    nothing_is_wrong(found)
    assert found["smallest_pt"] >= 13.99


def nothing_is_wrong(found: Page) -> None:
    assert found["said"] == [] and found["requests"] == [] and found["invalid"] == [] and found["accessibility"] == []
    assert {way: faults for way, faults in found["layout"].items() if faults} == {}
    light, dark, printed = found["colours"]
    assert light == printed == "rgb(255, 255, 255)" != dark


def test_the_look_is_not_blind(tmp_path: Path) -> None:
    """A page with every fault that is looked for is told of each."""
    (tmp_path / "bad").mkdir()
    page = tmp_path / "bad" / "page.html"
    page.write_text(
        "<!DOCTYPE html><html><head><title>x</title></head><body><h1>Over</h1>"
        '<h1 style="margin-top:-1.2em">one another</h1><div><td>no table</div><p style="width:4000px;'
        'white-space:nowrap;color:#999;background:#fff">far too wide '
        + "and wider "
        * 200
        + "</p><img src=http://x.invalid/x.png>"
        "<script>console.log('said')</script><p class=block><b class=shell style='font-size:1pt'>x</b></p>"
        "<div class=block><dl><div style='display:flex'><dt>expect</dt><dd style='margin:0'>0.06</dd></div></dl>"
        "<b style='line-height:1'><u>6</u></b></div><div class=strips><svg width=300 height=20></svg><br>"
        "<span class=end>flywheel</span></div><table class=ways style='width:1px'><tbody><tr><th>by hand</th></tr>"
        "</tbody></table></body></html>",
        encoding="utf-8",
    )
    (found,) = looked_at([(page, None)])
    assert "said" in found["said"] and found["requests"] and found["invalid"] and found["smallest_pt"] < 2
    faults = found["layout"]["360 light"]
    assert "wider than the window" in faults and any("over one another" in f for f in faults)
    assert any("outside" in f for f in faults) and "too close: expect / 0.06" in faults
    assert any(f.startswith("the line under 6 touches") for f in faults)
    assert "flywheel is not at the end of its line" in faults and "squeezed: by hand" in faults
    rules = {told.split(":")[0] for told in found["accessibility"]}
    assert {"html-has-lang", "image-alt", "color-contrast"} <= rules


def test_labels_are_as_large_as_they_were_asked_for(tmp_path: Path) -> None:
    """Labels that say all there is to say, with locations of several words, are of the size asked for, small or large:
    their letters become smaller first, but none is below 6 points. So are those with long names, in labels that are
    large enough."""
    pages = []
    for name, sizes in (("full", ("40x20", "60x30", "70x37.5", "190x240")), ("long", ("70x37.5",))):
        long = " of the old set" if name == "long" else ""
        folder = engine(tmp_path / name, rods=3, mains=2, note="P-4417-X", long=long)
        for kind in ("rod", "main"):
            path = folder / "shells" / f"{kind}s.csv"
            head, *rows = path.read_text(encoding="utf-8").splitlines()
            rows = [",".join([*row.split(",")[:6], f"{kind}-family"]) for row in rows]
            told = [f"{row},G2,drawer {at} of the green cabinet" for at, row in enumerate(rows)]
            path.write_text("\n".join([f"{head},grade,location", *told]) + "\n", encoding="utf-8")
            text = (folder / "job.toml").read_text(encoding="utf-8")
            family = f'[fit.{kind}]\nfamily = ["{kind}-family"]\n'
            (folder / "job.toml").write_text(text.replace(f"[fit.{kind}]\n", family), encoding="utf-8")
        where = ("--db", tmp_path / f"{name}.db")
        _run("shelf", "take-in", folder, *where)
        for size in sizes:
            words = ("--from-shelf", *where, "--only", "leftovers", "--label", size)
            _run("sheet", folder, *words, "--output", folder / f"{size}.html")
            assert "location drawer" in " ".join((folder / f"{size}.html").read_text(encoding="utf-8").split())
            pages.append((folder / f"{size}.html", None))
    for found in looked_at(pages):
        nothing_is_wrong(found)
        assert found["labels_over"] < 0.5 and found["letters_pt"] >= 5.99


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@of(PRINTED)
def test_a_sheet_on_paper(name: str, paper: str, seen: Look) -> None:
    """On A4 and Letter every page bears the plan and its date, VOID stands on every page of a sheet that is void and on
    no other; no position is broken over two pages, and its figures are, to the digit, those of the JSON document."""
    folder, _ = seen(name)
    document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    texts = [" ".join(text.split()) for text in printed(folder / f"sheet-{paper}.pdf")]
    line = f"Plan 1 of {document['plan_date']}, {document['plan_time']}; replaces all earlier sheets"
    assert all(line in text for text in texts)
    assert all(("VOID" in text) == (name == "void") for text in texts)
    assert all(f"page {number} of {len(texts)}" in text for number, text in enumerate(texts, 1))
    for p in document["positions"]:
        kind = p["kind"]
        heads = [text for text in texts if re.search(rf"\b{p['position']} {kind}\b", text) and "wall sum" in text]
        assert len(heads) == 1
        block = re.split(rf"\b{p['position']} {kind}\b", heads[0])[1]
        upper, lower, wall_sum, clearance = (
            block.index(words)
            for words in (
                f"{p['upper']['shell']} box {p['upper']['box']}",
                f"{p['lower']['shell']} box {p['lower']['box']}",
                f"wall sum {p['wall_sum']}",
                f"clearance {p['clearance']}",
            )
        )
        rest = "turns freely" if name not in ("void", "full-out") else "it reads"
        assert max(upper, lower, wall_sum, clearance) < block.index(rest)
    whole = " ".join(texts)
    again = 0 if name == "full-out" else 1  # on the record, where nothing was read yet
    assert whole.count("wall sum") == len(document["positions"])
    assert whole.count("it reads") == (1 + again) * whole.count("wall sum")
    for text in texts:
        assert not text.count("wall sum") or text.count("wall sum") == text.count("it reads")


@of(["thirteen", "full", "full-out"])
def test_the_record_is_one_page(name: str, seen: Look) -> None:
    """The record of an engine of thirteen positions is on one page, also with everything read four times, three gauges
    and six words of one's own: both signatures, and every position. So is that of nine positions of which every reading
    with the shells in is out, with a word of 200 letters."""
    folder, _ = seen(name)
    keys = ("No. 7",) if name == "thirteen" else OWN_KEYS
    last = 4 if name == "full-out" else 8
    for paper in ("A4", "Letter"):
        texts = printed(folder / f"sheet-{paper}.pdf")
        (record,) = [text for text in texts if "built by, date" in text]
        assert "Record" in record and "checked by, date" in record and all(key in record for key in keys)
        assert all(re.search(rf"\b{name}\b", record) for name in ("M1", "M5", "R1", f"R{last}"))


@of(FULL)
def test_signatures_do_not_stand_alone(name: str, seen: Look) -> None:
    """However many positions there are, the page of the record that is signed has positions on it, and each of its
    pages names the engine, the plan and its own number."""
    folder, _ = seen(name)
    for paper in ("A4", "Letter"):
        texts = [" ".join(text.split()) for text in printed(folder / f"sheet-{paper}.pdf")]
        first = next(at for at, text in enumerate(texts) if "Record" in text and "assembled" in text)
        last = next(at for at, text in enumerate(texts) if "built by, date" in text)
        assert first <= last and "checked by, date" in texts[last]
        assert re.search(r"(beam|block) \w+/", texts[last])
        for at in range(first, last + 1):
            assert "engine words for the engine" in texts[at] and "Plan 1 of" in texts[at]
            assert f"page {at + 1} of {len(texts)}" in texts[at]


def test_the_record_of_an_engine_with_every_reading_is_one_page(tmp_path: Path) -> None:
    """So it is for nine positions whose shells have their numbers on the shelf, each read with its shells in."""
    folder = made(tmp_path / "out", rods=4, mains=5, repeats=3, long="-9")
    _run("assign", folder, "--save")
    shelf, planned = open_shelf(tmp_path / "out.db"), read_planned(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, planned)
    plan = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))["positions"]
    names = [one["position"] for one in plan]
    rows = "".join(f"{one['position']},{one['clearance']:.4f},gauge,A. Fitter,2026-11-29\n" for one in plan)
    (folder / "assembled.csv").write_text(f"position,clearance,method,by,date\n{rows}", encoding="utf-8")
    fitted(shelf, planned, read=read_assembled(shelf, folder))
    _run("sheet", "--engine", 1, "--db", tmp_path / "out.db", "--output", folder / "engine.html")
    looked_at([(folder / "engine.html", folder / "engine")])
    for paper in ("A4", "Letter"):
        (text,) = printed(folder / f"engine-{paper}.pdf")
        assert text.count("Fitter") == 9 and "checked by, date" in text and all(name in text for name in names)


def test_the_record_of_an_engine_in_a_browser(tmp_path: Path) -> None:
    """The record of an engine of thirteen positions on the shelf, one of them outside its limits by a long permission,
    is on one page, and at every width as good as any sheet; that of an engine with hostile names too."""
    pages = []
    for name, words in (("three", "letter of 2 March of the engine's maker, reference 55"), ("hostile", WORDS)):
        own = JOBS["hostile"] if name == "hostile" else {"note": "P-4417-X", "title": "Sawmill engine"}
        folder = made(tmp_path / name, **{**own, "rods": 8, "mains": 5}, tight=True)
        _run("assign", folder, "--save")
        shelf, planned = open_shelf(tmp_path / f"{name}.db"), read_planned(folder)
        take_in(shelf, read_stock([folder]))
        set_aside(shelf, planned)
        outside = [one.position for one in planned.positions if not one.within_limits]
        fitted(shelf, planned, permissions=dict.fromkeys(outside, words), by=words, note=words)
        _run("sheet", "--engine", 1, "--db", tmp_path / f"{name}.db", "--output", folder / "engine.html")
        pages.append((folder / "engine.html", folder / "engine"))
    for (page, pdf), found in zip(pages, looked_at(pages), strict=True):
        nothing_is_wrong(found)
        if page.parent.name == "three":
            for paper in ("A4", "Letter"):
                (text,) = printed(Path(f"{pdf}-{paper}.pdf"))
                assert "OUT OF LIMITS" in text and "checked by, date" in text
                assert "Engine 1 of the shelf" in text and "page 1 of 1" in text


# Comma, quotes, UTF-8; as shown: no; formulas: as written; every sheet into a file of its own.
AS_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,true,false,-1"


def test_workbooks_in_an_office_suite(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A workbook, of a plan or of the shelf, that an office suite opens and writes as CSV has the numbers of `--csv`,
    and texts that look like formulas as texts."""
    office = tool("soffice", "libreoffice")
    folder = engine(tmp_path / "x", rods=3, mains=2)
    head, *rows = (folder / "shells" / "rods.csv").read_text(encoding="utf-8").splitlines()
    graded = [f"{head},grade", *(f"{row},=1+1" for row in rows)]
    (folder / "shells" / "rods.csv").write_text("\n".join(graded) + "\n", encoding="utf-8")
    plain = list(csv.DictReader(Ran(capsys, "assign", folder, "--csv").out.splitlines()))
    assert Ran(capsys, "assign", folder, "--xlsx", tmp_path / "plan.xlsx").status == 0
    shelf = ("shelf", "show", "--db", tmp_path / "shelf.db")
    assert Ran(capsys, "shelf", "take-in", folder, "--db", tmp_path / "shelf.db").status == 0
    ran = Ran(capsys, *shelf, "--unit", "mm", "--csv", "--xlsx", tmp_path / "shelf.xlsx")
    assert ran.status == 0
    lying = list(csv.DictReader(ran.out.splitlines()))
    words = [office, f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to", AS_CSV]
    books = (tmp_path / "plan.xlsx", tmp_path / "shelf.xlsx")
    subprocess.run([*words, "--outdir", tmp_path, *books], capture_output=True, timeout=120, check=True)

    def sheet(name: str, book: str = "plan") -> list[dict[str, str]]:
        return list(csv.DictReader((tmp_path / f"{book}-{name}.csv").read_text(encoding="utf-8").splitlines()))

    shells = sheet("shells", "shelf")
    assert len(shells) == len(lying) == 20 and sheet("sealed", "shelf") == []
    for one, other in zip(shells, lying, strict=True):
        assert (one["number"], one["box"], one["shell"]) == (other["number"], other["box"], other["shell"])
        assert float(one["wall [mm]"]) == float(other["wall [mm]"])
        assert float(one["wall [in]"]) == pytest.approx(float(other["wall [mm]"]) / 25.4)
    assert {row["grade"] for row in shells if row["kind"] == "rod"} == {"=1+1"}
    shown = sheet("positions")
    assert len(shown) == len(plain) == 5
    for one, other in zip(shown, plain, strict=True):
        assert (one["position"], one["upper_shell"]) == (other["position"], other["upper_shell"])
        for name in ("clearance [in]", "wall_sum [in]", "journal [in]"):
            assert float(one[name]) == float(other[name])
        assert float(one["clearance [mm]"]) == pytest.approx(float(other["clearance [in]"]) * 25.4)
    assert {row["grade"] for row in sheet("leftover") if row["kind"] == "rod"} == {"=1+1"}
    assert {row["plan"] for row in sheet("kinds")} == {"this plan", "as-boxed", "by-hand"}
