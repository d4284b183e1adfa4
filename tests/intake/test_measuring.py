"""Gauges, temperature, form limits and the long file of readings: what is read, and every mistake in it."""

from fractions import Fraction
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from made.intake_jobs import JOB, codes, mistakes, write_job

from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.records.job import Job
from fitmatch.records.measuring import Place

MM = 'unit = "mm"\n[fit.rod]\ntarget = 0.05\n'  # the first table below stands in row 4
LONG = MM + '[sources]\nreadings = "readings.csv"\n'
HEADER = "item,feature,station,angle,reading\n"
BARE_POSITIONS = "position,kind\nR1,rod\n"
BARE_SHELLS = "shell,kind,half\n1,rod,upper\n2,rod,lower\n"
POSITIONS = "position,kind,journal,housing_bore\nR1,rod,50,54.05\n"
SHELLS = "shell,kind,half,wall\n1,rod,upper,2\n2,rod,lower,2\n"
GOOD = HEADER + "R1,journal,1,0,50\nR1,housing_bore,1,0,54.05\n1,wall,1,0,2\n2,wall,,,2\n"


def long_job(folder: Path, rows: str, job: str = LONG, **more: str) -> Path:
    """A job with all its readings in the long file; `rows` begin with the header."""
    files = {"positions": BARE_POSITIONS, "shells": BARE_SHELLS} | more
    return write_job(folder, job, readings_DOT_csv=rows, **files)


def wide(folder: Path, tables: str, *, positions: str = POSITIONS, shells: str = SHELLS) -> Path:
    return write_job(folder, MM + tables, positions, shells)


def sizes(job: Job) -> list[int | None]:
    (position,) = job.positions
    found = [position.journal.mean_nm if position.journal else None]
    found.append(position.housing_bore.mean_nm if position.housing_bore else None)
    return found + [s.wall_nm for s in job.shells]


def test_readings_of_the_long_file(tmp_path: Path) -> None:
    """Positions and shells get their sizes from it, whatever order its rows are in; the file is part of the digest."""
    job = read_job(long_job(tmp_path, GOOD))
    assert sizes(job) == [50_000_000, 54_050_000, 2_000_000, 2_000_000]
    header, *rows = GOOD.splitlines()
    turned = read_job(long_job(tmp_path, "\n".join([header, *reversed(rows)]) + "\n"))
    assert sizes(turned) == sizes(job) and turned.digest != job.digest
    assert [r.item for r in job.measuring.log] == ["R1", "R1", "1", "2"]


def test_places_repeats_and_optional_columns(tmp_path: Path) -> None:
    """Same station and angle are repeats, a diameter at 180 degrees is the one at 0; what else is given is kept."""
    rows = (
        "item;feature;station;angle;reading;gauge;by;time;confirmed;note\n"
        "R1;Journal;1;0;50,000;mic;first;8:15;yes;x\n"
        "R1;journal;1;180;50,002;mic;;;;\n"
        "R1;journal;2;-90;50,005;mic;;;;\n"
        "R1;housing_bore;1;0;54,05;;;;;\n"
        "R1;housing_bore;1;90;54,09;;;;;\n"
        "R1;housing_bore;2;0;;;;;;\n"
        "box-1/1;wall;1;0;2,000;;;;;\n"
        "2;wall;1;30;2,000;;;;;\n"
    )
    job = read_job(long_job(tmp_path, rows, LONG + "[gauge.mic]\n"))
    assert sizes(job) == [50_003_000, 54_050_000, 2_000_000, None]
    first = job.measuring.log[0]
    assert (first.by, first.time, first.reading.confirmed, first.reading.gauge) == ("first", "8:15", "yes", "mic")
    assert job.measuring.pooled["mic"].degrees_of_freedom == 1
    assert [r.reading.angle for r in job.measuring.log[:3]] == [0.0, 0.0, 90.0]


