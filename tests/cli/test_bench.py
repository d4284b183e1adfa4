"""What entries do at the bench: the path, commands, doubts; no process and no terminal."""

from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from made.bench_jobs import JOB, bench_job, on_disk
from made.intake_jobs import put

from fitmatch.cli.bench.answers import COMMANDS, Bench, Doors, Quit, RefusedError
from fitmatch.facts import Fact
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.settings import Settings, read_settings
from fitmatch.intake.reading import read_job
from fitmatch.intake.writing.appending import LogFile
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt

PLACES = """\
[bench.rod]
journal_stations = [1, 2]
journal_angles = [0, 90]
housing_bore_angles = [0, 60.5]
wall_stations = [1, 1]
"""


def no_doubts(_: Job) -> Iterable[Doubt]:
    return ()


class Sitting:
    """A bench at a job folder, and everything it said."""

    def __init__(self, folder: Path, doubts_of: Callable[[Job], Iterable[Doubt]] = no_doubts) -> None:
        self.folder = folder
        self.said: list[str] = []
        self.warned: list[str] = []
        log = LogFile(folder / "readings.csv", folder)
        job = read_job(folder, log=log.data)
        log.settle()
        doors = Doors(self._read, self._settings, doubts_of, self.said.append, self.warned.append)
        self.bench = Bench(log, job, doors)

    def _read(self, data: bytes) -> Job:
        return read_job(self.folder, log=data)

    def _settings(self) -> Settings:
        return read_settings((self.folder / "job.toml").read_bytes(), Findings())

    def enter(self, *texts: str) -> "Sitting":
        for text in texts:
            self.bench.enter(text)
        return self

    def refused(self, text: str) -> str:
        before = (self.folder / "readings.csv").read_bytes(), self.bench.prompt()
        with pytest.raises(RefusedError) as refused:
            self.bench.enter(text)
        assert before == ((self.folder / "readings.csv").read_bytes(), self.bench.prompt())
        return str(refused.value)

    def walk(self) -> list[str]:
        """The prompts that come while each is skipped once."""
        prompts = []
        while self.bench.prompt() not in prompts:
            prompts.append(self.bench.prompt())
            self.enter("skip")
        return prompts


def test_the_example_of_a_box_bears_the_name_of_the_job(tmp_path: Path) -> None:
    """The words and the refusal show a box named as `fitmatch new` names it, after the folder."""
    sitting = Sitting(bench_job(tmp_path / "my build"))
    assert "such as box my-build-rods-C rod 5 5" in sitting.refused("box C rod")
    sitting.enter("help")
    assert "such as box my-build-rods-C rod 5 5" in " ".join(sitting.said)


@pytest.mark.parametrize("word", ["help", "?", "HELP"])
def test_the_words_are_explained(tmp_path: Path, word: str) -> None:
    """`help` and `?` say what every word does, and nothing else happens."""
    sitting = Sitting(bench_job(tmp_path))
    before = sitting.bench.prompt()
    (told,) = sitting.enter(word).said
    assert all(f"  {command} " in told for command in COMMANDS if command not in ("help", "?"))
    assert "help or ?" in told and sitting.bench.prompt() == before and on_disk(tmp_path, "item") == []
    assert "must be typed alone" in sitting.refused(f"{word} me")


def test_the_path_goes_feature_by_feature(tmp_path: Path) -> None:
    """Journals, housing bores, boxes; positions and shells in file order; one reading each on the crown axis."""
    assert Sitting(bench_job(tmp_path)).walk() == [
        "1/8 R1 journal, any station, 0 deg, no gauge named, in: ",
        "2/8 M1 journal, any station, 0 deg, no gauge named, in: ",
        "3/8 M2 journal, any station, 0 deg, no gauge named, in: ",
        "4/8 R1 housing bore, any station, 0 deg, no gauge named, in: ",
        "5/8 M1 housing bore, any station, 0 deg, no gauge named, in: ",
        "6/8 M2 housing bore, any station, 0 deg, no gauge named, in: ",
        "7/8 box-1/1 wall (rod upper), any station, 0 deg, no gauge named, in: ",
        "8/8 box-1/2 wall (rod lower), any station, 0 deg, no gauge named, in: ",
    ]


