"""Small cases whose best figures were worked out by hand; the exhaustive search and the optimizer must both agree."""

from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell, make_shells
from oracles import oracle
from oracles.rulebook import Rules, with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, Band, Fit, Position

ROOM = 2 * WALL + TARGET  # two nominal walls leave exactly the target
ANY_WALLS = Rules(wall_difference_nm=None)


def walls(*steps: int) -> list[int]:
    """Walls that are off the nominal by so many steps."""
    return [WALL + n * STEP for n in steps]


def positions(*steps: int, width: int | None = 6, **more: object) -> list[Position]:
    """Positions whose rooms are off by so many steps, with limits `width` steps either side of the target."""
    limits = {} if width is None else {"min_nm": TARGET - width * STEP, "max_nm": TARGET + width * STEP}
    return [make_position(f"R{i}", ROOM + n * STEP, **limits, **more) for i, n in enumerate(steps, 1)]


def assert_figures(job: Job, strategy: str = "target", slack_nm: int = 0, **expected: int) -> None:
    """Both the exhaustive search and the optimizer give these figures."""
    with_boxes = strategy == "keep-sets"
    searched = oracle.best(job, "rod", strategy, slack_nm)
    plan = best_plan(job, strategy=strategy, slack_nm=slack_nm)
    assigned = oracle.levels_of(plan, "rod", with_boxes=with_boxes)
    assert {name: getattr(searched, name) for name in expected} == expected
    assert {name: getattr(assigned, name) for name in expected} == expected
    assert not oracle.faults_of(plan)


def test_one_position_takes_the_pair_on_target() -> None:
    """A single position takes the pair that hits the target."""
    job = make_job(positions(0), make_shells("upper", walls(2, 1)) + make_shells("lower", walls(1, -1)))
    assert_figures(job, worst_nm=0, clearance_nm=TARGET, wall_difference_nm=2 * STEP)


def test_filling_comes_before_quality() -> None:
    """Two positions inside their limits beat one on target and one outside."""
    # Uppers 0 and 5: the first position takes 0 and leaves the second 5 (deviation 0 - 5 - 3 = -8, outside 6), or the
    # first takes 5 (deviation -5) and the second 0 (deviation -3).
    job = make_job(
        positions(0, -3), make_shells("upper", walls(0, 5)) + make_shells("lower", walls(0, 0)), rules=ANY_WALLS
    )
    assert_figures(job, outside_or_empty=0, worst_nm=5 * STEP, sum_squared_nm2=34 * STEP**2, spread_nm=2 * STEP)


def test_the_wished_band_comes_before_the_target() -> None:
    """A pair in the wanted band is taken before one on target, and too loose for it before too tight."""
    uppers, lowers = make_shells("upper", walls(0, -2)), make_shells("lower", walls(0))
    wish = {"want_min_nm": TARGET + 2 * STEP, "want_max_nm": TARGET + 3 * STEP}
    assert_figures(make_job(positions(0, **wish), uppers + lowers), below_want=0, above_want=0, worst_nm=2 * STEP)
    wish = {"want_min_nm": TARGET + STEP, "want_max_nm": TARGET + STEP}
    assert_figures(make_job(positions(0, **wish), uppers + lowers), above_want=1, want_excess_nm=STEP)
    tight = make_shells("upper", walls(1, 0))
    assert_figures(make_job(positions(0, **wish), tight + lowers), below_want=1, want_shortfall_nm=STEP)


def test_the_wish_binds_every_filled_position_and_knows_no_guard() -> None:
    """A position below min is below the wish as well, and counts there by its mean clearance; a locked one too."""
    wish = {"want_min_nm": TARGET - 2 * STEP, "low": 3 * STEP}
    job = make_job(positions(0, width=2, **wish), make_shells("upper", walls(0)) + make_shells("lower", walls(0)))
    assert_figures(job, outside_or_empty=1, below=1, shortfall_nm=STEP, below_want=0)
    locked = {"upper": ("box-1", "u1"), "lower": ("box-1", "l1"), "want_max_nm": TARGET - STEP}
    job = make_job(positions(0, **locked), make_shells("upper", walls(0)) + make_shells("lower", walls(0)))
    assert_figures(job, outside_or_empty=0, above_want=1, want_excess_nm=STEP)
    assert best_plan(job).figures["rod"].above_want == 1
    assert not best_plan(job).needs_attention


