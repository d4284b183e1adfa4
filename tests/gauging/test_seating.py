"""Assembled against calculated: verdicts, what is learned from, the median and its uncertainty, and what cancels in
U."""

import random
from dataclasses import replace
from fractions import Fraction
from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from bench import UM, Bench, gauge, repeats, room, settings

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Comparison, Learned, Verdict, assembled_clearance, compare, learn, median
from fitmatch.gauging.uncertainty.combining import Uncertainty
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading, Doubt, Measuring
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.report.words.likely_causes import missing, refusal, why_not

TENTH = 2_540
JOURNAL, WALL = 50_000_000, 2_000_000
CLEARANCE = 50 * UM
BORE = JOURNAL + 2 * WALL + CLEARANCE


def job_with(offs_nm: list[int], *, seating_nm: int = 0, u_nm: int | None = None, **more: Any) -> Job:
    """A job without gauges whose assembled readings are this far from the calculation without seating."""
    table = Fit("rod", target_nm=CLEARANCE, seating_nm=seating_nm, seating_u_nm=u_nm)
    size, housing = (Size(nm, nm, nm) for nm in (JOURNAL, BORE))
    positions, shells, readings = [], [], []
    for i, off in enumerate(offs_nm, 1):
        positions.append(Position(f"R{i}", "rod", size, housing, CLEARANCE, seating_nm=seating_nm))
        shells += [Shell(f"{i}{half}", "box", "rod", half, WALL) for half in ("upper", "lower")]
        pair = [("box", f"{i}upper"), ("box", f"{i}lower")]
        readings.append(
            AssembledReading(f"R{i}", pair[0], pair[1], "clearance", (CLEARANCE + off,), "gauge", row=i + 1)
        )
    measuring = Measuring(assembled=tuple(readings))
    return replace(
        Job(Path("job"), "", "in", {"rod": table}, tuple(positions), tuple(shells), measuring=measuring), **more
    )


def with_reading(job: Job, index: int, **more: Any) -> Job:
    readings = list(job.measuring.assembled)
    readings[index] = readings[index]._replace(**more)
    return replace(job, measuring=replace(job.measuring, assembled=tuple(readings)))


def verdicts(found: Comparison) -> list[Verdict]:
    return [c.verdict for c in found.checks]


def test_the_median_and_its_uncertainty_by_hand() -> None:
    """Of 1, 2, 2 and 4 tenths: median 2; mean 2.25, s^2 = (1.25^2 + 0.25^2 + 0.25^2 + 1.75^2) / 3, u = 1.25 s / 2."""
    found = compare(job_with([TENTH, 2 * TENTH, 2 * TENTH, 4 * TENTH])).learned["rod"]
    u = 1.25 * sqrt((1.25**2 + 0.25**2 + 0.25**2 + 1.75**2) / 3) / sqrt(4) * TENTH
    assert found == Learned(4, 2 * TENTH, round(u)) and round(u) == 1_998


def test_the_median_of_an_even_number_is_rounded_half_to_even() -> None:
    """1 and 2 nm give 1.5, which rounds to 2; 2 and 3 give 2.5, which rounds to 2; an odd number needs no rounding."""
    assert [median([2, 1]), median([3, 2]), median([-2, -3]), median([9, 1, 5])] == [2, 2, -2, 5]


def test_fewer_than_three_positions_teach_nothing() -> None:
    """Nothing is learned from two positions, nor from two of which one was also read with another pair."""
    assert not compare(job_with([TENTH, TENTH])).learned
    job = job_with([TENTH, TENTH])
    again = job.measuring.assembled[0]._replace(upper=job.measuring.assembled[1].upper, row=9)
    job = replace(job, measuring=replace(job.measuring, assembled=(*job.measuring.assembled, again)))
    assert len(compare(job).checks) == 3 and not compare(job).learned


