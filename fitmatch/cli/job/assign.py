"""`fitmatch assign`: read one job, solve it, print the answer, and keep it if asked to."""

import gc
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.exit_codes import INTERRUPTED
from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.saving import SAVED_AS
from fitmatch.cli.shared.saving import save as save_plan
from fitmatch.cli.shared.solving import STARTED, read, shelf_options, stop_after, stopped_by_ctrl_c, time_limit
from fitmatch.cli.shared.workbooks import as_workbook, check_workbook, write_workbook
from fitmatch.stages import now
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.records.answers.plans import Plan
    from fitmatch.records.job import Job
    from fitmatch.records.pools import Pool

_MOST_ALTERNATIVES: Final = 20
# What follows a search that was stopped takes so many times as long as reading the job (measured): a time limit leaves
# room for it, but for what may be late.
_AFTERWARDS: Final = 1.5
_MAY_BE_LATE_S: Final = 0.5


class _Assign(click.Command):
    """`--csv leftovers` is two words of one option, and `--csv JOB` is not."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        pairs = pairwise(["", *args])
        words = [f"--csv-{word}" if (before, word) == ("--csv", "leftovers") else word for before, word in pairs]
        words = ["--csv-leftovers" if word == "--csv=leftovers" else word for word in words]
        return super().parse_args(ctx, words)


@click.command("assign", cls=_Assign)
@click.argument("jobs", metavar="JOB...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--strategy",
    type=click.Choice(["target", "even", "keep-sets"]),
    default="target",
    show_default=True,
    help="target: nearest to target everywhere; even: the same clearance everywhere; keep-sets: from few boxes.",
)
@click.option(
    "--slack",
    metavar="LENGTH",
    help="How much worse the strategy's first figure may become to improve the later ones, in the job's "
    "unit or with its "
    "own.  [default: 0; for keep-sets and --prefer 0.0001 in]",
)
@click.option(
    "--priority",
    type=click.Choice(["together", "in-order"]),
    help="With several JOBs. together: the best for all; in-order: for the first, then the second, and so on.  "
    "[default: together]",
)
@click.option(
    "--alternatives",
    metavar="N",
    type=options.Whole(1, _MOST_ALTERNATIVES),
    help="Also show the N next best plans of each kind, each with figures worse than the one before.",
)
@click.option(
    "--explain",
    metavar="POSITION",
    help="Also show the sum and limits of this position, JOB/POSITION with several JOBs, and the best plan in which "
    "its walls total something else.",
)
@click.option(
    "--with",
    "insist",
    nargs=2,
    metavar="UPPER LOWER",
    help="With --explain: what changes if these two shells, NAME or BOX/NAME, must go there.",
)
@click.option(
    "--full", is_flag=True, help="Below the one screen all that it rests on: sums, limits, corrections, leftovers."
)
@shelf_options
@click.option(
    "--prefer",
    type=click.Choice(["singles"]),
    help="With --from-shelf: use as many single shells as a worst deviation within the slack allows.",
)
@options.as_json
@click.option(
    "--csv", "as_csv", is_flag=True, help="Print one CSV row per position; with --csv leftovers, per shell left over."
)
@click.option("--csv-leftovers", is_flag=True, hidden=True, help="The same as --csv leftovers.")
@options.unit
@click.option("--save", is_flag=True, help=f"Also write the JSON document, in the job's unit, to JOB/{SAVED_AS}.")
@as_workbook
@click.option(
    "--force",
    is_flag=True,
    help="With --save, even if rows of assembled.csv with blank shells refer to the saved plan: that is kept as "
    "JOB/assignment-1.json and so on, and `fitmatch assembled` then asks for the shells of these rows; and even if "
    "another job shares the saved plan: what that one has is then VOID. With --xlsx: replace the file if it is there.",
)
@time_limit
@options.quiet
@click.option(
    "--debug",
    is_flag=True,
    help="Report every step of the proof and how long it takes, and show the traceback if fitmatch itself fails.",
)
def command(
    jobs: tuple[Path, ...],
    strategy: str,
    slack: str | None,
    priority: str | None,
    alternatives: int | None,
    explain: str | None,
    insist: tuple[str, str] | None,
    full: bool,
    from_shelf: bool,
    db: str | None,
    prefer: str | None,
    as_json: bool,
    as_csv: bool,
    csv_leftovers: bool,
    unit: str | None,
    save: bool,
    xlsx: Path | None,
    force: bool,
    seconds: float | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Say which shell goes where: the best choice, proven.

    JOB is a job folder as `fitmatch new` makes it. Several JOBs share the shells of all.

    \b
    Example:
      fitmatch assign my-build
      fitmatch assign my-build --full
      fitmatch assign my-build --strategy keep-sets --slack "0.5 tenths" --save
      fitmatch assign my-build --alternatives 3
      fitmatch assign my-build --explain R2 --with box-1/03 box-2/07
      fitmatch assign my-build --json --unit mm
      fitmatch assign my-build --csv leftovers
      fitmatch assign my-build --xlsx plan.xlsx
      fitmatch assign first-engine second-engine --priority in-order
    """
    as_csv = as_csv or csv_leftovers
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    if full and (as_json or as_csv):
        raise click.UsageError("--full lengthens the report; --json holds everything without it")
    if priority is not None and len(jobs) == 1:
        raise click.UsageError("--priority ranks several jobs, but only one was given; leave it out")
    if as_csv and (alternatives or explain is not None):
        extra = "--alternatives" if alternatives else "--explain"
        raise click.UsageError(f"--csv has one row for each position and no place for {extra}; use --json")
    if insist and explain is None:
        raise click.UsageError("--with needs to know the position; add --explain POSITION")
    if force and not save and xlsx is None:
        raise click.UsageError("--force replaces a saved plan; add --save")
    if prefer is not None and (not from_shelf or strategy != "target"):
        raise click.UsageError("--prefer is for shells of the shelf and the strategy `target`; add --from-shelf")
    if prefer is not None and len(jobs) > 1:
        raise click.UsageError("--prefer takes one job at a time; leave it out")
    check_workbook(xlsx, jobs, force=force)
    gc.disable()  # millions of records and no cycles among them: looking for cycles takes a sixth of the time
    click.get_current_context().call_on_close(gc.enable)
    notes = Notes(quiet=quiet)
    began = time.monotonic()
    task = read(jobs, notes, from_shelf=from_shelf, db=db)
    unit = unit or task.jobs[0].unit
    slack_nm = None
    if slack is not None:
        slack_nm, warning = _slack(slack, task.jobs[0])
        notes.warn(*warning)
        task = _warned(task, warning)
    if strategy == "even":
        _check_limits(task)
    read_at = time.monotonic()

    with notes.progress("proving which shell goes where", "; Ctrl-C prints the best found so far"):
        from fitmatch.fit.assign import assign
        from fitmatch.problems import NotPossible

        loaded_at = time.monotonic()
        kept_back = max(0.0, _AFTERWARDS * (read_at - began) - _MAY_BE_LATE_S)
        stop = stop_after(seconds, kept_back)
        with stopped_by_ctrl_c(stop), _steps_told(debug):
            try:
                plan = assign(
                    task,
                    strategy,
                    slack_nm=slack_nm,
                    stop=stop,
                    priority=priority or "together",
                    alternatives=alternatives or 0,
                    explain=explain,
                    insist=insist,
                    prefer=prefer,
                )
            except NotPossible as error:
                from fitmatch.report.words.refusals import refused

                text = refused(error.why, unit)
                raise click.BadParameter(text, param_hint="--with" if insist else "--explain") from error
            solved_at = time.monotonic()
            now("writing the answer")
            answer = _answer(plan, unit, full=full, as_json=as_json, as_csv=as_csv, leftovers=csv_leftovers)
            saved = save_plan(plan, force=force, db=db) if save else None
            if xlsx is not None:
                from fitmatch.report.data.workbooks import plan_workbook

                write_workbook(xlsx, lambda: plan_workbook(plan, unit), notes)

    if debug:
        notes.say(f"reading {read_at - STARTED:.3f} s, loading the solver {loaded_at - read_at:.3f} s")
        for kind, proof in plan.proofs.items():
            notes.say(f"{kind}: proven {proof.proven}, level {proof.level}, bound {proof.bound}")
    if saved is not None:
        for path in saved.kept:
            notes.say(
                f"the previous plan is kept as {printable(path)}; write the shells that were fitted into assembled.csv"
            )
        for path in (path for path in saved.files if path not in saved.kept):
            notes.say(f"saved to {printable(path)}")
        for name in saved.voided:
            notes.warn(f"{printable(name)} shared the previous plan and still has it, which is VOID now")
    _tell_proof(plan, solved_at - loaded_at, notes)
    if as_json or as_csv:
        print_data(answer)
    else:
        from fitmatch.report.screen.attention import NOT_LOOKED_THROUGH
        from fitmatch.report.shared.states import DANGER, NOT_TO_BE_RUN

        print_report(answer, in_red=(DANGER, NOT_TO_BE_RUN, "IN DOUBT", NOT_LOOKED_THROUGH, "NOT PROVEN"))
    if stop.requested and _cut_short(plan):
        return INTERRUPTED
    return 1 if plan.needs_attention else 0


