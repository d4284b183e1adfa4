"""Assembled against calculated clearances: which of them agree, and the seating learned from a kind's readings.

    difference = assembled - calculated, for the very pair of shells that was in
    apart      : more than the greater of 0.0003 in and the expanded uncertainty of the difference
    a mistake  : more than the greater of 0.0005 in and the same, with the seating in the calculation or, if that was
                 learned, without it: what others teach excuses no reading
    crush      : explains 0.0005 in and no more; nothing is learned from what differs by more from the calculation
                 without seating or from the others of its kind
    seating    = median over positions of (difference + the seating in the calculation)
    seating_u  = sqrt(1.25^2 s^2 / n + e^2), s being the standard deviation of these n values, with n - 1 degrees of
                 freedom, e what gauges and standards are always off and these readings cannot tell

The two fixed limits grow in proportion with a housing bore of more than 60 mm; they are common practice, no source.
1.25 is the square root of pi/2, by which the median of many normal values is less certain than their mean. What a kind
learns does not depend on what it learned before, so that learning twice changes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from math import hypot, sqrt
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.gauging.noted import NOTHING, Noted
from fitmatch.gauging.sizes.corrections import factor_to_20, offs
from fitmatch.gauging.uncertainty.combining import Uncertainty
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.zeroing import zeroed
from fitmatch.lengths import NM_PER_UNIT, mean, round_half_even
from fitmatch.records.answers.doubted import Doubted, doubted
from fitmatch.records.answers.placements import Placement
from fitmatch.records.housings import rehoused
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.measuring import AssembledReading, Doubt
from fitmatch.records.parts import Fit, Position, excess_of, shortfall_of
from fitmatch.rules.positions.limits_at import TIGHTEST, limits_at

if TYPE_CHECKING:
    import pandas

APART_NM: Final = 7_620  # 0.0003 in
MISTAKE_NM: Final = 12_700  # 0.0005 in
LIMITS_UP_TO_NM: Final = 60_000_000  # the housing bore up to which they do not grow
FEWEST_POSITIONS: Final = 3
_MOST_MISTAKEN: Final = 4  # nothing is learned if more than one position in so many is a mistake
_MEDIAN: Final = 1.25  # not sqrt(pi / 2): the rounded figure is the documented one


class Verdict(StrEnum):
    AGREES = "agrees"
    APART = "apart"
    MISTAKE = "a mistake"


class Learned(NamedTuple):
    """What was learned from a kind's readings, and from how many positions."""

    positions: int
    seating_nm: int
    u_nm: int

    def into(self, fit: Fit) -> Fit:
        """The kind's table with what was learned."""
        return replace(fit, seating_nm=self.seating_nm, seating_u_nm=self.u_nm, seating_readings=self.positions)


