"""From readings to sizes, form and uncertainty, as a metrologist would."""

from os import PathLike

from fitmatch.gauging.sizes import Sizes
from fitmatch.intake import read_folder
from fitmatch.parts import Job

__all__ = ["read_job"]


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