def test_a_workbook_may_hold_the_readings(tmp_path: Path) -> None:
    """An .xlsx file is read like a .csv file; a time of day that the spreadsheet understood does no harm."""
    from datetime import time

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["item", "feature", "station", "angle", "reading [mm]", "time"])
    for row in GOOD.splitlines()[1:]:
        item, feature, station, angle, reading = row.split(",")
        sheet.append([item, feature, station or None, angle or None, float(reading), time(8, 15)])
    held = BytesIO()
    book.save(held)
    job = LONG.replace("readings.csv", "readings.xlsx")
    folder = write_job(tmp_path, job, BARE_POSITIONS, BARE_SHELLS, readings_DOT_xlsx=held.getvalue())
    assert sizes(read_job(folder)) == [50_000_000, 54_050_000, 2_000_000, 2_000_000]


def test_one_file_may_hold_what_the_other_lacks(tmp_path: Path) -> None:
    """Wide columns and the long file go together as long as no item has the same feature in both."""
    folder = long_job(
        tmp_path,
        HEADER + "R1,housing_bore,1,0,54.05\n2,wall,1,0,2.001\n",
        positions="position,kind,journal\nR1,rod,50\n",
        shells="shell,kind,half,wall,coating\n1,rod,upper,2.000,\n2,rod,lower,,0.010\n",
    )
    job = read_job(folder)
    assert sizes(job) == [50_000_000, 54_050_000, 2_000_000, 2_001_000]
    assert [s.wall_to_metal_nm for s in job.shells] == [2_000_000, 1_991_000]


def test_coatings_of_walls_in_the_long_file(tmp_path: Path) -> None:
    """How the wall was measured and whether the coating counts is as with wide columns."""
    shells = "shell,kind,half,coating,measured\n1,rod,upper,0.01,bare\n2,rod,lower,0.01,\n"
    job = read_job(long_job(tmp_path, GOOD, shells=shells))
    assert [(s.wall_nm, s.wall_to_metal_nm) for s in job.shells] == [(2_010_000, 2_000_000), (2_000_000, 1_990_000)]
    thick = shells.replace("0.01,bare", "1.5,bare")
    assert mistakes(long_job(tmp_path, GOOD, shells=thick)) == [
        "shells/box-1.csv:2: coating: 1.5 mm is half the wall 2 mm or more; "
        "write the thickness of the coating on the running face alone"
    ]


@pytest.mark.parametrize(
    ("cell", "header", "unit", "nm"),
    [
        ("50", "reading", "", 50_000_000),
        ("2.0", "reading", 'unit = "in"', 50_800_000),
        ("50", "reading [mm]", 'unit = "in"', 50_000_000),
        ("50 mm", "reading [in]", 'unit = "in"', 50_000_000),
        ("50000 um", "reading", 'unit = "in"', 50_000_000),
    ],
)
def test_which_unit_a_reading_is_in(tmp_path: Path, cell: str, header: str, unit: str, nm: int) -> None:
    """The cell's own, else the header's, else the gauge's, else the job's."""
    job = f'{LONG}[gauge.mic]\n{unit}\n[measured.rod]\njournal = "mic"\n'
    rows = GOOD.replace("0,50\n", f"0,{cell}\n").replace("54.05", "54.05 mm")
    rows = rows.replace("wall,1,0,2\n", "wall,1,0,2 mm\n").replace("wall,,,2\n", "wall,,,2 mm\n")
    assert sizes(read_job(long_job(tmp_path, rows.replace("reading", header), job)))[0] == nm


def test_the_gauges_unit_in_wide_columns(tmp_path: Path) -> None:
    """Plain numbers of a row are in its gauge's unit: the column of the feature, else of the row, else the kind's."""
    tables = '[gauge.inch]\nunit = "in"\n[gauge.metric]\n[measured.rod]\nwall = "inch"\njournal = "inch"\n'
    positions = (
        "position,kind,journal,housing_bore,gauge,journal_gauge,target\n"
        "R1,rod,2,54.05,,,0.05\nR2,rod,50,54.05,metric,,0.05\nR3,rod,2,2.2,inch,,0.05\nR4,rod,50,2.2,inch,metric,0.05\n"
    )
    shells = "shell,kind,half,wall,gauge\n1,rod,upper,0.08,\n2,rod,lower,2,metric\n3,rod,lower,2 mm,inch\n"
    job = read_job(wide(tmp_path, tables, positions=positions, shells=shells))
    journals = [p.journal.mean_nm for p in job.positions if p.journal]
    assert journals == [50_800_000, 50_000_000, 50_800_000, 50_000_000]
    assert [p.housing_bore.mean_nm for p in job.positions if p.housing_bore] == [54_050_000] * 2 + [55_880_000] * 2
    assert [s.wall_nm for s in job.shells] == [2_032_000, 2_000_000, 2_000_000]
    assert [s.measured_as.gauges for s in job.shells if s.measured_as] == [("inch",), ("metric",), ("inch",)]


