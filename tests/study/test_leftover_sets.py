"""Leftover sets: the most pairs that would fit a bore like those of the job, against trying out every pairing."""

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import permutations

import pytest
from made.jobs import STEP, TARGET, WALL, describe, make_job, make_position, make_shell, make_shells, random_job
from made.seeds import seeds
from oracles import oracle
from oracles.rulebook import Rules, rules_of

import fitmatch
from fitmatch.fit.solver.stopping import Stop
from fitmatch.lengths import round_half_even
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, Fit, Position, Shell
from fitmatch.study.comparison import leftover_sets as counting
from fitmatch.study.comparison.leftover_sets import leftover_sets


def most_pairs(job: Job, kind: str, used: set[tuple[str, str]]) -> int:
    """By the definition, every pairing tried out."""
    fit, rules = job.fits[kind], rules_of(job)
    mine = [p for p in job.positions if p.kind == kind]
    rooms = [p.housing_bore.mean_nm - p.journal.mean_nm + p.seating_nm for p in mine if not p.missing]
    if not rooms:
        return 0
    room = round_half_even(sum(rooms), len(rooms))
    gone = used | oracle.locked_keys(job)
    left = [s for s in job.shells if s.kind == kind and s.wall_nm is not None and s.hold is None and s.key not in gone]

    def fits(upper: Shell, lower: Shell, side: str | None) -> bool:
        clearance = room - upper.wall_nm - lower.wall_nm
        if (
            clearance <= 0
            or clearance < (fit.min_nm or 0)
            or clearance > (clearance if fit.max_nm is None else fit.max_nm)
        ):
            return False
        pair = oracle.Pair(upper, lower)
        if side is not None and oracle.thicker_half(job, pair) not in (None, side):
            return False
        return any(goes(p, upper, "upper") and goes(p, lower, "lower") and together(p, pair) for p in mine)

    def goes(p: Position, shell: Shell, side: str) -> bool:
        return (
            oracle.could_be(shell, p, side)
            and oracle.matches(job, shell, p, side)
            and not oracle.is_thin(job, p, shell)
        )

    def together(p: Position, pair: oracle.Pair) -> bool:
        free = replace(p, upper=None, lower=None)
        return not oracle.broken_rules(job, free, pair)

    def most(side: str | None) -> int:
        able = [
            sum(
                1 << j
                for j, other in enumerate(left)
                if i != j and any(fits(*two, side) for two in permutations((one, other)))
            )
            for i, one in enumerate(left)
        ]

        @lru_cache(None)
        def best(free: int) -> int:
            if not free:
                return 0
            first = free.bit_length() - 1
            rest = free & ~(1 << first)
            found = best(rest)
            for j in range(first):
                if rest >> j & 1 and able[first] >> j & 1:
                    found = max(found, 1 + best(rest & ~(1 << j)))
            return found

        return best((1 << len(left)) - 1)

    one_side = rules.thick_half.get(kind) == "same"
    return max(map(most, ("upper", "lower"))) if one_side else most(None)


def limited(rng: random.Random, job: Job) -> Job:
    """With limits of the kind, which random jobs only have by position."""

    def fit(old: Fit) -> Fit:
        width = rng.choice([STEP, 2 * STEP, 4 * STEP])
        low, high = max(0, TARGET - width), TARGET + width
        return replace(old, min_nm=rng.choice([low, low, None]), max_nm=rng.choice([high, high, None]))

    return replace(job, fits={kind: fit(old) for kind, old in job.fits.items()})


@seeds(15, 100, 2)
def test_leftover_sets_are_the_most_there_are(seeds: list[int]) -> None:
    """Of tiny jobs with every rule, for what the best plan leaves over."""
    found = 0
    for seed in seeds:
        rng = random.Random(f"sets {seed}")
        job = limited(rng, random_job(rng))
        plan = fitmatch.assign(job)
        for kind in job.kinds:
            mine = [p for p in plan.placements if p.position.kind == kind]
            used = {s.key for p in mine for s in (p.upper, p.lower)}
            sets = leftover_sets([job], kind, mine, Stop())
            assert sets == most_pairs(job, kind, used), f"seed {seed}, {kind}\n{describe(job)}"
            found += sets
    assert found


def job_of(shells: Sequence[Shell], **more: object) -> Job:
    """One position, and limits of two steps to either side."""
    positions = more.pop("positions", [make_position("R1", 2 * WALL + TARGET)])
    fit = Fit("rod", TARGET, None, TARGET - 2 * STEP, TARGET + 2 * STEP)
    return make_job(positions, shells, fits={"rod": fit}, **more)


def sets_of(job: Job) -> int | None:
    return leftover_sets([job], "rod", (), Stop())


