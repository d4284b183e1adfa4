"""Keeping a plan in its job folders, as `assign --save` and `sheet` do."""

from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.shared.solving import refusals_told
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.intake.writing.saving import Saving
    from fitmatch.records.answers.plans import Plan

SAVED_AS: Final = "assignment.json"


def save(plan: "Plan", *, force: bool = False, db: str | None = None) -> "Saving":
    """Write the document into every job folder, in the unit of its job, or into none; returns what was written.
    `db`: the shelf, if it was named."""
    from fitmatch.intake.common.findings import Findings
    from fitmatch.intake.saved.saved_plan import read_saved_plan
    from fitmatch.intake.writing.saving import to_save
    from fitmatch.intake.writing.whole_files import write_all
    from fitmatch.report.data.document import plan_document

    documents = [(one.job, plan_document(plan, one.job.unit).encode()) for one in plan.plans]
    folders = [one.job.folder for one in plan.plans if one.job.shelved is None]
    if len(folders) == len(plan.plans) and not any(
        (p := read_saved_plan(folder, Findings())) and p.readings is not None for folder in folders
    ):
        saving = to_save(documents, force=force)
    else:
        from fitmatch.shelf.jobs.holders import HeldFor
        from fitmatch.shelf.store.opening import open_shelf

        with refusals_told(), open_shelf(db, make=False).reading() as connection:
            saving = to_save(documents, force=force, db=db, holdings=HeldFor(connection))
    try:
        write_all(saving.files)
    except OSError as error:
        text = f"{printable(error.filename)} cannot be written: {error.strerror}; nothing was saved"
        raise click.ClickException(text) from error
    return saving