def test_gauges_temperature_and_materials(tmp_path: Path) -> None:
    """Numbers of a gauge are in its own unit; names of materials mean coefficients of the table."""
    tables = (
        '[gauge.mic]\nunit = "in"\nresolution = 0.0001\nlimit = "2 um"\nrepeatability = 0.00005\nstandard = 2\n'
        "standard_reads = 2.0001\nball = 0\nexpansion = 11.5e-6\n"
        '[gauge.bore]\nset_with = "mic"\n[temperature]\ngauges = 21.5\nparts = 20\nlimit = 1\n'
        '[material.rod]\njournal = "Steel 4340"\nhousing_bore = 23e-6\n[form.rod]\njournal_taper = "5 um"\n'
    )
    job = read_job(wide(tmp_path, tables))
    mic = job.measuring.gauges["mic"]
    assert (mic.unit, mic.resolution_nm, mic.limit_nm, mic.repeatability_nm) == ("in", 2_540, 2_000, 1_270)
    assert (mic.own_zero_nm, mic.ball_nm, mic.expansion) == (2_540, 0, Fraction(115, 10**7))
    assert job.measuring.gauges["bore"].set_with == "mic"
    heat = job.measuring.temperature
    assert heat is not None and (float(heat.gauges), float(heat.parts), heat.one_room) == (21.5, 20.0, False)
    assert job.measuring.materials["rod"] == {"journal": Fraction(123, 10**7), "housing_bore": Fraction(23, 10**6)}
    assert job.measuring.form_limits == {"rod": {"journal_taper": 5_000}}


def test_what_a_scatter_a_standard_and_coefficients_are_known_to(tmp_path: Path) -> None:
    """Each key is read, in the gauge's unit; a list on the standard makes its mean the zero error, rounded once, halves
    to even."""
    tables = (
        '[gauge.mic]\nunit = "in"\nrepeatability = 0.00005\nrepeatability_from = 12\nrepeatability_rounded = true\n'
        'standard = "50 mm"\nstandard_reads = ["50.000001 mm", "50.000002 mm"]\nstandard_limit = 0.00002\n'
        "expansion = 11.5e-6\nexpansion_limit = 0.5e-6\n[gauge.plain]\nstandard = 50\nstandard_reads = 50.001\n"
        '[material.rod]\njournal = "steel"\njournal_limit = 1e-6\n'
    )
    job = read_job(wide(tmp_path, tables))
    mic, plain = job.measuring.gauges["mic"], job.measuring.gauges["plain"]
    assert (mic.repeatability_from, mic.repeatability_rounded, mic.standard_limit_nm) == (12, True, 508)
    assert (mic.standard_reads_nm, mic.own_zero_nm) == ((50_000_001, 50_000_002), 2)
    assert mic.expansion_limit == Fraction("0.5e-6")
    assert (plain.repeatability_from, plain.repeatability_rounded) == (None, False)
    assert (plain.standard_reads_nm, plain.own_zero_nm, plain.standard_limit_nm) == ((50_001_000,), 1_000, None)
    assert job.measuring.materials == {"rod": {"journal": Fraction(115, 10**7)}}
    assert job.measuring.material_limits == {"rod": {"journal": Fraction("1e-6")}}
    assert not job.warnings


def test_keys_that_do_nothing_alone_draw_a_warning(tmp_path: Path) -> None:
    """Each says what it belongs to."""
    tables = (
        "[gauge.a]\nrepeatability_from = 30\nrepeatability_rounded = true\nexpansion_limit = 1e-6\n"
        "[material.rod]\njournal_limit = 1e-6\n"
    )
    assert read_job(wide(tmp_path, tables)).warnings == (
        "job.toml: gauge.a.repeatability_from does nothing without repeatability; write that too",
        "job.toml: gauge.a.repeatability_rounded does nothing without repeatability; write that too",
        "job.toml: gauge.a.expansion_limit does nothing without expansion; write that too",
        "job.toml: material.rod.journal_limit does nothing without journal; write that too",
    )


