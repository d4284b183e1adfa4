"""What several rules about walls have in common."""

from collections.abc import Sequence

from fitmatch.parts import Job


def differences_above(least_nm: int, job: Job, kind: str) -> Sequence[int]:
    """Every difference of two walls of the kind that is larger, ascending: a limit in between does no more than the one
    before it."""
    walls = {s.wall_nm for s in job.shells if s.kind == kind and s.wall_nm is not None and s.hold is None}
    return sorted({u - v for u in walls for v in walls if u - v > least_nm})
