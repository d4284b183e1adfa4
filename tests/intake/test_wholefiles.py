"""Writing a file, or several, whole or not at all."""

from pathlib import Path

import pytest

from fitmatch.intake.writing.whole_files import write_all, write_whole


def test_the_old_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    """The file has the new text in UTF-8 with line feeds, and there is no draft beside it."""
    path = tmp_path / "assignment.json"
    path.write_text("old", encoding="utf-8")
    write_whole(path, "neü\n".encode())
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
        write_whole(path, b"new")
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
