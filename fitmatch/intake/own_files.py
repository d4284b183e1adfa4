"""Which files belong to a job itself, so that no answer is ever written over one of them."""

from collections.abc import Iterator
from pathlib import Path

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.key_rows import JOB_FILE
from fitmatch.intake.job_toml.settings import read_settings
from fitmatch.intake.job_toml.sources import named_files, read_bytes, with_positions
from fitmatch.intake.saved.saved_plan import FILE, kept_plans


def is_own_file(file: Path, folder: Path) -> bool:
    """Whether a path leads to a file that the job in this folder is read from, or to one of its saved plans."""
    return any(is_same(file, path) for path in _own_files(folder))


def _own_files(folder: Path) -> Iterator[Path]:
    findings = Findings()  # what is wrong with the job is told by whoever reads it
    yield from (folder / name for name in (JOB_FILE.name, FILE, *kept_plans(folder)))
    settings = read_settings(read_bytes(folder, JOB_FILE, findings), findings)
    named = list(named_files(folder, settings))
    if (positions := with_positions(folder, settings).positions) is not None:
        named.append(positions)
    yield from (folder / name for name in named)


def is_same(one: Path, other: Path) -> bool:
    """Whether both lead to one file, whether it is there or not; by two names also on a system that does not tell
    capitals from small letters."""
    try:
        return one.resolve() == other.resolve() or (one.exists() and other.exists() and one.samefile(other))
    except (OSError, RuntimeError, ValueError):  # a path that cannot be a file's, or leads round in a circle
        return False
