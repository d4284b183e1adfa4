"""Doubts about readings: what is doubted, what it is called, and what silences it."""

import json
import random
import re
from collections import Counter
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
from doubt_study import MISTAKES, PAGE, shares, study
from made.commands import Ran
from made.intake_jobs import write_job
from made.unseen_mistakes import UNSEEN as HIDDEN
from made.unseen_mistakes import all_off, once_read
from made.work import lines_run

import fitmatch
from fitmatch import read_job
from fitmatch.cli.main import main
from fitmatch.facts import Fact
from fitmatch.gauging.causes import mistakes
from fitmatch.gauging.causes.digits import dropped, transposed
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.gauging.doubts.explanations import best, sum_of_squares, without
from fitmatch.gauging.doubts.scatter import Sample, Scatter
from fitmatch.gauging.doubts.series import Series
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.report.text.doubts import UNSEEN
from fitmatch.report.words import doubts as words
from fitmatch.report.words.doubts import doubt_lines, likely, looks_wrong, measure_again

JOB = 'unit = "in"\n[fit.rod]\ntarget = 0.0022\n'
METRIC = 'unit = "mm"\n[fit.main]\nmin = 0.02\nmax = 0.10\n'
JOURNALS = ("1.8162", "1.8161", "1.8163", "1.8162", "1.8160")
BORES = ("1.9421", "1.9420", "1.9422", "1.9421", "1.9420")
WALLS = ("0.06185", "0.06180", "0.06185", "0.06190", "0.06180")


def positions(journals: tuple[str, ...] = JOURNALS, bores: tuple[str, ...] = BORES, more: str = "") -> str:
    """positions.csv of rods R1, R2 and so on; `more` are further columns, each with its cell after an equals sign."""
    columns = [part.partition("=") for part in more.split()]
    rows = [f"R{i},rod,{j},{b}" for i, (j, b) in enumerate(zip(journals, bores, strict=True), 1)]
    head = ",".join(["position,kind,journal,housing_bore", *(name for name, _, _ in columns)])
    return "\n".join([head, *(",".join([row, *(cell for _, _, cell in columns)]) for row in rows)]) + "\n"


def shells(walls: tuple[str, ...] = WALLS) -> str:
    """One box: upper and lower of each wall."""
    rows = [f"{half[0]}{i},rod,{half},{wall}" for half in ("upper", "lower") for i, wall in enumerate(walls, 1)]
    return "shell,kind,half,wall\n" + "\n".join(rows) + "\n"


def doubts(folder: Path, *, job: str = JOB, **files: str) -> tuple[Doubt, ...]:
    """The doubts about a job of these files; plain good readings where none is given."""
    files = {"positions": positions(), "shells": shells()} | files
    return doubts_of(read_job(write_job(folder, job=job, **files)))


def changed(good: tuple[str, ...], index: int, text: str) -> tuple[str, ...]:
    return (*good[:index], text, *good[index + 1 :])


def test_good_readings_raise_no_doubt(tmp_path: Path) -> None:
    """Readings that agree within tenths are believed."""
    assert doubts(tmp_path) == ()


@pytest.mark.parametrize(
    ("good", "index", "text", "name"),
    [
        ("journals", 2, "1.7913", "thimble-turn"),
        ("journals", 2, "1.7163", "calliper-turn"),
        ("journals", 1, "1.8611", "digits-transposed"),
        ("journals", 1, "1.861", "digit-dropped"),
        ("journals", 0, "0.8162", "wrong-frame"),
        ("bores", 4, "1.9440", "bore-high"),
        ("bores", 2, "19.422", "decimal-slip"),
        ("bores", 2, "49.332", "wrong-unit"),
        ("bores", 3, "1.9521", "indicator-turn"),
        ("bores", 1, "1.9720", "groove-or-hole"),
        ("walls", 3, "0.0369", "thimble-turn"),
        ("walls", 3, "0.6190", "decimal-slip"),
        ("walls", 3, "0.06950", "flat-anvil"),
        ("walls", 3, "0.06125", "wall-low"),
    ],
)
def test_one_mistake_is_found_and_named(tmp_path: Path, good: str, index: int, text: str, name: str) -> None:
    """A single mistake among good readings is doubted where it is, and named first."""
    if good == "walls":
        found = doubts(
            tmp_path, shells=shells().replace(f"u{index + 1},rod,upper,{WALLS[index]}", f"x,rod,upper,{text}")
        )
    else:
        some = changed(JOURNALS if good == "journals" else BORES, index, text)
        found = doubts(tmp_path, positions=positions(**{good: some}))
    assert [(d.row, d.signatures[0]) for d in found] == [(index + 2, name)]
    assert found[0].item == ("box-1/x" if good == "walls" else f"R{index + 1}")


def test_a_doubt_says_what_where_and_what_to_do(tmp_path: Path) -> None:
    """The words of a doubt: how far off, the likeliest mistake, what to measure again."""
    (found,) = doubts(tmp_path, positions=positions(changed(JOURNALS, 2, "1.7911")))
    assert looks_wrong(found, "in") == "R3 journal reads 0.0250 in low"
    assert likely(found)[0].startswith("one thimble turn")
    assert (measure_again(found), found.file, found.row) == ("measure R3 again", "positions.csv", 4)