def test_stations_angles_and_gauges_of_the_path(tmp_path: Path) -> None:
    """[bench.KIND] says where, and a place named twice is read twice; [measured.KIND] with what, and its unit
    counts."""
    gauges = '[gauge.bore-1]\nunit = "mm"\n[measured.rod]\nhousing_bore = "bore-1"\n'
    folder = bench_job(tmp_path, JOB + PLACES + gauges)
    prompts = [prompt.partition(" ")[2] for prompt in Sitting(folder).walk()]
    assert len(prompts) == 14
    assert [prompt for prompt in prompts if not prompt.startswith("M")] == [
        "R1 journal, station 1, 0 deg, no gauge named, in: ",
        "R1 journal, station 1, 90 deg, no gauge named, in: ",
        "R1 journal, station 2, 0 deg, no gauge named, in: ",
        "R1 journal, station 2, 90 deg, no gauge named, in: ",
        "R1 housing bore, any station, 0 deg, bore-1, mm: ",
        "R1 housing bore, any station, 60.5 deg, bore-1, mm: ",
        *["box-1/1 wall (rod upper), station 1, 0 deg, no gauge named, in: "] * 2,
        *["box-1/2 wall (rod lower), station 1, 0 deg, no gauge named, in: "] * 2,
    ]


def test_full_items_are_passed_over(tmp_path: Path) -> None:
    """What the long file or a wide column has is not asked for, nor a shell on hold; the rest of an item is."""
    log = (
        "item,feature,station,angle,reading\nR1,journal,2,90,1.8162\nR1,journal,2,180,1.8162\nM1,journal,7,,2.125\n"
        "M2,journal,,90,2.125\n"
    )
    shells = "shell,kind,half,wall,hold\n1,rod,upper,0.0618,\n2,rod,lower,,\n3,rod,lower,,bent\n"
    folder = bench_job(tmp_path, JOB + PLACES, readings_DOT_csv=log)
    put(folder / "shells" / "box-1.csv", shells)
    put(folder / "positions.csv", "position,kind,housing_bore\nR1,rod,1.9421\nM1,main,\nM2,main,2.2515\n")
    sitting = Sitting(folder)
    asked = []
    for typed in ("1.8162", "1.8162", "2.125", "2.2514", "0.0618", "0.0618"):
        asked.append(sitting.bench.prompt().partition(" ")[2].partition(", no gauge")[0])
        sitting.enter(typed)
    assert sitting.bench.complete and asked == [
        "R1 journal, station 1, 0 deg",
        "R1 journal, station 1, 90 deg",
        "M2 journal, any station, 0 deg",
        "M1 housing bore, any station, 0 deg",
        "box-1/2 wall (rod lower), station 1, 0 deg",
        "box-1/2 wall (rod lower), station 1, 0 deg",
    ]


@pytest.mark.parametrize(
    ("typed", "cell", "echo"),
    [
        ("1.8162", "1.8162", "1.8162 in = 46.1315 mm"),
        ("+ 1.8160", "1.8160", "1.8160 in = 46.1264 mm"),
        ("1,8162", "1.8162", "1.8162 in = 46.1315 mm"),
        ("1.8162 IN", "1.8162", "1.8162 in = 46.1315 mm"),
        ("46.131 mm", "46.131 mm", "1.81618 in = 46.131 mm"),
        ("46131um", "46131 um", "1.81618 in = 46.131 mm"),
        ("1816.2 thou", "1816.2 thou", "1.8162 in = 46.1315 mm"),
        ("18162 tenths", "18162 tenths", "1.8162 in = 46.1315 mm"),
        ("1816.2e-3", "1816.2e-3", "1.8162 in = 46.1315 mm"),
    ],
)
def test_what_is_typed_is_kept_and_told_in_both_units(tmp_path: Path, typed: str, cell: str, echo: str) -> None:
    """Sign, spaces, a decimal comma and units are understood; the file keeps the digits, the echo shows no fewer."""
    sitting = Sitting(bench_job(tmp_path)).enter(typed)
    assert sitting.said == [f"saved R1 journal {echo}"]
    assert on_disk(tmp_path, "item", "feature", "station", "angle", "reading") == [["R1", "journal", "", "0", cell]]
    assert read_job(tmp_path).measuring.log[0].reading.nm in (46_131_480, 46_126_400, 46_131_000)


def test_the_gauges_unit_comes_before_the_jobs(tmp_path: Path) -> None:
    """A plain number is in the unit of the gauge; a header with another unit gets it with its own."""
    gauge = '[gauge.mic-1]\nunit = "mm"\n[measured.rod]\njournal = "mic-1"\n'
    folder = bench_job(tmp_path, JOB + gauge, readings_DOT_csv="item,feature,station,angle,reading [in],gauge\n")
    sitting = Sitting(folder).enter("46.131", "2.1250")
    assert sitting.said[0] == "saved R1 journal 1.81618 in = 46.131 mm"
    assert on_disk(folder, "reading [in]", "gauge") == [["46.131 mm", "mic-1"], ["2.1250", ""]]