class Check(NamedTuple):
    """One assembled reading with the calculation for its pair. `bound_nm` is the expanded uncertainty of the
    difference, None if that is unknown; then the fixed limits alone decide. `why_not`: why nothing is learned from
    it. `is_learned`: the seating in the calculation was learned. `left_u_nm`: the standard uncertainty of what no
    seating contains that is learned from such readings."""

    reading: AssembledReading
    placement: Placement
    assembled_nm: int
    uncertainty: Uncertainty | None
    why_not: Fact | None = None
    is_learned: bool = False
    left_u_nm: float = 0.0

    @property
    def bound_nm(self) -> float | None:
        sure = self.uncertainty is not None and not self.uncertainty.lower_bound
        return self.uncertainty.expanded_nm if self.uncertainty is not None and sure else None

    @property
    def as_read_nm(self) -> int:
        """The mean of the clearance or the bore as the gauge gave it."""
        return mean(self.reading.readings_nm)

    @property
    def difference_nm(self) -> int:
        return self.assembled_nm - self.placement.clearance_nm

    @property
    def unseated_nm(self) -> int:
        """Assembled - calculated without seating."""
        return self.difference_nm + self.placement.position.seating_nm

    @property
    def near_nm(self) -> int:
        """What is not apart, whatever the uncertainty."""
        return self._grown(APART_NM)

    @property
    def crush_nm(self) -> int:
        """The most that crush explains, whatever the uncertainty."""
        return self._grown(MISTAKE_NM)

    def _grown(self, limit_nm: int) -> int:
        housing = self.placement.position.housing_bore
        assert housing is not None
        return limit_nm * max(LIMITS_UP_TO_NM, housing.mean_nm) // LIMITS_UP_TO_NM

    @property
    def apart_from_nm(self) -> float:
        return max(self.near_nm, self.bound_nm or 0.0)

    @property
    def mistake_from_nm(self) -> float:
        return max(self.crush_nm, self.bound_nm or 0.0)

    @property
    def verdict(self) -> Verdict:
        off = abs(self.difference_nm)
        if off > self.mistake_from_nm or self.excused_by_seating:
            return Verdict.MISTAKE
        return Verdict.APART if off > self.apart_from_nm else Verdict.AGREES

    @property
    def excused_by_seating(self) -> bool:
        """Whether only a seating that was learned keeps it from being a mistake."""
        return self.is_learned and abs(self.difference_nm) <= self.mistake_from_nm < abs(self.unseated_nm)

    @property
    def by_seating(self) -> bool:
        """Whether only the seating in the calculation makes it a mistake."""
        return _why_code(self) == "by-seating"

    @property
    def above_tightest_nm(self) -> int:
        """How far the clearance at the largest place of the journal is below the one from its mean, if limits are held
        against the tightest. A strip is read where it lies."""
        journal = self.placement.position.journal
        assert journal is not None
        at_largest = self.placement.limits_at == TIGHTEST and self.reading.method == "gauge"
        return journal.largest_nm - journal.mean_nm if at_largest else 0

    @property
    def tightest_nm(self) -> int:
        """What is held against min."""
        return self.assembled_nm - self.above_tightest_nm

    @property
    def shortfall_nm(self) -> int:
        """How far the tightest assembled clearance is below min as written."""
        return shortfall_of(self.placement.position.min_nm, self.tightest_nm)

    @property
    def excess_nm(self) -> int:
        """How far the assembled clearance is above max as written."""
        return excess_of(self.placement.position.max_nm, self.assembled_nm)

    @property
    def within_limits(self) -> bool:
        return not self.shortfall_nm and not self.excess_nm