def test_a_doubt_names_its_column_and_what_was_read(tmp_path: Path) -> None:
    """Of several readings the one in doubt is told by its column, with what it read, in report and document; of the
    long file its row is enough."""
    header, *rows = positions(changed(JOURNALS, 2, "1.7911")).splitlines()
    doubled = header.replace(",journal,", ",journal_1,journal_2,"), *(_twice(row) for row in rows)
    (found,) = doubts(tmp_path, positions="\n".join(doubled) + "\n")
    assert (found.column, found.reading_nm) == ("journal_2", 45_493_940)
    (line,) = doubt_lines([found], "in", "in")
    assert line.startswith("R3 journal reads 0.0250 in low: one thimble turn")
    assert line.endswith(" [positions.csv:4: journal_2 reads 1.7911 in]")
    gaps = (
        shells().replace("wall\n", "wall_1,wall_2,wall_3\n").replace("u3,rod,upper,0.06185", "u3,rod,upper,,,0.03685")
    )
    (found,) = doubts(tmp_path / "gaps", shells=gaps)
    assert (found.item, found.column) == ("box-1/u3", "wall_3")


def test_a_doubt_tells_a_reading_as_it_was_typed(tmp_path: Path) -> None:
    """What was typed is told in the unit it was typed in, that of the cell, the column or the gauge, whatever the job's
    is; where another unit is asked for, in that as well."""
    metric = positions(changed(JOURNALS, 2, "45.4939 mm"))
    (found,) = doubts(tmp_path / "cell", positions=metric)
    assert doubt_lines([found], "in", "in")[0].endswith(" [positions.csv:4: journal reads 45.4939 mm]")
    walls = shells().replace(",wall\n", ",wall [um]\n")
    for wall in WALLS:
        walls = walls.replace(wall, f"{float(wall) * 25_400:.2f}")
    (found,) = doubts(tmp_path / "column", shells=walls.replace("u3,rod,upper,1570.99", "u3,rod,upper,935.99"))
    where = "shells/box-1.csv:4: wall reads"
    assert doubt_lines([found], "in", "in")[0].endswith(f" [{where} 935.99 um]")
    assert doubt_lines([found], "mm", "in")[0].endswith(f" [{where} 935.99 um (0.93599 mm)]")
    (found,) = doubts(tmp_path / "own", positions=positions(changed(JOURNALS, 2, "1.7911")))
    assert doubt_lines([found], "mm", "in")[0].endswith(" [positions.csv:4: journal reads 1.7911 in (45.49394 mm)]")


def test_doubts_with_one_cause_are_one_item(tmp_path: Path) -> None:
    """Where several readings are off for the same likely reasons these are told once, after all of the readings."""
    (found,) = doubts(tmp_path, positions=positions(changed(JOURNALS, 2, "1.7911")))
    (line,) = doubt_lines([found, found._replace(item="R4", row=5)], "in", "in")
    assert line.startswith(
        "R3 journal reads 0.0250 in low [positions.csv:4: journal reads 1.7911 in]; R4 journal reads "
    )
    assert line.count("one thimble turn") == 1 and line.endswith("; measure them again")


