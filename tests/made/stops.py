"""Stops that come at a step, not at a time."""

from fitmatch.fit.solver.stopping import Stop, Stopped


class StopAfter(Stop):
    """Stops at the so many-th time it is asked."""

    def __init__(self, times: int) -> None:
        super().__init__()
        self._times = times

    def seconds_left(self) -> float | None:
        self._times -= 1
        if self._times < 0:
            raise Stopped
        return super().seconds_left()
