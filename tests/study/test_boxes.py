"""`fitmatch.boxes`: what is drawn, what is made of it, and the figures that published constants foretell."""

import pickle
import random
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from pathlib import Path
from statistics import fmean
from typing import Any

import pytest
from made.jobs import make_job, make_shell, make_shells
from made.seeds import seeds
from made.unopened import ROOM, UM, WALL, one_free_shell, rods, task, told, trade
from scipy import stats

import fitmatch
from fitmatch.facts import Fact
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, MeasuredAs, Measuring, Series
from fitmatch.records.parts import Band
from fitmatch.records.study.unopened import BoxesTold, StepTold
from fitmatch.study.boxes import intervals
from fitmatch.study.boxes.boxes import BATCH, boxes
from fitmatch.study.boxes.draws import ENDLESS, Task, draw, scene
from fitmatch.study.boxes.noise import Errors, noise_of
from fitmatch.study.boxes.scatter import walls_of
from fitmatch.study.boxes.steps import Sealed
from fitmatch.study.boxes.studied import LeftOut, Studied
from fitmatch.study.boxes.summing_up import LEAST_DRAWS, Tables, studied

# Means of ranges of n standard normal values and of the least of m absolute ones: recomputed by quadrature; the first
# are the constants d2 of control charts (ISO 7870-2, from memory).
D2 = {2: 1.12838, 5: 2.32593, 8: 2.84720, 12: 3.25846}
BEST_OF = {1: 0.797885, 2: 0.467390, 3: 0.334903, 4: 0.262082, 5: 0.215692, 8: 0.141410}


@pytest.mark.parametrize("number", D2)
def test_walls_in_a_box_range_as_normal_ones(number: int) -> None:
    """The range of the walls of one half in a box is on average d2(n) times the scatter in a box."""
    one = task(make_job(rods(1), [], unit="mm", boxes=told(1, shells=number, within=100 * UM)))
    found = []
    for i in range(1_000):
        ((box,),) = scene(one, 1, i).boxes
        walls = [shell.wall_nm for shell in box if shell.half == "upper" and shell.wall_nm is not None]
        found.append((max(walls) - min(walls)) / (100 * UM))
    assert fmean(found) == pytest.approx(D2[number], abs=4 * 0.86 / sqrt(1_000))


def test_boxes_differ_by_what_is_said_to_be_between_them() -> None:
    """The mean of a large box is off by the scatter between boxes, in all of its halves together."""
    one = task(make_job(rods(1), [], unit="mm", boxes=told(1, shells=200, within=UM, between=50 * UM)))
    offs = [fmean(s.wall_nm or 0 for s in scene(one, 1, i).boxes[0][0]) - WALL for i in range(400)]
    assert sqrt(fmean(off * off for off in offs)) == pytest.approx(50 * UM, rel=0.12)


def test_the_best_of_more_boxes() -> None:
    """Where one shell is free the worst deviation is that of the best of m, as its published means foretell."""
    scatter = 100 * UM
    found = boxes(one_free_shell(8, scatter), draws=400)
    assert found.mixes[0].worst.mean is None  # with no upper at all the position stays empty
    for mix in found.mixes:
        if mix.boxes in BEST_OF:
            assert mix.worst.mean is not None and mix.worst.mean.half_width is not None
            assert abs(mix.worst.mean.mean - BEST_OF[mix.boxes] * scatter) < 1.6 * mix.worst.mean.half_width


