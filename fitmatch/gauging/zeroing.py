"""A bore gauge zeroed on the journal's own micrometer: what it shows of a clearance, and what clearance it shows.

The micrometer is set to the raw mean of its readings of this journal near the crown axis, rounded to its resolution.
The bore with its shells in is then as warm as the room, and read on the scale of that micrometer:

    shows = (clearance + walls + journal) / housing's factor to 20 C - touched - journal / its factor - moved

`touched` are the walls as the gauge meets them: over their coating, even if that does not count as wall.
`moved` is what rounding the setting, or setting it from other readings than those that make the size, adds to the size
that the gauge is zeroed on. Both ways are here, so that what is expected at the bench is read back as what was
calculated.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fitmatch.gauging.sizes.corrections import factor_to_20, offs
from fitmatch.gauging.sizes.places import NEAR_CROWN_DEGREES, from_crown, mean_of_means, places
from fitmatch.lengths import round_half_even
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import Reading
from fitmatch.records.parts import Size


class Zeroing(NamedTuple):
    """The setting at one position: the micrometer `setter`, None if it has no name, and what it is set to."""

    placement: Placement
    setter: str | None
    set_to_nm: int
    moved_nm: int
    housing_factor: Fraction
    journal_factor: Fraction

    def shows(self, clearance_nm: int | Fraction) -> Fraction:
        """What the gauge shows at this clearance."""
        journal, walls = self._sizes
        warm = (clearance_nm + walls + journal) / self.housing_factor
        return warm - self.placement.walls_touched_nm - journal / self.journal_factor - self.moved_nm

    def clearance(self, shown_nm: int | Fraction) -> Fraction:
        """The clearance at which the gauge shows this."""
        return self.between(shown_nm + self.moved_nm)

    def between(self, read_nm: int | Fraction) -> Fraction:
        """The clearance of what was read between shells and journal themselves, as by a strip."""
        journal, walls = self._sizes
        touched = self.placement.walls_touched_nm
        return (journal / self.journal_factor + read_nm + touched) * self.housing_factor - walls - journal

    @property
    def _sizes(self) -> tuple[int, int]:
        assert self.placement.position.journal is not None
        return self.placement.position.journal.mean_nm, self.placement.wall_sum_nm


def zeroed(job: Job, placement: Placement) -> Zeroing:
    """The setting for one position of a plan."""
    measuring, kind, journal = job.measuring, placement.position.kind, placement.position.journal
    assert journal is not None
    setter = next(iter(journal.gauges), None)
    set_to = _set_to(job, journal, setter)
    moved = set_to - offs(measuring.gauges)[setter] - (journal.raw_mean_nm - journal.zero_nm - journal.ball_nm)
    housing, of_journal = (factor_to_20(measuring, kind, f, setter) for f in ("housing_bore", "journal"))
    return Zeroing(placement, setter, set_to, moved, housing, of_journal)


def _set_to(job: Job, journal: Size, setter: str | None) -> int:
    """The raw mean of the journal's readings near the crown axis by this micrometer, to its resolution."""
    mine = [r for r in journal.readings if r.gauge == setter] or list(journal.readings)
    near = [r for r in mine if r.angle is None or from_crown("journal", r.angle) <= NEAR_CROWN_DEGREES] or mine
    raw = _raw_mean(near) if near else Fraction(journal.raw_mean_nm)
    step = None if setter is None else job.measuring.gauges[setter].resolution_nm
    if not step:
        return round_half_even(raw.numerator, raw.denominator)
    return step * round_half_even(raw.numerator, raw.denominator * step)


def _raw_mean(readings: Sequence[Reading]) -> Fraction:
    """The mean over places of the means of their repeats, as in a size."""
    groups = places(readings, numbered_are_repeats=False)
    return Fraction(*mean_of_means([[readings[i].nm for i in group] for group in groups]))
