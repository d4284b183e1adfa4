"""Shells locked in both halves, in a row, with housings that move and few boxes, against every plan there is."""

import json
import random
from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, describe, make_job, make_position, make_shell, make_shells, row_job
from made.seeds import seeds
from oracles import oracle
from oracles.all_plans import assert_best, assert_in_turn
from oracles.rulebook import Rules, with_rules
from oracles.schemas import VALIDATOR

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.assign import assign
from fitmatch.fit.beside import alternatives
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.plans import Alternatives, Plan
from fitmatch.records.job import Job
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text

STRATEGIES = ["target", "even", "keep-sets"]


def locked_job(rng: random.Random, *, most: int) -> Job:
    """A random job with a rule about the row, mostly with housings that may move, and of each kind a bore locked in
    both halves."""
    while True:
        job = row_job(rng, both_limits=True)
        if len(job.positions) <= most:
            break
    if rng.random() < 0.75:
        job = with_rules(job, movable=job.kinds)
    for kind in job.kinds:
        places = [p for p in job.positions if p.kind == kind and not (p.upper or p.lower)]
        taken = {lock for p in job.positions for lock in (p.upper, p.lower)}
        free = [s for s in job.shells if s.kind == kind and s.hold is None and s.key not in taken]
        pairs = [
            (u, v)
            for u in free
            for v in free
            if u is not v and u.half in ("upper", "either") and v.half in ("lower", "either")
        ]
        if places and pairs:
            place, (upper, lower) = rng.choice(places), rng.choice(pairs)
            if rng.random() < 0.3:  # a seat in which a clearance is left with some of the housings alone
                place_was, place = place, replace(place, seating_nm=place.seating_nm - rng.choice([18, 20, 22]) * STEP)
                job = replace(job, positions=tuple(place if p is place_was else p for p in job.positions))
            locked = replace(place, upper=upper.key, lower=lower.key)
            job = replace(job, positions=tuple(locked if p is place else p for p in job.positions))
    return job


@pytest.mark.parametrize("strategy", STRATEGIES)
@seeds(5, 15)
def test_the_best_beside_locked_pairs(seeds: list[int], strategy: str) -> None:
    """The plan stands at the figures of the best over all plans and passes every check, whichever boxes it draws on:
    what is locked in both halves is in, wherever its housing leaves a clearance."""
    for seed in seeds:
        rng = random.Random(f"locked {strategy} {seed}")
        job, slack_nm = locked_job(rng, most=4), rng.choice([0, STEP])
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"


@pytest.mark.parametrize("strategy", STRATEGIES)
@seeds(5, 10)
def test_the_next_best_beside_locked_pairs(seeds: list[int], strategy: str) -> None:
    """So do the plans that come next."""
    for seed in seeds:
        rng = random.Random(f"next locked {strategy} {seed}")
        assert_in_turn(locked_job(rng, most=3), strategy, rng.choice([0, STEP]), f"seed {seed}")


def three_rods() -> Job:
    """R1 is locked to shells of two boxes, of which one has a pair in line with it; a third box has two pairs as good,
    in line with one another and not with R1. All housings may move."""
    rods = [make_position(f"R{n}", 2 * WALL + TARGET, min_nm=TARGET - STEP, max_nm=TARGET + STEP) for n in (1, 2, 3)]
    rods[0] = replace(rods[0], upper=("a", "u1"), lower=("b", "l1"))
    shells = [
        make_shell("u1", "upper", WALL, box="a"),
        make_shell("l1", "lower", WALL, box="b"),
        make_shell("u2", "upper", WALL, box="a"),
        make_shell("l2", "lower", WALL, box="a"),
        *make_shells("upper", [WALL - 2 * STEP] * 2, box="c"),
        *make_shells("lower", [WALL + 2 * STEP] * 2, box="c"),
    ]
    return make_job(rods, shells, rules=Rules(line_nm={"rod": STEP // 2}, movable=("rod",)))


def test_few_boxes_never_leave_a_locked_pair_out() -> None:
    """One box alone would fill two rods as well, but what is locked is in, and the other keeps in line with it."""
    plan = best_plan(three_rods(), "keep-sets")
    assert [(p.upper.name, p.lower.name) for p in plan.placements] == [("u1", "l1"), ("u2", "l2")]
    assert plan.figures["rod"].boxes == 2 and plan.proven


def test_insisting_on_what_is_locked_is_the_answer() -> None:
    """`--with` the pair that is locked there already, or that the answer has there, gives the answer's own plan, with
    housings that move too."""
    for rules in (Rules(), Rules(movable=("rod",))):
        job = with_rules(three_rods(), rules)
        for name, upper, lower in (("R1", "a/u1", "b/l1"), ("R2", *_names(best_plan(job), "R2"))):
            plan = assign(job, explain=name, insist=(upper, lower))
            assert plan.explanation is not None and plan.explanation.insisted is not None
            assert plan.explanation.insisted.placements == plan.placements and plan.explanation.insisted.proven
            assert "Nothing changes." in plan_text(plan, "in")


def _names(plan: Plan, position: str) -> tuple[str, str]:
    placed = next(p for p in plan.placements if p.position.name == position)
    return "/".join(placed.upper.key), "/".join(placed.lower.key)


@pytest.mark.parametrize("what", ["alternatives", "explanations"])
def test_what_fails_beside_the_answer_leaves_it_standing(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan beside the answer that fails its check is left out and told with what is wrong; the answer is printed as
    it would be without, and needs attention."""
    job = with_rules(three_rods(), Rules())
    before = best_plan(job)

    failing_text = "a plan beside the answer fails its own check: R2 is upside down"

    def failing(*_: object) -> None:
        raise FaultInFitmatch(failing_text)

    monkeypatch.setattr(alternatives, "check_bores", failing)
    plan = assign(job, alternatives=2) if what == "alternatives" else assign(job, explain="R2")
    assert plan.placements == before.placements and plan.proven and plan.needs_attention and not before.needs_attention
    assert not plan.alternatives.get("rod", Alternatives((), False)).complete and plan.explanation is None
    text, document = " ".join(plan_text(plan, "in").split()), json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    (told,) = document["faults"].items()
    assert told == ("alternatives of rod" if what == "alternatives" else "explanation of R2", failing_text)
    assert f"which is left out: {failing_text}." in text and "The answer above passed its check and stands." in text