REPEATED = (
    '[readings]\nnumbered = "repeats"\n[gauge.g]\nrepeatability = "0.5 um"\n[gauge.quiet]\nrepeatability = "0.5 um"\n'
    '[measured.rod]\njournal = "g"\nwall = "quiet"\n'
)


def test_repeats_beyond_the_stated_repeatability_name_the_gauge(tmp_path: Path) -> None:
    """3 um apart is s = 2.12 um from one pair, 18 times the variance of 0.5 um where chance explains 4.2 times; the
    same gauge 1 um apart, and the other gauge, are not named."""
    positions = "position,kind,journal_1,journal_2,housing_bore\nR1,rod,50,{},54.05\n"
    shells = "shell,kind,half,wall_1,wall_2\n1,rod,upper,2,2.001\n2,rod,lower,2,2\n"
    wild = read_job(wide(tmp_path, REPEATED, positions=positions.format("50.003"), shells=shells))
    assert wild.warnings == (
        "the repeats with gauge g scatter by 2.12 um (1 degree of freedom), which is more than its repeatability of "
        "0.50 um explains, so they alone count; check the gauge and that figure",
    )
    tame = read_job(wide(tmp_path / "tame", REPEATED, positions=positions.format("50.001"), shells=shells))
    assert tame.warnings == ()


def test_several_jobs_name_such_a_gauge_once(tmp_path: Path) -> None:
    """All repeats of the jobs are held against the stated figure together."""
    folders = []
    for name in ("a", "b"):
        positions = f"position,kind,journal_1,journal_2,housing_bore\n{name},rod,50,50.003,54.05\n"
        shells = f"shell,kind,half,wall,family,box\n1,rod,upper,2,n,{name}\n2,rod,lower,2.00{len(folders)},n,{name}\n"
        folders.append(wide(tmp_path / name, f'family = ["n"]\n{REPEATED}', positions=positions, shells=shells))
    pool = read_jobs(folders)
    told = [warning for job in pool.jobs for warning in job.warnings if "scatter by" in warning]
    assert len(told) == 1 and "gauge g scatter by 2.12 um (2 degrees of freedom)" in told[0]


def test_numbered_columns_as_repeats(tmp_path: Path) -> None:
    """Numbered readings are places unless job.toml calls them repeats; then a gauge's scatter is learned from them."""
    positions = "position,kind,journal_1,journal_2,housing_bore\nR1,rod,50,50.002,54.05\n"
    shells = "shell,kind,half,wall_1,wall_2\n1,rod,upper,2,2.002\n2,rod,lower,2,\n"
    tables = '[gauge.g]\n[measured.rod]\njournal = "g"\nwall = "g"\n'
    places = read_job(wide(tmp_path, tables, positions=positions, shells=shells))
    assert places.measuring.pooled == {}
    numbered = f'[readings]\nnumbered = "repeats"\n{tables}'
    repeated = read_job(wide(tmp_path, numbered, positions=positions, shells=shells))
    pooled = repeated.measuring.pooled["g"]
    assert (pooled.variance_nm2, pooled.degrees_of_freedom) == (2_000_000, 2)
    assert sizes(repeated) == sizes(places) == [50_001_000, 54_050_000, 2_001_000, 2_000_000]


