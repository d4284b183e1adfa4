"""From readings to sizes, form and uncertainty, as a metrologist would."""

from os import PathLike

from fitmatch.gauging.sizes import Sizes
from fitmatch.intake import read_folder
from fitmatch.parts import Job

__all__ = ["read_job"]


def read_job(folder: str | PathLike[str], log: bytes | None = None) -> Job:
    """Read and check a whole job folder; raises InputError with every mistake at once, in reading order.

    `log` are bytes to read in place of those of the long file of readings, which need not be there.
    """
    return read_folder(folder, Sizes, log)
