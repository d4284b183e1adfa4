"""From readings to sizes, form and uncertainty, as a metrologist would."""

from collections.abc import Sequence
from os import PathLike
from typing import TYPE_CHECKING

from fitmatch.gauging.sizes import Sizes
from fitmatch.intake import read_folder
from fitmatch.parts import Job

if TYPE_CHECKING:
    from fitmatch.pools import Pool

__all__ = ["read_job", "read_jobs"]


def read_job(
    folder: str | PathLike[str],
    *,
    assembled: bool = False,
    job_toml: bytes | None = None,
    log: bytes | None = None,
) -> Job:
    """Read and check a whole job folder; raises InputError with every mistake at once, in reading order.

    `assembled`: with the readings taken with the shells in. `job_toml` is read in place of the file's own bytes, `log`
    in place of those of the long file of readings, which need not be there.
    """
    return read_folder(folder, Sizes, assembled=assembled, job_toml=job_toml, log=log)


def read_jobs(folders: Sequence[str | PathLike[str]]) -> "Pool":
    """Read and check several job folders that share their shells; raises InputError with every mistake in any of them,
    also where two rows tell of one shell and do not agree."""
    from fitmatch.intake.pooling import read_folders

    return read_folders(folders, Sizes)
