"""The long file while it is written: its own dialect, one row a reading, nothing lost, nothing half done."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from fitmatch.intake.writing.appending import ChangedError, LogFile
from fitmatch.intake.writing.locking import HeldError, locked
from fitmatch.intake.writing.log_rows import HEADER, LogRows, split_torn
from fitmatch.intake.writing.whole_files import write_whole

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
    log = LogFile(path, tmp_path)
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
    log = LogFile(path, tmp_path)
    log.append(log.rows.row(CELLS))
    assert path.read_bytes() == SHORT + b'R1,journal,,,1.8\nR1,journal,,0,"1.8162"\n'


def test_a_torn_row_is_put_aside(tmp_path: Path) -> None:
    """Its bytes go into a file beside it, after those of earlier ones; the rest is unchanged."""
    path = tmp_path / "readings.csv"
    for torn in (b"R1,jour", b'R2,journal,1,0,"1.8'):
        path.write_bytes(SHORT + torn)
        assert LogFile(path, tmp_path).settle() == tmp_path / "readings.torn"
        assert path.read_bytes() == SHORT
    assert (tmp_path / "readings.torn").read_bytes() == b'R1,jour\nR2,journal,1,0,"1.8\n'


def test_the_newest_reading_is_the_last_row_that_has_one(tmp_path: Path) -> None:
    """Rows prepared without a reading stay where they are when one is taken back, or gets a reason."""
    path = tmp_path / "readings.csv"
    header = b"item,feature,station,angle,reading,confirmed\n"
    path.write_bytes(header + b"R1,journal,,,1.8,\nR2,journal,,,1.9,\n\nR3,journal,,,,\n")
    path.chmod(0o640)
    log = LogFile(path, tmp_path)
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
    log = LogFile(path, tmp_path)
    path.write_bytes(SHORT + b"R1,journal,,,1.8\n")
    with pytest.raises(ChangedError):
        log.append(log.rows.row(CELLS))
    assert path.read_bytes() == SHORT + b"R1,journal,,,1.8\n"


def test_a_full_disk_leaves_no_part_of_a_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that stops half way, or cannot be made lasting, is undone; the next one works."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log = LogFile(path, tmp_path)
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


OTHER = b"R9,journal,,,1.9\n"


def add(path: Path, row: bytes = OTHER) -> None:
    """As another program adds a row."""
    with path.open("ab") as file:
        file.write(row)


def at_write(monkeypatch: pytest.MonkeyPatch, act: Callable[[], None], *, before: bool) -> None:
    """Let something happen once, right before or after the next bytes are written."""
    write = os.write

    def acting(handle: int, data: bytes) -> int:
        monkeypatch.setattr("os.write", write)
        if before:
            act()
        written = write(handle, data)
        if not before:
            act()
        return written

    monkeypatch.setattr("os.write", acting)


@pytest.mark.parametrize("before", [True, False])
def test_a_row_added_by_another_program_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: bool
) -> None:
    """Added between the last look and the write, or right behind it, it is there as well as the row written here, and
    the next change is refused."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log = LogFile(path, tmp_path)
    row = log.rows.row(CELLS)
    at_write(monkeypatch, lambda: add(path), before=before)
    log.append(row)
    both = SHORT + (OTHER + row if before else row + OTHER)
    assert path.read_bytes() == both
    for change in (lambda: log.append(row), lambda: log.replace(SHORT)):
        with pytest.raises(ChangedError):
            change()
    assert path.read_bytes() == both


def test_rows_in_one_line_are_parted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A row that would stand behind one without its line end is not saved, and the other one stays."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log = LogFile(path, tmp_path)
    at_write(monkeypatch, lambda: add(path, OTHER[:-1]), before=True)
    with pytest.raises(ChangedError):
        log.append(log.rows.row(CELLS))
    assert path.read_bytes() == SHORT + OTHER[:-1]