def test_a_target_ratio_goes_by_the_corrected_journal(tmp_path: Path) -> None:
    """target_ratio x the exact mean journal, after the zero error and with places weighing alike."""
    job = MM.replace("target = 0.05", "target_ratio = 0.001")
    tables = "[gauge.g]\nstandard = 50\nstandard_reads = 50.1\n[measured.rod]\njournal = 'g'\n"
    rows = HEADER + "R1,journal,1,0,50.5\nR1,journal,1,0,50.5\nR1,journal,2,0,50.7\nR1,housing_bore,,,54.05\n"
    made = read_job(long_job(tmp_path, rows, f'{job}[sources]\nreadings = "readings.csv"\n{tables}'))
    assert made.positions[0].target_nm == 50_000  # 0.001 x 50.5 is 50.5 um, to the next even micrometre


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("R9,journal,1,0,50", "item", "there is no position `R9`; the nearest is `R1`"),
        (",journal,1,0,50", "item", "is empty; name the position or the shell"),
        ("R1,jurnal,1,0,50", "feature", "`jurnal` is not a valid feature; write journal, housing_bore or wall"),
        ("R1,,1,0,50", "feature", "is empty; write journal, housing_bore or wall"),
        ("R1,journal,0,0,50", "station", "`0` is not a station; count them from the front"),
        ("R1,journal,front,0,50", "station", "`front` is not a station"),
        ("R1,journal,1,400,50", "angle", "`400` is outside -360 to 360"),
        ("R1,journal,1,north,50", "angle", "`north` is not an angle; write degrees from the crown axis"),
        ("R1,journal,1,0,abc", "reading", "`abc` is not a number"),
        ("R1,journal,1,0,5", "reading", None),
        ("R1,journal,1,0,4.9", "reading", "`4.9` is 4.9 mm, and a journal is 5 mm to 2 m"),
        ("9,wall,1,0,2", "item", "there is no shell `9`; write NAME or BOX/NAME"),
        ("R1,wall,1,0,2", "item", "there is no shell `R1`"),
        ("a/b/1,wall,1,0,2", "item", "`a/b/1` does not name a shell"),
        ("/1,wall,1,0,2", "item", "`/1` does not name a shell"),
        ("1,wall,1,0,22 in", "reading", "`22 in` is 558.8 mm, and a wall is 0.2 to 25 mm"),
    ],
)
def test_bad_rows(tmp_path: Path, row: str, column: str, words: str | None) -> None:
    """Each mistake of a row is reported once, with its row and column, behind those of the other files."""
    rows = GOOD.replace("R1,journal,1,0,50\n", f"{row}\n") if row.startswith("R1,journal") else f"{GOOD}{row}\n"
    number = rows.splitlines().index(row) + 1
    found = mistakes(long_job(tmp_path, rows))
    if words is None:
        assert found == []
    else:
        assert len(found) == 1 and found[0].startswith(f"readings.csv:{number}: {column}: {words}")


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("item,feature,station,angle,reding", "reding: no such column; did you mean `reading`?"),
        ("item,feature,station,angle,reading,gage", "gage: no such column; did you mean `gauge`?"),
        ("item,feature,angle,reading", "station: the column is missing; add it"),
        ("item,feature,station,angle [mm],reading", "angle: this column takes no unit"),
        ("item,feature,station,angle,reading [ell]", "reading: unknown unit `ell`"),
        ("item,feature,station,angle,reading,item", "item: the column appears twice"),
    ],
)
def test_bad_headers(tmp_path: Path, header: str, words: str) -> None:
    """A fault in the header is reported alone: what the rows hold only follows from it."""
    cells = ",".join(["R1", "journal", "1", "0", "50", ""][: header.count(",") + 1])
    (mistake,) = mistakes(long_job(tmp_path, f"{header}\n{cells}\n"))
    assert mistake.startswith(f"readings.csv:1: {words}")


def test_one_feature_in_two_files(tmp_path: Path) -> None:
    """An item's feature is in one file; each item is reported once, at its first row."""
    rows = HEADER + "R1,journal,1,0,50\nR1,journal,2,0,50\n1,wall,1,0,2\n"
    found = mistakes(long_job(tmp_path, rows, positions=POSITIONS, shells=SHELLS))
    assert found == [
        "readings.csv:2: item: the journal of `R1` has readings in row 2 of the positions as well; "
        "keep them in one file",
        "readings.csv:4: item: the wall of `box-1/1` has readings in shells/box-1.csv:2 as well; keep them in one file",
    ]


def test_a_name_that_two_boxes_have(tmp_path: Path) -> None:
    """It needs its box."""
    rows = GOOD.replace("2,wall", "box-2/1,wall")
    shells = {"shells__box-2_DOT_csv": "shell,kind,half\n1,rod,lower\n"}
    assert mistakes(long_job(tmp_path, rows, **shells)) == [
        "readings.csv:4: item: shell `1` is in 2 boxes; write BOX/NAME, such as box-1/1"
    ]
    assert mistakes(long_job(tmp_path, rows.replace("\n1,wall", "\nbox-1/1,wall"), **shells)) == []


