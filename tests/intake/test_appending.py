"""The long file while it is written: its own dialect, one row a reading, nothing lost, nothing half done."""

import errno
import os
from pathlib import Path

import pytest

from fitmatch.intake.writing.appending import ChangedError, LogFile
from fitmatch.intake.writing.locking import HeldError, lock
from fitmatch.intake.writing.log_rows import HEADER, LogRows, split_torn

CELLS = {"item": "R1", "feature": "journal", "angle": "0", "reading": "1.8162", "gauge": "mic-1", "time": "now"}
SHORT = b"item,feature,station,angle,reading\n"


def made(header: str, cells: dict[str, str] = CELLS) -> str:
    return LogRows(header.encode()).row(cells).decode()


@pytest.mark.parametrize(
    ("header", "row"),
    [
        (HEADER.decode(), 'R1,journal,,0,1.8162,mic-1,,,"now"\n'),
        ("Item ; reading [in];feature;angle;station;mine\r\n", 'R1;1.8162;journal;0;;""\r\n'),
        ("\ufeffitem\tfeature\tstation\tangle\treading\r", 'R1\tjournal\t\t0\t"1.8162"\r'),
        ("\n\nitem,feature,station,angle,reading,time\n", 'R1,journal,,0,1.8162,"now"\n'),
        ("item,feature,station,angle,reading,time", 'R1,journal,,0,1.8162,"now"\n'),
    ],
)
def test_a_row_follows_its_file(header: str, row: str) -> None:
    """Separator, line end, order of columns and columns unknown here are the file's own; the last cell is quoted."""
    assert made(header) == row


def test_marks_of_the_format_in_a_cell() -> None:
    """A cell with a separator, a quote or outer spaces is quoted."""
    assert made(HEADER.decode(), CELLS | {"by": 'A, "B"'}) == 'R1,journal,,0,1.8162,mic-1,"A, ""B""",,"now"\n'


@pytest.mark.parametrize(
    ("text", "comma"),
    [
        ("item,feature,station,angle,reading\n", False),
        ("item;feature;station;angle;reading\n", True),
        ("item;feature;station;angle;reading\nR1;journal;;;1.8\n", False),
        ("item\tfeature\tstation\tangle\treading\n", False),
        ("item\tfeature\tstation\tangle\treading\nR1\tjournal\t\t\t1,8\n", True),
    ],
)
def test_the_decimal_mark_follows_the_readings(text: str, comma: bool) -> None:
    """Readings that are there decide; without any, `;` goes with a comma."""
    assert LogRows(text.encode()).decimal_comma == comma


@pytest.mark.parametrize("header", [HEADER, SHORT, b"item;feature;station;angle;reading;note\r\n"])
def test_a_torn_row_is_never_a_shorter_number(header: bytes) -> None:
    """A row cut after any of its bytes is set apart, or holds the reading whole."""
    row = LogRows(header).row(CELLS)
    for cut in range(1, len(row)):
        data, torn = split_torn(header + row[:cut])
        assert data + torn == header + row[:cut]
        if not torn:
            assert [r.cells[4] for r in LogRows(data).rows] == ["1.8162"]


@pytest.mark.parametrize(
    "text",
    [
        b"item,feature,station,angle,reading\nR1,journal,,,1.81",
        b"item,feature,station,angle,reading\nR1,journal,1,,1.81\n\n  ",
        b"item,feature,station,angle,reading",
        b'item,feature,station,angle,reading,note\nR1,journal,,,1.81,"two\nlines"',
        b'item,feature,station,angle,reading,note\nR1,journal,,,1.81,"never\nclosed',
        b"",
    ],
)
def test_what_was_typed_by_hand_is_left_alone(text: bytes) -> None:
    """A last row without its line end is whole if it has every cell; other faults are left to the reader."""
    assert split_torn(text) == (text, b"")