@seeds(3, 200)
def test_intervals_cover(seeds: list[int]) -> None:
    """Where the truth is known intervals hold it in 95 of 100 studies: mean, percentile and chance."""
    scatter, hits = 100 * UM, [0, 0, 0]
    for seed in seeds:
        (mix,) = [
            m
            for m in boxes(one_free_shell(1, scatter), draws=60, seed=seed, tolerance_nm=scatter // 2).mixes
            if m.boxes
        ]
        mean, p90, close = mix.worst.mean, mix.worst.p90, mix.close
        assert mean is not None and p90 is not None and close is not None
        hits[0] += mean.low <= BEST_OF[1] * scatter <= mean.high
        hits[1] += (p90.low or 0) <= 1.644854 * scatter <= (p90.high or ENDLESS)
        hits[2] += close.low <= 0.382925 <= close.high
    least = stats.binom.ppf(0.001, len(seeds), 0.94)
    assert min(hits) >= least, hits


def test_the_published_simulation() -> None:
    """Eight positions, bores less journals with 4 um of standard deviation, walls with 1.6 um in a box and 1 um
    between: spread 13 um as boxed, about 4, 3 and 2 um from one, two and three boxes (own simulation, no source)."""
    job = trade(3)
    one = task(job)
    as_boxed = []
    for i in range(200):
        drawn = scene(one, 1, i)
        uppers, lowers = ([s for s in drawn.boxes[0][0] if s.half == half] for half in ("upper", "lower"))
        rooms = [p.housing_bore.mean_nm for p in drawn.job.positions if p.housing_bore is not None]
        offs = [r - (u.wall_nm or 0) - (v.wall_nm or 0) for r, u, v in zip(rooms, uppers, lowers, strict=True)]
        as_boxed.append(max(offs) - min(offs))
    assert fmean(as_boxed) == pytest.approx(13 * UM, abs=0.7 * UM)
    spreads = [mix.spread.mean.mean for mix in boxes(job, draws=200).mixes if mix.spread.mean is not None]
    assert spreads == pytest.approx([4 * UM, 3 * UM, 2 * UM], abs=0.75 * UM)


@seeds(5, 60)
def test_every_draw_is_solved_as_assign_would(seeds: list[int]) -> None:
    """Without gauges the figures of each mix are those of the best plan, proven, from its boxes and those open."""
    for seed in seeds:
        rng = random.Random(f"boxes {seed}")
        some = make_shells("upper", [WALL + rng.randrange(-4, 5) * UM for _ in range(rng.randrange(6))])
        some += make_shells("lower", [WALL + rng.randrange(-4, 5) * UM for _ in range(rng.randrange(6))])
        positions = [
            replace(p, housing_bore=replace(p.housing_bore, mean_nm=p.housing_bore.mean_nm + rng.randrange(-6, 7) * UM))
            for p in rods(rng.randrange(2, 7))
            if p.housing_bore is not None
        ]
        job = make_job(positions, some, unit="mm", boxes=told(2, shells=rng.randrange(2, 7), within=2_500))
        one = task(job)
        drawn, (_, *figures) = scene(one, seed, 0), draw(Task(seed, (one,)), 0)
        found = iter(figures)
        for mix in one.mixes:
            chosen = {s.box for box in drawn.boxes[0][: mix.counts[0]] for s in box} | {s.box for s in job.shells}
            plan = fitmatch.assign(replace(drawn.job, shells=tuple(s for s in drawn.job.shells if s.box in chosen)))
            offs = [p.deviation_nm for p in plan.placements]
            whole = len(offs) == len(positions)
            worst, spread, inside, _, empty, outside, free, _ = (next(found) for _ in range(8))
            assert free == worst
            assert worst == (max(map(abs, offs)) if whole else ENDLESS), seed
            assert inside == (whole and all(p.within_limits for p in plan.placements)) == (not outside), seed
            assert empty.bit_count() == len(positions) - len(offs), seed
            if all(p.within_limits for p in plan.placements):  # else equal plans may differ in it
                assert spread == (max(offs) - min(offs) if offs else ENDLESS), seed


def test_a_mix_holds_the_boxes_of_every_smaller_one() -> None:
    """With another budget the same boxes are opened first, and the figures of the smaller mixes are the same."""
    few, many = (boxes(make_job(rods(5), [], unit="mm", boxes=told(n)), draws=40) for n in (1, 3))
    assert few.mixes[0] == many.mixes[0]
    worst = [mix.worst.mean.mean for mix in many.mixes if mix.worst.mean is not None]
    assert worst == sorted(worst, reverse=True)  # in every draw, as readings are the truth


def test_a_draw_is_the_same_anywhere() -> None:
    """A draw depends on its task and number alone, also after the task has been sent elsewhere."""
    one = Task(3, (task(trade(2)),))
    assert draw(pickle.loads(pickle.dumps(one)), 7) == draw(one, 7) != draw(one, 8)


def test_a_task_is_told_by_its_text(tmp_path: Path) -> None:
    """What a study is resumed by is the same in every run, whatever order Python keeps sets in."""
    sample = Path(__file__).parents[2] / "samples" / "metrology-bench"
    code = (
        "import fitmatch\nfrom fitmatch.study.boxes.boxes import task_of\n"
        f"job = fitmatch.read_job({str(sample)!r})\n"
        "print(task_of(job, seed=1, budget=2, tolerance_nm=None, sealed=None)[0])"
    )
    texts = [
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(fitmatch.__file__).parents[1])},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert texts[0] == texts[1] and str(sample) not in texts[0]


def test_a_mean_that_is_not_there_is_not_known() -> None:
    """With a precision the draws go on as long as a mean is missing, and the mixes without one are told."""
    found = boxes(make_job(rods(3), [], unit="mm", boxes=told(2, shells=2)), draws=2 * BATCH, precision_nm=10 * UM)
    assert found.draws == 2 * BATCH and [mix.boxes for mix in found.imprecise] == [1]


def test_it_stops_at_the_end_of_a_batch() -> None:
    """With a precision the draws end after the first whole batch that reaches it, and give what so many draws give."""
    job = make_job(rods(4), [], unit="mm", boxes=told(1))
    found = boxes(job, draws=10 * BATCH, precision_nm=400)
    assert found.draws % BATCH == 0 and found.draws < 10 * BATCH and found.wanted == 10 * BATCH
    assert found.mixes == boxes(job, draws=found.draws).mixes
    before = boxes(job, draws=found.draws - BATCH).mixes if found.draws > BATCH else ()
    assert not before or any(m.worst.mean and (m.worst.mean.half_width or 0) > 400 for m in before)


# --- measuring ---


def measured(scatter: int, resolution: int | None = None) -> tuple[Measuring, MeasuredAs]:
    gauge = Gauge("g", resolution_nm=resolution, repeatability_nm=scatter, repeatability_from=100_000)
    named = {"rod": dict.fromkeys(("journal", "housing_bore", "wall"), "g")}
    return Measuring(gauges={"g": gauge}, measured=named), MeasuredAs((Series("g", 1, 1.0),))


def test_plans_are_judged_by_the_truth() -> None:
    """A position on target by its readings is off by what the gauges leave: on average 0.798 of the uncertainty."""
    measuring, how = measured(5 * UM)
    (position,) = rods(1, min_nm=None, max_nm=None)
    assert position.journal is not None and position.housing_bore is not None
    position = replace(
        position,
        journal=replace(position.journal, measured_as=how),
        housing_bore=replace(position.housing_bore, measured_as=how),
    )
    shells = [make_shell(half, half, WALL, box="open", measured_as=how) for half in ("upper", "lower")]
    job = make_job([position], shells, unit="mm", measuring=measuring, boxes=told(1, shells=1))
    sure = ErrorModel(job).combined(job.positions[0], how, how)
    none, one = boxes(job, draws=400).mixes
    assert sure is not None and none.worst.mean is not None and none.worst.mean.half_width is not None
    assert abs(none.worst.mean.mean - BEST_OF[1] * sure.standard_nm) < 1.6 * none.worst.mean.half_width
    assert one.worst.mean is not None and one.worst.mean.high > none.worst.mean.low  # a box cannot mend that


