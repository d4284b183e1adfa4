"""Several jobs that share their shells: of jobs that are there, and at random."""

import random
from dataclasses import replace

from made.jobs import STEP, TARGET, named, random_job
from oracles.rulebook import rules_of, with_rules

from fitmatch.records.job import Job
from fitmatch.records.pools import Pool


def pool_of(jobs: list[Job]) -> Pool:
    """These jobs as one pool: what is locked in one of them is reserved in the others."""
    locks = [{lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None} for job in jobs]
    return Pool(
        tuple(
            replace(job, reserved=frozenset().union(*(some for some in locks if some is not mine)))
            for job, mine in zip(jobs, locks, strict=True)
        )
    )


def random_pool(rng: random.Random, *, both_limits: bool = False) -> Pool:
    """A random job dealt out to two or three engines, each with rules of its own."""
    whole = random_job(rng, both_limits=both_limits)
    while len(whole.positions) not in (2, 3, 4):
        whole = random_job(rng, both_limits=both_limits)
    count = rng.choice([2, 2, 2, 3])
    owner = [rng.randrange(count) for _ in whole.positions]
    jobs = []
    for i in range(count):
        positions = tuple(replace(p, name=p.name) for p, at in zip(whole.positions, owner, strict=True) if at == i)
        rules = rules_of(whole)
        if i and rng.random() < 0.5:
            rules = replace(
                rules,
                wall_difference_nm=rng.choice([0, STEP, 3 * STEP, None]),
                limits_at=rng.choice(["tightest", "mean"]),
                thick_half={kind: rng.choice(["upper", "same"]) for kind in whole.kinds} if rng.random() < 0.5 else {},
            )
        fits = {
            kind: replace(fit, family=rng.choice([("a12",), ("a12",), ("a12", "c3"), ("c3", "b7")]))
            for kind, fit in whole.fits.items()
        }
        jobs.append(named(with_rules(replace(whole, positions=positions, fits=fits), rules), f"engine-{i + 1}"))
    return pool_of([job for job in jobs if job.positions])


def further_pool(rng: random.Random, *, both_limits: bool) -> Pool:
    """A random pool in which each job may wish for a band, bind its row, or let its housings move."""

    def more(job: Job) -> Job:
        wish = rng.random() < 0.4
        low = TARGET + STEP * rng.randint(-3, 3)
        positions = []
        for p in job.positions:
            ends = [max(p.min_nm or 0, low), max(p.min_nm or 0, low + STEP)]
            ends = [end if p.max_nm is None else min(p.max_nm, end) for end in ends]
            wished = {"want_min_nm": ends[0], "want_max_nm": ends[1]} if wish else {}
            positions.append(replace(p, offset_nm=STEP * rng.randint(-1, 1), within=(rng.choice("aab"),), **wished))
        job = with_rules(
            job,
            neighbour_step_nm={kind: rng.choice([0, STEP, 2 * STEP]) for kind in job.kinds if rng.random() < 0.3},
            line_nm={kind: rng.choice([STEP, 2 * STEP]) for kind in job.kinds if rng.random() < 0.3},
            movable=job.kinds if rng.random() < 0.5 else (),
            movable_within=("bank",),
        )
        return replace(job, positions=tuple(positions))

    return Pool(tuple(more(job) for job in random_pool(rng, both_limits=both_limits).jobs))