def test_too_tight_is_worse_than_too_loose() -> None:
    """A pair far above max is taken before one that is a nanometre below min."""
    shells = make_shells("upper", [WALL + STEP + 1, WALL - 9 * STEP]) + make_shells("lower", walls(0))
    job = make_job(positions(0, width=1), shells, rules=ANY_WALLS)
    assert_figures(job, outside_or_empty=1, empty=0, below=0, shortfall_nm=0, excess_nm=8 * STEP)


def test_filled_outside_comes_before_empty() -> None:
    """A position that no pair fits is filled with the least bad choice."""
    job = make_job(
        positions(0, width=1), make_shells("upper", walls(9, 7)) + make_shells("lower", walls(0)), rules=ANY_WALLS
    )
    assert_figures(job, outside_or_empty=1, empty=0, below=1, shortfall_nm=6 * STEP, worst_nm=0)


def test_no_clearance_is_no_fill() -> None:
    """A clearance of zero is inside a min of zero and still fills nothing; one nanometre does."""
    place = make_position("R1", 2 * WALL, target=STEP, min_nm=0, max_nm=9 * STEP)
    lower = make_shells("lower", [WALL])
    assert_figures(make_job([place], [*make_shells("upper", [WALL]), *lower]), outside_or_empty=1, empty=1)
    job = make_job([place], [*make_shells("upper", [WALL - 1]), *lower])
    assert_figures(job, outside_or_empty=0, empty=0, worst_nm=STEP - 1)


def test_limits_themselves_are_inside() -> None:
    """A clearance of exactly min or exactly max is inside the limits."""
    job = make_job(positions(1, -1, width=1), make_shells("upper", walls(0, 0)) + make_shells("lower", walls(0, 0)))
    assert_figures(job, outside_or_empty=0, worst_nm=STEP)


def test_min_is_checked_with_the_tightest_readings() -> None:
    """The smallest bore and the largest journal decide about min, unless the means are to; the means about max."""
    place = positions(0, width=1, low=STEP, high=1)
    shells = make_shells("upper", [WALL]) + make_shells("lower", [WALL])
    assert_figures(make_job(place, shells), outside_or_empty=1, below=1, shortfall_nm=1)
    assert_figures(make_job(place, shells, rules=Rules(limits_at="mean")), outside_or_empty=0, below=0)


def test_even_and_target_differ() -> None:
    """`even` takes equal clearances off the target where `target` takes unequal ones nearer to it."""
    # Uppers -3, -3 give deviations 3 and 3; uppers 0 and 1 give 0 and -1.
    job = make_job(positions(0, 0), make_shells("upper", walls(-3, -3, 0, 1)) + make_shells("lower", walls(0, 0)))
    assert_figures(job, "target", worst_nm=STEP, spread_nm=STEP)
    assert_figures(job, "even", worst_nm=3 * STEP, spread_nm=0)
    assert_figures(job, "even", slack_nm=STEP, worst_nm=STEP, spread_nm=STEP)


def test_slack_gives_up_the_worst_for_the_sum() -> None:
    """Slack lets the worst deviation go for a smaller sum of squares, and is not used up for nothing."""
    # Uppers (-3, 0) on the rooms (0, 3): deviations 3 and 3. Uppers (0, 7): 0 and -4. Uppers (-3, 7): 3 and -4.
    shells = make_shells("upper", walls(-3, 0, 7)) + make_shells("lower", walls(0, 0))
    job = make_job(positions(0, 3, width=9), shells, rules=ANY_WALLS)
    near = {"worst_nm": 3 * STEP, "sum_squared_nm2": 18 * STEP**2, "spread_nm": 0}
    far = {"worst_nm": 4 * STEP, "sum_squared_nm2": 16 * STEP**2, "spread_nm": 4 * STEP}
    assert_figures(job, slack_nm=0, **near)
    assert_figures(job, slack_nm=STEP - 1, **near)
    assert_figures(job, slack_nm=STEP, **far)
    assert_figures(job, slack_nm=9 * STEP, **far)
    assert_figures(job, "even", slack_nm=9 * STEP, **near)


