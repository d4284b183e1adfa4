"""Jobs that are answered separately side by side: a table for each kind."""

from collections.abc import Iterator

from fitmatch.report.comparison.plans import sure_and_left
from fitmatch.report.comparison.rows import alike, figures, jobs_told
from fitmatch.report.shared.layout import Column, clean, paragraph, table
from fitmatch.report.shared.scale import Scale
from fitmatch.study.comparison.compared import Compared, PlanRow


def side_by_side(compared: Compared, scale: Scale) -> Iterator[list[str]]:
    """Nothing unless jobs are answered separately; jobs that are alike in a kind share a row."""
    together = alike(compared)
    for kind, rows in kinds_of_jobs(compared).items():
        yield [
            *paragraph(f"{clean(kind).upper()}, JOBS SIDE BY SIDE, by strategy {compared.strategy}:"),
            *table(
                rows,
                Column("job", lambda row: jobs_told(together[row.found.job, row.found.kind]), "left", wraps=True),
                *figures(rows, scale, mean=True),
                *sure_and_left(rows),
            ),
        ]


def kinds_of_jobs(compared: Compared) -> dict[str, list[PlanRow]]:
    """By kind the row of each job, where jobs are answered separately; of those that are alike the first."""
    together = alike(compared)
    found: dict[str, list[PlanRow]] = {}
    for row in compared.plans if compared.names else ():
        if row.plan == compared.strategy and row.found.job == together[row.found.job, row.found.kind][0]:
            found.setdefault(row.found.kind, []).append(row)
    return found