def test_a_new_file_and_its_rows(tmp_path: Path) -> None:
    """Nothing is on disk before `settle`; then the header; then every row."""
    path = tmp_path / "readings.csv"
    log = LogFile(path)
    assert not path.exists() and log.data == HEADER
    assert log.settle() is None
    row = log.rows.row(CELLS)
    log.append(row)
    log.append(row)
    assert path.read_bytes() == HEADER + row + row == log.data
    assert list(tmp_path.iterdir()) == [path]


def test_a_row_after_one_without_its_line_end(tmp_path: Path) -> None:
    """The line end that lacks is written with the new row."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT + b"R1,journal,,,1.8")
    log = LogFile(path)
    log.append(log.rows.row(CELLS))
    assert path.read_bytes() == SHORT + b'R1,journal,,,1.8\nR1,journal,,0,"1.8162"\n'


def test_a_torn_row_is_put_aside(tmp_path: Path) -> None:
    """Its bytes go into a file beside it, after those of earlier ones; the rest is unchanged."""
    path = tmp_path / "readings.csv"
    for torn in (b"R1,jour", b'R2,journal,1,0,"1.8'):
        path.write_bytes(SHORT + torn)
        assert LogFile(path).settle() == tmp_path / "readings.torn"
        assert path.read_bytes() == SHORT
    assert (tmp_path / "readings.torn").read_bytes() == b'R1,jour\nR2,journal,1,0,"1.8\n'


def test_the_newest_reading_is_the_last_row_that_has_one(tmp_path: Path) -> None:
    """Rows prepared without a reading stay where they are when one is taken back, or gets a reason."""
    path = tmp_path / "readings.csv"
    header = b"item,feature,station,angle,reading,confirmed\n"
    path.write_bytes(header + b"R1,journal,,,1.8,\nR2,journal,,,1.9,\n\nR3,journal,,,,\n")
    path.chmod(0o640)
    log = LogFile(path)
    newest = log.rows.newest
    assert newest is not None
    log.replace(log.rows.with_cell(newest, 5, "worn"))
    assert path.read_bytes() == header + b'R1,journal,,,1.8,\nR2,journal,,,1.9,"worn"\n\nR3,journal,,,,\n'
    newest = log.rows.newest
    assert newest is not None
    log.replace(log.rows.without(newest))
    assert path.read_bytes() == header + b"R1,journal,,,1.8,\n\nR3,journal,,,,\n"
    assert path.stat().st_mode & 0o777 == 0o640


def test_what_another_program_wrote_is_not_touched(tmp_path: Path) -> None:
    """A file that changed since it was read is neither added to nor rewritten."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log = LogFile(path)
    path.write_bytes(SHORT + b"R1,journal,,,1.8\n")
    with pytest.raises(ChangedError):
        log.append(log.rows.row(CELLS))
    assert path.read_bytes() == SHORT + b"R1,journal,,,1.8\n"


def test_a_full_disk_leaves_no_part_of_a_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that stops half way, or cannot be made lasting, is undone; the next one works."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log = LogFile(path)
    row = log.rows.row(CELLS)
    write, fsync = os.write, os.fsync

    def no_room(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.write", lambda file, data: write(file, data[:9]))
    with pytest.raises(OSError, match="no room"):
        log.append(row)
    monkeypatch.setattr("os.write", write)
    monkeypatch.setattr("os.fsync", no_room)
    with pytest.raises(OSError, match="No space left"):
        log.append(row)
    assert path.read_bytes() == SHORT
    monkeypatch.setattr("os.fsync", fsync)
    log.append(row)
    assert path.read_bytes() == SHORT + row


def test_one_lock_at_a_time(tmp_path: Path) -> None:
    """What is locked cannot be locked again until it is released; the file stays as it is, and no other one appears."""
    path = tmp_path / "job.toml"
    path.write_bytes(b"text")
    with lock(path), pytest.raises(HeldError):
        lock(path)
    lock(path).close()
    assert path.read_bytes() == b"text" and list(tmp_path.iterdir()) == [path]