def _warned(task: "Job | Pool", warnings: tuple[str, ...]) -> "Job | Pool":
    """The same with further warnings, so that they stand in every form of the answer."""
    from fitmatch.records.job import Job

    if isinstance(task, Job):
        return replace(task, warnings=(*task.warnings, *warnings))
    first = replace(task.jobs[0], warnings=(*task.jobs[0].warnings, *warnings))
    return replace(task, jobs=(first, *task.jobs[1:]))


def _slack(text: str, job: "Job") -> tuple[int, tuple[str, ...]]:
    """In nanometres, and a warning where it had to be rounded."""
    from fitmatch.intake.common.quantities import SLACK, CellError, LengthReader

    reader = LengthReader(SLACK, job.unit, inch_job=job.unit == "in")
    try:
        nm = reader.read(text)
    except CellError as error:
        raise click.BadParameter(str(error), param_hint="--slack") from error
    return nm, (f"--slack: `{text}` is finer than a nanometre and was rounded",) if reader.finer else ()


def _check_limits(task: "Job | Pool") -> None:
    from fitmatch.records.keys import full_name

    without = [full_name(p.key) for job in task.jobs for p in job.positions if p.min_nm is None or p.max_nm is None]
    if without:
        raise click.UsageError(
            f"--strategy even needs min and max at every position, since it uses no target; {', '.join(without)} "
            "lack them"
        )


