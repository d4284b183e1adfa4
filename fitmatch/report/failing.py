"""The items of the text report about positions that are bad or empty: why, what keeps them out, what would put them
inside. What is the same for several positions is said once."""

from collections.abc import Iterator
from typing import NamedTuple

from fitmatch.parts import Position
from fitmatch.plans import JobPlan
from fitmatch.report.facts import DANGER
from fitmatch.report.layout import clean, whole
from fitmatch.report.placing import NOT_FILLED
from fitmatch.report.reasons import words_of


class _Item(NamedTuple):
    """What is said of one position or, word for word, of several."""

    label: str
    kind: str
    why: str
    kept_out: str


def failing(plan: JobPlan, unit: str) -> Iterator[str]:
    """Bad positions, then empty ones, each kind of failure where its first position stands in the file."""
    kept_out = _kept_out(plan, unit)
    misfits = {f.position: clean(words_of(f.what, unit)) for f in plan.flags if f.what.code == "misfit"}
    alike: dict[_Item, list[str]] = {}

    def add(label: str, position: Position, why: str) -> None:
        item = _Item(label, position.kind, why, kept_out.get(position.name, ""))
        alike.setdefault(item, []).append(position.name)

    for p in plan.placements:
        if not p.within_limits:
            add(DANGER, p.position, misfits.get(p.position.name, ""))
    for u in plan.unfilled:
        add(NOT_FILLED, u.position, clean(words_of(u.why, unit)))
    yield from _told(alike, [p.name for p in plan.job.positions])


def _told(alike: dict[_Item, list[str]], order: list[str]) -> Iterator[str]:
    """One text for each item. Where items differ in nothing but why, what keeps their positions out comes after the
    last of them, for all together in the `order` of the file."""
    together: dict[_Item, list[_Item]] = {}
    for item in alike:
        together.setdefault(item._replace(why=""), []).append(item)
    for item, names in alike.items():
        group = together[item._replace(why="")]
        told = f"{item.label}: {_named(names, item.kind)}{f': {item.why}' if item.why else ''}"
        if len(group) == 1 and item.kept_out:
            told += f". {item.kept_out}"
        yield told
        if len(group) > 1 and item.kept_out and item == group[-1]:
            every = {name for other in group for name in alike[other]}
            yield f"{_named([name for name in order if name in every], item.kind)}: {item.kept_out}"


def _named(names: list[str], kind: str) -> str:
    return f"{', '.join(map(whole, names))} ({whole(kind)})"


def _kept_out(plan: JobPlan, unit: str) -> dict[str, str]:
    """By position what keeps it out, and what would put it inside, as further sentences."""
    if not plan.reasons:
        return {}
    from fitmatch.report.why import in_words  # not loaded where nothing fails

    return {r.position.name: in_words(r, unit) for r in plan.reasons}
