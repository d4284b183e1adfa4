"""What every form of output needs and a plan does not itself say: states of a position, walls, coatings."""

from typing import Final

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.parts import Position, Shell
from fitmatch.wording import listed

DANGER: Final = "NOT TO BE ASSEMBLED"
NOT_TO_BE_RUN: Final = "NOT TO BE RUN"
IN_DOUBT: Final = "IN DOUBT"
MEASURE_FIRST: Final = "measure again before anything else"
FIT_NOT_YET: Final = "FIT NOT YET"
NOT_FILLED: Final = "NOT FILLED"
NOT_MEASURED: Final = "NOT YET MEASURED"


def side_of(kind: str, side: str) -> str:
    """What holds the half of that side: a cap holds the lower one, whichever way the engine hangs."""
    return "cap" if side == "lower" else "block" if in_one_block(kind) else "beam"


def one_line(text: str) -> str:
    """The user's own text may contain line breaks."""
    return " ".join(text.split())


def unmeasured_shells(job: Job) -> list[Shell]:
    """Shells that could be used once their wall is measured, in file order."""
    return [s for s in job.shells if s.wall_nm is None and s.hold is None]


def missing_of(job: Job, position: Position) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What a position waits for: features of its own that have no reading, and locked shells that have no wall."""
    locks = {lock for lock in (position.upper, position.lower) if lock is not None}
    shells = (s for s in job.shells if s.wall_nm is None and s.key in locks) if locks else ()
    return position.missing, tuple("/".join(s.key) for s in shells)


def missing_words(missing: tuple[tuple[str, ...], tuple[str, ...]]) -> str:
    """The same in words."""
    features, shells = missing
    told = [f"no reading of {listed([f.replace('_', ' ') for f in features])}"] if features else []
    told += [f"no wall of {listed(shells)}"] if shells else []
    return "; ".join(told)


def marks_of(job: Job, shell: Shell) -> dict[str, str]:
    """Its cells in the matched columns, those that are not blank."""
    return {column: mark for column, mark in zip(job.matched_columns, shell.marks, strict=False) if mark}


def not_yet_fitted(plan: JobPlan, kind: str) -> str:
    """Why no shell of a kind may be fitted; empty if they may."""
    if plan.is_ready(kind) and kind not in plan.waits_for:
        return ""
    if not plan.is_complete(kind):
        return f"{kind} is not whole"
    if not plan.looked_through:
        return "its readings were not looked through for mistakes"
    if not plan.is_ready(kind):
        return f"{kind} rests on what is in doubt"
    return f"its shells may still change for {listed(plan.waits_for[kind])}"


def is_coated(placement: Placement) -> bool:
    return bool(placement.upper.coating_nm or placement.lower.coating_nm)
