"""What is learned from assembled readings, as new text for job.toml and the saved plan; nothing is written here."""

from typing import NamedTuple

from fitmatch.gauging.assembled import Comparison, Learned
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.quantities import GAUGE_ERROR, SEATING
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.intake.reading import read_job
from fitmatch.intake.saved.saved_plan import read_saved_plan, with_digest
from fitmatch.intake.writing.rewriting import CannotRewrite, lines_to_add, with_seatings
from fitmatch.lengths import exact, parse_length, with_unit
from fitmatch.problems import InputError
from fitmatch.records.job import Job


class Lesson(NamedTuple):
    """What is to be written: `kinds` are those that learn, `job_toml` is the file's new text. `plan`: the saved plan
    with the digest of the new inputs; None if there is none for the present inputs."""

    kinds: tuple[str, ...]
    job_toml: str
    plan: str | None = None


def lesson(comparison: Comparison) -> Lesson | None:
    """What is to be written so that job.toml has everything learned from the readings; None if it already has.

    Raises InputError if job.toml does not allow it.
    """
    job = comparison.job
    kinds = tuple(kind for kind in comparison.learned if not comparison.written(kind))
    if not kinds:
        return None
    findings = Findings()
    old = read_bytes(job.folder, JOB_FILE, findings)
    own = job.shelved is None  # otherwise it may have no shell file, and lock shells that are on the shelf alone
    if (
        old is None
        or read_job(job.folder, job_toml=old, needs_shells=own, locks_elsewhere=not own).digest != job.digest
    ):
        findings.report(
            "cannot-write", ("a file of the job changed while it was being read; run the command again"), JOB_FILE
        )
        raise InputError(findings.problems)
    old_text = text = old.decode()
    for kind in kinds:
        text = _with_kind(text, job, kind, comparison.learned[kind], findings)
    if findings.problems:
        raise InputError(findings.problems)
    after = read_job(job.folder, job_toml=text.encode(), needs_shells=own, locks_elsewhere=not own)
    taught = {kind: comparison.learned[kind].into(job.fits[kind]) for kind in kinds}
    assert after.fits == {**job.fits, **taught}, "job.toml was rewritten to mean something else"
    assert text != old_text
    plan = read_saved_plan(job.folder, Findings())
    renewed = with_digest(plan, after.digest) if plan is not None and plan.is_of(job.digest) else None
    return Lesson(kinds, text, None if renewed is None else renewed.decode())


def _with_kind(text: str, job: Job, kind: str, learned: Learned, findings: Findings) -> str:
    figures = (_figure(learned.seating_nm, job.unit), _figure(learned.u_nm, job.unit), str(learned.positions))
    file = JobFile(text.removeprefix("\ufeff"), findings)
    if not SEATING.holds(learned.seating_nm) or not GAUGE_ERROR.holds(learned.u_nm):
        what = f"{with_unit(learned.seating_nm, job.unit)} is not a possible seating, which is {SEATING.bounds}"
        file.report("cannot-write", f"{what}; check how the gauges were set", "fit", kind)
        return text
    try:
        return with_seatings(text, {kind: figures})
    except CannotRewrite as why:
        todo = lines_to_add(kind, figures)
        file.report("cannot-write", f"--learn cannot write here, as {why}; {todo} by hand", "fit", kind)
        return text


def _figure(nm: int, unit: str) -> str:
    """A length as a TOML value: a number in the job's unit or, if no short one is exact, in micrometres."""
    text = exact(nm, unit)
    return text if parse_length(text, unit, inch_job=unit == "in")[1] else f'"{with_unit(nm, "um")}"'
