"""Complete sets that can be re-formed of what lies there, against every way to pair few shells."""

import json
import random
from collections.abc import Iterator
from itertools import combinations, permutations, product
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, write_job
from made.seeds import seeds
from made.shelves import BOX, ONE_ROD, Clock

from fitmatch import read_job
from fitmatch.records.job import Job
from fitmatch.records.parts import room
from fitmatch.shelf import Pattern, RefusedError, Shelf, open_shelf, read_stock, scrap, sets, take_in

FITS = JOB + 'family = ["narrow-2"]\n'
MOST_DIFFERENCE_NM = 15_240
Pairs = tuple[tuple[int, int], ...]  # of a set: the walls of each bore


def box(rng: random.Random) -> str:
    """A few halves of one family on a coarse grid."""
    rows = ["shell,kind,half,wall,family"]
    for number in range(rng.choice([4, 5, 6])):
        half = "upper" if number % 2 else "lower"
        rows.append(f"{number},rod,{half},{0.0618 + rng.choice([-3, -2, -1, 0, 1, 2, 3]) / 10_000:.4f},narrow-2")
    return "\n".join(rows) + "\n"


def walls(job: Job, half: str) -> list[int]:
    return [s.wall_nm for s in job.shells if s.half == half and s.wall_nm is not None]


def every_set(uppers: list[int], lowers: list[int], count: int, ends: list[tuple[int, int]]) -> Iterator[Pairs]:
    """All ways to give bores, whose walls must total between these ends, a pair each."""
    for some in permutations(range(len(uppers)), count):
        for others in permutations(range(len(lowers)), count):
            pairs = tuple(zip(some, others, strict=True))
            sums = [uppers[u] + lowers[v] for u, v in pairs]
            near = all(abs(uppers[u] - lowers[v]) <= MOST_DIFFERENCE_NM for u, v in pairs)
            if near and all(low <= total <= high for total, (low, high) in zip(sums, ends, strict=True)):
                yield pairs


