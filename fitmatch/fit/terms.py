"""What one job asks of the pairs of a kind: its own rules, family and guard. Several jobs may share their shells, and
each keeps its own terms."""

from fitmatch.fit.guards import Guards
from fitmatch.fit.shifts import Shifts
from fitmatch.parts import Job, Position, Shell, marks_agree
from fitmatch.plans import Placement


class Terms:
    """The rules of one job that bind its bores of one kind."""

    def __init__(self, job: Job, kind: str) -> None:
        self.job = job
        self.guards = Guards(job)
        self.family = job.fits[kind].family
        self.shifts = Shifts(job, kind)
        self._rules = job.rules
        self._side = job.rules.thick_half.get(kind)
        self._bore_marks = [job.shell_columns.index(column) for column in job.rules.same_in_bore]

    @property
    def one_thick_side(self) -> bool:
        """Whether the thicker halves must all go to one side, whichever it is."""
        return self._side == "same"

    def place(self, position: Position, upper: Shell, lower: Shell) -> Placement:
        """These two shells in this position, judged by its limits as the guard draws them in for this pair."""
        return Placement(position, upper, lower, self._rules.limits_at, self.guards.margin(position, upper, lower))

    def partner_walls(self, wall: int) -> tuple[int, int]:
        """The walls a lower half may have beside an upper half of this wall."""
        low, high = 0, 1 << 62
        if self._rules.wall_difference_nm is not None:
            low, high = wall - self._rules.wall_difference_nm, wall + self._rules.wall_difference_nm
        if self._side == "lower":
            low = max(low, wall - self._rules.thick_half_from_nm)
        elif self._side == "upper":
            high = min(high, wall + self._rules.thick_half_from_nm)
        return low, high

    def share_marks(self, upper: tuple[str, ...], lower: tuple[str, ...]) -> bool:
        """Whether halves with these marks may share a bore."""
        return all(marks_agree(upper[i], lower[i]) for i in self._bore_marks)

    def thick(self, upper: int, lower: int) -> int:
        """Which of two walls counts as the thicker: 1 the upper, -1 the lower, 0 neither."""
        difference = upper - lower
        if abs(difference) <= self._rules.thick_half_from_nm:
            return 0
        return 1 if difference > 0 else -1