@pytest.mark.parametrize("room", [0, 1, 9])
def test_a_full_disk_takes_no_row_of_another_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, room: int
) -> None:
    """Where a write stops half way and another program has added a row behind it, that row can still be read."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT)
    log, write = LogFile(path, tmp_path), os.write

    def half(handle: int, data: bytes) -> int:
        monkeypatch.setattr("os.write", write)
        written = write(handle, data[:room])
        add(path)
        return written

    monkeypatch.setattr("os.write", half)
    with pytest.raises(OSError, match="no room"):
        log.append(log.rows.row(CELLS))
    assert [row.cells[4] for row in LogRows(path.read_bytes()).rows] == ["1.9"]


@pytest.mark.parametrize("when", ["fsync", "replace", "later", "at the end"])
def test_rows_added_while_all_are_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str) -> None:
    """A program that had opened the file before it was replaced writes to what is no longer there under that name: its
    row is carried over, and the next change refused."""
    path = tmp_path / "readings.csv"
    row = b"R1,journal,,,1.8\n"
    path.write_bytes(SHORT + row)
    log = LogFile(path, tmp_path)
    with path.open("ab", buffering=0) as other:
        if when in ("fsync", "replace"):
            real = getattr(os, when)

            def acting(*args: object) -> object:
                monkeypatch.undo()
                other.write(OTHER)
                return real(*args)

            monkeypatch.setattr(os, when, acting)
        log.replace(SHORT)
        if when in ("later", "at the end"):
            assert path.read_bytes() == SHORT
            other.write(OTHER)
        if when != "at the end":
            with pytest.raises(ChangedError):
                log.replace(b"")
    log.close()
    assert path.read_bytes() == SHORT + OTHER


def test_what_was_rewritten_meanwhile_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where another program writes all rows anew while they are replaced here, its rows are the ones that stay."""
    path = tmp_path / "readings.csv"
    path.write_bytes(SHORT + b"R1,journal,,,1.8\n")
    log, fsync = LogFile(path, tmp_path), os.fsync

    def acting(handle: int) -> None:
        monkeypatch.setattr("os.fsync", fsync)
        path.write_bytes(SHORT + OTHER)
        fsync(handle)

    monkeypatch.setattr("os.fsync", acting)
    with pytest.raises(ChangedError):
        log.replace(SHORT)
    log.close()
    assert path.read_bytes() == SHORT + OTHER


def test_only_a_file_in_the_folder_is_written_to(tmp_path: Path) -> None:
    """A link out of the folder, a pipe, a folder: refused at once, before or behind the first look; so is a link in
    place of the file for what was cut short."""
    folder, outside = tmp_path / "job", tmp_path / "outside.csv"
    folder.mkdir()
    path = folder / "readings.csv"
    outside.write_bytes(SHORT)
    for make in (lambda: path.symlink_to(outside), lambda: os.mkfifo(path), path.mkdir):
        make()
        with pytest.raises(OSError, match=r"leads out|not a file"):
            LogFile(path, folder)
        path.rmdir() if path.is_dir() else path.unlink()
        path.write_bytes(SHORT)
        log = LogFile(path, folder)
        path.unlink()
        make()
        with pytest.raises((OSError, ChangedError)):
            log.append(log.rows.row(CELLS))
        path.rmdir() if path.is_dir() else path.unlink()
    path.write_bytes(SHORT + b"R1,jour")
    (folder / "readings.torn").symlink_to(outside)
    with pytest.raises(OSError, match="a link leads out of the job folder"):
        LogFile(path, folder).settle()
    assert outside.read_bytes() == SHORT


def test_one_lock_at_a_time(tmp_path: Path) -> None:
    """What is locked cannot be locked again until it is released, also once job.toml was replaced by another file; the
    folder stays as it is."""
    path = tmp_path / "job.toml"
    path.write_bytes(b"text")
    with locked(tmp_path):
        write_whole(path, b"other", tmp_path)
        with pytest.raises(HeldError), locked(tmp_path):
            pass
    with locked(tmp_path):
        pass
    assert path.read_bytes() == b"other" and list(tmp_path.iterdir()) == [path]