def test_looser_is_safer_between_equals() -> None:
    """Between a deviation up and the same one down, the larger clearance is taken."""
    job = make_job(positions(0), make_shells("upper", walls(2, -2)) + make_shells("lower", walls(0)))
    assert_figures(job, worst_nm=2 * STEP, clearance_nm=TARGET + 2 * STEP, wall_difference_nm=2 * STEP)


def test_equal_walls_between_equals() -> None:
    """Between two ways to the same clearances, the one with the more equal walls is taken."""
    job = make_job(positions(0, 0), make_shells("upper", walls(2, -2)) + make_shells("lower", walls(2, -2, 0)))
    assert_figures(job, worst_nm=0, wall_difference_nm=8 * STEP)  # only 2 with -2 and -2 with 2 hit the target
    job = make_job(positions(0), make_shells("upper", walls(2, 0)) + make_shells("lower", walls(-2, 0)))
    assert_figures(job, worst_nm=0, wall_difference_nm=0)


def test_keep_sets_trades_slack_for_boxes() -> None:
    """`keep-sets` stays within one box as long as the worst deviation stays within the slack."""
    box_1 = make_shells("upper", walls(1), box="box-1") + make_shells("lower", walls(1), box="box-1")
    box_2 = make_shells("upper", walls(0), box="box-2") + make_shells("lower", walls(0, -1), box="box-2")
    job = make_job(positions(1, width=9), box_1 + box_2)
    # Upper 1 with lower 0, or upper 0 with lower 1, hit the target from two boxes; box 2 alone is 1 off, box 1 too.
    assert_figures(job, worst_nm=0)
    assert_figures(job, "keep-sets", slack_nm=0, boxes=2, worst_nm=0)
    assert_figures(job, "keep-sets", slack_nm=STEP - 1, boxes=2, worst_nm=0)
    assert_figures(job, "keep-sets", slack_nm=STEP, boxes=1, worst_nm=STEP, clearance_nm=TARGET + STEP)


def test_keep_sets_is_as_good_as_its_boxes_allow() -> None:
    """With the number of boxes settled, `keep-sets` takes the best boxes of that number and spends no slack on them."""
    shells = [
        *make_shells("upper", walls(3), box="box-1"),
        *make_shells("lower", walls(0), box="box-1"),
        *make_shells("upper", walls(-2), box="box-2"),
        *make_shells("lower", walls(0), box="box-2"),
    ]
    job = make_job(positions(0), shells)
    assert_figures(job, "keep-sets", slack_nm=9 * STEP, boxes=1, worst_nm=2 * STEP)


def test_keep_sets_counts_locked_boxes() -> None:
    """A box is drawn from when only a locked shell of it is placed."""
    shells = [
        *make_shells("upper", walls(0), box="box-1"),
        *make_shells("upper", walls(0), box="box-2"),
        *make_shells("lower", walls(0), box="box-2"),
    ]
    place = positions(0)[0]
    assert_figures(make_job([place], shells), "keep-sets", boxes=1)
    assert_figures(make_job([replace(place, upper=("box-1", "u1"))], shells), "keep-sets", boxes=2)


def test_walls_may_differ_by_the_rule_itself() -> None:
    """A wall difference equal to the rule obeys it; one nanometre more does not."""
    shells = make_shells("upper", walls(2)) + make_shells("lower", walls(-2))
    for most, empty in ((4 * STEP, 0), (4 * STEP - 1, 1), (None, 0)):
        assert_figures(make_job(positions(0), shells, rules=Rules(wall_difference_nm=most)), empty=empty)


