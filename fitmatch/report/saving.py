"""Write a file, or several, whole or not at all."""

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path


def write_all(texts: Mapping[Path, str]) -> None:
    """Write every file whole, or leave all as they were."""
    before = {path: path.read_bytes() if path.exists() else None for path in texts}
    written: list[Path] = []
    try:
        for path, text in texts.items():
            write_whole(path, text)
            written.append(path)
    except BaseException:
        for path in written:
            old = before[path]
            if old is None:
                path.unlink()
            else:
                _write(path, old)
        raise


def write_whole(path: Path, text: str) -> None:
    """Replace `path` by `text` in UTF-8. A reader, or a cut in the power, finds the old file or the new one."""
    _write(path, text.encode())


def _write(path: Path, data: bytes) -> None:
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with draft.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