def drawn_rods(number: int, micrometer: int, bore_gauge: int, band: int) -> Job:
    """Rods whose journals are measured, and whose bores are drawn within a band, with gauges of these scatters."""
    gauges = {
        name: Gauge(name, repeatability_nm=scatter, repeatability_from=100_000)
        for name, scatter in (("m", micrometer), ("g", bore_gauge))
    }
    measuring = Measuring(gauges=gauges, measured={"rod": {"journal": "m", "housing_bore": "g", "wall": "g"}})
    how = MeasuredAs((Series("m", 1, 1.0),))
    positions = [
        replace(p, journal=replace(p.journal, measured_as=how), housing_bore=None)
        for p in rods(number)
        if p.journal is not None
    ]
    middle = 45_000_000 + ROOM
    limits = {"rod": {"housing_bore": Band(middle - band, middle + band)}}
    return make_job(positions, [], unit="mm", measuring=measuring, boxes=told(1), drawing=limits)


def test_a_drawn_bore_is_read_with_its_own_error() -> None:
    """What is read of a drawn bore has the error of its gauge alone; that of the journal, which is measured, makes
    the clearance as uncertain as it is."""
    for micrometer, bore_gauge in ((5 * UM, 1), (1, 5 * UM)):
        one, reads, offs = task(drawn_rods(1, micrometer, bore_gauge, 30 * UM)), [], []
        for number in range(1_500):
            found = scene(one, 1, number)
            (position,) = found.job.positions
            assert position.housing_bore is not None
            reads.append(position.housing_bore.mean_nm - 45_000_000 - ROOM)
            offs.append(found.truth.off_room["R1"])
        single = [sqrt(2) * gauge for gauge in (micrometer, bore_gauge)]  # a reading, and the setting of its gauge
        assert sqrt(fmean(read * read for read in reads)) == pytest.approx(
            sqrt(single[1] ** 2 + (10 * UM) ** 2), rel=0.06
        )
        assert sqrt(fmean(off * off for off in offs)) == pytest.approx(sqrt(single[0] ** 2 + single[1] ** 2), rel=0.08)


def test_bores_that_read_outside_are_told() -> None:
    """A drawn bore that is refused by its reading alone is counted as such; the error of another size refuses none."""
    (kind,) = boxes(drawn_rods(2, 1, 2 * UM, 3 * UM), draws=50).kinds
    assert set(kind.misread) == {"R1", "R2"} and not kind.stuck
    (fine,) = boxes(drawn_rods(2, 5 * UM, 1, 3 * UM), draws=50).kinds
    assert not fine.misread


def test_rounding_brings_no_drawn_bore_out_of_its_limits() -> None:
    """Limits that are on no step of the readings refuse none of the bores drawn within them."""
    for low, high in ((-2_400, 2_400), (-5_300, -200), (-400, 400)):
        job = make_job([replace(rods(1)[0], housing_bore=None)], [], unit="mm", boxes=told(1))
        limits = Band(45_000_000 + ROOM + low, 45_000_000 + ROOM + high)
        one = task(replace(job, drawing={"rod": {"housing_bore": limits}}))
        for number in range(100):
            found = scene(one, 1, number)
            bore = found.job.positions[0].housing_bore
            assert bore is not None and bore.mean_nm in limits and not found.truth.misread


def test_what_is_known_of_the_gauges_in_part_is_the_least_that_counts() -> None:
    """A gain counts from the part of the uncertainty that is known, or from a step of the readings if that is more."""
    floors = {}
    for limit in (100, 50 * UM):
        gauge = Gauge("g", resolution_nm=UM, limit_nm=limit)
        named = {"rod": dict.fromkeys(("journal", "housing_bore", "wall"), "g")}
        how = MeasuredAs((Series("g", 1, 1.0),))
        positions = [
            replace(
                p, journal=replace(p.journal, measured_as=how), housing_bore=replace(p.housing_bore, measured_as=how)
            )
            for p in rods(1)
            if p.journal is not None and p.housing_bore is not None
        ]
        measuring = Measuring(gauges={"g": gauge}, measured=named)
        job = make_job(positions, [], unit="mm", measuring=measuring, boxes=told(1))
        (kind,) = boxes(job, draws=1).kinds
        assert kind.unknown
        floors[limit] = kind.floor_from, kind.floor_nm
    assert floors[100] == ("grid", UM)
    assert floors[50 * UM][0] == "known-part" and floors[50 * UM][1] > 50 * UM / sqrt(3)


def test_what_a_screw_is_off_differs_between_journal_and_bore() -> None:
    """The errors of a micrometer's limit that are drawn for a clearance do not cancel where it set the bore gauge: by
    its limit at each of the two sizes a position is off, all positions by the same."""
    gauges = {"mic": Gauge("mic", limit_nm=9 * UM), "bore": Gauge("bore", set_with="mic")}
    journal, bore = (MeasuredAs((Series(gauge, 1, 1.0),)) for gauge in gauges)
    positions = [
        replace(
            p, journal=replace(p.journal, measured_as=journal), housing_bore=replace(p.housing_bore, measured_as=bore)
        )
        for p in rods(2)
        if p.journal is not None and p.housing_bore is not None
    ]
    noise = noise_of(
        make_job(positions, [], unit="mm", measuring=Measuring(gauges=gauges)), "rod", tuple(positions), set()
    )
    assert noise is not None
    rng, offs = random.Random(7), []
    for _ in range(2_000):
        one, other = map(Errors(noise, rng).shared, noise.of_positions.values())
        assert one == other
        offs.append(one)
    assert sqrt(fmean(off * off for off in offs)) == pytest.approx(9 * UM * sqrt(2 / 3), rel=0.05)


def test_what_nobody_can_measure_is_not_worth_a_box() -> None:
    """With coarse gauges a second box is pointless where it pays with fine ones."""
    found = {}
    for scatter in (100, 4 * UM):
        measuring, how = measured(scatter)
        positions = [
            replace(
                p, journal=replace(p.journal, measured_as=how), housing_bore=replace(p.housing_bore, measured_as=how)
            )
            for p in rods(4, min_nm=None, max_nm=None)
            if p.journal is not None and p.housing_bore is not None
        ]
        job = make_job(positions, [], unit="mm", measuring=measuring, boxes=told(2, shells=4, within=4 * UM))
        found[scatter] = boxes(job, draws=LEAST_DRAWS).kinds[0]
    assert found[100].enough is None and found[4 * UM].enough == 1
    assert {one.floor_from for one in found.values()} == {"gauges"}


