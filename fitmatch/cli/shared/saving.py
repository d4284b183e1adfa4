"""Keeping a plan in its job folders, as `assign --save` and `sheet` do."""

from typing import TYPE_CHECKING, Final

import click

from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.intake.writing.saving import Saving
    from fitmatch.records.answers.plans import Plan

SAVED_AS: Final = "assignment.json"


def save(plan: "Plan", *, force: bool = False, db: str | None = None) -> "Saving":
    """Write the document into every job folder, in the unit of its job, or into none; returns what was written.
    `db`: the shelf, if it was named."""
    from fitmatch.intake.writing.saving import to_save
    from fitmatch.intake.writing.whole_files import write_all
    from fitmatch.report.data.document import plan_document

    documents = [(one.job, plan_document(plan, one.job.unit).encode()) for one in plan.plans]
    saving = to_save(documents, force=force, db=db)
    try:
        write_all(saving.files)
    except OSError as error:
        text = f"{printable(error.filename)} cannot be written: {error.strerror}; nothing was saved"
        raise click.ClickException(text) from error
    return saving