def test_a_locked_shell_without_a_wall_needs_attention(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its position cannot be judged before it is measured: exit 1, told in text and JSON."""
    rows = positions().replace("\n", ",upper\n", 1).replace("\n", ",\n")
    rows = rows.replace(",upper,\n", ",upper\n").replace("R2,rod,1.8161,1.9420,", "R2,rod,1.8161,1.9420,u3")
    folder = write_job(tmp_path, positions=rows, shells=shells().replace("u3,rod,upper,0.06185", "u3,rod,upper,"))
    ran = Ran(capsys, "check", folder)
    assert ran.status == 1 and "  NOT YET MEASURED: R2 (rod): no wall of its locked box-1/u3\n" in ran.out
    document = json.loads(Ran(capsys, "check", folder, "--json").out)
    told = {"position": "R2", "kind": "rod", "shell": "u3", "box": "box-1", "missing": ["wall"]}
    assert document["unmeasured"] == [told] and document["doubts"] == []


def _twice(row: str) -> str:
    """A row of positions with two journals; the second is the one that was wrong, where one is."""
    name, kind, journal, rest = row.split(",", 3)
    return f"{name},{kind},{'1.8161' if journal == '1.7911' else journal},{journal},{rest}"


def test_every_mistake_has_its_words() -> None:
    """Whatever cause may be named, the report has words for it, and for how to find out; what a whole sitting shares
    has words of its own."""
    assert len(set(mistakes.NAMES)) == len(mistakes.NAMES)
    assert set(words.OF_ONE) | set(words.OF_SITTINGS) | {"copied-row"} == set(mistakes.NAMES)
    for name in words.OF_ONE:
        doubt = Doubt("positions.csv", 2, "R1", "journal", 1, Fact("off", {"error_nm": 1}), (name,))
        assert likely(doubt)[0].endswith(")")


def test_the_page_lists_every_mistake() -> None:
    """The names in docs/doubts.md are those that the program may give, no more and no fewer."""
    rows = re.findall(r"^\| (`[a-z`, -]+`) \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    listed = [name.strip("` ") for row in rows for name in row.split(",")]
    assert sorted(listed) == sorted(mistakes.NAMES)


def test_the_page_lists_what_no_check_can_see(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list in docs/doubts.md is that of every report of `check`, word for word."""
    listed = PAGE.read_text(encoding="utf-8").partition("**What no check can see:**\n\n")[2].partition("\n\n")[0]
    assert listed == ";\n".join(f"- {one}" for one in UNSEEN) + "."
    ran = Ran(capsys, "check", write_job(tmp_path, job=JOB, positions=positions(), shells=shells()))
    assert all(one in " ".join(ran.out.split()) for one in UNSEEN)


@pytest.mark.parametrize("mistake", HIDDEN)
def test_no_check_sees_what_is_listed_as_unseen(mistake: str) -> None:
    """In 40 engines of one kind without drawing and label, every part read once, there are no more doubts than before,
    except by chance in one of them: what is seen oftener is to be taken off the list."""
    plant, boxes = HIDDEN[mistake]
    seen = 0
    for seed in range(40):
        rng = random.Random(f"{mistake} {seed}")
        made = once_read(rng, boxes)
        before = doubts_of(made.job())
        plant(rng, made)
        seen += len(doubts_of(made.job())) > len(before)
    assert seen <= 1


def test_a_shift_of_all_readings_is_seen_beyond_what_is_listed() -> None:
    """Four times as much: such journals and walls fit nowhere near each other."""
    for feature, by_um in (("journal", 200.0), ("wall", -100.0)):
        for seed in range(10):
            rng = random.Random(f"{feature} {seed}")
            made = once_read(rng)
            all_off(feature, by_um)(rng, made)
            assert doubts_of(made.job()), (feature, seed)


def test_a_reason_silences_a_doubt(tmp_path: Path) -> None:
    """A reading with a reason beside it is not doubted; the others are judged as before."""
    some = positions(changed(JOURNALS, 2, "1.7911"), more="journal_confirmed=reground")
    assert doubts(tmp_path, positions=some) == ()
    other = positions(changed(JOURNALS, 2, "1.7911"), more="housing_bore_confirmed=honed")
    assert [d.item for d in doubts(tmp_path, positions=other)] == ["R3"]


def test_an_accepted_bore_is_not_doubted(tmp_path: Path) -> None:
    """Whoever accepts a housing bore outside its drawing has looked at it."""
    bores = changed(BORES, 1, "1.9441")
    assert [d.item for d in doubts(tmp_path / "bare", positions=positions(bores=bores))] == ["R2"]
    assert doubts(tmp_path / "accepted", positions=positions(bores=bores, more="accept=sleeved")) == ()


def test_a_wrong_setting_is_one_doubt(tmp_path: Path) -> None:
    """Bores that step from one position on are one doubt about the gauge's setting, not one for each bore."""
    bores = ("1.9421", "1.9420", "1.9422", "1.9431", "1.9430")
    (found,) = doubts(tmp_path, positions=positions(bores=bores))
    assert (found.item, found.signatures) == ("R4", ("gauge-setting",))
    told = "every housing bore from R4 to R5 reads 0.0010 in high compared with those before"
    assert looks_wrong(found, "in") == told


@pytest.mark.parametrize("feature", ["journal", "housing_bore"])
@pytest.mark.parametrize("moved_nm", [-127_000, 127_000])
@pytest.mark.parametrize("wrong", [(0, 1, 2), (3, 4)])
def test_what_follows_from_a_moved_gauge_is_no_second_doubt(
    tmp_path: Path, feature: str, moved_nm: int, wrong: tuple[int, ...]
) -> None:
    """A gauge that moved by more than a clearance can be off is one doubt, whether readings before or after are wrong;
    that walls do not fit the wrong ones says nothing new."""
    good = JOURNALS if feature == "journal" else BORES
    read = tuple(f"{float(text) + moved_nm / 25_400_000 * (k in wrong):.4f}" for k, text in enumerate(good))
    some = positions(journals=read) if feature == "journal" else positions(bores=read)
    (found,) = doubts(tmp_path, positions=some)
    assert (found.item, found.feature, found.signatures[0]) == ("R4", feature, "gauge-setting")


def test_a_moved_gauge_does_not_doubt_a_label(tmp_path: Path) -> None:
    """Where a gauge moved within each half of a box, the box's label is not in doubt as well."""
    good, moved = (
        "shell,kind,half,wall,grade\n" + "".join(f"{row},std\n" for row in shells(walls).splitlines()[1:])
        for walls in (WALLS[::-1], ("0.06180", "0.06185", "0.06295", "0.06305", "0.06300"))
    )
    found = doubts(tmp_path, shells=good, shells__two_DOT_csv=moved)
    assert [(d.item, d.what.code) for d in found] == [("two/u3", "step"), ("two/l3", "step")]


BORE_BY_BORE = "position,kind,journal,housing_bore\n" + "".join(f"M{i},main,66.85{i},71.79{i}\n" for i in range(5))


@pytest.mark.parametrize(
    ("upper", "lower", "off"),
    [
        ((453, 453, 452, 451, 453), (419, 418, 420, 419, 419), "l1 l2 l3 l4 l5"),
        ((453, 453, 452, 451, 419), (419, 418, 420, 419, 418), "u5 l1 l2 l3 l4 l5"),
        ((453, 453, 452, 451, 453), (452, 418, 420, 419, 419), "l2 l3 l4 l5"),
    ],
)
def test_a_gauge_that_moved_between_the_halves(
    tmp_path: Path, upper: tuple[int, ...], lower: tuple[int, ...], off: str
) -> None:
    """Halves of one box that are further apart than two walls of a bore may be are in doubt, also if the gauge moved
    one shell before or after; that shell is no doubt of its own."""
    rows = [f"upper,2.{um}" for um in upper] + [f"lower,2.{um}" for um in lower]
    rows = [f"{row[0]}{k % 5 + 1},main,{row}" for k, row in enumerate(rows)]
    box = "\n".join(["shell,kind,half,wall", *rows]) + "\n"
    (found,) = doubts(tmp_path / "plain", job=METRIC, positions=BORE_BY_BORE, shells=box)
    assert found.what.slots["items"] == tuple(f"box-1/{name}" for name in off.split())
    assert found.item == f"box-1/{off[:2]}" and found.signatures == ("gauge-setting", "two-sizes")
    assert measure_again(found) == "measure every lower wall of box-1 again in one session, the gauge set anew"


def test_halves_that_may_differ(tmp_path: Path) -> None:
    """Halves of a box within the drawing's limits, marked by grade, or no further apart than two walls of a bore may be
    are in no doubt."""
    rows = [f"u{i},main,upper,2.45{i}" for i in range(5)] + [f"l{i},main,lower,2.41{i}" for i in range(5)]
    box = "shell,kind,half,wall\n" + "\n".join(rows) + "\n"
    drawn = METRIC + '[drawing.main]\nwall = "2.40..2.47"\n'
    assert len(doubts(tmp_path / "plain", job=METRIC, positions=BORE_BY_BORE, shells=box)) == 1
    assert doubts(tmp_path / "drawn", job=drawn, positions=BORE_BY_BORE, shells=box) == ()
    marked = "shell,kind,half,wall,grade\n" + "\n".join(f"{row},{row[0]}" for row in rows) + "\n"
    assert doubts(tmp_path / "marked", job=METRIC, positions=BORE_BY_BORE, shells=marked) == ()
    near = box.replace("2.41", "2.437")
    assert doubts(tmp_path / "near", job=METRIC, positions=BORE_BY_BORE, shells=near) == ()


def test_a_half_that_is_off_has_a_cause(tmp_path: Path) -> None:
    """Lower walls too thick for every journal, by an amount that no known mistake gives, are one doubt, whose cause is
    told as unknown."""
    thick = [
        row if ",upper," in row else f"{row.rpartition(',')[0]},{float(row.rpartition(',')[2]) + 0.004:.5f}"
        for row in shells().splitlines()[1:]
    ]
    (found,) = doubts(tmp_path, shells="\n".join([shells().splitlines()[0], *thick]) + "\n")
    assert (found.item, found.signatures) == ("box-1/l1", ("unknown",))


def test_undersizes_are_groups(tmp_path: Path) -> None:
    """Journals of two undersizes are two groups: by their label, or by themselves if three or more are apart."""
    ground = ("1.8162", "1.8161", "1.8163", "1.8062", "1.8061", "1.8063")
    bores = (*BORES, "1.9421")
    assert doubts(tmp_path / "apart", positions=positions(ground, bores)) == ()
    one = positions(changed(JOURNALS, 1, "1.8061"))
    assert [d.signatures[0] for d in doubts(tmp_path / "one", positions=one)] == ["undersize"]


def test_a_sitting_off_is_seen_by_the_clearance(tmp_path: Path) -> None:
    """Walls that are all too thick by a ball, or by a flat anvil, fit no journal: one doubt names it."""
    ball = tuple(f"{float(w) + 0.2:.5f}" for w in WALLS)
    (found,) = doubts(tmp_path / "ball", shells=shells(ball))
    assert found.signatures[0] == "ball-left-in"
    flat = tuple(f"{float(w) + 0.0075:.5f}" for w in WALLS)
    (found,) = doubts(tmp_path / "flat", shells=shells(flat))
    assert found.signatures[0] == "flat-anvil"
    std = tuple(f"{float(w) + 0.005:.5f}" for w in WALLS)
    (found,) = doubts(tmp_path / "under", shells=shells(std))
    assert found.signatures[0] == "shells-for-another-grind"


THREE = "position,kind,pin,journal_1,journal_2,journal_3,housing_bore\n"


def three_readings(pins: tuple[str, ...], sets: list[str]) -> str:
    rows = [f"R{i},rod,{pin},{some},49.33{i}\n" for i, (pin, some) in enumerate(zip(pins, sets, strict=True), 1)]
    return THREE + "".join(rows)


def test_copied_rows(tmp_path: Path) -> None:
    """A row with every reading of another is doubted, unless both rods share the pin."""
    sets = ["46.1312,46.1334,46.1301", "46.1347,46.1298,46.1326", "46.1287,46.1319,46.1342", "46.1312,46.1334,46.1301"]
    sets += ["46.1339,46.1288,46.1309", "46.1291,46.1345,46.1322", "46.1328,46.1307,46.1351", "46.1355,46.1316,46.1294"]
    job = 'unit = "mm"\n[fit.rod]\ntarget = 0.056\n'
    metric = "shell,kind,half,wall\nu,rod,upper,1.571\nl,rod,lower,1.571\n"
    apart = three_readings(("1", "2", "3", "4", "5", "6", "7", "8"), sets)
    found = doubts(tmp_path / "apart", job=job, positions=apart, shells=metric)
    assert [(d.item, d.feature, d.signatures) for d in found] == [("R4", "journal", ("copied-row",))]
    shared = three_readings(("1", "2", "3", "1", "2", "3", "4", "4"), sets)
    assert doubts(tmp_path / "shared", job=job, positions=shared, shells=metric) == ()


@pytest.mark.parametrize("ground", [False, True])
def test_one_mistake_makes_no_other_row_a_copy(tmp_path: Path, ground: bool) -> None:
    """Rows that agree by chance are no copies, neither beside a reading that is wrong nor beside journals of another
    undersize, which scatter far more than the others."""
    sets = [(850, 851, 850), (851, 851, 852), (850, 851, 850), (852, 850, 851), (850, 850, 851), (851, 852, 851)]
    if ground:
        sets += [(597, 598, 599), (603, 601, 600), (599, 600, 602), (602, 603, 601)]
    read = [[f"66.{um}" for um in some] for some in sets]
    if not ground:
        read[5][0] = "67.351"
    rows = [f"M{i},main,{','.join(some)},70.90{i % 4}\n" for i, some in enumerate(read, 1)]
    head = "position,kind,journal_1,journal_2,journal_3,housing_bore\n"
    walls = shells(("2.001", "2.000", "2.002", "2.001")).replace("rod", "main")
    found = doubts(tmp_path, job=METRIC, positions=head + "".join(rows), shells=walls)
    assert [d.signatures for d in found if d.feature == "journal"] == ([] if ground else [("thimble-turn",)])


def test_repeats_that_disagree(tmp_path: Path) -> None:
    """Of three repeats of one place the one that does not agree with the others is doubted, at its own row."""
    rows = ["item,feature,station,angle,reading"]
    for i, (journal, bore) in enumerate(zip(JOURNALS, BORES, strict=True), 1):
        rows += [f"R{i},journal,1,0,{journal}"] * 3 + [f"R{i},housing_bore,1,0,{bore}"]
    rows[2] = "R1,journal,1,0,1.8168"
    job = JOB + '[sources]\nreadings = "readings.csv"\n'
    bare = "position,kind\n" + "".join(f"R{i},rod\n" for i in range(1, 6))
    found = doubts(tmp_path, job=job, positions=bare, readings_DOT_csv="\n".join(rows) + "\n")
    assert [(d.file, d.row, d.item, d.feature) for d in found] == [("readings.csv", 3, "R1", "journal")]


def test_repeats_away_from_the_crown(tmp_path: Path) -> None:
    """A repeat that disagrees is doubted wherever it was taken."""
    rows = ["item,feature,station,angle,reading"]
    for i, (journal, bore) in enumerate(zip(JOURNALS, BORES, strict=True), 1):
        rows += [f"R{i},journal,1,0,{journal}", f"R{i},housing_bore,1,0,{bore}"]
        rows += [f"R{i},housing_bore,1,60,{bore}"] * 3
    rows[5] = "R1,housing_bore,1,60,1.9428"
    job = JOB + '[sources]\nreadings = "readings.csv"\n'
    bare = "position,kind\n" + "".join(f"R{i},rod\n" for i in range(1, 6))
    found = doubts(tmp_path, job=job, positions=bare, readings_DOT_csv="\n".join(rows) + "\n")
    assert [(d.row, d.item, d.feature) for d in found] == [(6, "R1", "housing_bore")]


@pytest.mark.parametrize(
    ("ann", "bob", "row", "error_nm", "name"),
    [
        ("70.888", "70.905", 6, -17_000, "two-hands"),
        ("70.905", "70.888", 7, -17_000, "two-hands"),
        ("70.922", "70.905", 6, 17_000, "two-hands"),
        ("70.8796", "70.905", 6, -25_400, "two-hands"),
        ("70.855", "70.905", 6, -50_000, "bore-low"),
        ("70.905", "70.955", 7, 50_000, "bore-high"),
    ],
)
def test_two_people_are_held_against_the_others(
    tmp_path: Path, ann: str, bob: str, row: int, error_nm: int, name: str
) -> None:
    """Of two people who differ at one place the one is doubted who is further from all other readings, whoever came
    first."""
    read = [("70.905", "70.904"), ("70.903", "70.904"), (ann, bob), ("70.906", "70.906"), ("70.904", "70.905")]
    rows = ["item,feature,station,angle,reading,by"]
    for i, (first, second) in enumerate(read):
        rows += [f"M{i},housing_bore,1,0,{first},ann", f"M{i},housing_bore,1,0,{second},bob"]
    bare = "position,kind,journal\n" + "".join(f"M{i},main,66.85{i}\n" for i in range(5))
    log = "\n".join(rows) + "\n"
    walls = shells(("2.001", "2.000", "2.002", "2.001")).replace("rod", "main")
    job = METRIC + '[sources]\nreadings = "readings.csv"\n'
    (found,) = doubts(tmp_path, job=job, positions=bare, shells=walls, readings_DOT_csv=log)
    assert (found.row, found.what.slots["error_nm"], found.signatures[0]) == (row, error_nm, name)


def mixed_bores(folder: Path, columns: Sequence[float], log: Sequence[float]) -> tuple[Doubt, ...]:
    """The doubts about housing bores of which some are in columns, and those of later positions in the long file."""
    bores = [*columns, *log]
    rows = ["position,kind,journal,housing_bore"]
    rows += [f"M{i},main,48.83{i % 3},{bore if i <= len(columns) else ''}" for i, bore in enumerate(bores, 1)]
    more = ["item,feature,station,angle,reading"]
    more += [f"M{i},housing_bore,1,0,{bore}" for i, bore in enumerate(log, len(columns) + 1)]
    job = METRIC + '[sources]\nreadings = "readings.csv"\n'
    walls = shells(("2.251", "2.250", "2.252", "2.251")).replace("rod", "main")
    files = {"positions": "\n".join(rows) + "\n", "readings_DOT_csv": "\n".join(more) + "\n"}
    return doubts(folder, job=job, shells=walls, **files)


def test_columns_and_the_long_file_are_no_order_of_measuring(tmp_path: Path) -> None:
    """Readings in columns need not have been taken before those of the long file: bores that scatter are no gauge that
    moved because some later columns agree with the long file."""
    assert mixed_bores(tmp_path, (53.398, 53.403, 53.390, 53.384), (53.390, 53.387)) == ()


def test_a_gauge_that_moved_among_columns_and_rows(tmp_path: Path) -> None:
    """Within the columns, or within the long file, a gauge that moved is found against all other readings; if the
    shifted readings are the later columns and all of the long file, parts of two sizes are as possible."""
    low, high = (53.390, 53.391, 53.392), (53.420, 53.421, 53.422)
    (found,) = mixed_bores(tmp_path / "columns", (*low, *high), low)
    assert (found.item, found.signatures[0]) == ("M4", "gauge-setting")
    assert (
        looks_wrong(found, "mm") == "every housing bore of M4, M5 and M6 reads 0.030 mm high compared with the others"
    )
    (found,) = mixed_bores(tmp_path / "log", low, (*low, *high))
    assert (found.item, found.signatures[0]) == ("M7", "gauge-setting")
    (found,) = mixed_bores(tmp_path / "both", (*low, *high[:2]), high)
    assert set(found.signatures) == {"gauge-setting", "two-sizes"}


def test_repeats_are_named_together(tmp_path: Path) -> None:
    """Where all repeats of a shell are off alike, their mean is explained and no slip in the digits of one of them."""
    read = "174 173 177, 194 195 195, 711 708 709, 194 192 194, 171 168 171, 176 175 175, 184 184 184, 189 190 188"
    walls = [f"0.07{um}" for um in read.replace(",", "").split()]
    upper = [f"u{k},rod,upper,{','.join(walls[3 * k : 3 * k + 3])}\n" for k in range(8)]
    lower = [f"l{k},rod,lower,0.0718{k},,\n" for k in range(4)]
    box = "shell,kind,half,wall_1,wall_2,wall_3\n" + "".join(upper + lower)
    bores = tuple(f"{float(bore) + 0.02:.4f}" for bore in BORES)
    (found,) = doubts(tmp_path, positions=positions(bores=bores), shells=box)
    assert (found.item, found.signatures[0]) == ("box-1/u2", "shells-for-another-grind")
    assert not set(found.signatures) & {"digits-transposed", "digit-misread"}


def test_readings_far_outside_the_drawing(tmp_path: Path) -> None:
    """Journals that agree with one another and are far outside their drawing limits are still doubted."""
    job = JOB + '[drawing.rod]\njournal = "1.8255..1.8265"\n'
    found = doubts(tmp_path, job=job)
    assert [d.item for d in found if d.feature == "journal"] == ["R1", "R2", "R3", "R4", "R5"]
    assert doubts(tmp_path / "in", job=JOB + '[drawing.rod]\njournal = "1.8155..1.8165"\n') == ()


def test_a_gauges_ball_sets_no_reading_apart(tmp_path: Path) -> None:
    """Readings are compared after the ball and the zero error of their gauges, so two gauges may share a box."""
    job = JOB + "[gauge.ball]\nball = 0.25\n[gauge.plain]\n"
    rows = shells().splitlines()
    some = [rows[0] + ",gauge"]
    for k, row in enumerate(rows[1:]):
        *cells, wall = row.split(",")
        some.append(",".join([*cells, f"{float(wall) + 0.25:.5f},ball" if k % 2 else f"{wall},plain"]))
    assert doubts(tmp_path, job=job, shells="\n".join(some) + "\n") == ()


def test_digits_are_put_back() -> None:
    """Undoing a mistyped digit gives the number meant among the candidates."""
    assert 46_131_480 in [nm for nm, _ in transposed(47_274_480, "in", 4)]  # 1.8162 as 1.8612
    assert 1_816_200 in [nm for nm, _ in dropped(1_862_000, "mm", 4)]  # 1.8162 as 1.862


@pytest.mark.parametrize(("jobs", "readings"), [(4, 8_000), pytest.param(50, 100_000, marks=pytest.mark.deep)])
def test_the_study_holds(jobs: int, readings: int) -> None:
    """In engines of 4 to 13 positions: what is found, what it is called, and how rarely a good reading is doubted. Of
    few engines the wanted shares are held with two standard deviations to spare. Where journals and bores
    scatter widest a good reading may be doubted twice as often."""
    found = study(seed=20, jobs=jobs, readings=readings)
    count = len(found.trials)
    detected, first, _ = shares(list(found.trials))
    assert detected >= 0.97 - 2 * (0.97 * 0.03 / count) ** 0.5
    assert first >= 0.92 - 2 * (0.92 * 0.08 / count) ** 0.5
    for alarms, seen, rate in (
        (found.alarms, found.readings, 0.0005),
        (found.wide_alarms, found.wide_readings, 0.001),
    ):
        assert alarms <= rate * seen + 2 * (rate * seen) ** 0.5
    for name in MISTAKES:
        mine = [t for t in found.trials if t.mistake == name]
        assert sum(t.found for t in mine) >= 0.75 * len(mine), name
        assert sum(t.among for t in mine) >= 0.5 * len(mine), name


def test_the_work_grows_with_the_repeats_of_one_place(tmp_path: Path) -> None:
    """Four times as many readings of one place by two people are hardly more than four times the work."""

    def work(count: int) -> int:
        rows = [f"R1,journal,1,0,{1.8162 + k % 5 / 10_000:.4f},{'ab'[k % 2]}" for k in range(count)]
        readings = "item,feature,station,angle,reading,by\n" + "\n".join(rows) + "\n"
        wide = "position,kind,housing_bore\nR1,rod,1.9421\n"
        folder = write_job(tmp_path / str(count), job=JOB, positions=wide, shells=shells(), readings_DOT_csv=readings)
        job = read_job(folder)
        return lines_run(lambda: fitmatch.check(job))

    assert work(4_000) < 5 * work(1_000)


def test_the_work_grows_with_the_readings_of_one_group() -> None:
    """Where in a group of many readings a gauge may have moved is found with hardly more than four times the work for
    four times as many."""

    def work(count: int) -> int:
        start = count - count // 40
        values = [k * 7 % 1_000 for k in range(start)] + [9_000] * (count - start)
        found = best(Sample(values, range(count)), count, ordered=True)
        assert found is not None and found.code != "off" and found.members == tuple(range(start, count))
        return lines_run(lambda: best(Sample(values, range(count)), count, ordered=True))

    assert work(8_000) < 5 * work(2_000)


def test_check_in_python(tmp_path: Path) -> None:
    """`check` gives what the command reports: how many readings were judged, and a row for each that is in doubt."""
    files = {"positions": positions(changed(JOURNALS, 2, "1.7911")), "shells": shells()}
    found = fitmatch.check(read_job(write_job(tmp_path, job=JOB, **files)))
    frame = found.to_frame()
    assert found.needs_attention and len(frame) == len(found.doubts) > 0 and found.readings > len(frame)
    assert frame["reading"][0] == pytest.approx(1.7911) and frame["item"][0] == found.doubts[0].item
    assert found.to_frame("mm")["reading"][0] == pytest.approx(1.7911 * 25.4)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_check_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], unit: str) -> None:
    """`check` prints its doubts as text or as a document that its schema describes, and exits 1 while one is open."""
    folder = write_job(tmp_path, job=JOB, positions=positions(changed(JOURNALS, 2, "1.7911")), shells=shells())
    with pytest.raises(SystemExit) as text:
        main(["check", str(folder), "--unit", unit])
    shown = " ".join(capsys.readouterr().out.split())
    assert text.value.code == 1 and ("0.0250 in low" if unit == "in" else "0.636 mm low") in shown
    with pytest.raises(SystemExit) as data:
        main(["check", str(folder), "--json", "--unit", unit])
    document = json.loads(capsys.readouterr().out)
    schema = json.loads((files("fitmatch") / "report" / "data" / "doubts.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema)
    assert data.value.code == 1 and document["doubts"][0]["signatures"][0] == "thimble-turn"
    good = write_job(tmp_path / "good", job=JOB, positions=positions(), shells=shells())
    with pytest.raises(SystemExit) as fine:
        main(["check", str(good)])
    assert fine.value.code == 0 and "no doubt" in capsys.readouterr().out


def test_assign_repeats_doubts_and_goes_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An open doubt is in the report and in the document of `assign`, with a plan, and makes it exit 1."""
    bores = changed(BORES, 1, "1.9431")
    folder = write_job(tmp_path, job=JOB, positions=positions(bores=bores), shells=shells())
    with pytest.raises(SystemExit) as left:
        main(["assign", str(folder)])
    assert left.value.code == 1 and "IN DOUBT: R2 housing bore reads" in " ".join(capsys.readouterr().out.split())
    with pytest.raises(SystemExit):
        main(["assign", str(folder), "--json"])
    document = json.loads(capsys.readouterr().out)
    assert document["doubts"][0]["item"] == "R2" and len(document["positions"]) == 5


def sample_of(rng: random.Random) -> tuple[Sample, int]:
    """Readings of as many items on a grid, some off, some after a step, some in two clusters; and how many are in
    columns."""
    count, grid = rng.choice([5, 8, 20, 100, 400]), rng.choice([1, 100, 1_000])
    off, step, apart = (rng.choice([0, 0, many]) for many in (0.1, 4_000, 6_000))
    start = rng.randrange(count)
    values = [
        rng.gauss(2_000_000, 1_600)
        + (rng.random() < off) * rng.choice([-50_000, 20_000, 50_000, rng.gauss(0, 30_000)])
        + (k >= start) * step
        + rng.choice([0, apart])
        for k in range(count)
    ]
    return Sample([round(v / grid) * grid for v in values], range(count)), rng.choice([0, start, count])


@pytest.mark.parametrize("ordered", [True, False])
def test_a_series_tells_what_each_look_at_the_whole_group_would(*, ordered: bool) -> None:
    """One reading after another, the first that is off and everything that is judged by is as if all that is left had
    been looked at again, steps and clusters included; where those explain more there is none."""
    rng, told = random.Random(14), Counter[str]()
    for _ in range(200):
        sample, in_columns = sample_of(rng)
        series = Series(sample, in_columns, ordered=ordered)
        scatter = Scatter("wall", [sample], 1.0)
        for _ in range(30):
            left = series.left
            rest = Sample([sample.values[k] for k in left], [sample.items[k] for k in left])
            squares = sum_of_squares(rest.values)
            assert series.sum_of_squares == pytest.approx(squares)
            if squares == 0:
                break
            one, whole = series.single(), best(rest, sum(k < in_columns for k in left), ordered=ordered)
            assert whole is not None
            if one is None:
                assert whole.code != "off" or len(left) <= 4
                told[whole.code] += 1
                break
            assert (whole.code, left[whole.members[0]], whole[2:]) == ("off", one.members[0], one[2:])
            core = scatter.core_of(without(rest, whole))
            assert series.core_without(one.members[0], scatter.reach_nm) == pytest.approx(core)
            series.drop(one.members[0])
            told["singles"] += 1
    assert told["singles"] > 500 and (not ordered or min(told["step"], told["clusters"]) > 10)


def test_the_work_grows_with_the_readings_off_in_a_large_group(tmp_path: Path) -> None:
    """Of the shells in one file a hundredth is off: each is found, with hardly any other. Four times as many of both
    are hardly more than four times the work, as the group is not gone over again for each."""

    def work(count: int) -> int:
        job, wrong = one_in_a_hundred_off(tmp_path / str(count), count)
        told = {item for d in doubts_of(job) for item in (d.item, *d.what.slots.get("items", ()))}
        assert told >= {f"box-1/u{k}" for k in wrong} and len(told) <= len(wrong) + 5
        return lines_run(lambda: doubts_of(job))

    assert work(6_000) < 5 * work(1_500)


def one_in_a_hundred_off(folder: Path, count: int) -> tuple[Job, set[int]]:
    """A job of so many shells in one file, and the numbers of those that are off."""
    rng = random.Random(14)
    walls = [1.97 + rng.gauss(0, 0.0016) for _ in range(count)]
    wrong = {k: rng.uniform(0.03, 0.5) * rng.choice([-1, 1]) for k in rng.sample(range(count), count // 100)}
    rows = [f"u{k},main,upper,{wall + wrong.get(k, 0.0):.4f}" for k, wall in enumerate(walls)]
    sizes = [f"M{k},main,{50 + k / 1_000},{54 + k / 1_000}" for k in range(5)]
    job = read_job(
        write_job(
            folder,
            job=METRIC,
            positions="\n".join(["position,kind,journal,housing_bore", *sizes]) + "\n",
            shells="\n".join(["shell,kind,half,wall", *rows]) + "\n",
        )
    )
    return job, set(wrong)
