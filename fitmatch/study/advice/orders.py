"""What positions need together from boxes not opened yet."""

from collections.abc import Iterable, Iterator, Sequence

from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.study.advice.advised import BOX, Advised, Order
from fitmatch.study.advice.halves import stocks

_Need = tuple[str, str, str | None]


def orders(jobs: Sequence[Job], positions: Iterable[Advised]) -> Iterator[Order]:
    """By kind, half and step, with the fewest boxes that hold as many halves."""
    needs: dict[_Need, list[tuple[str, int]]] = {}
    for one in positions:
        for advice in one.advice:
            if advice.action == BOX:
                half, step, wall = (advice.what[name] for name in ("half", "step", "wall_nm"))
                assert isinstance(half, str) and isinstance(wall, int) and (step is None or isinstance(step, str))
                needs.setdefault((one.position.kind, half, step), []).append((full_name(one.position.key), wall))
    for (kind, half, step), some in needs.items():
        names, walls = tuple(name for name, _ in some), tuple(sorted({wall for _, wall in some}))
        yield Order(kind, half, step, walls, names, _boxes(jobs, kind, half, step, len(some)))


def _boxes(jobs: Sequence[Job], kind: str, half: str, step: str | None, halves: int) -> int | None:
    if step is None:
        return None
    each = [one.in_a_box for one in stocks(jobs, kind) if one.step == step and half in ("both", one.half)]
    return -(-halves // min(each))
