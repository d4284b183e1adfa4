"""Write a file whole or not at all."""

import os
from contextlib import suppress
from pathlib import Path
from stat import S_IMODE


def write_whole(path: Path, text: str) -> None:
    """Replace `path` by `text` in UTF-8, its rights kept. A reader, or a cut in the power, finds the old file or the
    new one. Where `path` is a link, what it leads to is replaced."""
    path = path.resolve()
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with draft.open("wb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            draft.chmod(S_IMODE(path.stat().st_mode))
        draft.replace(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