# --- how many are enough ---


def fed(job: Job, row: Callable[[int], list[int]], draws: int = 1_000, **more: Any) -> Studied:
    """The study of a job of rods whose draws give these rows."""
    whole = Task(1, (task(job, **more),))
    tables = Tables(whole)
    for i in range(draws):
        tables.add([tuple(row(i))])
    return studied(job, whole, tables, LeftOut({"rod": ()}, ()), draws, None)


def twins(*prices: int | None) -> Job:
    """One box may be opened, of steps that differ in their prices."""
    steps = {f"s{at}": StepTold("rod", WALL, 1, price) for at, price in enumerate(prices)}
    return make_job(rods(1), [], unit="mm", boxes=BoxesTold(1, UM, UM, steps))


def of_twins(i: int, *outcomes: tuple[int, float, float]) -> list[int]:
    """A row of mixes with this worst deviation, and these parts of the draws filled and inside."""
    found = [0]
    for worst, full, inside in outcomes:
        is_full, is_inside = i < full * 1_000, i < inside * 1_000
        off = worst if is_full else ENDLESS
        found += [off, 0, int(is_inside), 0, int(not is_full), int(not is_inside), off, *(0 for _ in outcomes)]
    return found


def best(found: Studied) -> list[str]:
    return [name for mix in found.mixes if mix.best for name in mix.opened]


def test_the_mix_that_works_is_the_one_to_take() -> None:
    """Of a number of boxes the mix likeliest to be all inside is taken, though it leaves a position empty more often
    and is off more; of those alike in that, one that fills more, then the one that is off least."""
    job = twins(None, None)
    assert best(fed(job, lambda i: of_twins(i, (36_000, 0.99, 0.0), (10_000, 0.96, 0.96)))) == ["s1"]
    assert best(fed(job, lambda i: of_twins(i, (10_000, 0.97, 0.0), (36_000, 0.99, 0.0)))) == ["s1"]
    assert best(fed(job, lambda i: of_twins(i, (10_000, 0.97, 0.5), (9_000, 0.97, 0.5)))) == ["s1"]


def test_of_mixes_as_good_the_cheapest_is_taken() -> None:
    """A dear box is not taken for a difference that does not count; it is for one that does, or where a price is not
    known."""
    slight = ((3_000, 1.0, 1.0), (2_900, 1.0, 0.999))
    assert best(fed(twins(450_000, 45_500), lambda i: of_twins(i, *slight))) == ["s1"]
    assert best(fed(twins(45_500, 450_000), lambda i: of_twins(i, *slight[::-1]))) == ["s0"]
    assert best(fed(twins(450_000, None), lambda i: of_twins(i, *slight))) == ["s0"]
    for better in ((2_000, 1.0, 0.9), (3_000, 1.0, 0.95)):
        assert best(fed(twins(450_000, 45_500), lambda i, b=better: of_twins(i, b, (3_000, 1.0, 0.9)))) == ["s0"]


def of_two_steps(std: int | None, dear: int | None, worst: dict[tuple[int, int], int]) -> Studied:
    """The study of up to three boxes of two steps at these prices, each mix with this worst deviation in every draw."""
    steps = {"std": StepTold("rod", WALL, 1, std), "dear": StepTold("rod", WALL, 1, dear)}
    job = make_job(rods(1), [], unit="mm", boxes=BoxesTold(max(map(sum, worst)), UM, UM, steps))
    row = [0]
    for mix in task(job).mixes:
        off = worst[mix.counts[0], mix.counts[1]]
        row += [off, 0, 1, 0, 0, 0, off, 0, 0]
    return fed(job, lambda _: row)


# By boxes of std and of dear: `2 dear` is the best of two, `1 std + 1 dear` the cheapest that is as good.
ONE_DEAR = {
    (1, 0): 3_400,
    (0, 1): 1_600,
    (2, 0): 2_100,
    (1, 1): 1_200,
    (0, 2): 700,
    (3, 0): 1_600,
    (2, 1): 1_000,
    (1, 2): 600,
    (0, 3): 400,
}


def test_cheap_boxes_that_do_as_well_as_a_dear_one_are_named() -> None:
    """Of any number of boxes the cheapest mix is named that is as good as the best of as many as are enough; where it
    is no cheaper, or a price is not known, none is."""
    (kind,) = of_two_steps(40_000, 900_000, ONE_DEAR).kinds
    assert (kind.enough, kind.as_well) == (2, {"std": 3})
    assert of_two_steps(800_000, 900_000, ONE_DEAR).kinds[0].as_well is None
    for prices in ((None, None), (None, 900_000), (40_000, None)):
        assert of_two_steps(*prices, ONE_DEAR).kinds[0].as_well is None


def test_as_good_is_measured_against_the_best() -> None:
    """What only the mix to take does not better, though the best of as many boxes does, is not named."""
    found = of_two_steps(40_000, 900_000, ONE_DEAR | {(3, 0): 1_800})
    assert [mix.opened for mix in found.mixes if mix.best and mix.boxes == 2] == [{"std": 1, "dear": 1}]
    assert (found.kinds[0].enough, found.kinds[0].as_well) == (2, None)


def test_fewer_boxes_do_as_well_only_where_no_more_may_be_worth_it() -> None:
    """Boxes that save little each are not left out one by one; a dearer box that is enough by itself is named."""
    small = {(0, 1): 9_000, (1, 1): 9_000, (0, 2): 9_000, (2, 1): 9_000, (1, 2): 9_000, (0, 3): 9_000}
    small |= {(4 - n, n): 9_000 for n in range(1, 5)}
    (kind,) = of_two_steps(40_000, 900_000, small | {(n, 0): 3_600 - 600 * n for n in range(1, 5)}).kinds
    assert (kind.enough, kind.as_well) == (3, None)
    one = {(1, 0): 2_450, (0, 1): 1_500, (2, 0): 900, (1, 1): 900, (0, 2): 900}
    (kind,) = of_two_steps(40_000, 60_000, one | {(3 - n, n): 900 for n in range(4)}).kinds
    assert (kind.enough, kind.as_well) == (2, {"dear": 1})