def test_several_rows_of_a_position_count_once_by_their_mean() -> None:
    """A position read twice, 1 and 3 tenths off, counts as one that is 2 off."""
    job = job_with([TENTH, 2 * TENTH, 2 * TENTH])
    again = job.measuring.assembled[0]._replace(
        readings_nm=(CLEARANCE + 3 * TENTH,), lower=job.measuring.assembled[1].lower
    )
    job = replace(job, measuring=replace(job.measuring, assembled=(*job.measuring.assembled, again)))
    assert compare(job).learned["rod"] == Learned(3, 2 * TENTH, 0)


@pytest.mark.parametrize("offs", [[3, 4, 5], [-4, -4, -3, -4, 9], [0, 0, 0, 20], [1, -2, 2, 4, -2, 1, 2, 8]])
def test_what_is_learned_does_not_depend_on_what_was_learned_before(offs: list[int]) -> None:
    """With what was learned written into the kind's table, or with another seating that makes no mistake of a good
    reading, the same is learned, from the same readings."""
    blank = compare(job_with([off * TENTH for off in offs]))
    first = blank.learned["rod"]
    for seating, u in ((first.seating_nm, first.u_nm), (0, None), (3, 50 * TENTH), (first.seating_nm // 2, TENTH)):
        again = compare(job_with([off * TENTH for off in offs], seating_nm=seating, u_nm=u))
        assert again.learned["rod"] == first
        assert [c.why_not for c in again.checks] == [c.why_not for c in blank.checks]
    taught = first.into(blank.job.fits["rod"])
    assert not blank.written("rod") and compare(replace(blank.job, fits={"rod": taught})).written("rod")


def test_what_was_learned_stays_learned() -> None:
    """In 400 random jobs with any seating written before: nothing is learned from what is called a mistake, and
    with what was learned in place of that seating the same is learned again."""
    draw = random.Random(13)
    learned = 0
    for _ in range(400):
        middle = draw.randint(-6, 6)
        offs = [
            (middle + draw.choice([0, 1, 1, 2, 3, 8]) * draw.choice([-1, 1])) * TENTH for _ in range(draw.randint(3, 9))
        ]
        job = job_with(offs, seating_nm=draw.choice([0, 0, 2, -4]) * TENTH, u_nm=draw.choice([None, TENTH]))
        found = compare(job)
        assert all(c.why_not for c in found.checks if c.verdict is Verdict.MISTAKE)
        if "rod" not in found.learned:
            continue
        learned += 1
        fit = found.learned["rod"].into(job.fits["rod"])
        positions = tuple(replace(p, seating_nm=fit.seating_nm) for p in job.positions)
        again = compare(replace(job, fits={"rod": fit}, positions=positions))
        assert again.learned == found.learned and again.written("rod")
        assert [c.why_not for c in again.checks] == [c.why_not for c in found.checks]
    assert learned > 100


def excuse(monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on every difference is only known to 20 tenths."""
    wide = Uncertainty(10.0 * TENTH, None, 20.0 * TENTH, ())
    monkeypatch.setattr(ErrorModel, "of_difference", lambda *_: wide)


@pytest.mark.parametrize("excused", [False, True])
def test_a_mistake_does_not_teach(monkeypatch: pytest.MonkeyPatch, excused: bool) -> None:
    """Nothing is learned from a reading more than 0.0005 in off the calculation without seating, however near its kind
    is and even if a large uncertainty excuses it; the other three are learned from."""
    if excused:
        excuse(monkeypatch)
    offs = [4 * TENTH, 4 * TENTH, 4 * TENTH, 12_701]
    found = compare(job_with(offs))
    assert found.checks[3].verdict is (Verdict.AGREES if excused else Verdict.MISTAKE)
    assert found.learned["rod"] == Learned(3, 4 * TENTH, 0)
    assert [c.why_not is None for c in found.checks] == [True] * 3 + [False] and "than crush" in why(found, 3)
    assert compare(job_with([*offs[:3], 12_700])).learned["rod"].positions == 4


def test_nothing_is_learned_where_more_than_a_quarter_are_mistakes() -> None:
    """One of four may be a mistake, two of seven may not, whether they are off the calculation or off their kind;
    several rows of a position are one, and a strip is none."""
    assert compare(job_with([0, 0, 0, 6 * TENTH])).learned["rod"].positions == 3
    for off in (6 * TENTH, -9 * TENTH):
        found = compare(job_with([2 * TENTH, 2 * TENTH, 2 * TENTH, 2 * TENTH, 2 * TENTH, off, off]))
        assert not found.learned and found.refused["rod"] == Fact("mistakes", {"positions": ("R6", "R7"), "read": 7})
    apart = compare(job_with([-2 * TENTH] * 5 + [4 * TENTH] * 3))
    assert Verdict.MISTAKE not in verdicts(apart) and apart.refused["rod"].slots["positions"] == ("R6", "R7", "R8")
    job = job_with([0, 0, 0, 6 * TENTH])
    again = job.measuring.assembled[3]._replace(lower=job.measuring.assembled[2].lower, row=9)
    twice = replace(job, measuring=replace(job.measuring, assembled=(*job.measuring.assembled, again)))
    assert len(compare(twice).checks) == 5 and compare(twice).learned["rod"].positions == 3
    assert compare(with_reading(job_with([0, 0, 0, 6 * TENTH, 6 * TENTH]), 4, method="strip")).learned


@pytest.mark.parametrize("sign", [1, -1])
def test_a_seating_is_no_larger_than_crush_explains(monkeypatch: pytest.MonkeyPatch, sign: int) -> None:
    """If all of a kind are 0.0005 in off, that is learned as seating; a nanometre more and nothing is, even if it was
    written by hand, so that all readings agree, or if a large uncertainty calls none of them a mistake."""
    assert compare(job_with([sign * 12_700] * 4)).learned["rod"].seating_nm == sign * 12_700
    large = job_with([sign * 12_701] * 4)
    by_hand = job_with([sign * 12_701] * 4, seating_nm=sign * 12_701)
    found = [compare(large), compare(by_hand)]
    excuse(monkeypatch)
    found.append(compare(large))
    for one, word in zip(found, (Verdict.MISTAKE, Verdict.AGREES, Verdict.AGREES), strict=True):
        assert verdicts(one) == [word] * 4 and not one.learned
        assert "more than crush explains" in refusal(one.refused["rod"])


def test_a_seating_that_makes_mistakes_of_good_readings_is_told() -> None:
    """Nothing is learned from readings that agree without the seating of the job and are mistakes with it, and the
    report says to look at that seating."""
    found = compare(job_with([-2 * TENTH] * 4, seating_nm=4 * TENTH))
    assert verdicts(found) == [Verdict.MISTAKE] * 4 and not found.learned
    assert found.refused["rod"].code == "by-seating" and all(c.why_not for c in found.checks)
    one = compare(job_with([2 * TENTH] * 7 + [-3 * TENTH], seating_nm=3 * TENTH))
    assert [c.why_not is None for c in one.checks] == [True] * 7 + [False]
    assert one.refused["rod"] == Fact("by-seating", {"positions": ("R8",)})


@pytest.mark.parametrize(("bore_nm", "grown"), [(54_050_000, 1), (60_000_000, 1), (120_000_000, 2), (90_000_001, 1.5)])
def test_the_limits_grow_with_the_bore(bore_nm: int, grown: float) -> None:
    """Above 60 mm the limits of apart, of a mistake and of learning grow in proportion with the housing bore."""
    near, crush = int(7_620 * grown), int(12_700 * grown)
    housing = Size(bore_nm, bore_nm, bore_nm)
    for off, word in ((near, "agrees"), (near + 1, "apart"), (crush, "apart"), (crush + 1, "a mistake")):
        job = job_with([off] * 3)
        job = replace(job, positions=tuple(replace(p, housing_bore=housing) for p in job.positions))
        for i in range(3):
            job = with_reading(job, i, readings_nm=(bore_nm - JOURNAL - 2 * WALL + off,))
        found = compare(job)
        assert [str(v) for v in verdicts(found)] == [word] * 3
        assert bool(found.learned) == (off <= crush) != bool(found.refused)


@pytest.mark.parametrize("u_nm", [None, 1_000])
def test_the_fixed_limits_belong_to_agreement(u_nm: int | None) -> None:
    """0.0003 in off agrees and a nanometre more is apart; 0.0005 in off is apart and a nanometre more a mistake; the
    same for tighter; and the seating of the job counts in the calculation."""
    offs = [7_620, 7_621, 12_700, 12_701]
    words = [Verdict.AGREES, Verdict.APART, Verdict.APART, Verdict.MISTAKE]
    for sign in (1, -1):
        job = job_with([sign * off + 999 for off in offs], seating_nm=999, u_nm=u_nm)
        assert verdicts(compare(job)) == words
        assert compare(job).needs_attention


def test_the_uncertainty_widens_the_limits_where_it_is_larger() -> None:
    """With a seating of u = 5 um nothing is called apart within 1.96 x 5 um, and nothing a mistake within 12.7 um."""
    made = stated_bench(fit={"seating_u_nm": 5 * UM})
    for off, word in ((9_799, Verdict.AGREES), (9_801, Verdict.APART), (12_701, Verdict.MISTAKE)):
        assert checked(made, off).verdict is word
    wide = stated_bench(fit={"seating_u_nm": 10 * UM})
    assert [checked(wide, off).verdict for off in (19_599, 19_601)] == [Verdict.AGREES, Verdict.MISTAKE]


def test_a_seating_from_few_readings_widens_the_limits_further() -> None:
    """U of a difference has the degrees of freedom of seating_u: 12.71 x 5 um from two readings, nothing from one."""
    few = stated_bench(fit={"seating_u_nm": 5 * UM, "seating_readings": 2})
    assert checked(few, 0).bound_nm == pytest.approx(12.706 * 5 * UM, rel=1e-4)
    assert checked(stated_bench(fit={"seating_u_nm": 5 * UM, "seating_readings": 1}), 0).bound_nm is None


def test_where_something_is_unknown_the_fixed_limits_decide_alone() -> None:
    """Without the scatter of the gauge that read it, or without a gauge, a large error limit widens nothing."""
    made = stated_bench(ball={"limit_nm": 20 * UM})
    assert checked(made, 13 * UM).verdict is Verdict.AGREES
    assert checked(made, 13 * UM, by=None).verdict is Verdict.MISTAKE
    assert checked(made, 13 * UM, by=None).bound_nm is None


def why(found: Comparison, index: int) -> str:
    """Why nothing is learned from a reading, in words."""
    told = found.checks[index].why_not
    assert told is not None
    return why_not(told)


def test_a_strip_confirms_and_never_teaches() -> None:
    """A strip's reading has a verdict like any other, and the kind learns without it."""
    job = with_reading(job_with([TENTH] * 4), 0, method="strip", readings_nm=(CLEARANCE + 4 * TENTH,))
    found = compare(job)
    assert verdicts(found) == [Verdict.APART, *[Verdict.AGREES] * 3]
    assert found.learned["rod"] == Learned(3, TENTH, 0) and why(found, 0) == "a strip is too coarse to learn from"
    assert not compare(with_reading(job_with([TENTH] * 3), 0, method="strip")).learned


@pytest.mark.parametrize(
    ("item", "feature", "teaches"),
    [
        ("R1", "journal", False),
        ("R1", "housing_bore", False),
        ("box/1upper", "wall", False),
        ("box/1lower", "wall", False),
        ("R9", "journal", True),
        ("box/99", "wall", True),
    ],
)
def test_what_rests_on_a_doubt_does_not_teach(item: str, feature: str, teaches: bool) -> None:
    """An open doubt about a journal, a bore or a placed wall keeps that position, and no other, from teaching."""
    doubt = Doubt("readings.csv", 2, item, feature, 1, Fact("off", {"error_nm": 1}), ("unknown",))
    found = compare(job_with([5 * TENTH, TENTH, TENTH, TENTH]), [doubt])
    assert [not c.why_not for c in found.checks] == [teaches, True, True, True]
    assert found.learned["rod"].positions == (4 if teaches else 3)


def test_a_doubt_about_a_bore_goes_with_the_housing() -> None:
    """With the housing of R2 at R1, a doubt about the bore of R2 keeps R1 from teaching, one about R1's does not."""
    job = with_reading(job_with([TENTH] * 4), 0, housing="R2")
    for item, teaches in (("R2", False), ("R1", True)):
        doubt = Doubt("readings.csv", 2, item, "housing_bore", 1, Fact("off", {"error_nm": 1}), ("unknown",))
        assert (not compare(job, [doubt]).checks[0].why_not) == teaches


def test_a_reading_that_stands_out_from_its_kind_does_not_teach() -> None:
    """More than 0.0005 in off the others' median nothing is learned from it, though it is no mistake; at 0.0005 in it
    is. So once more if one is gone and the median moves."""
    found = compare(job_with([-2_701, -2_701, -2_701, 10_000]))
    assert found.learned["rod"] == Learned(3, -2_701, 0) and "differs too much" in why(found, 3)
    assert found.checks[3].verdict is Verdict.APART
    assert compare(job_with([-2_700, -2_700, -2_700, 10_000])).learned["rod"].positions == 4
    moved = compare(job_with([-2_000, -2_000, -1_000, 11_500, 12_600]))
    assert [i for i, c in enumerate(moved.checks) if c.why_not] == [3, 4]


def test_a_seating_common_to_all_is_told_from_one_position_alone() -> None:
    """All 6 tenths off are off in common, though each is a mistake; one alone is not."""
    found = compare(job_with([6 * TENTH] * 3))
    assert verdicts(found) == [Verdict.MISTAKE] * 3 and all(found.in_common(c) for c in found.checks)
    alone = compare(job_with([0, 0, 0, 6 * TENTH]))
    assert not alone.in_common(alone.checks[3])
    # 1 of 4 tenths in common is not most of it, though 3 tenths would agree.
    partly = compare(job_with([TENTH, TENTH, TENTH, 4 * TENTH]))
    assert partly.checks[3].verdict is Verdict.APART and not partly.in_common(partly.checks[3])
    # Half of them are not most, though the median of all lies between.
    half = compare(job_with([4 * TENTH] * 4 + [0] * 4))
    assert verdicts(half)[:4] == [Verdict.APART] * 4 and not any(map(half.in_common, half.checks))


def test_shells_that_were_exchanged_are_named() -> None:
    """Walls 6 tenths apart, swapped between two positions, explain both readings; one of them off alone, neither."""
    job = job_with([0, 0, 6 * TENTH, -6 * TENTH])
    thick = tuple(replace(s, wall_nm=WALL + 6 * TENTH) if s.name == "3upper" else s for s in job.shells)
    job = replace(job, shells=thick)  # R3's calculation is 6 tighter: its reading is 12 off
    job = with_reading(job, 2, readings_nm=(CLEARANCE,))
    found = compare(job)
    assert [found.exchanged_with(c) for c in found.checks] == [None, None, "R4", "R3"]
    lone = compare(with_reading(job, 3, readings_nm=(CLEARANCE,)))
    assert [lone.exchanged_with(c) for c in lone.checks] == [None] * 4


def test_limits_are_held_against_the_assembled_clearance() -> None:
    """min and max themselves are inside; a nanometre beyond needs attention though the two clearances agree."""
    job = job_with([0, 0])
    for low, high, fine in ((0, 0, True), (1, 9, False), (-9, -1, False)):
        limited = tuple(replace(p, min_nm=CLEARANCE + low, max_nm=CLEARANCE + high) for p in job.positions)
        found = compare(replace(job, positions=limited))
        assert [c.within_limits for c in found.checks] == [fine] * 2 and found.needs_attention is not fine


def test_a_reading_without_its_calculation_is_named() -> None:
    """A wall that was never measured leaves the reading uncompared, with what is missing, and needs attention."""
    job = job_with([0, 0, 0])
    blind = replace(job, shells=(replace(job.shells[0], wall_nm=None), *job.shells[1:]))
    found = compare(blind)
    assert [missing(n) for n in found.not_compared] == [("wall of box/1upper",)] and found.needs_attention


# --- corrections and uncertainty -------------------------------------------------------------------------------------


def stated_bench(fit: dict[str, Any] | None = None, count: int = 1, **more: Any) -> Bench:
    """One main, measured with mic, bore and ball; each without scatter unless given."""
    further = {k: more.pop(k) for k in ("temperature", "materials") if k in more}
    named = {n: gauge(n, **({"repeatability_nm": 0} | more.pop(n, {}))) for n in ("mic", "bore", "ball")}
    named |= {n: gauge(n, **keys) for n, keys in more.items()}
    by = [repeats([nm] * count, n) for nm, n in ((JOURNAL, "mic"), (BORE, "bore"), (WALL, "ball"), (WALL, "ball"))]
    return Bench(settings(gauges=named, **further), by[0], by[1], by[2], by[3], fit=fit)


def reading_of(made: Bench, feature: str, *nm: int, by: str | None = "bore") -> AssembledReading:
    return AssembledReading("M1", made.upper.key, made.lower.key, feature, nm, "gauge", by)


def checked(made: Bench, off_nm: int, by: str | None = "bore") -> Any:
    reading = reading_of(made, "clearance", made.clearance_nm + off_nm, by=by)
    job = replace(made.job, measuring=replace(made.job.measuring, assembled=(reading,)))
    return compare(job).checks[0]


def difference(made: Bench, feature: str, count: int = 1, by: str | None = "bore") -> Uncertainty:
    reading = reading_of(made, feature, *[BORE] * count, by=by)
    found = ErrorModel(made.job).of_difference(reading, made.placement)
    assert found is not None
    return found


def test_a_bore_less_the_journal_is_the_clearance() -> None:
    """The mean of the bore's readings, less the gauge's zero error, less the journal's corrected size."""
    zero = {"own_zero_nm": 3 * UM}
    made = stated_bench(mic=zero, bore={"set_with": "mic", "own_zero_nm": UM})
    assembled = JOURNAL + CLEARANCE  # as read: 4 um too large by the gauge, and the journal 3 um too large
    reading = reading_of(made, "bore", assembled, assembled + 2)
    assert assembled_clearance(made.job, reading, made.placement) == CLEARANCE + 1 - 4 * UM + 3 * UM


def test_a_zero_error_of_the_journals_micrometer_cancels() -> None:
    """Journal, housing bore and assembled bore all off by the micrometer that set the gauge: the same clearance."""
    for zero in (0, 7 * UM):
        made = stated_bench(mic={"own_zero_nm": zero}, bore={"set_with": "mic"})
        reading = reading_of(made, "bore", JOURNAL + CLEARANCE)
        assert assembled_clearance(made.job, reading, made.placement) == CLEARANCE
        direct = reading_of(made, "clearance", CLEARANCE)
        assert assembled_clearance(made.job, direct, made.placement) == CLEARANCE


def test_a_warm_engine_reads_as_it_would_at_20_degrees() -> None:
    """An aluminium housing and a steel crank 10 K too warm: what truly is a clearance of 50 um at 20 degrees is found
    from the warm bore, and from the warm clearance, to 2 nm; uncorrected it would be 6 um more."""
    steel, aluminium = 11.5e-6, 23e-6
    materials = {"main": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(23, 10**6)}}
    made = stated_bench(temperature=room(30), materials=materials)
    journal = made.position.journal
    assert journal is not None
    true_20 = 50 * UM
    housing_20 = journal.mean_nm + 2 * WALL + true_20
    shells_warm = 2 * WALL * (1 + steel * 10)
    bore_warm = housing_20 * (1 + aluminium * 10) - shells_warm
    as_read = round(bore_warm / (1 + steel * 10))
    warm_clearance = as_read - round(journal.mean_nm)  # the crank and the gauge are both steel
    for reading in (reading_of(made, "bore", as_read), reading_of(made, "clearance", warm_clearance)):
        assert abs(assembled_clearance(made.job, reading, made.placement) - true_20) <= 2
    assert warm_clearance - true_20 > 6 * UM


def test_the_journal_cancels_for_a_bore_and_counts_twice_for_a_clearance() -> None:
    """A micrometer of 3 um scatter: nothing in a bore, and in a clearance the journal's size and one more reading, and
    its setting unless it set the bore gauge too."""
    made = stated_bench(mic={"repeatability_nm": 3 * UM})
    assert difference(made, "bore").standard_nm == 0
    assert difference(made, "clearance").standard_nm == pytest.approx(3 * UM * sqrt(3))
    made = stated_bench(mic={"repeatability_nm": 3 * UM}, bore={"set_with": "mic"})
    assert difference(made, "clearance").standard_nm == pytest.approx(3 * UM * sqrt(2))
    made = stated_bench(count=9, mic={"repeatability_nm": 3 * UM}, bore={"set_with": "mic"})
    shrunk = sqrt(29 / (29 + 8))  # by nine repeats that all agree
    assert difference(made, "clearance").standard_nm == pytest.approx(3 * UM * sqrt(1 / 9 + 1) * shrunk)


@pytest.mark.parametrize("feature", ["bore", "clearance"])
def test_scatter_of_both_bores_and_both_walls_counts(feature: str) -> None:
    """u^2 = b^2 + b^2/n + 2 w^2 + (2 w)^2, n readings of the assembled bore, and the setting for the walls twice. For a
    clearance the bore gauge was set once for the housing bore and once on the journal's micrometer."""
    made = stated_bench(bore={"repeatability_nm": 2 * UM}, ball={"repeatability_nm": UM})
    settings_nm2 = 4 + (0 if feature == "bore" else 2 * 4)
    assert difference(made, feature, count=4).standard_nm == pytest.approx(sqrt(4 + 4 / 4 + 2 + settings_nm2) * UM)


@pytest.mark.parametrize("feature", ["bore", "clearance"])
def test_no_error_limit_cancels_one_at_another_size(feature: str) -> None:
    """The bore with its shells in is read at the journal's size, the housing bore at its own: of gauge and setter two
    errors each, whichever gauge read which; the walls' counts twice."""
    limits = {"mic": {"limit_nm": 5 * UM}, "bore": {"set_with": "mic", "limit_nm": 4 * UM}, "ball": {"limit_nm": UM}}
    made = stated_bench(**limits)
    assert difference(made, feature).standard_nm == pytest.approx(sqrt((2 * 25 + 2 * 16 + 4) / 3) * UM)
    other = stated_bench(**limits, new={"repeatability_nm": 0, "limit_nm": 3 * UM, "set_with": "mic"})
    assert difference(other, feature, by="new").standard_nm == pytest.approx(sqrt((2 * 25 + 16 + 9 + 4) / 3) * UM)


def test_zeroes_of_scales_cancel_as_before() -> None:
    """The error of the standard on which the journal's micrometer was set is in journal, housing bore and assembled
    bore alike."""
    made = stated_bench(mic={"standard_limit_nm": 5 * UM}, bore={"set_with": "mic", "limit_nm": 0})
    assert [difference(made, feature).standard_nm for feature in ("bore", "clearance")] == [0, 0]


def test_an_error_of_the_rooms_temperature_cancels() -> None:
    """Housing bore and assembled bore are in the same room; a gauge of another expansion leaves its own part."""
    heat = {
        "temperature": room(24, Fraction(1)),
        "materials": {"main": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(23, 10**6)}},
    }
    assert difference(stated_bench(**heat), "bore").standard_nm == 0
    assert difference(stated_bench(**heat, bore={"set_with": "mic"}), "clearance").standard_nm == 0
    apart = stated_bench(**heat, new={"repeatability_nm": 0, "expansion": Fraction(135, 10**7)})
    bore = apart.position.housing_bore
    assert bore is not None
    of_room, of_gauges = (13.5e-6 - 11.5e-6), (0.1 * 4 * 13.5e-6, 0.1 * 4 * 11.5e-6)
    expected = bore.mean_nm * sqrt(sum(x**2 for x in (of_room, *of_gauges)) / 3)
    assert difference(apart, "bore", by="new").standard_nm == pytest.approx(expected)


@pytest.mark.parametrize("feature", ["bore", "clearance"])
def test_a_learned_seating_stands_for_all_error_limits(feature: str) -> None:
    """With seating_u no limit counts, of no gauge; seating_u does."""
    limits = {n: {"limit_nm": 9 * UM} for n in ("mic", "bore", "ball")}
    made = stated_bench(fit={"seating_u_nm": 300}, new={"limit_nm": 9 * UM, "repeatability_nm": 0}, **limits)
    assert difference(made, feature, by="new").standard_nm == pytest.approx(300)


@pytest.mark.parametrize(
    ("feature", "more", "expected"),
    [
        # mic: limit 3, standard 2; bore: limit 4, standard 1; all in um, each rectangular
        ("bore", {}, sqrt((9 + 4 + 16 + 1) / 3)),
        ("bore", {"set_with": "mic", "standard_limit_nm": None}, sqrt(16 / 3)),
        ("clearance", {}, sqrt(16 / 3)),
    ],
)
def test_what_no_reading_teaches_is_part_of_what_is_learned(
    feature: str, more: dict[str, Any], expected: float
) -> None:
    """Readings with the shells in do not tell what their gauge and that of the journal are off against each other at
    the size of the journal, unless one was set with the other; that is left to seating_u."""
    limits = {
        "mic": {"limit_nm": 3 * UM, "standard_limit_nm": 2 * UM},
        "bore": {"limit_nm": 4 * UM, "standard_limit_nm": UM} | more,
        "ball": {"limit_nm": 9 * UM},
    }
    made = stated_bench(**limits)
    read = BORE - 2 * WALL if feature == "bore" else made.clearance_nm
    readings = tuple(reading_of(made, feature, read) for _ in range(3))
    job = replace(made.job, measuring=replace(made.job.measuring, assembled=readings))
    checks = compare(job).checks
    assert [check.left_u_nm for check in checks] == pytest.approx([expected * UM] * 3)
    learned = learn([c._replace(reading=c.reading._replace(position=f"M{n}")) for n, c in enumerate(checks)])
    assert learned is not None and learned.u_nm == round(expected * UM)


def test_what_the_others_teach_excuses_no_mistake() -> None:
    """A reading that is a mistake without a seating that was learned from the others stays one with it; a seating that
    was written by hand is believed."""
    offs = [4 * TENTH, 4 * TENTH, 4 * TENTH, 6 * TENTH]
    words = [*[Verdict.AGREES] * 3, Verdict.MISTAKE]
    job = job_with(offs, seating_nm=4 * TENTH)
    fit = compare(job).learned["rod"].into(job.fits["rod"])
    found = compare(replace(job, fits={"rod": fit}))
    assert verdicts(found) == words and found.needs_attention and found.written("rod")
    assert verdicts(compare(job)) == [Verdict.AGREES] * 4


def test_a_coating_that_does_not_count_is_no_seating() -> None:
    """Read over coatings of 3 um on each shell that do not count as wall, nothing but the seating is learned, and two
    pairs that were exchanged are told by the walls that the gauge touched."""
    plain = job_with([TENTH, 2 * TENTH, 2 * TENTH])
    shells = tuple(replace(s, coating_nm=3 * UM, wall_to_metal_nm=s.wall_nm) for s in plain.shells)
    coated = replace(plain, shells=shells, coating_counts=False)
    for at, one in enumerate(plain.measuring.assembled):
        coated = with_reading(coated, at, readings_nm=(one.readings_nm[0] - 6 * UM,))
    assert compare(coated).learned == compare(plain).learned
    assert [c.difference_nm for c in compare(coated).checks] == [TENTH, 2 * TENTH, 2 * TENTH]
    thick = tuple(s if s.name[0] != "1" else replace(s, coating_nm=12 * UM) for s in coated.shells)
    swapped = replace(coated, shells=thick)
    for at, off in ((0, -6), (1, -24)):
        swapped = with_reading(swapped, at, readings_nm=(CLEARANCE + off * UM,))
    found = compare(swapped)
    assert [found.exchanged_with(c) for c in found.checks[:2]] == ["R2", "R1"]
