"""fitmatch: which bearing shell goes where.

    job = fitmatch.read_job("my-build")          # raises fitmatch.InputError carrying every mistake
    plan = fitmatch.assign(job, strategy="target")
    plan.to_frame()                              # one row per position (pandas)

    pool = fitmatch.read_jobs(["first", "second"])  # jobs that share their shells
    plan = fitmatch.assign(pool)                 # each job's part is in plan.plans

    fitmatch.check(job).to_frame()               # one row per reading in doubt

    fitmatch.compare(job).to_frame()             # strategies and baselines side by side
    fitmatch.advise(job).to_frame()              # what would help each position outside its limits
    fitmatch.boxes(job, budget=3).to_frame()     # what more boxes would do, before any is opened

    job = fitmatch.read_job("my-build", assembled=True)
    fitmatch.assembled(job).to_frame()           # one row per reading with the shells in

    fitmatch.film(bearings).to_frame()           # the steady oil film of each `fitmatch.Bearing`
    fitmatch.range(job).to_frame()               # what its drawing limits allow, by kind

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
    from fitmatch.records.parts import Band as Band
    from fitmatch.records.study.bearings import Bearing as Bearing
    from fitmatch.records.study.oils import Oil as Oil
    from fitmatch.records.study.stacks import Stack as Stack
    from fitmatch.report.data.film_frames import film as film
    from fitmatch.study.advice.advise import advise as advise
    from fitmatch.study.boxes.boxes import boxes as boxes
    from fitmatch.study.comparison.compare import compare as compare
    from fitmatch.study.drawings.ranges import range as range  # noqa: A004 (named like its command)

# Without `range`: `from fitmatch import *` must not hide the built-in one.
__all__ = [
    "Band",
    "Bearing",
    "InputError",
    "Kernel",
    "Oil",
    "Stack",
    "__version__",
    "advise",
    "assembled",
    "assign",
    "boxes",
    "check",
    "compare",
    "film",
    "read_job",
    "read_jobs",
]

_HOME = {
    "Band": "fitmatch.records.parts",
    "Bearing": "fitmatch.records.study.bearings",
    "Oil": "fitmatch.records.study.oils",
    "InputError": "fitmatch.problems",
    "Kernel": "fitmatch.fit.answer.kernel",
    "advise": "fitmatch.study.advice.advise",
    "assembled": "fitmatch.gauging.assembled",
    "assign": "fitmatch.fit.assign",
    "boxes": "fitmatch.study.boxes.boxes",
    "check": "fitmatch.gauging.doubts.check",
    "compare": "fitmatch.study.comparison.compare",
    "Stack": "fitmatch.records.study.stacks",
    "film": "fitmatch.report.data.film_frames",
    "range": "fitmatch.study.drawings.ranges",
    "read_job": "fitmatch.intake.reading",
    "read_jobs": "fitmatch.intake.pooling",
}


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'fitmatch' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)
