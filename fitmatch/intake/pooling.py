"""Several job folders to one `Pool`: the shells of all in one list, each once, and described alike for every job.

Shells with the same box and name are the same shell, so their rows must agree. Whatever does not is noted together with
the mistakes in the files themselves; files are then named JOB/FILE.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain, zip_longest
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import POSITIONS, SETTINGS, SHELLS, Findings, Paper
from fitmatch.intake.reading import Compared, FolderReader
from fitmatch.intake.together.all_shells import settled, unlike, without_family
from fitmatch.intake.together.copies import copies, look_alikes
from fitmatch.intake.together.cross_checks import scatter_warnings
from fitmatch.lengths import with_unit
from fitmatch.names import composed
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.measuring import Gauge, Measuring, Pooled
from fitmatch.records.parts import SIDES, Shell, Size
from fitmatch.records.pools import Pool
from fitmatch.wording import listed, shorten

if TYPE_CHECKING:
    from fitmatch.records.shelf.shelved import Supply

# What is compared in a shell's rows in two jobs.
_FIELDS: Final = ("kind", "half", "wall_nm", "coating_nm", "wall_to_metal_nm", "family", "grade", "hold")
_COLUMNS: Final = {"wall_nm": "wall", "coating_nm": "coating", "wall_to_metal_nm": "measured"}


def read_jobs(
    folders: Sequence[str | PathLike[str]],
    *,
    needs_shells: bool = True,
    supplies: Sequence["Supply"] = (),
    assembled: bool = False,
) -> Pool:
    """Read and check several job folders that share their shells; raises InputError with every mistake in any of them,
    job by job, including rows that disagree about one shell. `needs_shells`: a job without a shell file is one.
    `supplies`: the shelf as each of the jobs sees it. `assembled`: the first with the readings taken with its shells
    in, if there are any."""
    paths = [Path(folder) for folder in folders]
    findings = Findings()
    problems = findings.problems
    _check_named_once(paths, findings)
    if problems:
        raise InputError(problems)
    names = names_of(paths)
    readers: list[FolderReader] = []
    jobs: list[Job] = []
    for at, (path, supply) in enumerate(zip_longest(paths, supplies)):
        try:
            readers.append(FolderReader(path, needs_shells=needs_shells, supply=supply))
        except InputError as error:  # there is no such folder: the path itself is the name
            problems += [p._replace(rank=(at, *p.rank)) for p in error.problems]
            findings.number += error.number
    everywhere = frozenset().union(*(reader.in_shells for reader in readers))
    compared = [reader.compared(everywhere) for reader in readers]
    pooled = Compared(
        tuple(dict.fromkeys(name for one in compared for name in one.matched)),
        tuple(dict.fromkeys(name for one in compared for name in one.others)),
    )
    noticed: list[str] = []
    for at, (name, reader, own) in enumerate(zip(names, readers, compared, strict=False)):
        try:
            job = reader.job(own, pooled)
            jobs.append(replace(job, name=name, positions=tuple(replace(p, job=name) for p in job.positions)))
            warnings = job.warnings
        except InputError as error:
            warnings = error.warnings
            problems += [p._replace(file=f"{name}/{p.file}", rank=(at, *p.rank)) for p in error.problems]
            findings.number += error.number
        noticed += [f"{name}: {warning}" for warning in warnings]
    if problems:
        raise InputError(problems, noticed, findings.number)
    _check_settings(jobs, findings)
    if supplies:
        from fitmatch.intake.sharing_the_shelf import check_kinds, named_alike

        check_kinds(jobs, [reader.settings for reader in readers], findings)
        if problems:
            raise InputError(problems, noticed, findings.number)
        jobs = named_alike(jobs)
    shells = _union(jobs, findings)
    alike = _check_shells(jobs, readers, shells, findings)
    _check_locks(jobs, [reader.settings.positions or "" for reader in readers], findings)
    if problems:
        raise InputError(problems, [*noticed, *findings.warnings], findings.number)
    pool = _pool(jobs, shells, [*findings.warnings, *_taken_as_one(jobs)], alike)
    if not (assembled and readers[0].is_assembled):
        return pool
    first, *others = pool.jobs
    try:
        return replace(pool, jobs=(readers[0].with_assembled(first), *others))
    except InputError as error:
        problems += [p._replace(file=f"{first.name}/{p.file}") for p in error.problems]
        raise InputError(problems, [*noticed, *findings.warnings, *error.warnings], error.number) from None


def _check_named_once(paths: Sequence[Path], findings: Findings) -> None:
    known: dict[Path, Path] = {}
    for path in paths:
        other = known.setdefault(path.resolve(), path)
        if other is not path:
            findings.report("job-twice", "is named twice; name each job once", Paper(str(path), (0,)))


def names_of(paths: Sequence[Path]) -> list[str]:
    """The names of the folders, with as many parent folders as it takes to tell them apart."""
    parts = [path.resolve().parts for path in paths]
    for depth in range(1, max(map(len, parts))):
        names = ["/".join(some[-depth:]) for some in parts]
        if len(set(names)) == len(names):
            return names
    return [str(path.resolve()) for path in paths]


def _check_settings(jobs: Sequence[Job], findings: Findings) -> None:
    """What must be the same in all jobs, as it is about the shells: whether coatings count, and each gauge."""
    gauges: dict[str, tuple[Job, Gauge]] = {}
    for at, job in enumerate(jobs):
        paper = Paper(f"{job.name}/job.toml", (at, SETTINGS))
        if job.coating_counts != jobs[0].coating_counts:
            text = f"differs from that of {jobs[0].name}; jobs that share their shells must treat coatings alike"
            findings.report("jobs-differ", text, paper, None, "coating.counts")
        for name, gauge in job.measuring.gauges.items():
            other, same = gauges.setdefault(name, (job, gauge))
            if same != gauge:
                text = f"differs from the gauge of that name in {other.name}; make both the same, or rename one"
                findings.report("jobs-differ", text, paper, None, f"gauge.{name}")


def _check_shells(
    jobs: Sequence[Job], readers: Sequence[FolderReader], shells: Sequence[Shell], findings: Findings
) -> tuple[tuple[str, str], ...]:
    """What only the shells of all jobs tell together. Returns the boxes that may be copies, each with the other."""
    whose = {shell.box: (at, job) for at, job in reversed([*enumerate(jobs)]) for shell in _own_shells(job)}

    def paper_of(shell: Shell) -> Paper:
        at, job = whose[shell.box]
        return Paper(f"{job.name}/{shell.file}", (at, SHELLS))

    confirmed = {box: reason for reader in readers for box, reason in reader.copies_confirmed.items()}
    for at, (job, reader) in enumerate(zip(jobs, readers, strict=True)):
        settings, pooled = reader.settings, replace(job, shells=tuple(shells))
        for kind, text in without_family(pooled):
            row = settings.file.row("fit", kind, "family")
            findings.report("no-family", text, Paper(f"{job.name}/job.toml", (at, SETTINGS)), row, f"fit.{kind}.family")
        for column, text in unlike(pooled):
            paper = Paper(f"{job.name}/{settings.positions}", (at, POSITIONS))
            findings.report("unlike-shells", text, paper, None, column)
    found = [copy for copy in copies(shells, confirmed) if not copy.is_of_shelf]
    for copy in found:
        if copy.shell.is_shelved or copy.other.is_shelved:
            from fitmatch.intake.together.supplied import report_shelf_copy

            report_shelf_copy(copy, paper_of, findings)
            continue
        (at, job), (_, other) = whose[copy.shell.box], whose[copy.other.box]
        file, other_file = f"{job.name}/{copy.shell.file}", f"{other.name}/{copy.other.file}"
        if copy.is_mistake:
            where = "box" if copy.shares_file else None
            findings.report("box-copied", copy.mistake(other_file), Paper(file, (at, SHELLS)), copy.row, where)
        else:
            findings.warnings.append(copy.warning(file, other_file))
    return look_alikes(found)


def _own_shells(job: Job) -> tuple[Shell, ...]:
    """Those of its files."""
    return job.shells if job.own_shells is None else job.own_shells


def _taken_as_one(jobs: Sequence[Job]) -> Iterator[str]:
    """A warning for all boxes that the same jobs have in common."""
    jobs_of: dict[str, dict[str, None]] = {}
    for job in jobs:
        for box in dict.fromkeys(shell.box for shell in _own_shells(job)):
            jobs_of.setdefault(box, {})[job.name] = None
    shared: dict[tuple[str, ...], list[str]] = {}
    for box, names in jobs_of.items():
        if len(names) > 1:
            shared.setdefault(tuple(names), []).append(f"`{shorten(box)}`")
    for owners, boxes in shared.items():
        one = len(boxes) == 1
        text = f"{'box' if one else 'boxes'} {listed(boxes)} of {listed(owners)} {'is' if one else 'are each'}"
        yield f"{text} taken as one and the same box; if they are different boxes, rename one"


def _union(jobs: Sequence[Job], findings: Findings) -> list[Shell]:
    """The shells of all jobs, each once; every row that does not agree with the first of its shell is noted."""
    found: dict[ShellKey, Shell] = {}
    owner: dict[ShellKey, Job] = {}
    coded: dict[ShellKey, ShellKey] = {}
    for at, job in enumerate(jobs):
        for shell in job.shells:
            if coded.setdefault((composed(shell.box), composed(shell.name)), shell.key) != shell.key:
                paper = Paper(f"{job.name}/{shell.file}", (at, SHELLS))
                text = f"shell `{shorten(shell.box)}/{shorten(shell.name)}` is in another job already{advice.CODED}"
                todo = "write both alike or, if they are two shells, rename the box of one"
                findings.report("coded-twice", f"{text}; {todo}", paper, shell.row, "shell")
            first = found.setdefault(shell.key, shell)
            if first is shell:
                owner[shell.key] = job
                continue
            other = owner[shell.key]
            differing = _difference(first, shell, job)
            if differing is not None:
                column, here, there = differing
                text = f"shell `{shorten(shell.box)}/{shorten(shell.name)}` has {here} here and {there} in"
                todo = "one shell needs one row; if they are two shells, rename the box of one"
                text = f"{text} {other.name}/{first.file}:{first.row}; {todo}"
                paper = Paper(f"{job.name}/{shell.file}", (at, SHELLS))
                findings.report("shell-differs", text, paper, shell.row, column)
            elif first.is_shelved and not shell.is_shelved:  # the file says how it was measured
                found[shell.key], owner[shell.key] = shell, job
            elif not shell.is_shelved and (measured := _either(first.measured, shell.measured)) is not first.measured:
                found[shell.key] = replace(first, measured=measured)
    return list(found.values())


def _either(first: Size | None, other: Size | None) -> Size | None:
    """A wall as two jobs measured it: as in the first if that says how, and with the form from the other if that has
    it."""
    if first is None or other is None:
        return first or other
    chosen = other if first.measured_as is None and other.measured_as is not None else first
    form = other.form or first.form
    return chosen if chosen.form == form else replace(chosen, form=form)


def _difference(one: Shell, other: Shell, job: Job) -> tuple[str, str, str] | None:
    """The first column in which two rows of one shell differ, with the values in `other` and in `one`."""
    fields: tuple[str, ...] = _FIELDS
    columns = job.shell_columns
    if job.shelved is not None and other.key in job.shelved:  # the shelf decides who may have it
        fields = tuple(field for field in fields if field != "hold")
        if one.is_shelved or other.is_shelved:  # and was found to read alike
            fields, columns = ("kind",), ()
    cells = ((_COLUMNS.get(field, field), getattr(one, field), getattr(other, field)) for field in fields)
    marks = zip(columns, one.marks, other.marks, strict=False)
    for column, mine, theirs in chain(cells, marks):
        if mine != theirs:
            here, there = (
                "nothing" if not cell else with_unit(cell, job.unit) if isinstance(cell, int) else f"`{shorten(cell)}`"
                for cell in (theirs, mine)
            )
            return column, here, there
    if None not in (one.measured_as, other.measured_as) and one.measured_as != other.measured_as:
        return "gauge", "another gauge or number of readings", "its own"
    return None


def _check_locks(jobs: Sequence[Job], files: Sequence[str], findings: Findings) -> None:
    known: dict[ShellKey, str] = {}
    for at, (job, file) in enumerate(zip(jobs, files, strict=True)):
        paper = Paper(f"{job.name}/{file}", (at, POSITIONS))
        mine: dict[ShellKey, str] = {}
        for position in job.positions:
            for side in SIDES:
                lock = getattr(position, side)
                if lock in known:
                    text = f"shell `{'/'.join(map(shorten, lock))}` is locked in {known[lock]} already"
                    todo = "lock another shell in one of the two"
                    findings.report("lock-twice", f"{text}; {todo}", paper, position.row, side)
                elif lock is not None:
                    mine[lock] = f"{paper.name}:{position.row}"
        known |= mine


def _pool(
    jobs: Sequence[Job], shells: list[Shell], warnings: Sequence[str], alike: tuple[tuple[str, str], ...]
) -> Pool:
    """The jobs with the shells and gauges of all; `warnings` about all of them stand with the first."""
    locks = [{lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None} for job in jobs]
    measurings = [job.measuring for job in jobs]
    gauges = {name: gauge for one in measurings for name, gauge in one.gauges.items()}
    together = Measuring(gauges=gauges, pooled=_scatter(measurings))
    of_walls = {feature for one in measurings for feature in one.form_told if feature == "wall"}
    together_jobs = [replace(job, shells=tuple(shells), own_shells=_own_shells(job)) for job in jobs]
    if any(job.shelved is not None for job in jobs):
        from fitmatch.intake.sharing_the_shelf import offered_to_each

        together_jobs = offered_to_each(jobs, together_jobs)
    settled_jobs = [settled(job) for job in together_jobs]
    return Pool(
        tuple(
            replace(
                job,
                look_alikes=alike,
                reserved=frozenset().union(*(other for other in locks if other is not mine)),
                warnings=(
                    *((*warnings, *scatter_warnings(together)) if job is settled_jobs[0] else ()),
                    *(f"{job.name}: {warning}" for warning in job.warnings),
                ),
                measuring=replace(
                    job.measuring,
                    gauges=gauges,
                    pooled=together.pooled,
                    form_told=job.measuring.form_told | of_walls,
                ),
            )
            for job, mine in zip(settled_jobs, locks, strict=True)
        )
    )


def _scatter(measurings: Iterable[Measuring]) -> dict[str, Pooled]:
    """The scatter of each gauge over the repeats of all jobs: variances weighted by their degrees of freedom."""
    found: dict[str, Pooled] = {}
    for measuring in measurings:
        for name, new in measuring.pooled.items():
            known = found.get(name, Pooled(0.0, 0))
            freedom = known.degrees_of_freedom + new.degrees_of_freedom
            squares = known.variance_nm2 * known.degrees_of_freedom + new.variance_nm2 * new.degrees_of_freedom
            found[name] = Pooled(squares / freedom, freedom)
    return found