def test_a_draw_with_an_empty_position_does_not_keep_a_verdict_away() -> None:
    """Mixes are compared where both fill all positions, and by the chances; with hardly such a draw there is no
    verdict, and none that more boxes may be worth it."""
    job = make_job(rods(1), [], unit="mm", boxes=told(2))

    def rows(i: int, empty: int) -> list[int]:
        worst = ENDLESS if i < empty else 1_000
        mix = [worst, 0, int(i >= empty), 0, int(i < empty), int(i < empty), worst, 0]
        return [0, *mix, *mix]

    assert fed(job, lambda i: rows(i, 1)).kinds[0].verdict == Fact("enough", {"boxes": 1})
    assert fed(job, lambda i: rows(i, 900)).kinds[0].verdict == Fact("too-few-full", {"full": 100, "least": 200})


def test_what_is_locked_does_not_decide() -> None:
    """A position whose halves are both locked is counted in the figures, and left out of the verdict."""
    lock, *others = rods(4)
    tight = [make_shell(half, half, WALL + 4 * UM, box="open") for half in ("upper", "lower")]
    locked = replace(lock, upper=("open", "upper"), lower=("open", "lower"))
    given = told(3, shells=4, within=4 * UM)
    found = boxes(make_job([locked, *others], tight, unit="mm", boxes=given), draws=LEAST_DRAWS)
    assert all(mix.worst.mean is None or mix.worst.mean.mean >= 8 * UM for mix in found.mixes)
    assert found.kinds[0].locked == {"R1": -8 * UM}
    assert found.kinds[0].enough != 1 and found.kinds[0].verdict.code in ("enough", "worth")


def verdict(*outcomes: tuple[int, float, float], tolerance_nm: int | None = None) -> int | None:
    """`enough` of mixes of 1, 2, … boxes with these worst deviations, and these parts of the draws in which all are
    inside, and close; the floor is one um."""
    job = make_job(rods(1), [], unit="mm", boxes=told(len(outcomes)))
    whole = Task(1, (task(job, tolerance_nm=tolerance_nm),))
    tables, draws = Tables(whole), 1_000
    for i in range(draws):
        row = [0]
        for worst, inside, close in outcomes:
            row += [worst, 0, int(i < inside * draws), int(i < close * draws), 0, int(i >= inside * draws), worst, 0]
        tables.add([tuple(row)])
    return studied(job, whole, tables, LeftOut({"rod": ()}, ()), draws, None).kinds[0].enough


def test_more_boxes_are_pointless_only_if_all_of_them_together_are() -> None:
    """Boxes that each save too little are not pointless if together they save enough, whatever lies between."""
    small = [(3_000 - 600 * n, 1.0, 1.0) for n in range(4)]
    assert verdict(*small) == 3
    assert verdict((3_000, 1.0, 1.0), (2_900, 1.0, 1.0), (1_000, 1.0, 1.0)) is None
    assert verdict((3_000, 1.0, 1.0), (2_900, 1.0, 1.0), (2_800, 1.0, 1.0)) == 1


def test_a_chance_that_grows_is_a_gain() -> None:
    """A box that makes it likelier that all are inside, or within one's own tolerance, is not pointless."""
    assert verdict((1_000, 0.9, 0.0), (1_000, 0.9, 0.0)) == 1
    assert verdict((1_000, 0.9, 0.0), (1_000, 0.95, 0.0)) is None
    assert verdict((1_000, 0.9, 0.3), (1_000, 0.9, 0.35), tolerance_nm=500) is None


def test_few_draws_give_no_verdict() -> None:
    """Below the least number of draws it is said so, even where no draw differs; with that many there is a verdict."""
    job = make_job(rods(2), [], unit="mm", boxes=told(2, within=0, between=0))
    few, many = (boxes(job, draws=number).kinds[0] for number in (LEAST_DRAWS - 1, LEAST_DRAWS))
    assert (few.verdict, few.enough) == (Fact("too-few-draws", {"least": LEAST_DRAWS}), None)
    assert (many.verdict.code, many.enough) == ("enough", 1)


def test_a_bore_that_no_box_can_help() -> None:
    """A bore outside its drawing limits, and a position locked to shells that do not suit it, are named with the
    reason, and no number of boxes is said to be enough or worth it."""
    one, *others = rods(3)
    assert one.housing_bore is not None
    thick = [make_shell(half, half, WALL + 100 * UM, box="open") for half in ("upper", "lower")]
    outside = {"rod": {"housing_bore": Band(one.housing_bore.mean_nm - 9 * UM, one.housing_bore.mean_nm - UM)}}
    accepted = [replace(p, accept="letter of 3 May") for p in others]
    refused = boxes(make_job([one, *accepted], [], unit="mm", boxes=told(1), drawing=outside), draws=5)
    assert refused.kinds[0].stuck == {"R1": Fact("bore-refused", {"above": True})}
    assert refused.mixes[0].empty == {"R1": 5} and refused.mixes[0].spread.p90 is not None
    locked = replace(one, upper=("open", "upper"), lower=("open", "lower"))
    never = boxes(make_job([locked, *others], thick, unit="mm", boxes=told(1)), draws=LEAST_DRAWS)
    assert never.kinds[0].stuck == {"R1": Fact("never-filled", {"locks": ("open/upper", "open/lower")})}
    for found in (refused, never):
        assert found.kinds[0].verdict.code == "stuck" and found.kinds[0].enough is None and found.needs_attention