def most_at_once(found: list[Pairs]) -> int:
    """The most of these sets that share no shell; no half of a box is more than three times there."""
    for count in range(3 // len(found[0]) if found else 0, 0, -1):
        for some in combinations(found, count):
            sides = [[pair[side] for one in some for pair in one] for side in (0, 1)]
            if all(len(set(side)) == len(side) for side in sides):
                return count
    return 0


@seeds(12, 50)
def test_sets_for_the_bores_of_a_job(seeds: list[int], tmp_path: Path) -> None:
    """There are as many sets at once as full enumeration finds, and the first one is the most even there is."""
    counts = set()
    for seed in seeds:
        rng = random.Random(f"sets {seed}")
        rows = ["position,kind,journal,housing_bore"]
        rows += [
            f"R{at},rod,1.8162,{1.9421 + rng.choice([-2, 0, 1]) / 10_000:.4f}" for at in range(rng.choice([1, 1, 2]))
        ]
        shells, positions = box(rng), "\n".join(rows) + "\n"
        job_toml = FITS.replace("0.0018", "0.0020").replace("0.0028", "0.0024")
        shelf = open_shelf(tmp_path / f"{seed}.db", clock=Clock())
        take_in(shelf, read_stock([write_job(tmp_path / f"stock {seed}", job_toml, positions, shells)]))
        job = read_job(tmp_path / f"stock {seed}")
        uppers, lowers = walls(job, "upper"), walls(job, "lower")
        ends = [(room(p) - (p.max_nm or 0), room(p) - (p.min_nm or 0)) for p in job.positions]
        found = list(every_set(uppers, lowers, len(ends), ends))
        (kind,) = sets(shelf, write_job(tmp_path / f"job {seed}", job_toml, positions, None)).kinds
        assert (kind.kind, kind.pairs, kind.shells) == ("rod", len(ends), len(job.shells))
        assert kind.proven and kind.most == most_at_once(found), f"seed {seed}"
        deviations = (
            [
                room(p) - uppers[u] - lowers[v] - (p.target_nm or 0)
                for p, (u, v) in zip(job.positions, pairs, strict=True)
            ]
            for pairs in found
        )
        spreads = [max(some) - min(some) for some in deviations]
        assert bool(kind.sets) == bool(spreads)
        if spreads:
            assert kind.sets[0].spread_nm == min(spreads), f"seed {seed}"
        used = [n for one in kind.sets for bore in one.bores for n in (bore.upper, bore.lower)]
        assert len(used) == len(set(used)) and len(kind.sets) <= kind.most
        counts.add(kind.most)
    assert len(counts) > 1, "all jobs have as many sets"


@seeds(12, 50)
def test_sets_of_a_pattern(seeds: list[int], tmp_path: Path) -> None:
    """Sets of so many pairs whose walls total what is asked for; the first is the most even."""
    for seed in seeds:
        rng = random.Random(f"pattern {seed}")
        shelf = open_shelf(tmp_path / f"{seed}.db", clock=Clock())
        folder = write_job(tmp_path / f"stock {seed}", FITS, ONE_ROD, box(rng))
        take_in(shelf, read_stock([folder]))
        job = read_job(folder)
        uppers, lowers, count = walls(job, "upper"), walls(job, "lower"), rng.choice([1, 2])
        ends = rng.choice([None, (3_136_900, 3_141_980)])
        found = list(every_set(uppers, lowers, count, [ends or (0, 10**9)] * count))
        (family,) = sets(shelf, Pattern("Narrow-2", count, ends)).kinds
        assert family.proven and family.most == most_at_once(found), f"seed {seed}"
        spreads = [max(sums) - min(sums) for p in found if (sums := [uppers[u] + lowers[v] for u, v in p])]
        assert [one.spread_nm for one in family.sets[:1]] == sorted(spreads)[:1]
        assert all(one.worst_deviation_nm is None for one in family.sets)


def test_only_free_shells_make_a_set(shelf: Shelf, tmp_path: Path) -> None:
    """What is scrapped is in no set, `most` limits how many are looked for, and an unknown family is refused."""
    take_in(shelf, read_stock([write_job(tmp_path / "stock", shells=BOX)]))
    job = write_job(tmp_path / "first", FITS, ONE_ROD, None)
    (kind,) = sets(shelf, job).kinds
    assert (kind.most, kind.capped, len(kind.sets)) == (3, False, 3)
    (kind,) = sets(shelf, job, most=2).kinds
    assert (kind.most, kind.capped) == (2, True)
    scrap(shelf, "1", "dropped")
    (kind,) = sets(shelf, job).kinds
    assert kind.most == 2 and all(1 not in (b.upper, b.lower) for one in kind.sets for b in one.bores)
    with pytest.raises(RefusedError) as refused:
        sets(shelf, Pattern("wide", 1))
    assert [reason.code for reason in refused.value.reasons] == ["unknown-family"]


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same sets in text, JSON and CSV; a pattern needs its family and its pairs, and a job neither."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    job = write_job(tmp_path / "stock", FITS, ONE_ROD, BOX)
    take_in(open_shelf(tmp_path / "shelf.db", clock=Clock()), read_stock([job]))
    ran = Ran(capsys, "shelf", "sets", job)
    assert ran.status == 0 and "rod: 3 complete sets of 1 pair at once, from 6 shells; proven." in ran.out
    kind = json.loads(Ran(capsys, "shelf", "sets", job, "--json").out)["kinds"][0]
    rows = Ran(capsys, "shelf", "sets", job, "--csv").out.splitlines()
    assert kind["most"] == len(kind["sets"]) == len(rows) - 1 == 3
    assert {(b["upper"], b["lower"]) for one in kind["sets"] for b in one["bores"]} <= set(
        product((1, 3, 5), (2, 4, 6))
    )
    ran = Ran(capsys, "shelf", "sets", "--family", "narrow-2", "--pairs", "2", "--walls", "0.1234..0.1240")
    assert ran.status == 0 and "1 complete set of 2 pairs" in ran.out and "spread 0" in ran.out
    for wrong in ((), (job, "--pairs", "2"), (job, "--family", "narrow-2"), ("--family", "narrow-2")):
        assert Ran(capsys, "shelf", "sets", *wrong).status == 2


def test_a_search_ends(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a time limit of its own the search ends all the same, and says what it has not proven."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    monkeypatch.setattr("fitmatch.cli.shelf.forming._LONGEST_S", 0.0)
    job = write_job(tmp_path / "stock", FITS, ONE_ROD, BOX)
    take_in(open_shelf(tmp_path / "shelf.db", clock=Clock()), read_stock([job]))
    ran = Ran(capsys, "shelf", "sets", job)
    assert ran.status == 1 and "NOT PROVEN" in ran.out
    assert Ran(capsys, "shelf", "sets", job, "--time-limit", "100000").status == 0