def test_what_follows_from_a_bad_row_elsewhere_is_left_out(tmp_path: Path) -> None:
    """Where a row of the positions could not be read, an unknown item may be that one."""
    found = codes(long_job(tmp_path, GOOD, positions="position,kind\nR1,rod,x\n"))
    assert found == ["ragged-row"]


@pytest.mark.parametrize(
    ("source", "code"),
    [("readings.csv", "missing-file"), ("../readings.csv", "outside-folder"), ("readings.txt", "wrong-ending")],
)
def test_where_the_long_file_is(tmp_path: Path, source: str, code: str) -> None:
    """It is in the job folder, as a .csv or .xlsx file."""
    job = LONG.replace("readings.csv", source)
    assert codes(write_job(tmp_path, job, BARE_POSITIONS, BARE_SHELLS)) == [code]


def test_a_bore_no_greater_than_its_journal(tmp_path: Path) -> None:
    """Sizes of the long file are compared with one another too."""
    rows = HEADER + "R1,journal,1,0,54\nR1,housing_bore,1,0,50\n"
    assert codes(long_job(tmp_path, rows)) == ["bore-not-greater"]


@pytest.mark.parametrize(
    ("tables", "where", "words"),
    [
        (
            '[readings]\nnumbered = "rep"',
            "5: readings.numbered",
            '`rep` is not allowed here; write "places" or "repeats"',
        ),
        ("[readings]\nnumberd = 1", "5: readings.numberd", "no such key; did you mean `readings.numbered`?"),
        ("[gauge]\na = 3", "5: gauge.a", "is the number `3`, not a table"),
        ('[gauge."a/b"]', '4: gauge."a/b"', "holds a `/`"),
        ('[gauge.a]\nunt = "mm"', "5: gauge.a.unt", "no such key; did you mean `gauge.a.unit`?"),
        ('[gauge.a]\nunit = "mil"', "5: gauge.a.unit", "`mil` means 0.001 in to some"),
        ("[gauge.a]\nresolution = 0", "5: gauge.a.resolution", "`0` is not more than zero"),
        ("[gauge.a]\nlimit = 3", "5: gauge.a.limit", "an error of a gauge is 0 to 0.2 mm"),
        ("[gauge.a]\nrepeatability = -1", "5: gauge.a.repeatability", "`-1` is below zero"),
        ("[gauge.a]\nball = 30", "5: gauge.a.ball", "a ball is 0 to 25 mm"),
        ("[gauge.a]\nstandard = 50", "5: gauge.a.standard", "is given without standard_reads"),
        ("[gauge.a]\nstandard = 50\nstandard_reads = []", "6: gauge.a.standard_reads", "is empty; write at least one"),
        (
            "[gauge.a]\nstandard = 50\nstandard_reads = [50.0, true]",
            "6: gauge.a.standard_reads",
            "holds `true` where a length belongs; write readings",
        ),
        (
            "[gauge.a]\nstandard = 50\nstandard_reads = [50.0, 'x']",
            "6: gauge.a.standard_reads",
            "`x` is not a number",
        ),
        ("[gauge.a]\nstandard_reads = [50.0, 50.001]", "5: gauge.a.standard_reads", "is given without standard;"),
        (
            "[gauge.a]\nrepeatability = 0.001\nrepeatability_from = 1",
            "6: gauge.a.repeatability_from",
            "`1` is not a number of readings that show a scatter; write 2, 3, 4 and so on",
        ),
        (
            "[gauge.a]\nrepeatability = 0.001\nrepeatability_rounded = 1",
            "6: gauge.a.repeatability_rounded",
            "is the number `1`; write true or false, without quotes",
        ),
        ("[gauge.a]\nstandard_limit = 3", "5: gauge.a.standard_limit", "an error of a gauge is 0 to 0.2 mm"),
        (
            "[gauge.a]\nexpansion = 11.5e-6\nexpansion_limit = 10",
            "6: gauge.a.expansion_limit",
            "outside 0 to 1e-4 per kelvin",
        ),
        (
            "[material.rod]\njournal = 'steel'\njournal_limit = 'steel'",
            "6: material.rod.journal_limit",
            "is the text `steel`, not a number",
        ),
        ("[gauge.a]\nstandard = 1\nstandard_reads = 2", "6: gauge.a.standard_reads", "is 1 mm off the standard"),
        ("[gauge.a]\nexpansion = 11.5", "5: gauge.a.expansion", "outside 0 to 1e-4 per kelvin; write it like 11.5e-6"),
        ('[gauge.a]\nset_with = "b"', "5: gauge.a.set_with", "there is no [gauge.b]; add it, or write the nearest"),
        ('[gauge.a]\nset_with = "a"', "5: gauge.a.set_with", "goes round in a circle (a with a)"),
        ("[measured.rods]", "4: measured.rods", "there is no [fit.rods]"),
        ('[measured.rod]\njournal = "mic"', "5: measured.rod.journal", "there is no [gauge.mic]; add it"),
        ("[measured.rod]\nwall = 3", "5: measured.rod.wall", "is the number `3`, not a text; name a gauge"),
        ("[form.rod]\njournal_tapr = 0", "5: form.rod.journal_tapr", "did you mean `form.rod.journal_taper`?"),
        ("[form.rod]\njournal_taper = 3", "5: form.rod.journal_taper", "a limit is 0 to 2 mm"),
        ("[rules]\nguard = -1", "5: rules.guard", "`-1` is outside 0 to 10"),
        ('[rules]\nguard = "1"', "5: rules.guard", "is the text `1`, not a number"),
        (
            "[gauge.a]\nball = 1.9\n[measured.rod]\nwall = 'a'",
            None,
            "after ball and zero error are taken off, the wall of `1` is 0.1 mm",
        ),
    ],
)
def test_bad_tables(tmp_path: Path, tables: str, where: str | None, words: str) -> None:
    """Each mistake in a table about measuring is reported at its key."""
    found = mistakes(wide(tmp_path, tables, shells=SHELLS.replace("2,rod,lower,2\n", "")))
    assert len(found) == 1 and words in found[0]
    assert found[0].startswith(f"job.toml:{where}: " if where else "shells/box-1.csv:2: wall: ")