class NotCompared(NamedTuple):
    """A reading that cannot be compared because the sizes of some `features` or the walls of some `shells` are
    missing."""

    reading: AssembledReading
    position: Position
    features: tuple[str, ...]
    shells: tuple[ShellKey, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All readings of a job with the shells in. By kind, if it has enough of them: what is `learned`, or why that is
    `refused`, and by how much all of them, mistakes included, are off the calculation without seating: the median,
    `all_off_nm`. `noted`: what they say against the saved plan, if they were held against one."""

    job: Job
    checks: tuple[Check, ...]
    not_compared: tuple[NotCompared, ...]
    learned: Mapping[str, Learned]
    refused: Mapping[str, Fact]
    all_off_nm: Mapping[str, int]
    noted: Noted = NOTHING

    @property
    def standing(self) -> tuple[Check, ...]:
        """The readings but for those of shells that are out again, by a later row with the plan's own."""
        return tuple(c for c in self.checks if c.reading.row not in self.noted.settled)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds with a reading that was compared, in file order."""
        met = {c.placement.position.kind for c in self.checks}
        return tuple(kind for kind in self.job.kinds if kind in met)

    @property
    def unread(self) -> tuple[Position, ...]:
        """Positions without any assembled reading."""
        read = {r.position for r in self.job.measuring.assembled}
        return tuple(p for p in self.job.positions if p.name not in read)

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        bad = any(c.verdict != Verdict.AGREES or not c.within_limits for c in self.standing)
        return bad or bool(self.noted.against or self.not_compared) or not self.checks

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per reading that was compared, in file order, lengths as floats in `unit`, else the job's; pandas is
        imported here."""
        import pandas

        per_unit = NM_PER_UNIT[unit or self.job.unit]
        return pandas.DataFrame(
            {
                "position": c.reading.position,
                "kind": c.placement.position.kind,
                "upper": full_name(c.reading.upper),
                "lower": full_name(c.reading.lower),
                "method": c.reading.method,
                "assembled": c.assembled_nm / per_unit,
                "calculated": c.placement.clearance_nm / per_unit,
                "difference": c.difference_nm / per_unit,
                "apart_from": c.apart_from_nm / per_unit,
                "verdict": str(c.verdict),
                "within_limits": c.within_limits,
                "teaches": not c.why_not,
            }
            for c in self.checks
        )

    def written(self, kind: str) -> bool:
        """Whether the kind's table already has what its readings give."""
        return self.learned[kind].into(self.job.fits[kind]) == self.job.fits[kind]

    def in_common(self, check: Check) -> bool:
        """Whether a difference belongs to its kind as a whole: most are off by about as much, and it disappears with
        what they are all off by. One that is off by more than crush explains, and its kind is not, stands alone."""
        kind, off = check.placement.position.kind, check.difference_nm
        common = self.all_off_nm.get(kind)
        if common is None or (_why_code(check) == "beyond-crush" and abs(common) <= check.crush_nm):
            return False
        alone = abs(check.unseated_nm - common)
        mine = [c for c in self.checks if c.placement.position.kind == kind]
        alike = {c.reading.position for c in mine if 2 * abs(c.difference_nm - off) <= abs(off)}
        most = 2 * len(alike) > len({c.reading.position for c in mine})
        return most and alone <= check.apart_from_nm and 2 * alone <= abs(off)

    def beyond_crush(self, check: Check) -> bool:
        """Whether a difference belongs to its kind as a whole and is more than crush explains."""
        common = self.all_off_nm.get(check.placement.position.kind, 0)
        return check.verdict != Verdict.AGREES and self.in_common(check) and abs(common) > check.crush_nm

    def exchanged_with(self, check: Check) -> str | None:
        """The one position whose shells explain this reading, while the shells of this one explain that position's
        reading."""
        found = [
            other.reading.position
            for other in self.checks
            if other.placement.position.kind == check.placement.position.kind
            and other.reading.position != check.reading.position
            and Verdict.AGREES not in (other.verdict, check.verdict)
            and _explains(check, other)
            and _explains(other, check)
        ]
        return found[0] if len(set(found)) == 1 else None


def assembled(job: Job) -> Comparison:
    """Compare every reading with the shells in with the calculation for its pair. `job` must have been read with them,
    by `read_job(folder, assembled=True)`, otherwise ValueError is raised. Nothing is learned from what rests on a
    reading in doubt."""
    if not job.measuring.assembled_file:
        raise ValueError("this job was read without its assembled readings; read it with assembled=True")
    return compare(job, doubts_of(job))


def compare(job: Job, doubts: Sequence[Doubt] = ()) -> Comparison:
    """Compare every assembled reading with the calculation for its pair.

    `doubts` are open doubts about readings of this job: nothing is learned from a calculation that rests on one.
    """
    positions = {p.name: p for p in job.positions}
    shells = {s.key: s for s in job.shells}
    model = ErrorModel(job)
    in_doubt = doubted([(job, doubts)])
    checks: list[Check] = []
    not_compared: list[NotCompared] = []
    for reading in job.measuring.assembled:
        position, upper, lower = positions[reading.position], shells[reading.upper], shells[reading.lower]
        if reading.housing in positions:
            position = rehoused(position, positions[reading.housing])
        without = tuple(s.key for s in (upper, lower) if s.wall_nm is None)
        if position.missing or without:
            not_compared.append(NotCompared(reading, position, position.missing, without))
            continue
        placement = Placement(position, upper, lower, limits_at(job))
        clearance = assembled_clearance(job, reading, placement)
        check = Check(reading, placement, clearance, model.of_difference(reading, placement))
        fit = job.fits[position.kind]
        is_learned = fit.seating_readings is not None and fit.seating_nm == position.seating_nm
        left = model.left_by_learning(reading, placement)
        checks.append(check._replace(why_not=_why_not(check, in_doubt), is_learned=is_learned, left_u_nm=left))
    learned: dict[str, Learned] = {}
    refused: dict[str, Fact] = {}
    all_off: dict[str, int] = {}
    for kind in job.kinds:
        mine = [i for i, c in enumerate(checks) if c.placement.position.kind == kind]
        if everything := learn([checks[i] for i in mine]):
            all_off[kind] = everything.seating_nm
        for i, judged in zip(mine, _judged([checks[i] for i in mine]), strict=True):
            checks[i] = judged
        told = [checks[i] for i in mine]
        if why := _refused(told):
            refused[kind] = why
        elif found := learn(told):
            learned[kind] = found
    return Comparison(job, tuple(checks), tuple(not_compared), learned, refused, all_off)


def assembled_clearance(job: Job, reading: AssembledReading, placement: Placement) -> int:
    """A reading with the shells in as a clearance in whole nanometres, corrected exactly and rounded once.

    A bore is corrected like a housing bore: subtract the zero error, correct to 20 degrees Celsius, subtract the
    journal's corrected size. It is brought to 20 degrees together with its two walls, which are subtracted again:
    steel-backed shells grow as the gauge does, and the housing by its own coefficient. A clearance read directly has no
    zero error: the gauge was zeroed on the journal's own micrometer, set as `zeroing` says. Housing and journal then
    differ only by their expansion, on the micrometer's scale. Both are taken to have been read in the temperature of
    the job. A gauge or a strip touches the coating: where that does not count as wall it is added, so that the
    clearance is to the metal like the limits that it is held against.
    """
    journal = placement.position.journal
    assert journal is not None
    read = Fraction(sum(reading.readings_nm), len(reading.readings_nm))
    if reading.feature == "bore":
        touched = placement.walls_touched_nm
        housing = factor_to_20(job.measuring, placement.position.kind, "housing_bore", reading.gauge)
        warm = read - offs(job.measuring.gauges)[reading.gauge] + touched
        found = warm * housing - placement.wall_sum_nm - journal.mean_nm
    else:
        zeroing = zeroed(job, placement)
        found = zeroing.clearance(read) if reading.method == "gauge" else zeroing.between(read)
    return round_half_even(found.numerator, found.denominator)


def learn(checks: Sequence[Check]) -> Learned | None:
    """The seating learned from readings of one kind; None from fewer than three positions. Several rows of a position
    count as one, by their mean."""
    by_position: dict[str, list[int]] = {}
    left = 0.0
    for check in checks:
        if check.why_not is None:
            by_position.setdefault(check.reading.position, []).append(check.unseated_nm)
            left = max(left, check.left_u_nm)
    values = [mean(tuple(some)) for some in by_position.values()]
    n = len(values)
    if n < FEWEST_POSITIONS:
        return None
    middle = sum(values) / n
    s = sqrt(sum((value - middle) ** 2 for value in values) / (n - 1))
    return Learned(n, median(values), round(hypot(_MEDIAN * s / sqrt(n), left)))


def _judged(checks: Sequence[Check]) -> list[Check]:
    """The checks of a kind, with the reason why nothing is learned from those that are off by more than crush explains,
    that differ too much from the rest, or that are mistakes only because of the job's own seating."""
    found = _without(checks, "beyond-crush", 0)
    while learned := learn(found):
        kept = _without(found, "stands-out", learned.seating_nm)
        if kept == found:
            break
        found = kept
    return [
        c._replace(why_not=Fact("by-seating")) if c.why_not is None and c.verdict == Verdict.MISTAKE else c
        for c in found
    ]


def _without(checks: Sequence[Check], code: str, middle_nm: int) -> list[Check]:
    """The checks, with this reason why nothing is learned from those further from the middle than crush explains."""
    return [
        c._replace(why_not=Fact(code)) if c.why_not is None and abs(c.unseated_nm - middle_nm) > c.crush_nm else c
        for c in checks
    ]


def _refused(checks: Sequence[Check]) -> Fact | None:
    """Why a kind learns nothing, however many positions could be learned from; None if it may."""
    by_gauge = [c for c in checks if c.reading.method == "gauge"]
    read = {c.reading.position for c in by_gauge}
    mistaken = _positions(c for c in by_gauge if abs(c.unseated_nm) > c.crush_nm or _why_code(c) == "stands-out")
    if _MOST_MISTAKEN * len(mistaken) > len(read):
        return Fact("mistakes", {"positions": mistaken, "read": len(read)})
    by_seating = _positions(c for c in checks if c.by_seating)
    return Fact("by-seating", {"positions": by_seating}) if by_seating else None


def _why_code(check: Check) -> str | None:
    return None if check.why_not is None else check.why_not.code


def _positions(checks: Iterable[Check]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(c.reading.position for c in checks))


def median(values: Sequence[int]) -> int:
    """The middle value, or the mean of the middle two rounded halves to even."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else round_half_even(ordered[half - 1] + ordered[half], 2)


def _why_not(check: Check, in_doubt: Doubted) -> Fact | None:
    """Why nothing can be learned from this sort of reading; None if something can."""
    if check.reading.method != "gauge":
        return Fact("strip")
    job, row = check.placement.position.job, check.reading.position
    told = (("journal", row, in_doubt.journals), ("housing_bore", check.reading.housing or row, in_doubt.bores))
    features = tuple(feature for feature, name, keys in told if (job, name) in keys)
    if features:
        return Fact("size-in-doubt", {"features": features})
    shells = tuple(key for key in (check.reading.upper, check.reading.lower) if key in in_doubt.shells)
    return Fact("wall-in-doubt", {"shells": shells}) if shells else None


def _explains(check: Check, other: Check) -> bool:
    """Whether the other position's shells would make this reading and its calculation agree."""
    shift = check.placement.walls_touched_nm - other.placement.walls_touched_nm
    left = abs(check.difference_nm - shift)
    return left <= check.near_nm and 2 * left <= abs(check.difference_nm)
