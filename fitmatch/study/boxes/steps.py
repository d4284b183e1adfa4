"""What may be opened: for each kind the steps of which there are boxes, as job.toml, the shelf or open boxes tell."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import cycle, islice
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, SIDES, Shell
from fitmatch.records.study.unopened import BoxesTold, StepTold
from fitmatch.study.boxes.scatter import Labelled, Walls, walls_of

_WORN: Final = "used"


class Sealed(NamedTuple):
    """A sealed box of the shelf; `step` as printed."""

    kind: str
    family: str
    step: str
    price_thousandths: int | None


class Step(NamedTuple):
    """Boxes of one kind that are alike. `halves` are the shells of one, whose walls are still to be drawn;
    `halves_from`: "open" as in a box that is open, "written", or "assumed": one of each half for every position.
    `prices_thousandths` are those of the boxes in the order in which they would be opened; None: not known."""

    name: str
    halves: tuple[Shell, ...]
    halves_from: str
    walls: Walls
    prices_thousandths: tuple[int | None, ...]

    @property
    def stock(self) -> int:
        """The most that can be opened."""
        return len(self.prices_thousandths)


class _Offered(NamedTuple):
    """A step before its walls are known."""

    name: str
    told: StepTold | None
    family: str | None
    prices: tuple[int | None, ...]


def steps_of(
    job: Job, kind: str, budget: int, sealed: Sequence[Sealed] | None, read_with_nm: float, grid_nm: int
) -> tuple[tuple[Step, ...], tuple[Fact, ...]]:
    """The steps of a kind, and why others are left out: nothing says what a box of them would hold. `sealed`: only
    those of the shelf may be opened. `read_with_nm`: the scatter of a reading of a wall, `grid_nm` what it is rounded
    to."""
    measured = _labelled(s for s in job.shells if s.kind == kind and s.wall_nm is not None and not _is_worn(job, s))
    offered = list(_offered(job, kind, budget, sealed, measured))
    found, left_out = [], []
    for one in offered:
        alone = len(offered) == 1  # then what has no label is of it too
        own = [(label, s) for label, s in measured if _same(label or kind, one.name) or (alone and not label)]
        others = [shell for shell in measured if shell not in own]
        new, other_new = ([(label, s) for label, s in some if s.hold is None] for some in (own, others))
        boxes = job.boxes or BoxesTold()
        told = None if one.told is None else one.told.wall_nm, boxes.within_nm, boxes.between_nm
        walls = walls_of(new, other_new, read_with_nm, told, job.drawing.get(kind, {}).get("wall"), grid_nm)
        if walls is None:
            code = "no-scatter" if new or told[0] is not None else "no-walls"
            left_out.append(Fact(code, {"kind": kind, "step": one.name}))
            continue
        halves, halves_from = _halves(job, kind, one, [shell for _, shell in own])
        found.append(Step(one.name, halves, halves_from, walls, one.prices[:budget]))
    return tuple(found), tuple(left_out)


def _offered(
    job: Job, kind: str, budget: int, sealed: Sequence[Sealed] | None, measured: Iterable[Labelled]
) -> Iterator[_Offered]:
    told = {name: one for name, one in (job.boxes or BoxesTold()).steps.items() if one.kind == kind}
    if sealed is None:
        names = dict.fromkeys(label or kind for label, _ in measured) or {kind: None}
        for name, one in (told or names).items():
            yield _Offered(name, one, None, (None if one is None else one.price_thousandths,) * budget)
        return
    families = job.fits[kind].family or ()
    mine = [box for box in sealed if box.kind in ("", kind) and box.family.strip().casefold() in families]
    for label in dict.fromkeys((box.step, box.family) for box in mine):
        name = label[0] or label[1]
        same = next((n for n in told if _same(n, label[0] or kind)), None)
        prices = [box.price_thousandths for box in mine if (box.step, box.family) == label]
        ranked = sorted(prices, key=lambda price: (price is None, price or 0))
        yield _Offered(name if same is None else same, told.get(same or ""), label[1].strip().casefold(), tuple(ranked))


def _labelled(shells: Iterable[Shell]) -> list[Labelled]:
    """Each shell with what tells its step: what is printed on it, else the grade that all of its box have."""
    found = list(shells)
    grades: dict[str, set[str | None]] = {}
    for shell in found:
        grades.setdefault(shell.box, set()).add(shell.grade)
    return [(s.step or ((s.grade or "") if len(grades[s.box]) == 1 else ""), s) for s in found]


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _is_worn(job: Job, shell: Shell) -> bool:
    return "condition" in job.shell_columns and shell.marks[job.shell_columns.index("condition")] == _WORN


def _halves(job: Job, kind: str, offered: _Offered, own: Sequence[Shell]) -> tuple[tuple[Shell, ...], str]:
    """The shells of a box, marked as those of a box that is open, else so that they agree with everything."""
    boxes: dict[str, list[Shell]] = {}
    for shell in own:
        if not shell.is_shelved:  # a box of the shelf lacks what was taken from it
            boxes.setdefault(shell.box, []).append(replace(shell, hold=None, measured=None, preferred=False))
    pattern = max(boxes.values(), key=len, default=[])
    count = None if offered.told is None else offered.told.shells
    if count is None and pattern:
        return tuple(pattern), "open"
    family = offered.family if offered.family is not None else next(iter(job.fits[kind].family or ()), "")
    plain = Shell("", "", kind, "either", None, (ANY,) * len(job.shell_columns), family, step=offered.name)
    places = sum(p.kind == kind for p in job.positions)
    halves: list[Shell] = []
    for side in SIDES:
        like = [shell for shell in pattern if shell.half in (side, "either")] or [replace(plain, half=side)]
        halves += islice(cycle(like), count or places)
    return tuple(halves), "assumed" if count is None else "written"