@seeds(30, 300)
def test_pairing_in_order_of_wall_makes_as_many_as_the_program(
    seeds: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where only walls keep halves apart, with limits and rules that leave each half few others, both ways of counting
    agree; and neither counts what cannot be had at all."""
    by_hand = Counter[bool]()
    for seed in seeds:
        rng = random.Random(f"in order of wall {seed}")
        rods = [make_position(f"R{n}", 2 * WALL + TARGET + rng.randint(-4, 4) * STEP) for n in range(3)]
        walls = [WALL + rng.randint(-8, 8) * STEP for _ in range(rng.randint(2, 40))]
        shells = [make_shell(f"S{n}", rng.choice(("upper", "lower")), wall) for n, wall in enumerate(walls)]
        fit = Fit("rod", TARGET, None, TARGET - rng.randint(0, 3) * STEP, TARGET + rng.randint(0, 3) * STEP)
        rules = Rules(wall_difference_nm=rng.randint(0, 6) * STEP)
        job = make_job(rods, shells, fits={"rod": fit}, rules=rules)
        found = leftover_sets([job], "rod", (), Stop())
        with monkeypatch.context() as patch:
            patch.setattr(counting, "_one_by_one", lambda *_: None)
            assert leftover_sets([job], "rod", (), Stop()) == found, seed
        by_hand[bool(found)] += 1
    assert by_hand[True] and by_hand[False], "too few to tell"


def test_both_ends_of_the_limits_count() -> None:
    """A pair at min or at max is a set, one nanometre beyond is none."""
    for walls, wanted in (((2 * STEP, 0), 1), ((-2 * STEP, 0), 1), ((2 * STEP + 1, 0), 0), ((-2 * STEP - 1, 0), 0)):
        shells = make_shells("upper", [WALL + walls[0]]) + make_shells("lower", [WALL + walls[1]])
        assert sets_of(job_of(shells, rules=Rules(wall_difference_nm=None))) == wanted


def test_the_bore_is_the_mean_of_the_job() -> None:
    """Rounded half-even once, over measured positions, seating included."""
    shells = make_shells("upper", [WALL]) + make_shells("lower", [WALL - 2 * STEP])
    at_max = [make_position("R1", 2 * WALL + TARGET), make_position("R2", 2 * WALL + TARGET)]
    off_by_half = [at_max[0], make_position("R2", 2 * WALL + TARGET, seating_nm=1)]
    above = [at_max[0], make_position("R2", 2 * WALL + TARGET, seating_nm=2)]
    unmeasured = [at_max[0], replace(above[1], journal=None)]
    for positions, wanted in ((at_max, 1), (off_by_half, 1), (above, 0), (unmeasured, 1)):
        assert sets_of(job_of(shells, positions=positions)) == wanted


def test_an_either_shell_serves_both_sides_and_only_once() -> None:
    """Three shells of either half make one set, four make two; with an upper they make two."""
    either = [make_shell(f"e{i}", "either", WALL) for i in range(4)]
    assert [sets_of(job_of(either[:count])) for count in (1, 2, 3, 4)] == [0, 1, 1, 2]
    assert sets_of(job_of([*either[:3], make_shell("u", "upper", WALL)])) == 2


def test_marks_keep_sets_apart() -> None:
    """Halves that no position takes together make no set, and one that agrees with everything is counted once."""
    marks = {"u1": "yes", "u2": "", "l1": "yes", "l2": ""}
    shells = [make_shell(n, "upper" if n[0] == "u" else "lower", WALL, marks=(m,)) for n, m in marks.items()]
    plain = make_position("R1", 2 * WALL + TARGET, wants_upper=("",), wants_lower=("",))
    flanged = make_position("R2", 2 * WALL + TARGET, wants_upper=("yes",), wants_lower=("yes",))
    columns = {"matched_columns": ("flange",), "shell_columns": ("flange",)}
    assert sets_of(job_of(shells, positions=[plain, flanged], **columns)) == 2
    assert sets_of(job_of(shells, positions=[plain], **columns)) == 1
    assert sets_of(job_of([shells[0], shells[3]], positions=[plain, flanged], **columns)) == 0
    both = [replace(s, marks=(ANY,)) for s in (shells[0], shells[2])]
    assert sets_of(job_of(both, positions=[plain, flanged], **columns)) == 1


@pytest.mark.parametrize("side", ["upper", "lower", "same"])
def test_thick_half_counts_as_a_rule_about_walls(side: str) -> None:
    """With `same` all sets have their thicker half on one side, whichever gives more."""
    step = 2 * STEP
    shells = make_shells("upper", [WALL + step] * 3 + [WALL - step]) + make_shells(
        "lower", [WALL - step] * 3 + [WALL + step]
    )
    rules = Rules(thick_half={"rod": side}, thick_half_from_nm=0, wall_difference_nm=None)
    # Two walls far apart on the one side, or on the other, or (of equal walls) neither thicker: too far off target.
    assert sets_of(job_of(shells, rules=rules)) == {"upper": 3, "lower": 1, "same": 3}[side]
    assert sets_of(job_of(shells, rules=replace(rules, thick_half={}))) == 4


def test_shells_that_may_not_be_used_make_no_set() -> None:
    """Held, locked, unmeasured, too thin and of another family."""
    upper, lower = make_shell("u", "upper", WALL), make_shell("l", "lower", WALL)
    assert sets_of(job_of([upper, lower])) == 1
    assert sets_of(job_of([replace(upper, hold="rust"), lower])) == 0
    assert sets_of(job_of([replace(upper, wall_nm=None), lower])) == 0
    assert sets_of(job_of([upper, lower], rules=Rules(min_wall_nm={"rod": WALL + 1}))) == 0
    locked = [make_position("R1", 2 * WALL + TARGET, upper=upper.key)]
    assert sets_of(job_of([upper, lower], positions=locked)) == 0
    job = job_of([replace(upper, family="a12"), lower])
    assert sets_of(replace(job, fits={"rod": replace(job.fits["rod"], family=("a12",))})) == 0


def test_rows_and_the_guard_play_no_part() -> None:
    """A rule about bores in a row and a guard leave the number of sets as it is."""
    shells = make_shells("upper", [WALL + STEP] * 2) + make_shells("lower", [WALL - STEP] * 2)
    rules = Rules(neighbour_step_nm={"rod": 0}, line_nm={"rod": 0})
    assert sets_of(job_of(shells, rules=rules)) == sets_of(job_of(shells)) == 2
