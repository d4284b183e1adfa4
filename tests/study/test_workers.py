"""Draws worked by processes or a cluster: the same outcomes, in order, whoever dies on the way."""

import importlib
import importlib.util
import socket
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from itertools import islice
from multiprocessing import active_children
from pathlib import Path

import pytest
from made.clusters import a_cluster
from made.toy_draws import Toy, dying, raising, toy

from fitmatch import stages
from fitmatch.facts import Fact
from fitmatch.problems import ExtraMissing, NotPossible
from fitmatch.report.words.refusals import refused
from fitmatch.study.workers import crews
from fitmatch.study.workers.crews import cluster, in_this_process, processes
from fitmatch.study.workers.resuming import work_on
from fitmatch.study.workers.working import MOST_ATTEMPTS, Crew, DrawFailed, Hiring, work_through

MANY = 400
EVERYBODY = pytest.mark.parametrize("hire", [in_this_process, processes(1), processes(3)], ids=["here", "1", "3"])


def expected(task: Toy, numbers: range) -> list[tuple[int, tuple[int, ...]]]:
    return [(number, toy(task, number)) for number in numbers]


@EVERYBODY
@pytest.mark.parametrize("numbers", [range(0), range(1), range(70, 70 + MANY)], ids=["none", "one", "many"])
def test_every_draw_once_and_in_order(hire: Hiring, numbers: range) -> None:
    """Each draw comes once, in order, with what it gives when it is worked alone, whoever works it; nobody is left."""
    assert list(work_through(hire, toy, Toy(), numbers)) == expected(Toy(), numbers)
    assert not active_children()