def test_a_lock_excuses_only_what_it_breaks_alone() -> None:
    """The wall difference of two locked halves is excused, of one locked and one free half it is not."""
    shells = make_shells("upper", walls(9, 8)) + make_shells("lower", walls(-9))
    both = replace(positions(0)[0], upper=("box-1", "u1"), lower=("box-1", "l1"))
    assert_figures(make_job([both], shells), empty=0, outside_or_empty=0)
    assert_figures(make_job([replace(both, lower=None)], shells), empty=1)


def test_bores_locked_in_both_halves_do_not_count() -> None:
    """A bore locked in both halves enters level 0, but no figure of quality."""
    shells = make_shells("upper", walls(5, 1)) + make_shells("lower", walls(0, 0))
    first, second = positions(0, 0)
    job = make_job([replace(first, upper=("box-1", "u1"), lower=("box-1", "l1")), second], shells, rules=ANY_WALLS)
    assert_figures(job, outside_or_empty=0, worst_nm=STEP, sum_squared_nm2=STEP**2, spread_nm=0)


@pytest.mark.parametrize("why", ["no partner", "no journal", "no wall"])
def test_a_locked_shell_stays_reserved(why: str) -> None:
    """A shell locked to a position that stays empty is used nowhere else, though it would fit there."""
    first, second = positions(0, 0)
    shells = make_shells("upper", walls(0, 3)) + make_shells("lower", walls(0))
    first = replace(first, upper=("box-1", "u1"))
    if why == "no partner":
        first = replace(first, wants_lower=("wide",), wants_upper=("wide",))
    elif why == "no journal":
        first = replace(first, journal=None)
    else:
        shells.append(make_shell("blank", "lower", None))
        first = replace(first, lower=("box-1", "blank"))
    second = replace(second, wants_upper=("",), wants_lower=("",))
    shells = [replace(s, marks=("",)) for s in shells]
    job = make_job([first, second], shells, matched_columns=("flange",), shell_columns=("flange",))
    waiting = int(why == "no partner")
    assert_figures(job, outside_or_empty=waiting, empty=waiting, worst_nm=3 * STEP)
    plan = best_plan(job)
    assert {s.name for s in plan.leftover} == set()
    assert [p.name for p in plan.plans[0].unmeasured_positions] == ([] if waiting else ["R1"])


def test_an_either_shell_serves_one_half_once() -> None:
    """A shell for either half fills an upper or a lower place, not both at once."""
    place = positions(0)
    assert_figures(make_job(place, [make_shell("1", "either", WALL)]), empty=1)
    assert_figures(make_job(place, [make_shell("1", "either", WALL), make_shell("2", "either", WALL)]), empty=0)
    assert_figures(make_job(place, [make_shell("1", "either", WALL), make_shell("2", "upper", WALL)]), empty=0)


@pytest.mark.parametrize("wanted, empty", [("upper", 0), ("lower", 1), ("same", 0)])
def test_the_thicker_half_goes_where_the_rule_says(wanted: str, empty: int) -> None:
    """A thicker upper half is refused where the thicker one belongs below, beyond the dead band only."""
    shells = make_shells("upper", walls(2)) + make_shells("lower", walls(0))
    rules = Rules(thick_half={"rod": wanted}, thick_half_from_nm=2 * STEP - 1)
    assert_figures(make_job(positions(0), shells, rules=rules), empty=empty)
    assert_figures(make_job(positions(0), shells, rules=replace(rules, thick_half_from_nm=2 * STEP)), empty=0)


def test_thicker_halves_stay_on_one_side() -> None:
    """With `same`, one bore thick above and one thick below is no plan; a bore locked in both halves has no say."""
    # Only (2, -2) and (-2, 2) are inside the limits; with `same` one of them, and an empty bore, is the most inside.
    shells = make_shells("upper", walls(2, -2)) + make_shells("lower", walls(-2, 2))
    same = Rules(thick_half={"rod": "same"}, thick_half_from_nm=0)
    places = positions(0, 0, width=1)
    assert_figures(make_job(places, shells), worst_nm=0, outside_or_empty=0)
    assert_figures(make_job(places, shells, rules=same), outside_or_empty=1, empty=1, worst_nm=0)
    locked = [replace(places[0], upper=("box-1", "u1"), lower=("box-1", "l1")), places[1]]
    assert_figures(make_job(locked, shells, rules=same), outside_or_empty=0, worst_nm=0)


