"""Time limits on jobs that no limit suffices for: how soon work ends, and what is then in hand."""

import json
import random
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hard_jobs import rods, stock
from made.jobs import make_job
from made.scale_jobs import Size, write_job
from oracles.schemas import OF_ADVISED, OF_COMPARED, VALIDATOR

from fitmatch.fit.answer.baselines import by_hand
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.assign import assign
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.intake.reading import read_job
from fitmatch.records.job import Job
from fitmatch.report.comparison.report import compared_text
from fitmatch.report.data.advised import advised_document
from fitmatch.report.data.compared import compared_document
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.advice import advised_text
from fitmatch.report.text.report import plan_text
from fitmatch.study.advice.advise import advise
from fitmatch.study.comparison.compare import compare

LONGEST_S = 0.5  # of processor time from one question whether to stop to the next


class Watching(Stop):
    """Stops after so much processor time, and knows the longest time in which nobody asked."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self.longest = 0.0
        self._end_of_it, self._asked = time.process_time() + seconds, time.process_time()

    def seconds_left(self) -> float:
        now = time.process_time()
        self.longest, self._asked = max(self.longest, now - self._asked), now
        if now >= self._end_of_it:
            raise Stopped
        return max(0.1, self._end_of_it - now)  # no solver works for longer than what is left


def lot(count: int, each: int) -> Job:
    """Every size another to the nanometre."""
    rng = random.Random(f"lot {count} {each}")
    return make_job(rods(rng, count, 1, width=20_000), stock(rng, each, 1, boxes=10), unit="mm")


@pytest.mark.parametrize(
    "strategy",
    ["target", pytest.param("even", marks=pytest.mark.deep), pytest.param("keep-sets", marks=pytest.mark.deep)],
)
def test_somebody_asks_all_the_time(strategy: str) -> None:
    """On 250 positions with a thousand shells of each half off the grid nobody works for long without asking whether to
    stop; what is then in hand is no worse than what is chosen by hand."""
    job, stop = lot(250, 1_000), Watching(1.5)
    start = time.process_time()
    plan = best_plan(job, strategy, stop=stop)
    assert stop.longest < LONGEST_S
    assert time.process_time() - start < 1.5 + 2 * LONGEST_S
    figures, hand = plan.figures["rod"], plan.baselines["by-hand"]["rod"].figures
    assert figures.filled == 250 and figures.counted >= hand.counted
    proof = plan.proofs["rod"]
    assert not proof.proven and proof.level is not None


def test_what_a_plan_settles_is_not_told_as_open() -> None:
    """Where the plan in hand fills every position inside its limits, that needs no proof: what is told as not proven is
    what a better plan could improve."""
    job = lot(200, 1_000)
    plan = best_plan(job, stop=Watching(1.0))
    proof, figures = plan.proofs["rod"], plan.figures["rod"]
    assert not proof.proven and figures.counted == figures.filled == 200
    assert proof.level == "worst_deviation" and (proof.bound or 0) <= figures.worst_deviation_nm


@pytest.mark.parametrize("insisting", [False, pytest.param(True, marks=pytest.mark.deep)])
def test_comparing_and_insisting_ask_all_the_time(insisting: bool) -> None:
    """Nor does anybody who compares ways of choosing, or insists on a pair that shells left over might make."""
    job, stop = lot(200, 1_000), Watching(1.5)
    start = time.process_time()
    if insisting:
        upper, lower = (next(s for s in job.shells if s.half == half).name for half in ("upper", "lower"))
        assign(job, explain=job.positions[4].name, insist=(upper, lower), stop=stop)
    else:
        compare(job, stop=stop)
    assert stop.longest < LONGEST_S
    assert time.process_time() - start < 1.5 + 2 * LONGEST_S


def test_by_hand_is_there_before_any_limit() -> None:
    """With no time at all the plan is the one by hand, and that takes no look at every pair there is."""
    job = lot(500, 2_000)
    start = time.process_time()
    plan = best_plan(job, stop=Stop(0.0))
    assert time.process_time() - start < 4 * LONGEST_S
    assert list(plan.placements) == by_hand(Kind([job], "rod"))
    assert not plan.proven


def lot_in_files(folder: Path, halves: int) -> Job:
    """A lot in boxes of 20 with one wall read a tenth of a millimetre too high."""
    write_job(folder, Size(13, halves, halves // 10, step="0.001"))
    box = folder / "shells" / "box-3.csv"
    first, *rows = box.read_text(encoding="utf-8").splitlines()
    name, kind, half, wall = rows[4].split(",")
    rows[4] = f"{name},{kind},{half},{float(wall) + 0.1:.3f}"
    box.write_text("\n".join([first, *rows]) + "\n", encoding="utf-8")
    return read_job(folder)


def test_doubts_end_at_any_question(tmp_path: Path) -> None:
    """Whichever question is answered with an exception, looking for doubts ends with it there and then; without one the
    doubts are those of nobody asking."""
    job, asked = lot_in_files(tmp_path / "lot", 100), 0

    def ask() -> None:
        nonlocal asked
        asked += 1
        if asked == end:
            raise Stopped

    end = 0
    assert doubts_of(job, ask) == doubts_of(job) != ()
    often = asked
    assert often > 2 * 10  # more than once for every half of a box
    for end in range(1, often + 1):
        asked = 0
        with pytest.raises(Stopped):
            doubts_of(job, ask)
        assert asked == end


def test_doubts_ask_all_the_time(tmp_path: Path) -> None:
    """Nobody works for long on the doubts of 20,000 shells without asking whether to stop."""
    job, stop = lot_in_files(tmp_path / "lot", 10_000), Watching(60.0)
    assert doubts_of(job, stop.seconds_left)
    assert stop.longest < LONGEST_S


def test_a_limit_before_the_doubts_are_known_is_told(tmp_path: Path) -> None:
    """Where time runs out before the readings of many shells were looked through, every form of the answer says so,
    says to fit nothing, and it needs attention; with few shells the doubts are there all the same."""
    for halves in (100, 1_000):
        job = lot_in_files(tmp_path / str(halves), halves)
        plan = assign(job, stop=Stop(0.0))
        one, text, answer = plan.plans[0], plan_text(plan, "mm"), json.loads(plan_document(plan, "mm"))
        VALIDATOR.validate(answer)
        few = halves == 100
        assert one.looked_through == few == bool(one.doubts)
        assert (answer.get("doubts_complete", True), bool(answer["doubts"])) == (few, few)
        assert ("NOT LOOKED THROUGH: time ran out" in text) == ("let `fitmatch check` look through" in text) != few
        assert plan.needs_attention
        if not few:
            assert not one.is_ready("main") and "Lay out the shells" not in text
            assert "but the readings were not looked through for mistakes." in " ".join(text.split())
    assert assign(job).plans[0].doubts


def test_advice_and_comparison_end_and_tell_it_alike(tmp_path: Path) -> None:
    """`advise` and `compare` look through many readings no longer than a limit lets them, and then say so in text and
    JSON and that nothing is settled; with few shells the doubts are there all the same."""
    for halves in (100, 1_000):
        job, few = lot_in_files(tmp_path / str(halves), halves), halves == 100
        advised, compared = advise(job, stop=Stop(0.0)), compare(job, stop=Stop(0.0))
        assert advised.looked_through == few == all(one.looked_through for one in compared.job_plans)
        assert advised.needs_attention and compared.needs_attention
        told = (
            (advised_text(advised, "mm"), OF_ADVISED, advised_document(advised, "mm")),
            (compared_text(compared, "mm"), OF_COMPARED, compared_document(compared, "mm")),
        )
        for text, schema, document in told:
            answer, words = json.loads(document), " ".join(text.split())
            schema.validate(answer)
            assert answer.get("doubts_complete", True) == few
            assert (
                ("NOT LOOKED THROUGH: time ran out" in words) == ("let `fitmatch check` look through" in words) != few
            )
            assert "nothing is needed" not in words


def test_advice_without_shells_keeps_the_limit_too(tmp_path: Path) -> None:
    """What many positions want is told where time runs out before their readings were looked through, and that too."""
    write_job(tmp_path / "lot", Size(2_001, 2, 1, step="0.001"))
    bare = replace(read_job(tmp_path / "lot"), shells=())
    for stop, through in ((Stop(), True), (Stop(0.0), False)):
        advised = advise(bare, stop=stop)
        assert advised.answer is None and all(one.wanted for one in advised.positions)
        assert (advised.looked_through, advised.needs_attention) == (through, not through)
        assert ("NOT LOOKED THROUGH" in advised_text(advised, "mm")) != through
