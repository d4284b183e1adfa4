"""The part to measure by: blank cards, in the order in which `fitmatch measure` asks."""

from collections.abc import Container, Iterator
from dataclasses import replace
from itertools import groupby
from typing import Final, NamedTuple

from fitmatch.gauging.bench_path import Asked, whole_path
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.measuring import Place

REPEATS: Final = 3  # columns for readings of one place
_WHAT: Final = {"journal": "journals", "housing_bore": "housing bores, without shells", "wall": "walls"}


class Entry(NamedTuple):
    """One line: `item` is empty where it is the one above, at another place."""

    item: str
    half: str
    place: str


class Card(NamedTuple):
    """Readings of one feature of one kind; of walls those of one `box`."""

    title: str
    box: str
    gauge: str
    entries: tuple[Entry, ...]


def cards(job: Job, placed: Container[ShellKey] = ()) -> tuple[Card, ...]:
    """A card for each stretch of the path that needs no other gauge in the hand. Of the shells that are on the shelf
    alone there are those that a plan has `placed`, which are to be measured again."""
    job = replace(job, shells=tuple(s for s in job.shells if not s.is_shelved or s.key in placed))
    found = []
    for (feature, kind, box), group in groupby(whole_path(job), key=_stretch):
        asked = list(group)
        found.append(Card(f"{kind}: {_WHAT[feature]}", box, asked[0].gauge or "", tuple(_entries(asked))))
    return tuple(found)


def _stretch(asked: Asked) -> tuple[str, str, str]:
    box = asked.key[0] if isinstance(asked.key, tuple) else ""
    return asked.feature, asked.kind, box


def _entries(asked: list[Asked]) -> Iterator[Entry]:
    before: object = None
    for one in asked:
        name = one.key[1] if isinstance(one.key, tuple) else one.item
        again = one.key == before
        yield Entry("" if again else name, "" if again else one.half, _place(one.place))
        before = one.key


def _place(place: Place) -> str:
    at = f"{place.angle:g} degrees" if place.angle else "crown axis"
    return at if place.station is None else f"station {place.station}, {at}"