@contextmanager
def _steps_told(debug: bool) -> Iterator[None]:
    """With `debug`, what the solver logs goes to standard error as it happens."""
    if not debug:
        yield
        return
    import logging

    logger, handler = logging.getLogger("fitmatch.fit.assign"), logging.StreamHandler()
    logger.addHandler(handler)
    logger.setLevel(logging.DEBUG)
    try:
        yield
    finally:
        logger.setLevel(logging.NOTSET)
        logger.removeHandler(handler)


def _answer(plan: "Plan", unit: str, *, full: bool, as_json: bool, as_csv: bool, leftovers: bool) -> str:
    if as_json:
        from fitmatch.report.data.document import plan_document

        return plan_document(plan, unit)
    if as_csv:
        from fitmatch.report.data.rows import leftover_rows, plan_rows

        return leftover_rows(plan, unit) if leftovers else plan_rows(plan, unit)
    from fitmatch.report.text.report import plan_text

    with fitted():
        return plan_text(plan, unit, full=full)


def _cut_short(plan: "Plan") -> bool:
    """Whether something that was requested is not proven or was not found."""
    return not (
        plan.proven
        and all(found.complete for found in plan.alternatives.values())
        and not (plan.explanation is not None and plan.explanation.stopped)
    )


def _tell_proof(plan: "Plan", seconds: float, notes: Notes) -> None:
    total = len(plan.proofs)
    proven = sum(proof.proven for proof in plan.proofs.values())
    kinds = "1 kind" if total == 1 else f"{total} kinds"
    notes.say(
        f"{kinds} proven in {seconds:.2f} s" if proven == total else f"{proven} of {kinds} proven in {seconds:.2f} s"
    )