def test_halves_of_one_bore_agree() -> None:
    """A column named in same_in_bore must agree between the halves; blank is a value, `any` agrees with all."""
    for upper, lower, empty in (("a", "a", 0), ("a", "b", 1), ("a", "", 1), ("", "", 0), (ANY, "b", 0), ("", ANY, 0)):
        shells = [make_shell("u", "upper", WALL, marks=(upper,)), make_shell("l", "lower", WALL, marks=(lower,))]
        job = make_job(positions(0), shells, rules=Rules(same_in_bore=("series",)), shell_columns=("series",))
        assert_figures(job, empty=empty)


def test_matched_columns_and_locks() -> None:
    """Shells agree with what their position wants of that half; a locked shell is excused for itself only."""
    shells = [make_shell("u", "upper", WALL, marks=("",)), make_shell("l", "lower", WALL, marks=("f",))]
    columns = {"matched_columns": ("flange",), "shell_columns": ("flange",)}
    place = positions(0)[0]
    for wants_upper, wants_lower, lock, empty in (
        ("", "f", None, 0),
        ("", "", None, 1),
        (ANY, ANY, None, 0),
        ("", "", ("box-1", "l"), 0),
        ("f", "", ("box-1", "l"), 1),
    ):
        wanting = replace(place, wants_upper=(wants_upper,), wants_lower=(wants_lower,), lower=lock)
        assert_figures(make_job([wanting], shells, **columns), empty=empty)


def test_families() -> None:
    """A shell of another family, or of none, stays out unless it is locked."""
    place = positions(0)[0]
    fits = {"rod": Fit("rod", TARGET, family=("a12",))}
    for family, lock, empty in (("a12", None, 0), ("b7", None, 1), ("", None, 1), ("", ("box-1", "u"), 0)):
        shells = [make_shell("u", "upper", WALL, family=family), make_shell("l", "lower", WALL, family="a12")]
        assert_figures(make_job([replace(place, upper=lock)], shells, fits=fits), empty=empty)


def test_housing_bores_outside_the_drawing() -> None:
    """A housing bore outside its drawing limits is not filled, even with locks, unless its row says why it may be."""
    place = positions(0)[0]
    shells = make_shells("upper", walls(0)) + make_shells("lower", walls(0))
    at = place.housing_bore.mean_nm
    for band, accept, lock, empty in (
        (Band(at, at), None, None, 0),
        (Band(at + 1, at + 9), None, None, 1),
        (Band(at - 9, at - 1), None, ("box-1", "u1"), 1),
        (Band(at + 1, at + 9), "measured twice", None, 0),
    ):
        job = make_job([replace(place, accept=accept, upper=lock)], shells, drawing={"rod": {"housing_bore": band}})
        assert_figures(job, empty=empty)
        if accept:
            assert [flag.position for flag in best_plan(job).flags] == ["R1"]


def test_a_journal_or_wall_outside_the_drawing_is_used_and_flagged() -> None:
    """Drawing bands of journals and walls decide nothing; what is outside is flagged."""
    place = positions(0)[0]
    shells = make_shells("upper", walls(0)) + make_shells("lower", walls(0))
    journal = place.journal.mean_nm
    for drawing, flagged in (
        ({"journal": Band(journal, journal), "wall": Band(WALL, WALL)}, False),
        ({"journal": Band(journal + 1, journal + 2)}, True),
        ({"wall": Band(WALL + 1, WALL + 2)}, True),
    ):
        job = make_job([place], shells, drawing={"rod": drawing})
        assert_figures(job, empty=0, worst_nm=0)
        plan = best_plan(job)
        assert bool(plan.flags) == flagged == plan.needs_attention


