"""fitmatch: which bearing shell goes where.

    job = fitmatch.read_job("my-build")          # raises fitmatch.InputError carrying every mistake
    plan = fitmatch.assign(job, strategy="target")
    plan.to_frame()                              # one row per position (pandas)

    pool = fitmatch.read_jobs(["first", "second"])  # jobs that share their shells
    plan = fitmatch.assign(pool)                 # each job's part is in plan.plans

    fitmatch.check(job).to_frame()               # one row per reading in doubt

    job = fitmatch.read_job("my-build", assembled=True)
    fitmatch.assembled(job).to_frame()           # one row per reading with the shells in

    kernel = fitmatch.Kernel(job, "rod")         # one kind, solved as often as you like
    kernel.solve(target_nm=50_800).figures

Names are loaded on first use, so that `fitmatch --help` starts without the solver. Nothing else is imported here, as
this runs before the command can say in one line that Ctrl-C stopped it.
"""

from fitmatch.version import __version__ as __version__

TYPE_CHECKING = False  # type checkers take it for the one of `typing`

if TYPE_CHECKING:
    from fitmatch.fit.answer.kernel import Kernel as Kernel
    from fitmatch.fit.assign import assign as assign
    from fitmatch.gauging.assembled import assembled as assembled
    from fitmatch.gauging.doubts.check import check as check
    from fitmatch.intake.pooling import read_jobs as read_jobs
    from fitmatch.intake.reading import read_job as read_job
    from fitmatch.problems import InputError as InputError

__all__ = ["InputError", "Kernel", "__version__", "assembled", "assign", "check", "read_job", "read_jobs"]

_HOME = {
    "InputError": "fitmatch.problems",
    "Kernel": "fitmatch.fit.answer.kernel",
    "assembled": "fitmatch.gauging.assembled",
    "assign": "fitmatch.fit.assign",
    "check": "fitmatch.gauging.doubts.check",
    "read_job": "fitmatch.intake.reading",
    "read_jobs": "fitmatch.intake.pooling",
}


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'fitmatch' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)
