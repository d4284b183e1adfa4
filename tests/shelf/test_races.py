"""Several processes over one shelf: none gets what another has, and nothing is lost."""

import subprocess
import sys
from collections import Counter
from pathlib import Path

from made.shelves import ONE_ROD, planned_job

from fitmatch.shelf import Filters, Shelf, read_stock, show, take_in

RACER = """
import sys
from fitmatch.shelf import HeldError, open_shelf, put_back, read_planned, set_aside
shelf, planned = open_shelf(sys.argv[1]), read_planned(sys.argv[2])
print("ready", flush=True)
sys.stdin.readline()
for _ in range(int(sys.argv[3])):
    try:
        set_aside(shelf, planned)
        put_back(shelf, planned.name)
    except HeldError:
        pass
try:
    set_aside(shelf, planned)
    print("has")
except HeldError:
    print("has not")
"""


def test_of_several_processes_one_gets_the_shells(shelf: Shelf, address: str, tmp_path: Path) -> None:
    """Of jobs that want the same two shells at the same time one has both in the end, the others none of them."""
    jobs = [planned_job(tmp_path / f"job-{number}", ONE_ROD) for number in range(2)]
    take_in(shelf, read_stock([jobs[0]]))
    args = [sys.executable, "-c", RACER, address]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    racers = [subprocess.Popen([*args, str(job), "4"], **pipes) for job in jobs]  # type: ignore[call-overload]
    for racer in racers:
        assert racer.stdout.readline() == "ready\n"
    for racer in racers:  # all at once
        racer.stdin.write("go\n")
        racer.stdin.flush()
    ends = [racer.communicate()[0].strip() for racer in racers]
    assert Counter(ends) == {"has": 1, "has not": len(jobs) - 1}
    held = show(shelf, Filters(state="set-aside")).shells
    assert len(held) == 2 and {s.job for s in held} == {f"job-{ends.index('has')}"}