def test_held_shells_are_not_used() -> None:
    """A held shell is no candidate, however well it fits."""
    held = make_shell("u", "upper", WALL, hold="scratched")
    lowers = make_shells("lower", walls(0))
    assert_figures(make_job(positions(0), [held, *lowers]), empty=1)
    assert_figures(make_job(positions(0), [held, make_shell("v", "upper", WALL + STEP), *lowers]), worst_nm=STEP)


def test_seating_widens_the_room() -> None:
    """Seating adds to the clearance, whatever its sign."""
    shells = make_shells("upper", walls(0)) + make_shells("lower", walls(0))
    for seating in (-STEP, 0, 2 * STEP):
        job = make_job(positions(0, seating_nm=seating), shells)
        assert_figures(job, worst_nm=abs(seating), clearance_nm=TARGET + seating)


def test_without_limits_everything_is_inside() -> None:
    """A position with neither min nor max is inside its limits at any clearance above zero."""
    job = make_job(
        positions(0, width=None), make_shells("upper", walls(-19)) + make_shells("lower", walls(0)), rules=ANY_WALLS
    )
    assert_figures(job, outside_or_empty=0, worst_nm=19 * STEP)


def test_as_boxed_by_hand_worked() -> None:
    """As boxed: boxes in natural order, a shell that does not match waits for the next, a pair without clearance is
    put back."""
    shells = [
        make_shell("1", "upper", WALL, box="box-10"),
        make_shell("2", "upper", WALL + 2 * STEP, box="box-2", marks=("f",)),
        make_shell("3", "upper", WALL + STEP, box="box-2"),
        make_shell("4", "lower", WALL, box="box-10"),
        make_shell("5", "either", WALL - STEP, box="box-1"),
    ]
    shells = [replace(s, marks=s.marks or ("",)) for s in shells]
    first, second, third = positions(0, -40, 0, wants_upper=("",), wants_lower=("",))
    third = replace(third, wants_upper=("f",))
    columns = {"matched_columns": ("flange",), "shell_columns": ("flange",)}
    job = make_job([first, second, third], shells, **columns)
    # R1 passes shell 2 over and takes 3 and 4: deviation -1. R2 finds 1 and 5 without clearance: put back. R3 takes
    # the shell 2 that waited, and 5, since no lower is left: deviation -2 + 1 = -1, walls 3 steps apart.
    filled, broken = oracle.as_boxed(job, "rod")
    assert [(p.name, pair.upper.name, pair.lower.name) for p, pair in filled] == [("R1", "3", "4"), ("R3", "2", "5")]
    assert broken == 0
    tighter = with_rules(job, Rules(wall_difference_nm=3 * STEP - 1))
    assert oracle.as_boxed(tighter, "rod")[1] == 1
    for some, rules_broken in ((job, 0), (tighter, 1)):
        baseline = best_plan(some).baselines["as-boxed"]["rod"]
        assert (baseline.figures.filled, baseline.figures.sum_squared_deviation_nm2) == (2, 2 * STEP**2)
        assert (baseline.figures.boxes, baseline.rules_broken) == (3, rules_broken)


def test_by_hand_worked() -> None:
    """By hand: each position in file order grabs the nearest pair; a later one pays for it."""
    shells = make_shells("upper", walls(1, 0)) + make_shells("lower", walls(0, 1))
    job = make_job(positions(1, 0), shells)
    # R1 has two pairs on target with walls one step apart, (1, 0) and (0, 1); the upper that stands first decides.
    # R2 is left with 0 and 1: deviation -1.
    filled = oracle.by_hand(job, "rod")
    assert [(pair.upper.name, pair.lower.name) for _, pair in filled] == [("u1", "l1"), ("u2", "l2")]
    figures = best_plan(job).baselines["by-hand"]["rod"].figures
    assert (figures.filled, figures.worst_deviation_nm, figures.spread_nm) == (2, STEP, STEP)
