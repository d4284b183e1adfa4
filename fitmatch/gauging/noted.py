"""Where the readings with the shells in say that shells and housings are, held against a plan: of each position the
last row counts, as shells may have been tried there before."""

from collections.abc import Container, Iterator, Mapping
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.measuring import AssembledReading
from fitmatch.records.parts import SIDES

HOUSING = "noted-housing"


class Noted(NamedTuple):
    """`against`: by position, in the order of the job, what contradicts the plan there; `settled`: the rows of other
    shells or another housing than the plan's after which the plan's own were read, each with the row that says so;
    `others`: all rows that are not of the plan's own."""

    against: Mapping[str, tuple[Fact, ...]]
    settled: Mapping[int, int]
    others: frozenset[int]

    def of_housings(self, position: str) -> tuple[Fact, ...]:
        """What is noted otherwise about housings."""
        return tuple(fact for fact in self.against.get(position, ()) if fact.code == HOUSING)

    def of_shells(self, position: str) -> tuple[Fact, ...]:
        """What is noted otherwise about shells."""
        return tuple(fact for fact in self.against.get(position, ()) if fact.code != HOUSING)


NOTHING: Final = Noted({}, {}, frozenset())


def noted(
    job: Job, shells: Mapping[tuple[str, str], ShellKey], housings: Mapping[str, str], told_of: Container[str]
) -> Noted:
    """What the readings with the shells in say against a plan. `shells`: its BOX and NAME by position and side;
    `housings`: by position, where its housing comes from, if that is another one; `told_of`: the positions that it
    fills or says are empty."""
    readings, plan = job.measuring.assembled, _Plan(shells, housings)
    last = {reading.position: reading for reading in readings}
    names = [position.name for position in job.positions if position.name in told_of]
    told = {name: tuple(_against(job.measuring.assembled_file, name, last, plan)) for name in names}
    settled: dict[int, int] = {}
    for reading in readings:
        if plan.has(last[reading.position]) and not plan.has(reading):
            later = (r for r in readings if r.position == reading.position and r.row > reading.row and plan.has(r))
            settled[reading.row] = next(later).row
    others = frozenset(reading.row for reading in readings if not plan.has(reading))
    return Noted({name: facts for name, facts in told.items() if facts}, settled, others)


class _Plan(NamedTuple):
    shells: Mapping[tuple[str, str], ShellKey]
    housings: Mapping[str, str]

    def pair(self, position: str) -> tuple[ShellKey | None, ...]:
        return tuple(self.shells.get((position, side)) for side in SIDES)

    def home(self, position: str) -> str:
        """Where a position's housing comes from."""
        return self.housings.get(position, position)

    def has(self, reading: AssembledReading) -> bool:
        """Whether a reading was taken with the very shells and housing of the plan."""
        return (reading.upper, reading.lower) == self.pair(reading.position) and _home(reading) == self.home(
            reading.position
        )


def _against(file: str, name: str, last: Mapping[str, AssembledReading], plan: _Plan) -> Iterator[Fact]:
    mine, planned = last.get(name), plan.pair(name)
    other = mine and next((at for at in last if at != name and _exchanged(mine, last[at], plan)), None)
    if other is not None:
        yield Fact("noted-exchanged", {"file": file, "positions": (name, other)})
    elif mine is not None:
        for key, ours in zip((mine.upper, mine.lower), planned, strict=True):
            if key != ours:
                yield _shell(file, key, name, "" if ours is None else full_name(ours))
    if mine is not None and _home(mine) != plan.home(name):
        yield Fact(HOUSING, {"file": file, "housing": _home(mine), "position": name, "planned": plan.home(name)})
    for at, reading in last.items():
        if at == name:
            continue
        if at != other:
            yield from (_shell(file, key, at, name) for key in (reading.upper, reading.lower) if key in planned)
        if _home(reading) == plan.home(name):
            slots = {"file": file, "housing": _home(reading), "position": at, "planned_at": name}
            yield Fact(HOUSING, slots)


def _shell(file: str, key: ShellKey, position: str, planned: str) -> Fact:
    return Fact("noted-shell", {"file": file, "shell": full_name(key), "position": position, "planned": planned})


def _exchanged(one: AssembledReading, other: AssembledReading, plan: _Plan) -> bool:
    """Whether each of two positions is noted with the shells that the plan has in the other."""
    pairs = [(reading.upper, reading.lower) for reading in (one, other)]
    return pairs == [plan.pair(other.position), plan.pair(one.position)]


def _home(reading: AssembledReading) -> str:
    return reading.housing or reading.position
