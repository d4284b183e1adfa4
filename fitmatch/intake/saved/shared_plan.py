"""A saved plan that several jobs share: whether all of them still have it, and the command that makes a new one.

Each folder has the whole plan. Where one of them has another one since, a shell may stand in two engines. Not so where
both plans are wholly of the shelf and it has all shells of one of them for its job: what it has for one job no other
gets. That is asked of the shelf as it is now; where nobody has it at hand, the plans are compared.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.saved.saved_plan import FILE, SavedPlan, read_saved_plan
from fitmatch.records.shelf.shelved import Holdings
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

    def is_apart(self, holdings: Holdings | None) -> bool:
        """Whether it cannot get shells that a plan of the shelf gives to others: all of its own are held for it, or it
        had them and gave all back, so that its plan cannot be used any more."""
        if holdings is None or self.plan is None or not self.plan.is_of_the_shelf:
            return False
        numbers = frozenset(self.plan.numbers.values())
        return holdings.has_all(self.folder, numbers) or holdings.has_given_back(self.folder, numbers)


def sharers(folder: Path, plan: SavedPlan) -> tuple[Sharer, ...]:
    """The other jobs of the plan of a folder, each with the plan that it has now."""
    names = plan.others if len(plan.others) == len(plan.beside) else tuple(Path(other).name for other in plan.beside)
    found = []
    for name, other in zip(names, plan.beside, strict=True):
        path = (folder.resolve() / other).resolve()
        is_there = path.is_dir()
        found.append(Sharer(name, path, read_saved_plan(path, Findings()) if is_there else None, is_there))
    return tuple(found)


def no_longer_shared(folder: Path, plan: SavedPlan | None, holdings: Holdings | None = None) -> tuple[str, ...]:
    """Why the plan of a folder, if it is one of several jobs, is no longer the plan of them all."""
    return () if plan is None or plan.job is None else tuple(map(printable, _faults(folder, plan, holdings)))


def _faults(folder: Path, plan: SavedPlan, holdings: Holdings | None) -> Iterator[str]:
    if not plan.job:
        yield f"{FILE} is shared with {listed(plan.others)} and knows no job of this name: was the folder renamed?"
    is_mine = (
        holdings is not None and plan.is_of_the_shelf and holdings.has_all(folder, frozenset(plan.numbers.values()))
    )
    for other in sharers(folder, plan):
        if is_mine and (other.plan is None or other.plan.is_of_the_shelf):
            continue
        if not other.is_there:
            yield f"{other.name}, which shares this plan, is not in {other.folder} any more"
        elif other.plan is None:
            yield f"{other.name}, which shares this plan, has no {FILE} that can be read any more"
        elif not other.shares(plan):
            yield f"{other.name}, which shares this plan, has another plan since: a shell may stand in both engines"


def to_assign(folder: Path, plan: SavedPlan | None, db: str | None = None, *, holdings: Holdings | None = None) -> str:
    """The command that makes a new plan in place of the one in a folder, as it is to be typed here. `db`: the shelf, if
    it was named."""
    jobs = [as_argument(str(folder)), *map(seen_from_here, planned_with(folder, plan, holdings))]
    of_shelf = holdings is not None or (plan is not None and plan.readings is not None)
    return assign_command(jobs, from_shelf=of_shelf, db=db)


def planned_with(folder: Path, plan: SavedPlan | None, holdings: Holdings | None = None) -> tuple[Path, ...]:
    """The folders of the jobs that a new plan has to be made for as well: those that share this one and are there, but
    for those that are apart from it on the shelf."""
    if plan is None:
        return ()
    shelf = holdings if plan.is_of_the_shelf else None
    return tuple(other.folder for other in sharers(folder, plan) if other.is_there and not other.is_apart(shelf))


def assign_command(jobs: Sequence[str], *, from_shelf: bool, db: str | None = None) -> str:
    """The command for these jobs."""
    shelf = " --from-shelf" * from_shelf + (f" --db {as_argument(db)}" if from_shelf and db else "")
    return f"`fitmatch assign {' '.join(jobs)}{shelf} --save`"


def changed(folder: Path, plan: SavedPlan, holdings: Holdings | None = None) -> str:
    """What to say where the inputs of a job are not those of its plan."""
    text = f"the inputs have changed since {FILE} was saved: the plan may no longer be the best"
    return printable(f"{text}; {to_assign(folder, plan, holdings=holdings)} makes a new one")


def apart(folder: Path, plan: SavedPlan, holdings: Holdings | None = None) -> tuple[str, ...]:
    """What to say where the plan is no longer that of all its jobs."""
    todo = cure(folder, plan, holdings=holdings)
    return tuple(printable(f"{why}; {todo}") for why in no_longer_shared(folder, plan, holdings))


def cure(folder: Path, plan: SavedPlan, db: str | None = None, *, holdings: Holdings | None = None) -> str:
    """What to do about a plan that is not to be used any more."""
    text = f"{to_assign(folder, plan, db, holdings=holdings)} makes a new plan"
    if plan.job is None or plan.readings is not None:  # what is fitted stays in its engine
        return text
    built = "where an engine is built already, first put its shells on hold, and leave it out of the command"
    return f"{text}; {built}, with --force"
