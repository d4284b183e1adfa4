"""A saved plan that several jobs share: whether all of them still have it, and the command that makes a new one.

Each folder has the whole plan. Where one of them has another one since, a shell may stand in two engines; but not where
the shelf has the shells, which gives each to one job only.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.saved.saved_plan import FILE, SavedPlan, read_saved_plan
from fitmatch.wording import as_argument, listed, printable, seen_from_here


class Sharer(NamedTuple):
    """Another job of a shared plan: what the plan calls it, its folder, and the plan that is saved there."""

    name: str
    folder: Path
    plan: SavedPlan | None
    is_there: bool

    def shares(self, plan: SavedPlan) -> bool:
        """Whether it still has this plan."""
        return self.plan is not None and self.plan.together == plan.together


def sharers(folder: Path, plan: SavedPlan) -> tuple[Sharer, ...]:
    """The other jobs of the plan of a folder, each with the plan that it has now, but for those whose shells are all on
    the shelf."""
    names = plan.others if len(plan.others) == len(plan.beside) else tuple(Path(other).name for other in plan.beside)
    found = []
    for name, other in zip(names, plan.beside, strict=True):
        path = (folder.resolve() / other).resolve()
        is_there = path.is_dir()
        now = read_saved_plan(path, Findings()) if is_there else None
        if now is None or not now.is_of_the_shelf:
            found.append(Sharer(name, path, now, is_there))
    return tuple(found)


def no_longer_shared(folder: Path, plan: SavedPlan | None) -> tuple[str, ...]:
    """Why the plan of a folder, if it is one of several jobs, is no longer the plan of them all."""
    return () if plan is None or plan.job is None else tuple(map(printable, _faults(folder, plan)))


def _faults(folder: Path, plan: SavedPlan) -> Iterator[str]:
    if not plan.job:
        yield f"{FILE} is shared with {listed(plan.others)} and knows no job of this name: was the folder renamed?"
    for other in () if plan.is_of_the_shelf else sharers(folder, plan):
        if not other.is_there:
            yield f"{other.name}, which shares this plan, is not in {other.folder} any more"
        elif other.plan is None:
            yield f"{other.name}, which shares this plan, has no {FILE} that can be read any more"
        elif not other.shares(plan):
            yield f"{other.name}, which shares this plan, has another plan since: a shell may stand in both engines"


def to_assign(folder: Path, plan: SavedPlan | None, db: str | None = None) -> str:
    """The command that makes a new plan in place of the one in a folder, as it is to be typed here. `db`: the shelf, if
    it was named."""
    jobs = [as_argument(str(folder)), *map(seen_from_here, planned_with(folder, plan))]
    return assign_command(jobs, from_shelf=plan is not None and plan.readings is not None, db=db)


def planned_with(folder: Path, plan: SavedPlan | None) -> tuple[Path, ...]:
    """The folders of the jobs that a new plan has to be made for as well: those that share this one and are there."""
    return () if plan is None else tuple(other.folder for other in sharers(folder, plan) if other.is_there)


def assign_command(jobs: Sequence[str], *, from_shelf: bool, db: str | None = None) -> str:
    """The command for these jobs."""
    shelf = " --from-shelf" * from_shelf + (f" --db {as_argument(db)}" if from_shelf and db else "")
    return f"`fitmatch assign {' '.join(jobs)}{shelf} --save`"


def changed(folder: Path, plan: SavedPlan) -> str:
    """What to say where the inputs of a job are not those of its plan."""
    text = f"the inputs have changed since {FILE} was saved: the plan may no longer be the best"
    return printable(f"{text}; {to_assign(folder, plan)} makes a new one")


def apart(folder: Path, plan: SavedPlan) -> tuple[str, ...]:
    """What to say where the plan is no longer that of all its jobs."""
    return tuple(printable(f"{why}; {cure(folder, plan)}") for why in no_longer_shared(folder, plan))


def cure(folder: Path, plan: SavedPlan, db: str | None = None) -> str:
    """What to do about a plan that is not to be used any more."""
    text = f"{to_assign(folder, plan, db)} makes a new plan"
    if plan.job is None or plan.is_of_the_shelf:
        return text
    built = "where an engine is built already, first put its shells on hold, and leave it out of the command"
    return f"{text}; {built}, with --force"