def test_too_few_shells() -> None:
    """Where not even all boxes hold shells for all positions that is the verdict, whatever stays empty."""
    found = boxes(make_job(rods(3), [], unit="mm", boxes=told(2, shells=1)), draws=LEAST_DRAWS)
    assert found.kinds[0].verdict == Fact("short", {"positions": 3, "room": 2, "boxes": 2})
    assert not found.kinds[0].stuck and found.needs_attention
    assert all(sum(mix.empty.values()) >= LEAST_DRAWS for mix in found.mixes)


def test_a_box_that_brings_nothing_stays_shut() -> None:
    """Where the open boxes do as well, all shells of the new ones are left over."""
    perfect = [make_shell(f"{half}{i}", half, WALL, box="z") for half in ("upper", "lower") for i in range(3)]
    found = boxes(make_job(rods(3), perfect, unit="mm", boxes=told(2, shells=4)), draws=20)
    assert [mix.left.mean for mix in found.mixes] == [0.0, 8.0, 16.0]


# --- what boxes hold ---


def opened(count: int, within: float, between: float, rng: random.Random, number: int = 20) -> Job:
    """A job with so many boxes open, their walls of this scatter."""
    shells = []
    for box in range(count):
        off = rng.gauss(0, between)
        shells += [
            make_shell(f"{half}{i}", half, round(WALL + off + rng.gauss(0, within)), box=f"b{box}")
            for half in ("upper", "lower")
            for i in range(number)
        ]
    return make_job(rods(2), shells, unit="mm")


def test_scatter_is_estimated_from_open_boxes() -> None:
    """Of many boxes the scatter within them and between them is found again, with its degrees of freedom."""
    job = opened(40, 3 * UM, 5 * UM, random.Random(1))
    walls = task(job, budget=1).steps[0].walls
    assert (walls.within_from, walls.between_from, walls.freedom) == ("measured", "measured", 40 * 2 * 19)
    assert walls.within_nm == pytest.approx(3 * UM, rel=0.06) and walls.between_nm == pytest.approx(5 * UM, rel=0.3)
    assert set(walls.means_nm) == {"upper", "lower"}


@pytest.mark.parametrize("count", [1, 3])
def test_too_few_boxes_tell_nothing_between_them(count: int) -> None:
    """Of fewer than four boxes the scatter between them is assumed: that within them, or more if more is seen."""
    walls = task(opened(count, 3 * UM, 0, random.Random(2)), budget=1).steps[0].walls
    assert walls.between_from == "assumed" and walls.between_nm >= walls.within_nm > 2 * UM
    wide = task(opened(3, 1 * UM, 30 * UM, random.Random(3)), budget=1).steps[0].walls
    assert wide.between_nm > 5 * wide.within_nm


def test_shells_on_hold_say_nothing_of_new_ones() -> None:
    """Mean and scatter are those of the shells that are not on hold; as many shells as before are in a box."""
    job = opened(2, 1 * UM, 0, random.Random(6), number=4)
    bent = [make_shell(f"x{i}", "upper", WALL + 500 * UM * i, box="b0", hold="bent") for i in (1, 2)]
    held = task(replace(job, shells=(*job.shells, *bent)), budget=1).steps[0]
    assert held.walls == task(job, budget=1).steps[0].walls
    assert len(held.halves) == 10 and not any(half.hold for half in held.halves)


def test_walls_that_read_alike_are_not_known_to_be_alike() -> None:
    """What the rounding of readings may hide is the least scatter, within boxes and, of few or many, between them."""
    for count in (1, 5):
        walls = task(opened(count, 0, 0, random.Random(9)), budget=1).steps[0].walls
        assert (walls.within_from, walls.freedom, walls.between_freedom) == ("rounding", None, None)
        assert walls.within_nm == walls.between_nm == pytest.approx(UM / sqrt(12))
        assert walls.between_from == ("assumed" if count == 1 else "rounding")


def test_a_box_of_few_shells_tells_little_of_the_mean() -> None:
    """The mean is as uncertain as the boxes that it is mostly of, each weighted by its shells."""
    shells = [
        make_shell(f"{half}{i}", half, WALL + i % 2 * 6 * UM, box=box)
        for box, number in (("a", 16), ("b", 1))
        for half in ("upper", "lower")
        for i in range(number)
    ]
    walls = task(make_job(rods(1), shells, unit="mm"), budget=1).steps[0].walls
    assert walls.mean_off_nm(0.0, 17.0) == pytest.approx(sqrt(16**2 + 1))


def test_what_few_boxes_say_of_the_scatter_between_them_is_drawn() -> None:
    """The mean of a new box lies as Student's t has it beside a scatter of three degrees of freedom: beyond 3.18 of it
    in 5 % of the draws. What is assumed is as wrong as the scatter that it was assumed from."""
    one = task(replace(opened(4, 0, 20 * UM, random.Random(8)), boxes=told(1)), budget=1)
    walls = one.steps[0].walls
    found = replace(
        one,
        steps=(
            one.steps[0]._replace(
                walls=walls._replace(within_nm=0.0, between_nm=20.0 * UM, between_from="measured", between_freedom=3)
            ),
        ),
    )
    offs = [(scene(found, 1, i).boxes[0][0][0].wall_nm or 0) - WALL for i in range(2_000)]
    assert sum(abs(off) > 3.182 * 20 * UM for off in offs) / 2_000 == pytest.approx(0.05, abs=0.015)
    assumed = walls._replace(within_nm=1.0, freedom=3, between_nm=2.0, between_from="assumed", between_freedom=None)
    pairs = [assumed.drawn(random.Random(i)) for i in range(50)]
    assert len(set(pairs)) == 50 and all(between == pytest.approx(2 * within) for within, between in pairs)


def test_the_scatter_of_readings_is_no_scatter_of_walls() -> None:
    """What reading the walls adds is taken off what their readings show."""
    shells = [("", shell) for shell in opened(30, 5 * UM, 0, random.Random(4)).shells]
    as_read, less = (walls_of(shells, [], read_with, (None, None, None), None, UM) for read_with in (0.0, 3 * UM))
    assert as_read is not None and less is not None
    assert less.within_nm == pytest.approx(sqrt(as_read.within_nm**2 - (3 * UM) ** 2))