@pytest.mark.parametrize("deaths", [1, MOST_ATTEMPTS - 1])
def test_a_killed_worker_loses_nothing(tmp_path: Path, deaths: int) -> None:
    """A process that is killed in the middle of a draw, once or as often as is borne, changes nothing of what comes."""
    marks = tuple(str(tmp_path / f"{number}") for number in range(deaths))
    task = Toy(at=MANY // 2, marks=marks)
    assert list(work_through(processes(2), dying, task, range(MANY))) == expected(task, range(MANY))
    assert len(list(tmp_path.iterdir())) == deaths


def test_draws_that_kill_every_worker_are_named(tmp_path: Path) -> None:
    """Draws that end their process each time are given up after a few attempts, and named; those before them came."""
    task = Toy(at=MANY // 2, marks=tuple(str(tmp_path / f"{number}") for number in range(99)))
    came = []
    with pytest.raises(NotPossible) as raised:
        for one in work_through(processes(2), dying, task, range(MANY)):
            came.append(one)
    why = raised.value.why
    first, last = why.slots["first"], why.slots["last"]
    assert isinstance(first, int) and isinstance(last, int) and first <= task.at <= last
    assert came == expected(task, range(first))
    assert MOST_ATTEMPTS <= len(list(tmp_path.iterdir())) < 30
    assert refused(why, "mm").startswith(f"{MOST_ATTEMPTS} times a worker ended while it worked on draws {first} to ")
    assert not active_children()


def test_a_crew_that_is_never_there_is_given_up() -> None:
    """Workers that are lost before they have anything to do, as often as they are hired, are an error too."""
    hired = []

    @contextmanager
    def nobody(draw: object, task: object) -> Iterator[Crew]:
        hired.append(1)
        yield Crew(ThreadPoolExecutor(), None, lambda: 1 // 0, 0.1)

    with pytest.raises(NotPossible) as raised:
        list(work_through(nobody, toy, Toy(), range(MANY)))
    assert raised.value.why.code == "workers-lost" and len(hired) == MOST_ATTEMPTS


@EVERYBODY
def test_a_mistake_of_a_draw_is_made_once(tmp_path: Path, hire: Hiring) -> None:
    """What a draw raises ends the work with its number and where it happened, also if it cannot be sent as it is; it is
    not tried again."""
    task = Toy(at=20, marks=(str(tmp_path / "first"), str(tmp_path / "second")))
    with pytest.raises(DrawFailed, match=r"(?s)^draw 20: Traceback.*in raising.*Odd: 1 and 2$"):
        list(work_through(hire, raising, task, range(MANY)))
    assert [path.name for path in tmp_path.iterdir()] == ["first"]


@EVERYBODY
def test_whoever_has_enough_stops_the_work(hire: Hiring) -> None:
    """When the iterator is closed nobody works on, though far more draws were asked for."""
    with closing(work_through(hire, toy, Toy(), range(10**9))) as work:
        assert list(islice(work, 30)) == expected(Toy(), range(30))
    assert not active_children()


def test_progress_says_how_far_it_is() -> None:
    """Every stage names the draws that have come, of all that were asked for, those of an earlier run among them, and
    how long the others will take."""
    said: list[str] = []
    stages.listen(said.append)
    try:
        list(work_through(in_this_process, toy, Toy(pause_s=0.001), range(1_000, 1_005)))
    finally:
        stages.listen(None)
    assert said == [f"draw {number:,} of 1,005, 0 s left" for number in range(1_001, 1_006)]


def unused_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    return port


def test_a_cluster_that_does_not_answer_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no scheduler answers, or the address is none, it ends after the wait that it states; without the extra it
    says how to install it."""
    for address in (f"127.0.0.1:{unused_port()}", f"tcp://127.0.0.1:{unused_port()}", "nowhere", "::", "http://x:1"):
        with pytest.raises(NotPossible) as raised:
            list(work_through(cluster(address, 0.3), toy, Toy(), range(5)))
        text = refused(raised.value.why, "mm")
        assert text.startswith(f"no scheduler of a cluster can be reached at `{address}` within 0.3 s (")
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(ExtraMissing, match=r"pip install 'fitmatch\[cluster\]'$"):
        cluster("127.0.0.1:1")


@pytest.mark.deep
def test_a_cluster_gives_what_this_process_gives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheduler and two workers, processes of their own: what they give, also with a worker killed in the middle, is
    byte for byte what this process alone gives and keeps in its file. A mistake of a draw, another version, workers
    that all die and a scheduler that is gone are named."""
    task = Toy(loops=500)
    numbers = 2_000

    def kept(name: str, hire: Hiring, draw: Callable[[Toy, int], tuple[int, ...]], of: Toy) -> bytes:
        assert list(work_on(tmp_path / name, hire, draw, of, range(numbers))) == came
        return (tmp_path / name).read_bytes()

    came = expected(task, range(numbers))
    alone = kept("alone", in_this_process, toy, task)
    with a_cluster(tmp_path, 2) as found:
        hire = cluster(found.address, 10.0)
        assert kept("cluster", hire, toy, task) == alone
        assert kept("killed", hire, dying, Toy(loops=500, at=700, marks=(str(tmp_path / "mark"),))) == alone
        assert found.alive() == 1
        with closing(work_through(hire, toy, task, range(10**9))) as work:
            assert list(islice(work, 30)) == came[:30]
        marks = (str(tmp_path / "once"), str(tmp_path / "twice"))
        with pytest.raises(DrawFailed, match="draw 50: "):
            list(work_through(hire, raising, Toy(loops=500, at=50, marks=marks), range(numbers)))
        assert Path(marks[0]).exists() and not Path(marks[1]).exists()
        with monkeypatch.context() as changed, pytest.raises(NotPossible) as raised:
            changed.setattr(crews, "__version__", "9.9")
            list(work_through(hire, toy, task, range(5)))
        assert raised.value.why.code == "cluster-version" and raised.value.why.slots["ours"] == "9.9"
        (tmp_path / "here").mkdir()
        (tmp_path / "here" / "only_here.py").write_text("def draw(task, number):\n    return (number,)\n")
        with monkeypatch.context() as changed, pytest.raises(NotPossible) as raised:
            changed.syspath_prepend(str(tmp_path / "here"))
            list(work_through(hire, importlib.import_module("only_here").draw, task, range(5)))
        assert raised.value.why.code == "cluster-unfit" and "'only_here'" in refused(raised.value.why, "mm")
        without_workers = Fact("cluster-without-workers", {"address": found.address, "wait_s": 1.0})
        everyone = Toy(loops=500, at=50, marks=tuple(str(tmp_path / f"end {number}") for number in range(99)))
        with pytest.raises(NotPossible) as raised:
            list(work_through(cluster(found.address, 1.0), dying, everyone, range(numbers)))
        assert raised.value.why == without_workers and found.alive() == 0
        found.more(1)
        assert list(work_through(cluster(found.address, 60.0), toy, task, range(5))) == came[:5]
        with pytest.raises(NotPossible) as raised:
            for number, _ in work_through(cluster(found.address, 1.0), toy, task, range(10**9)):
                if number == 100:
                    found.scheduler.kill()
        assert raised.value.why.code == "no-cluster"
