"""fitmatch: which bearing shell goes where.

    job = fitmatch.read_job("my-build")          # raises fitmatch.InputError carrying every mistake
    plan = fitmatch.assign(job, strategy="target")
    plan.to_frame()                              # one row per position (pandas)

    pool = fitmatch.read_jobs(["first", "second"])  # jobs that share their shells
    plan = fitmatch.assign(pool)                 # what each is given in plan.plans

    fitmatch.check(job).to_frame()               # one row per reading in doubt

    job = fitmatch.read_job("my-build", assembled=True)
    fitmatch.assembled(job).to_frame()           # one row per reading with the shells in

    kernel = fitmatch.Kernel(job, "rod")         # one kind, solved as often as one likes
    kernel.solve(target_nm=50_800).figures

Names are loaded on first use, so that `fitmatch --help` starts without the solver.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitmatch.fit import assign as assign
    from fitmatch.fit.kernel import Kernel as Kernel
    from fitmatch.gauging import read_job as read_job
    from fitmatch.gauging import read_jobs as read_jobs
    from fitmatch.gauging.doubts import check as check
    from fitmatch.gauging.seating import assembled as assembled
    from fitmatch.problems import InputError as InputError

__version__ = "0.1.0"
__all__ = ["InputError", "Kernel", "__version__", "assembled", "assign", "check", "read_job", "read_jobs"]

_HOME = {
    "Kernel": "fitmatch.fit.kernel",
    "assembled": "fitmatch.gauging.seating",
    "assign": "fitmatch.fit",
    "check": "fitmatch.gauging.doubts",
    "read_job": "fitmatch.gauging",
    "read_jobs": "fitmatch.gauging",
    "InputError": "fitmatch.problems",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'fitmatch' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
