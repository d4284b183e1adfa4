"""A real server of PostgreSQL for tests, run by a user without privileges in a folder of its own."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest


def _programs() -> Path:
    """Where `initdb` and `pg_ctl` are: Debian keeps them out of PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    known = shutil.which("initdb")
    if not found and known is None:
        pytest.skip("PostgreSQL is not installed; .ci/run installs it")
    return found[-1].parent if found else Path(str(known)).parent


@contextmanager
def server() -> Iterator[str]:
    """The URL of a database on a running server."""
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="fitmatch-pg-"))
    user: dict[str, Any] = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        nobody = pwd.getpwnam("nobody")
        os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        user = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}

    def run(*args: str) -> None:
        log = (folder / "log").open("a")
        with log:
            subprocess.run(args, check=True, cwd=folder, stdout=log, stderr=log, env={"LC_ALL": "C"}, **user)

    (folder / "log").touch()
    if user:
        os.chown(folder / "log", user["user"], user["group"])
    data = str(folder / "data")
    run(str(programs / "initdb"), "-D", data, "-U", "fitmatch", "-A", "trust", "-E", "UTF8", "--no-sync")
    options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
    run(str(programs / "pg_ctl"), "-D", data, "-w", "-o", options, "start")
    try:
        yield f"postgresql://fitmatch@/postgres?host={folder}"
    finally:
        run(str(programs / "pg_ctl"), "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)
