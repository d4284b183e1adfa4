"""What is done for one position may make no other worse off, in any figure."""

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shells

from fitmatch.fit.assign import assign
from fitmatch.records.answers.plans import Cure
from fitmatch.records.job import Job


def two_rods(thin: int) -> Job:
    """R1 is locked to an upper half that is a tenth too thick for it and just right for R2; the only other upper half
    is thinner than usual by `thin` tenths."""
    limits = {"min_nm": TARGET - STEP, "max_nm": TARGET + STEP}
    rods = [
        make_position("R1", 2 * WALL + TARGET, upper=("box-1", "u1"), **limits),
        make_position("R2", 2 * WALL + TARGET + 2 * STEP, **limits),
    ]
    shells = [*make_shells("upper", [WALL + 2 * STEP, WALL - thin * STEP]), *make_shells("lower", [WALL, WALL])]
    return make_job(rods, shells)


@pytest.mark.parametrize(("thin", "helps"), [(1, True), (3, False)])
def test_too_tight_is_not_mended_by_too_loose(thin: int, helps: bool) -> None:
    """Unlocking the half would put R2 inside and give R1 the thin one: good where that is inside its limits, and no
    cure where R1, a tenth too tight before, is then two tenths too loose."""
    plan = assign(two_rods(thin))
    (told,) = [reason for reason in plan.reasons if reason.position.name == "R2"]
    cures = [cure for cure in told.cures if cure.change == "lock"]
    assert cures == ([Cure("lock", name="box-1/u1")] if helps else [])