def test_a_file_with_decimal_commas_gets_more(tmp_path: Path) -> None:
    """Rows go into a file of `;` and decimal commas as it has them, angles too."""
    log = "item;feature;station;angle;reading;time\n"
    folder = bench_job(tmp_path, JOB + "[bench.rod]\njournal_angles = [22.5]\n", readings_DOT_csv=log)
    Sitting(folder).enter("1.8162", "53.975 mm")
    rows = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    assert [row.rpartition(";")[0] for row in rows[1:]] == ["R1;journal;;22,5;1,8162", "M1;journal;;0;53,975 mm"]
    assert [row.reading.angle for row in read_job(folder).measuring.log] == [22.5, 0.0]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1.8162 1.8161", "is neither a number nor one of undo,"),
        ("hello", "is neither a number nor one of undo,"),
        ("1.8.1", "is neither a number"),
        ("-1.8162", "is not more than zero"),
        ("18162", "and a journal is 5 mm to 2 m; if another unit was meant"),
        ("1.8 mil", "`mil` means 0.001 in to some"),
        ("1.8 furlong", "unknown unit `furlong`"),
        ("undo it", "undo must be typed alone"),
        ("undo", "no reading to take back"),
        ("back", "the first place"),
        ("keep", "say why"),
        ("keep worn", "no reading to keep"),
        ("box C rod 5", "write box NAME KIND UPPERS LOWERS"),
        ("box C rot 5 5", "`rot` is not a kind of this job; write rod or main"),
        ("box C rod 0 0", "1 to 999 shells"),
        ("box box-1 rod 1 1", "there is already a box `box-1`"),
        ("box a/b rod 1 1", "holds a `/`"),
        ("box .a rod 1 1", "cannot be a file name"),
    ],
)
def test_anything_else_is_refused(tmp_path: Path, typed: str, words: str) -> None:
    """Nothing is stored, the prompt stays, and the message says what is wrong."""
    sitting = Sitting(bench_job(tmp_path))
    assert words in sitting.refused(typed)
    assert sitting.said == []


def test_a_reading_that_would_spoil_the_job_is_refused(tmp_path: Path) -> None:
    """A bore no greater than its journal would be bad input for every command: it is not stored."""
    sitting = Sitting(bench_job(tmp_path)).enter("1.8162", "2.125", "2.125")
    assert "1.8162 in is not larger than the journal" in sitting.refused("1.8162")
    assert len(read_job(tmp_path).measuring.log) == 3


def test_undo_goes_back_through_earlier_sittings(tmp_path: Path) -> None:
    """Each undo takes back the newest reading on disk and asks for it again, down to the first."""
    Sitting(bench_job(tmp_path)).enter("1.8162", "2.1250")
    sitting = Sitting(tmp_path).enter("2.1251", "undo")
    assert sitting.bench.prompt().startswith("3/8 M2 journal")
    sitting.enter("undo")
    assert sitting.bench.prompt().startswith("2/8 M1 journal")
    sitting.enter("undo")
    assert sitting.bench.prompt().startswith("1/8 R1 journal") and on_disk(tmp_path, "item") == []
    assert sitting.said[1:] == [
        "took back M2 journal 2.1251 in = 53.9775 mm",
        "took back M1 journal 2.1250 in = 53.9750 mm",
        "took back R1 journal 1.8162 in = 46.1315 mm",
    ]


def test_skip_and_back(tmp_path: Path) -> None:
    """A skipped place comes again at the end; back goes there at once, and at a full place one more is taken."""
    sitting = Sitting(bench_job(tmp_path)).enter("skip", "2.1250", "back", "back")
    assert sitting.bench.prompt().startswith("1/8 R1 journal")
    sitting.enter("1.8162", "back")
    assert sitting.bench.prompt().startswith("2/8 one more, M1 journal")
    sitting.enter("2.1252")
    assert sitting.bench.prompt().startswith("3/8 M2 journal")
    assert on_disk(tmp_path, "item", "reading") == [["M1", "2.1250"], ["R1", "1.8162"], ["M1", "2.1252"]]


def test_a_complete_path(tmp_path: Path) -> None:
    """When everything is there no number is taken, but words still are."""
    sitting = Sitting(bench_job(tmp_path))
    sitting.enter("1.8162", "2.125", "2.125", "1.9421", "2.2514", "2.2514", "0.0618", "skip")
    assert not sitting.bench.complete
    sitting.enter("0.0619")
    assert sitting.bench.complete and sitting.bench.prompt().startswith("All 8 readings are there; undo,")
    assert "all readings of the path are there" in sitting.refused("0.0619")
    assert "nothing to skip" in sitting.refused("skip")
    sitting.enter("keep measured twice", "back")
    assert sitting.bench.prompt().startswith("8/8 one more, box-1/2 wall")
    sitting.enter("undo")
    assert sitting.bench.prompt().startswith("8/8 box-1/2 wall")
    with pytest.raises(Quit):
        sitting.enter("QUIT")