def test_what_is_written_goes_first() -> None:
    """Mean and scatter under [boxes] go before what was measured, and that before the drawing."""
    job = replace(
        opened(5, 3 * UM, UM, random.Random(5)), drawing={"rod": {"wall": Band(WALL - 6 * UM, WALL + 6 * UM)}}
    )
    assert task(job, budget=1).steps[0].walls.within_from == "measured"
    written = task(replace(job, boxes=told(1))).steps[0].walls
    assert (written.mean_from, written.within_from, written.between_from) == ("written",) * 3
    drawn = task(replace(job, shells=()), budget=1).steps[0].walls
    assert (drawn.mean_from, drawn.within_from, drawn.between_from) == ("drawing", "drawing", "assumed")
    assert drawn.within_nm**2 + drawn.between_nm**2 == pytest.approx((2 * UM) ** 2)


def test_a_box_holds_what_an_open_one_holds() -> None:
    """New boxes have as many halves, with the same marks, as the largest open box of their step."""
    shells = [
        make_shell(str(i), half, WALL + i * UM, box="b", marks=("yes",))
        for i, half in enumerate(("upper", "lower") * 3)
    ]
    job = make_job(rods(2), shells, unit="mm", shell_columns=("finish",))
    step = task(job, budget=1).steps[0]
    assert step.halves_from == "open" and [(h.half, h.marks) for h in step.halves] == [
        (s.half, s.marks) for s in shells
    ]


def test_steps_are_told_by_what_is_printed() -> None:
    """Boxes of another step are another step to open, with walls of their own; so are boxes all of one grade."""
    thin = [make_shell(f"u{i}", "upper", WALL + i, box="a", step="0") for i in range(3)]
    thick = [make_shell(f"u{i}", "upper", WALL + 25 * UM + i, box="b", step="0.05") for i in range(3)]
    steps = task(make_job(rods(1), [*thin, *thick], unit="mm"), budget=1).steps
    assert [step.name for step in steps] == ["0", "0.05"]
    assert [round(step.walls.means_nm["upper"]) for step in steps] == [WALL + 1, WALL + 25 * UM + 1]
    graded = [replace(shell, step="", grade=shell.box) for shell in (*thin, *thick)]
    assert [step.name for step in task(make_job(rods(1), graded, unit="mm"), budget=1).steps] == ["a", "b"]


def test_sealed_boxes_of_the_shelf() -> None:
    """Only sealed boxes of the job's families can be opened, as many as there are, the cheapest first."""
    fits = {"rod": fitmatch.read_job(Path(__file__).parents[2] / "samples" / "generator-five").fits["rod"]}
    job = make_job(rods(2), [], unit="mm", boxes=told(5), fits={"rod": replace(fits["rod"], family=("narrow",))})
    sealed = [Sealed("rod", "Narrow", "std", price) for price in (9_000, None, 7_000)]
    sealed += [Sealed("rod", "wide", "std", 1), Sealed("main", "narrow", "std", 1)]
    one = task(job, sealed=sealed)
    assert [(s.name, s.prices_thousandths) for s in one.steps] == [("std", (7_000, 9_000, None))]
    assert [mix.boxes for mix in one.mixes] == [1, 2, 3]
    found = boxes(job, draws=2, sealed=sealed)
    assert [mix.price for mix in found.mixes] == [7_000, 16_000, None]


def test_readings_of_an_inch_job_are_in_tenths() -> None:
    """Where no reading tells a step, drawn walls are read in half tenths in a job in inches, in um in one in mm."""
    for unit, grid in (("in", 1_270), ("mm", UM)):
        one = task(make_job([replace(rods(1)[0])], [], unit=unit, boxes=told(1)))
        assert one.grid_nm == grid
        assert all((s.wall_nm or 0) % grid == 0 for s in scene(one, 1, 0).boxes[0][0])


def test_no_draw_depends_on_a_price() -> None:
    """What draws are worked from, and a study resumed by, is the same at any price."""
    cheap, dear = (Task(1, (task(make_job(rods(1), [], unit="mm", boxes=told(1, price=price))),)) for price in (1, 2))
    assert cheap != dear and cheap.unpriced == dear.unpriced and cheap.unpriced.kinds[0].steps[0].stock == 1


def test_every_mix_within_the_budget() -> None:
    """All numbers of all steps up to the budget are looked at, that of none only where a box is open."""
    steps = {name: StepTold("rod", WALL, 2) for name in ("a", "b")}
    given = BoxesTold(2, UM, UM, steps)
    counts = [mix.counts for mix in task(make_job(rods(1), [], unit="mm", boxes=given)).mixes]
    assert counts == [(1, 0), (0, 1), (2, 0), (1, 1), (0, 2)]
    some = make_job(rods(1), make_shells("upper", [WALL]), unit="mm", boxes=given)
    assert task(some).mixes[0].counts == (0, 0)


def test_what_is_left_over_costs_its_share() -> None:
    """Shells of new boxes that no position takes cost their share of the price."""
    found = boxes(make_job(rods(2), [], unit="mm", boxes=told(2, shells=4, price=80_000)), draws=5)
    one, two = found.mixes
    assert (one.price, one.left, one.left_price) == (80_000, (4.0, 0.0), (40_000.0, 0.0))
    assert (two.price, two.left, two.left_price) == (160_000, (12.0, 0.0), (120_000.0, 0.0))


