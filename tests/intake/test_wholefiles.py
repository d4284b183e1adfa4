"""Writing a file, or several, whole or not at all."""

import os
from pathlib import Path

import pytest

from fitmatch.intake.writing.whole_files import remove_drafts, write_all, write_whole


def test_the_old_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    """The file has the new text in UTF-8 with line feeds, and there is no draft beside it."""
    path = tmp_path / "assignment.json"
    path.write_text("old", encoding="utf-8")
    write_whole(path, "neü\n".encode(), tmp_path)
    assert path.read_bytes() == "neü\n".encode()
    assert list(tmp_path.iterdir()) == [path]


def test_a_failure_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the last step fails the old file is still there, and the draft is gone."""
    path = tmp_path / "assignment.json"
    path.write_text("old", encoding="utf-8")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"new", tmp_path)
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_several_files_or_none(tmp_path: Path) -> None:
    """Where one of several cannot be written, those before it are as they were: the old text, or no file."""
    old, new, lost = tmp_path / "old.json", tmp_path / "new.json", tmp_path / "no folder" / "lost.json"
    old.write_bytes(b"\xff old")
    with pytest.raises(FileNotFoundError):
        write_all({old: b"first", new: b"second", lost: b"third"})
    assert old.read_bytes() == b"\xff old" and list(tmp_path.iterdir()) == [old]
    write_all({old: b"first", new: b"second"})
    assert [path.read_text(encoding="utf-8") for path in (old, new)] == ["first", "second"]


def test_nothing_is_written_outside_the_folder(tmp_path: Path) -> None:
    """A link out of the folder, to a file or to none, itself or on the way, is refused; what it leads to stays."""
    folder, outside = tmp_path / "job", tmp_path / "outside"
    for made in (folder, outside):
        made.mkdir()
    (outside / "kept").write_bytes(b"kept")
    (folder / "to-file").symlink_to(outside / "kept")
    (folder / "to-none").symlink_to(outside / "none")
    (folder / "round").symlink_to(folder / "round")
    (folder / "place").symlink_to(outside)
    for name in ("to-file", "to-none", "round", "place/kept", "place/none"):
        with pytest.raises(OSError, match=r"a link leads out|links lead round"):
            write_whole(folder / name, b"new", folder)
    for name in ("to-file", "to-none", "round"):
        with pytest.raises(OSError, match=r"a link leads out|links lead round"):
            write_all({folder / "first": b"new", folder / name: b"new"})
    assert [(path.name, path.read_bytes()) for path in outside.iterdir()] == [("kept", b"kept")]
    assert (folder / "to-file").is_symlink() and len(list(folder.iterdir())) == 4


def test_a_link_inside_the_folder_stays_a_link(tmp_path: Path) -> None:
    """What it leads to is replaced."""
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans/assignment.json").write_bytes(b"old")
    (tmp_path / "assignment.json").symlink_to("plans/assignment.json")
    write_whole(tmp_path / "assignment.json", b"new", tmp_path)
    assert (tmp_path / "assignment.json").is_symlink()
    assert (tmp_path / "plans/assignment.json").read_bytes() == b"new"


@pytest.mark.parametrize("target", ["job.toml", "shells/A.csv", "assignment-1.json"])
def test_nothing_is_written_into_a_file_of_another_name(tmp_path: Path, target: str) -> None:
    """A link to another file of the job is refused by both names, and that file stays."""
    (tmp_path / target).parent.mkdir(exist_ok=True)
    (tmp_path / target).write_bytes(b"kept")
    path = tmp_path / "assignment.json"
    path.symlink_to(target)
    for write in (lambda: write_whole(path, b"new", tmp_path), lambda: write_all({path: b"new"})):
        with pytest.raises(OSError, match=f"it is a link to {Path(target).name}; remove the link") as refused:
            write()
        assert refused.value.filename == str(path)
    assert (tmp_path / target).read_bytes() == b"kept"


def test_nothing_is_made_where_a_link_leads_nowhere(tmp_path: Path) -> None:
    """A link to what does not exist is refused by its own name, whether or not its folder exists."""
    path = tmp_path / "assignment.json"
    for made in ("none", "there"):
        (tmp_path / "there").mkdir(exist_ok=True)
        path.unlink(missing_ok=True)
        path.symlink_to(f"{made}/assignment.json")
        with pytest.raises(OSError, match="it is a link that leads nowhere; remove it") as refused:
            write_whole(path, b"new", tmp_path)
        assert refused.value.filename == str(path) and not path.exists()


def test_an_error_names_the_file_and_not_its_draft(tmp_path: Path) -> None:
    """Where even the draft cannot be made, the file that was to be written is named."""
    with pytest.raises(FileNotFoundError) as refused:
        write_whole(tmp_path / "none" / "assignment.json", b"new", tmp_path)
    assert refused.value.filename == str(tmp_path / "none" / "assignment.json")


def test_only_own_drafts_are_removed(tmp_path: Path) -> None:
    """What a killed attempt left goes; a file that somebody named after the year, or with a word, stays."""
    path = tmp_path / "readings.csv"
    names = [".readings.csv.2024", ".readings.csv.fitmatch-draft-old", ".readings.csv.fitmatch-draft-77"]
    for name in names:
        (tmp_path / name).write_bytes(b"mine")
    remove_drafts(path)
    assert sorted(p.name for p in tmp_path.iterdir()) == names[:2]


def test_a_draft_never_goes_through_what_is_there(tmp_path: Path) -> None:
    """Links, files and folders that somebody put where the draft would be are left as they are."""
    path, other = tmp_path / "a" / "assignment.json", tmp_path / "other"
    path.parent.mkdir()
    other.write_bytes(b"kept")
    draft = path.with_name(f".assignment.json.fitmatch-draft-{os.getpid()}")
    draft.symlink_to(other)
    draft.with_name(f"{draft.name}1").mkdir()
    draft.with_name(f"{draft.name}2").symlink_to(tmp_path / "none")
    write_whole(path, b"new", path.parent)
    assert path.read_bytes() == b"new" and other.read_bytes() == b"kept" and not (tmp_path / "none").exists()
    assert draft.is_symlink() and len(list(path.parent.iterdir())) == 4


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o666])
def test_owner_and_permissions_stay(tmp_path: Path, mode: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The new file has those of the old one, and at no time may be read by more people than the old one."""
    path = tmp_path / "assignment.json"
    path.write_bytes(b"old")
    if os.geteuid() == 0:
        os.chown(path, 12_345, 23_456)
    path.chmod(mode)
    before, seen, fsync = path.stat(), [], os.fsync

    def look(handle: int) -> None:
        seen.append(os.fstat(handle).st_mode & 0o777)
        fsync(handle)

    monkeypatch.setattr("os.fsync", look)
    write_whole(path, b"new", tmp_path)
    after = path.stat()
    assert (after.st_mode, after.st_uid, after.st_gid) == (before.st_mode, before.st_uid, before.st_gid)
    assert path.read_bytes() == b"new" and seen[0] == mode


def test_only_files_are_replaced(tmp_path: Path) -> None:
    """A pipe or a folder in a file's place is refused at once, and stays."""
    os.mkfifo(tmp_path / "pipe.json")
    (tmp_path / "folder.json").mkdir()
    for name, what in (("pipe.json", "a pipe, a device"), ("folder.json", "a folder")):
        with pytest.raises(OSError, match=f"not a file but {what}"):
            write_whole(tmp_path / name, b"new", tmp_path)
        with pytest.raises(OSError, match=f"not a file but {what}"):
            write_all({tmp_path / name: b"new"})
    assert (tmp_path / "pipe.json").is_fifo() and (tmp_path / "folder.json").is_dir()