def test_keep_writes_the_reason(tmp_path: Path) -> None:
    """The newest reading on disk gets the reason into its row; a later word replaces it."""
    Sitting(bench_job(tmp_path)).enter("1.8162", "2.1250")
    sitting = Sitting(tmp_path).enter("keep taken twice, same", "keep ovality, known")
    assert sitting.said[-1] == "kept M1 journal 2.1250 in = 53.9750 mm: ovality, known"
    assert on_disk(tmp_path, "item", "confirmed") == [["R1", ""], ["M1", "ovality, known"]]
    assert [row.reading.confirmed for row in read_job(tmp_path).measuring.log] == ["", "ovality, known"]


def test_keep_needs_its_column(tmp_path: Path) -> None:
    """A file without the column `confirmed` is not given one; the message says what to add."""
    folder = bench_job(tmp_path, readings_DOT_csv="item,feature,station,angle,reading\nR1,journal,,,1.8162\n")
    assert "no column `confirmed`" in Sitting(folder).refused("keep worn")


def doubter(job: Job) -> Iterable[Doubt]:
    """Doubts every journal of 1.7 in, and the first reading once there are three."""
    log = job.measuring.log
    for row in log:
        if row.reading.nm == 43_180_000 and not row.reading.confirmed:
            low, names = Fact("off", {"error_nm": -2_540_000}), ("decimal-slip", "undersize")
            yield Doubt("readings.csv", row.row, row.item, "journal", 1, low, names)
    if len(log) == 3:
        high = Fact("sitting", {"error_nm": 254_000, "half": "", "of": "rod"})
        yield Doubt("readings.csv", 2, "R1", "journal", 1, high, ("wrong-frame",))


def test_a_doubt_asks_nothing(tmp_path: Path) -> None:
    """The reading is saved and the next is asked for; one line gives the likely mistake, once; keep silences it."""
    sitting = Sitting(bench_job(tmp_path), doubter).enter("1.8162", "1.7")
    doubt = (
        "doubtful: M1 journal reads 0.1000 in low: the decimal point one place out (compare with the paper); "
        "measure M1 again; undo, or keep REASON"
    )
    assert sitting.warned == [doubt] and sitting.bench.prompt().startswith("3/8 M2 journal")
    sitting.enter("undo", "1.7")
    assert sitting.warned == [doubt, doubt]
    sitting.enter("keep really so", "2.125")
    assert sitting.warned[2:] == [
        "doubtful: every journal of rod reads 0.0100 in high: the wrong micrometer frame or setting standard; "
        "measure a few of journal of rod again with another gauge (readings.csv:2)"
    ]


def test_a_new_box(tmp_path: Path) -> None:
    """Its file is written whole where the job's glob looks, its shells are asked for next, their names are new."""
    sitting = Sitting(bench_job(tmp_path)).enter("box C rod 2 1")
    written = "shell,kind,half,wall\nC1,rod,upper,\nC2,rod,upper,\nC3,rod,lower,\n"
    assert (tmp_path / "shells" / "C.csv").read_text(encoding="utf-8") == written
    assert sitting.said == ["wrote shells/C.csv: 2 upper, 1 lower"]
    assert sitting.bench.prompt().startswith("7/11 C/C1 wall (rod upper)")
    sitting.enter("0.0618", "0.0619", "0.0618")
    assert sitting.bench.prompt().startswith("10/11 box-1/1 wall")
    sitting.enter("box box-2 main 1 0")
    assert sitting.bench.prompt().startswith("12/12 box-2/box-2-1 wall (main upper)")
    assert "there is already a box `C`" in sitting.refused("box C rod 1 1")


def test_a_box_of_the_only_family_that_fits(tmp_path: Path) -> None:
    """Where a kind wants one family the new shells have it, as they would be left out otherwise."""
    Sitting(bench_job(tmp_path, JOB + '[fit.x]\nmin = 0.001\nmax = 0.002\nfamily = ["narrow,2"]\n')).enter(
        "box C x 1 0"
    )
    written = (tmp_path / "shells" / "C.csv").read_text(encoding="utf-8")
    assert written == 'shell,kind,half,family,wall\nC1,x,upper,"narrow,2",\n'


def test_a_box_that_no_glob_finds(tmp_path: Path) -> None:
    """Where the files are named outright no box is written, as nothing would read it."""
    folder = bench_job(tmp_path, JOB + '[sources]\nshells = ["shells/box-1.csv"]\n')
    assert 'add a glob such as "shells/*.csv"' in Sitting(folder).refused("box C rod 1 1")
    assert not (folder / "shells" / "C.csv").exists()