def test_a_circle_of_gauges_is_told_once(tmp_path: Path) -> None:
    """Gauges set with one another in a circle are one mistake; one that leads into the circle is none."""
    tables = "".join(f'[gauge.{a}]\nset_with = "{b}"\n' for a, b in ("ab", "bc", "cb"))
    assert mistakes(wide(tmp_path, tables)) == [
        "job.toml:7: gauge.b.set_with: goes round in a circle (b with c with b); correct one of them"
    ]


@pytest.mark.parametrize(
    ("temperature", "found"),
    [
        ("", ["no-temperature"]),
        ("gauges = 20\n", ["no-temperature"]),
        ("room = 20\nparts = 20\n", ["two-temperatures"]),
        ("room = 200\n", ["implausible-number"]),
        ("room = '20'\n", ["wrong-type"]),
        ("room = nan\n", ["not-a-number"]),
        ("room = 20\nlimit = -1\n", ["implausible-number"]),
        ("room = 20\nlimits = 1\n", ["unknown-key"]),
        ("room = 68\nlimit = 1\n", ["implausible-number"]),  # degrees Fahrenheit
    ],
)
def test_bad_temperatures(tmp_path: Path, temperature: str, found: list[str]) -> None:
    """A temperature is one of the room, or of gauges and parts, in degrees Celsius."""
    material = '[material.rod]\njournal = "steel"\nhousing_bore = "steel"\n'
    assert codes(wide(tmp_path, f"[temperature]\n{temperature}{material}")) == found


def test_a_temperature_needs_materials(tmp_path: Path) -> None:
    """Corrected on one side only, a clearance would be worse than without; unknown materials name the nearest."""
    assert mistakes(wide(tmp_path, '[material.rod]\njournal = "steal"\n[temperature]\nroom = 22\n')) == [
        "job.toml:4: material.rod.housing_bore: is missing, and [temperature] needs it; "
        'write a material, such as "steel"',
        "job.toml:5: material.rod.journal: `steal` is not a material in the table; the nearest is `steel`; "
        "write that, or a coefficient such as 11.5e-6",
    ]
    assert codes(wide(tmp_path, "[material.rod]\njournal = 11.5\n")) == ["implausible-number"]


