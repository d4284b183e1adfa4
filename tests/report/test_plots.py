"""Pictures of a comparison: what they show, that they need no colour, and when they are not drawn."""

import re
import shutil
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from made.commands import Ran

from fitmatch.report.plots.paper import Panel, sheet

SAMPLES = Path(__file__).parents[2] / "samples"
EVERYTHING = ("--kind", "rod", "--targets", "0.0018..0.0026/0.0002", "--trade-off", "worst/spread")
Capsys = pytest.CaptureFixture[str]


def draw(capsys: Capsys, file: Path, *args: object, sample: str = "generator-five") -> Ran:
    return Ran(capsys, "compare", SAMPLES / sample, *args, "--plot", file)


def texts_of(file: Path) -> list[str]:
    """All texts of an SVG file."""
    root = ElementTree.fromstring(file.read_bytes())
    return ["".join(node.itertext()).strip() for node in root.iter("{http://www.w3.org/2000/svg}text")]


def test_a_picture_shows_every_table_and_what_it_rests_on(capsys: Capsys, tmp_path: Path) -> None:
    """Title, panels, names of positions and plans, figures, source of limits, decision rule and digest, all as text."""
    ran = draw(capsys, tmp_path / "rods.svg", *EVERYTHING)
    assert ran.status == 0 and f"drawn in {tmp_path / 'rods.svg'}" in ran.err
    texts = texts_of(tmp_path / "rods.svg")
    for text in (
        "Generator engine, five cylinders in line",
        "rod: clearances by strategy target",
        "rod: ways of choosing side by side",
        "rod: worst deviation and spread by target",
        "rod: worst deviation against spread",
        *("R1", "R5", "target", "by-hand", "6.0", "best"),
    ):
        assert text in texts
    small = " ".join(texts)
    for part in ("Limits from", "Temperature:", "U of a clearance", "Decision rule:", "Inputs' digest: d6ddc8bb"):
        assert part in small


def test_nothing_is_told_by_colour(capsys: Capsys, tmp_path: Path) -> None:
    """Every colour is black, white or a grey."""
    draw(capsys, tmp_path / "a.svg", *EVERYTHING)
    colours = set(re.findall(r"#([0-9a-f]{6})\b", (tmp_path / "a.svg").read_text(encoding="utf-8")))
    assert colours and all(c[:2] == c[2:4] == c[4:] for c in colours)


@pytest.mark.parametrize("ending", ["svg", "PNG"])
def test_the_same_figures_give_the_same_file(capsys: Capsys, tmp_path: Path, ending: str) -> None:
    """Byte for byte, whatever the time; of the kind that its name says."""
    one, other = tmp_path / f"1.{ending}", tmp_path / f"2.{ending}"
    for file in (one, other):
        draw(capsys, file, sample="metrology-bench")
    assert one.read_bytes() == other.read_bytes()
    assert one.read_bytes().startswith(b"\x89PNG" if ending == "PNG" else b"<?xml")


def test_uncertainty_is_drawn_where_it_is_known(capsys: Capsys, tmp_path: Path) -> None:
    """Whiskers only for a job that names its gauges."""
    for sample, known in (("metrology-bench", True), ("generator-five", False)):
        draw(capsys, tmp_path / f"{sample}.svg", sample=sample)
        assert any("whiskers U" in text for text in texts_of(tmp_path / f"{sample}.svg")) is known


def test_bad_positions_are_crossed_and_titles_are_no_formulas(capsys: Capsys, tmp_path: Path) -> None:
    """A job with a position outside its limits, and dollar signs in its title, is drawn; the position is marked."""
    job = shutil.copytree(SAMPLES / "short-of-shells", tmp_path / "job")
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(re.sub(r'^title *= *".*?"', 'title = "$5 or $6_a^"', text, flags=re.MULTILINE))
    ran = Ran(capsys, "compare", job, "--plot", tmp_path / "a.svg")
    assert ran.status == 1 and "$5 or $6_a^" in texts_of(tmp_path / "a.svg")
    assert any("x: outside, NOT TO BE ASSEMBLED" in text for text in texts_of(tmp_path / "a.svg"))
    assert texts_of(tmp_path / "a.svg").count("1 outside") == 5  # beside each way of choosing of the rods


@pytest.mark.parametrize("panels", [1, 4, 9])
def test_a_long_title_finds_room(panels: int) -> None:
    """Every word of it is there, and no line is longer than the sheet is wide: a letter takes a twelfth of an inch."""
    title = "; ".join(f"Title {n} of a small compressor that was read place by place" for n in range(6))
    drawn = sheet(title, [], [Panel("empty", lambda _: None)] * panels, ".svg").decode()
    lines = [text for text in re.findall(r">([^<>\n]+)</text>", drawn) if " " in text]
    (points,) = re.findall(r'<svg [^>]*width="([\d.]+)pt"', drawn)
    assert " ".join(lines) == title and len(lines) > 1
    assert max(map(len, lines)) / 12 * 72 < float(points)


def test_nothing_is_overwritten_unless_asked(capsys: Capsys, tmp_path: Path) -> None:
    """Exit 2 before the work begins; with --force it is replaced."""
    file = tmp_path / "a.svg"
    file.write_text("mine", encoding="utf-8")
    ran = draw(capsys, file)
    assert (ran.status, ran.out) == (2, "") and "is there already; add --force to replace it" in ran.err
    assert file.read_text(encoding="utf-8") == "mine"
    assert draw(capsys, file, "--force").status == 0 and file.read_bytes().startswith(b"<?xml")


def test_what_cannot_be_drawn(capsys: Capsys, tmp_path: Path) -> None:
    """Another kind of picture, --force without one, a folder that is not there."""
    ran = draw(capsys, tmp_path / "a.pdf")
    assert (ran.status, ran.out) == (2, "")
    assert "`a.pdf` is not a kind of picture that can be drawn; write a name that ends in .svg or .png" in ran.err
    ran = Ran(capsys, "compare", SAMPLES / "generator-five", "--force")
    assert (ran.status, ran.out) == (2, "") and "--force replaces a picture; add --plot FILE" in ran.err
    ran = draw(capsys, tmp_path / "nowhere" / "a.svg")
    assert (ran.status, ran.out) == (2, "") and "cannot be written: No such file or directory" in ran.err


def test_without_the_extra_it_says_how_to_install_it(
    capsys: Capsys, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2 with the line for pip, nothing written, nothing on standard output."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    ran = draw(capsys, tmp_path / "a.svg")
    assert (ran.status, ran.out) == (2, "") and list(tmp_path.iterdir()) == []
    assert "pictures need matplotlib, which is not installed; install it with: pip install 'fitmatch[plots]'" in ran.err
