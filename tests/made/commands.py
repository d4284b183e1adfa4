"""Ways to run the command in this process."""

import io
import subprocess
from collections.abc import Mapping
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from fitmatch.cli.main import main


class Ran:
    """Exit status and the two outputs of one run in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *args: object) -> None:
        with pytest.raises(SystemExit) as left:
            main([str(a) for a in args])
        self.status = left.value.code
        self.out, self.err = capsys.readouterr()


def ran_here(
    *args: object, folder: Path | None = None, environment: Mapping[str, str | None] | None = None, both: bool = False
) -> subprocess.CompletedProcess[bytes]:
    """What a process of its own would give, in a fifth of its time: in this folder, with these variables or without
    them. `both`: standard error goes where standard output does, in the order of a terminal."""
    out = io.TextIOWrapper(io.BytesIO(), "utf-8", newline="", write_through=True)
    err = out if both else io.TextIOWrapper(io.BytesIO(), "utf-8", newline="", write_through=True)
    with ExitStack() as stack:
        stack.enter_context(redirect_stdout(out))
        stack.enter_context(redirect_stderr(err))
        if folder is not None:
            stack.enter_context(chdir(folder))
        patch = stack.enter_context(pytest.MonkeyPatch.context())
        for name, value in (environment or {}).items():
            if value is None:
                patch.delenv(name, raising=False)
            else:
                patch.setenv(name, value)
        with pytest.raises(SystemExit) as left:
            main([str(a) for a in args])
    status = left.value.code
    assert isinstance(status, int)
    told = [stream.buffer.getvalue() for stream in (out, err)]  # type: ignore[attr-defined]
    return subprocess.CompletedProcess(list(map(str, args)), status, told[0], None if both else told[1])