@pytest.mark.parametrize(
    ("job", "code"),
    [
        (make_job(rods(1), [], unit="mm"), "no-budget"),
        (make_job(rods(1), [], unit="mm", boxes=BoxesTold(1)), "no-walls"),
        (make_job(rods(1), make_shells("upper", [WALL]), unit="mm", boxes=BoxesTold(1)), "no-scatter"),
        (make_job([replace(rods(1)[0], journal=None)], [], unit="mm", boxes=told(1)), "nothing-measured"),
        (
            make_job(
                rods(1),
                [],
                unit="mm",
                boxes=BoxesTold(8, UM, UM, {f"s{i}": StepTold("rod", WALL, 1) for i in range(6)}),
            ),
            "too-many-mixes",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "job",
)
def test_what_cannot_be_studied(job: Job, code: str) -> None:
    """Without a budget, a wall, a scatter or a size there is nothing to draw from, and too many mixes are refused."""
    with pytest.raises(NotPossible) as refused:
        boxes(job, draws=1)
    assert refused.value.why.code == code


def test_a_step_without_walls_does_not_keep_others_from_being_studied() -> None:
    """A kind, or a step, of which nothing is known to draw from is left out and told; with none left it is refused."""
    steps = {"std": StepTold("rod", WALL, 2), "thick": StepTold("rod", None, 2), "main": StepTold("main", None, 2)}
    mains = [replace(p, name=f"M{i}", kind="main") for i, p in enumerate(rods(2))]
    job = make_job([*rods(2), *mains], [], unit="mm", boxes=BoxesTold(1, UM, UM, steps))
    found = boxes(job, draws=2)
    assert [(mix.kind, mix.opened) for mix in found.mixes] == [("rod", {"std": 1})] and found.needs_attention
    assert [(why.code, why.slots) for why in found.left_out] == [
        ("no-walls", {"kind": "rod", "step": "thick"}),
        ("no-walls", {"kind": "main", "step": "main"}),
    ]
    assert not boxes(make_job(rods(2), [], unit="mm", boxes=told(1)), kind="rod", draws=2).left_out
    for kind, code in (("main", "no-walls"), ("cam", "no-kind")):
        with pytest.raises(NotPossible) as refused:
            boxes(job, kind=kind, draws=2)
        assert refused.value.why.code == code


def test_positions_without_sizes_are_left_out() -> None:
    """A position that is neither measured nor drawn is left out and told; one with drawing limits is drawn in them."""
    measured_one, lacking = rods(2)
    job = make_job([measured_one, replace(lacking, housing_bore=None)], [], unit="mm", boxes=told(1))
    assert boxes(job, draws=1).kinds[0].left_out == (lacking.name,)
    assert boxes(job, draws=1).needs_attention
    bores = Band(45_000_000 + ROOM - UM, 45_000_000 + ROOM + UM)
    drawn = replace(job, drawing={"rod": {"housing_bore": bores}})
    for number in range(50):
        bore = scene(task(drawn), 1, number).job.positions[1].housing_bore
        assert bore is not None and bore.mean_nm in bores and bore.mean_nm % UM == 0
    assert not boxes(drawn, draws=1).needs_attention


# --- figures ---


@pytest.mark.parametrize("count", [20, 100, 1_000, 5_000])
def test_the_interval_of_a_percentile(count: int) -> None:
    """The ranks are the nearest between which the binomial distribution puts at least 95 %."""
    values = list(range(1, count + 1))
    found = intervals.percentile(values)
    assert found.value == -(-count * 9 // 10)
    low = found.low or 0
    assert stats.binom.cdf(low - 1, count, 0.9) <= 0.025 < stats.binom.cdf(low, count, 0.9)
    if found.high is None:
        assert stats.binom.cdf(count - 1, count, 0.9) < 0.975
    else:
        assert stats.binom.cdf(found.high - 1, count, 0.9) >= 0.975 > stats.binom.cdf(found.high - 2, count, 0.9)


@pytest.mark.parametrize(("hits", "count"), [(0, 10), (3, 10), (10, 10), (617, 1_000)])
def test_the_interval_of_a_chance(hits: int, count: int) -> None:
    """As another implementation of the score interval gives it."""
    found, other = intervals.chance(hits, count), stats.binomtest(hits, count).proportion_ci(method="wilson")
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-9)


def test_the_interval_of_a_gain_of_a_chance() -> None:
    """It holds the truth in 95 of 100 studies, also where hardly any draw differs; never is it without width."""
    rng, held = random.Random(3), 0
    for _ in range(400):
        less = [int(rng.random() < 0.95) for _ in range(200)]
        more = [max(a, int(rng.random() < 0.6)) for a in less]
        found = intervals.likelier(less, more)
        held += found.low <= 0.05 * 0.6 <= found.high
    assert held >= stats.binom.ppf(0.001, 400, 0.94)
    assert 0 < intervals.likelier([1] * 200, [1] * 200).high < 0.01 < intervals.likelier([1] * 100, [1] * 100).high


def test_the_interval_of_a_mean() -> None:
    """As another implementation of Student's interval gives it."""
    values = [3, 8, 1, 9, 40, 2]
    found = intervals.mean(values)
    low, high = stats.t.interval(0.95, 5, fmean(values), stats.sem(values))
    assert (found.mean, found.low, found.high) == pytest.approx((fmean(values), low, high))
    assert intervals.mean([5]) == (5.0, None)


def test_figures_where_positions_stay_empty() -> None:
    """Draws with an empty position have no mean; a percentile stands where fewer than one in ten are so."""
    job = make_job(rods(3), [], unit="mm", boxes=told(2, shells=2))
    one, two = boxes(job, draws=20).mixes
    assert one.worst.mean is None and one.worst.p90 is None and one.inside is not None and one.inside.value == 0
    assert two.worst.mean is not None and two.gain is not None and two.gain.worst is None
    assert two.gain.inside.value == 1.0 and one.spread.mean is None and two.gain.spread is None
    assert sum(one.empty.values()) == 20 and not two.empty


def test_from_python(tmp_path: Path) -> None:
    """`fitmatch.boxes` gives a frame with a row for every mix."""
    frame = fitmatch.boxes(make_job(rods(2), [], unit="mm", boxes=told(2)), draws=5).to_frame()
    assert list(frame["boxes"]) == [1, 2] and list(frame["open"]) == ["1 std", "2 std"]
    assert frame["worst_deviation"].iloc[0] < 0.01
    assert list(frame["best"]) == [True, True]
