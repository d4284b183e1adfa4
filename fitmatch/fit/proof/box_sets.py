"""Which sets of boxes are worth trying: the smallest that has not been ruled out yet.

What a set of boxes cannot give, none of its subsets can. So every set ruled out means "some box outside it is drawn
from", and the smallest set that meets all of these demands is tried next (implicit hitting sets; E. Moreno-Centeno and
R. M. Karp, The implicit hitting set approach, Operations Research 61(2), 2013 - citation from memory).
"""

from collections.abc import Sequence

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.job_rows import locked_boxes
from fitmatch.fit.solver.adapter import Outcome, solve
from fitmatch.fit.solver.program import Program
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.names import natural


class BoxSets:
    """Sets of the boxes of one kind for these jobs, smallest first; the boxes of their locked pairs are in every set.

    `filled` is how many of their positions, other than locked pairs, the boxes drawn from must fill.
    """

    def __init__(self, kind: Kind, work: Sequence[Terms], filled: int, stop: Stop) -> None:
        self._stop = stop
        always = locked_boxes(kind, work)
        shells = [shell for c in kind.classes for shell in c.members]
        names = {shell.box for shell in shells if any(kind.may_draw(terms, shell) for terms in work)} | always
        self._boxes = sorted(names, key=natural)
        self._program = Program()
        for box in self._boxes:
            at = self._program.variable(1)
            if box in always:
                self._program.row([(at, 1)], 1, 1)
        for halves, seats in (
            (("upper", "either"), filled),
            (("lower", "either"), filled),
            (("upper", "lower", "either"), 2 * filled),
        ):
            held = [sum(s.half in halves and s.box == box for s in shells) for box in self._boxes]
            self._program.row([(j, n) for j, n in enumerate(held) if n], seats, None)

    def fewest_untried(self) -> frozenset[str] | None:
        """The smallest set that is not ruled out; None if there is none."""
        answer = solve(self._program, [1] * len(self._boxes), self._stop)
        if answer.outcome is Outcome.INFEASIBLE:
            return None
        if answer.outcome is not Outcome.OPTIMAL or answer.x is None:
            raise Stopped
        return frozenset(box for box, drawn in zip(self._boxes, answer.x, strict=True) if drawn)

    def rule_out(self, boxes: frozenset[str]) -> None:
        """Do not try these boxes or any of their subsets again."""
        self._program.row([(j, 1) for j, box in enumerate(self._boxes) if box not in boxes], 1, None)
