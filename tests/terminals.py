"""Real terminals for tests: a bare one, and tmux where it is installed (CI installs it). Both run a shell command."""

import os
import pty
import select
import shlex
import shutil
import subprocess
import time
from pathlib import Path
from typing import Protocol

PATIENCE_S = 60.0


class Terminal(Protocol):
    def type(self, keys: bytes) -> None:
        """Send keys."""

    def shown(self) -> str:
        """All text so far."""

    def close(self) -> None:
        """End whatever runs in it."""


class Bare:
    """A terminal of the system with nothing around it: what is shown are the bytes that were sent to it."""

    def __init__(self, command: str, environment: dict[str, str], _folder: Path) -> None:
        self._pid, self._handle = pty.fork()
        if self._pid == 0:
            os.execve("/bin/sh", ["sh", "-c", command], environment)
        self._shown = b""

    def type(self, keys: bytes) -> None:
        os.write(self._handle, keys)

    def shown(self) -> str:
        while select.select([self._handle], [], [], 0.02)[0]:
            try:
                chunk = os.read(self._handle, 65_536)
            except OSError:  # it has ended
                break
            if not chunk:
                break
            self._shown += chunk
        return self._shown.decode(errors="replace").replace("\r\n", "\n")

    def close(self) -> None:
        os.close(self._handle)
        os.waitpid(self._pid, 0)


class Tmux:
    """A window of tmux on a server of its own: what is shown is what a person sees, and has scrolled by."""

    def __init__(self, command: str, environment: dict[str, str], folder: Path) -> None:
        self._socket = str(folder / "tmux")
        held = f"{command}; read -r _"
        kept = {name: environment[name] for name in ("PATH", "PYTHONPATH", "PYTHONIOENCODING")} | {"LC_ALL": "C.UTF-8"}
        line = "env " + " ".join(f"{name}={shlex.quote(text)}" for name, text in kept.items())
        self._tmux("new-session", "-d", "-x", "120", "-y", "40", f"{line} sh -c {shlex.quote(held)}")

    def _tmux(self, *words: str) -> str:
        ran = subprocess.run(
            ["tmux", "-S", self._socket, "-f", "/dev/null", *words],
            capture_output=True, encoding="utf-8", timeout=PATIENCE_S, check=True,
        )  # fmt: skip
        return ran.stdout

    def type(self, keys: bytes) -> None:
        self._tmux("send-keys", "-H", *(f"{key:02x}" for key in keys))

    def shown(self) -> str:
        return self._tmux("capture-pane", "-p", "-J", "-S", "-")

    def close(self) -> None:
        self._tmux("kill-server")


def kinds() -> list[type[Bare] | type[Tmux]]:
    """The terminals to test in; where CI runs, tmux must be there."""
    return [Bare, Tmux] if shutil.which("tmux") or os.environ.get("CI") else [Bare]


def wait_for(terminal: Terminal, text: str, times: int = 1) -> str:
    """What is shown once a text is, so many times."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        shown = terminal.shown()
        if shown.count(text) >= times:
            return shown
        time.sleep(0.02)
    raise AssertionError(f"{text!r} does not come; shown is:\n{terminal.shown()}")