def test_unknown_gauges_in_tables(tmp_path: Path) -> None:
    """A gauge named in a cell needs its table; its reading is not compared with anything."""
    positions = "position,kind,journal,housing_bore,gauge,journal_gauge\nR1,rod,50,54.05,b,c\n"
    shells = "shell,kind,half,wall,gauge\n1,rod,upper,99,x\n"
    assert mistakes(wide(tmp_path, "[gauge.a]\n", positions=positions, shells=shells)) == [
        "positions.csv:2: gauge: there is no [gauge.b]; add it, or write the nearest gauge `a`",
        "positions.csv:2: journal_gauge: there is no [gauge.c]; add it, or write the nearest gauge `a`",
        "shells/box-1.csv:2: gauge: there is no [gauge.x]; add it, or write the nearest gauge `a`",
    ]
    rows = GOOD.replace("reading\n", "reading,gauge\n").replace("50\n", "50,mik\n").replace("54.05\n", "54.05,\n")
    rows = rows.replace(",2\n", ",2,\n")
    assert codes(long_job(tmp_path / "long", rows, LONG + "[gauge.mic]\n")) == ["unknown-gauge"]


@pytest.mark.parametrize(
    ("lines", "mistake"),
    [
        ("journal_stations = 2", "is the number `2`, not a list; write a list of stations, such as [1, 2]"),
        ("journal_stations = []", "is empty; write a list of stations, such as [1, 2]"),
        ('wall_stations = [1, "2"]', "holds the text `2` where a number belongs; write a list of stations, such as"),
        ("wall_stations = [1, 0]", "`0` is not a station; count them from the front: 1, 2, 3 and so on"),
        ("wall_stations = [1.0]", "`1.0` is not a station; count them from the front: 1, 2, 3 and so on"),
        ("journal_angles = [0, 400]", "`400` is outside -360 to 360; write degrees from the crown axis"),
        ("housing_bore_angles = [60, 120]", "has no 0, the crown axis, where the size is read; add it"),
        ("wall_angles = [180]", "has no 0, the crown axis, where the size is read; add it"),
        ("angles = [0]", "no such key; did you mean"),
    ],
)
def test_mistakes_in_where_the_bench_reads(tmp_path: Path, lines: str, mistake: str) -> None:
    """Stations are whole numbers, angles degrees with the crown axis among them; anything else is reported with its
    key."""
    row = JOB.count("\n") + 2
    (told,) = mistakes(write_job(tmp_path, f"{JOB}[bench.rod]\n{lines}\n"))
    assert told.startswith(f"job.toml:{row}: bench.rod.{lines.partition(' ')[0]}: {mistake}")


def test_where_the_bench_reads(tmp_path: Path) -> None:
    """Every angle at the first station, then at the next; whole turns of an angle are left out."""
    lines = "journal_stations = [1, 2]\njournal_angles = [0, 270]\nhousing_bore_angles = [180, -60]\n"
    job = read_job(write_job(tmp_path, f"{JOB}[bench.rod]\n{lines}"))
    assert job.measuring.bench["rod"] == {
        "journal": (Place(1, 0), Place(1, 90), Place(2, 0), Place(2, 90)),
        "housing_bore": (Place(None, 0), Place(None, 120)),
        "wall": (Place(),),
    }


def test_readings_csv_is_read_unless_another_file_is_named(tmp_path: Path) -> None:
    """A file of that name needs no word in job.toml; where it is missing nothing is."""
    log = "item,feature,station,angle,reading\nR1,journal,,,1.8162\n"
    folder = write_job(tmp_path, positions="position,kind\nR1,rod\n", readings_DOT_csv=log)
    (position,) = read_job(folder).positions
    assert position.journal is not None and position.journal.mean_nm == 46_131_480
    (folder / "readings.csv").unlink()
    assert codes(folder) == ["missing-column", "missing-column"]
    (position,) = read_job(folder, log=log.encode()).positions
    assert position.journal is not None
