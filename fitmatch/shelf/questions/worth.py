"""What the shelf is worth: what is tied up there, what was lost, what each engine cost in shells. Each shell is an
equal share of what its box cost."""

from collections import defaultdict
from datetime import timedelta
from fractions import Fraction
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Integer, and_, case, cast, func, literal, null, select

from fitmatch.shelf.answers.worths import EngineCost, Lost, TiedUp, Worth
from fitmatch.shelf.finding import single
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BOXES,
    ENGINE_SHELLS,
    ENGINES,
    FREE,
    MISSING,
    SCRAPPED,
    SEALED,
    SET_ASIDE,
    SHELLS,
)

AGES: Final = (0, 90, 365, 730)  # days, where bands of age begin
_SHARES: Final = (
    select(SHELLS.c.box.label("box"), func.count().label("shells")).group_by(SHELLS.c.box).subquery("shares")
)


class _Sum:
    """Shells and boxes added up; `exact` is in thousandths."""

    def __init__(self) -> None:
        self.shells = self.singles = self.boxes = self.unpriced = 0
        self.exact = Fraction()

    def add(self, shells: int, price: int | None, of: int, *, singles: int = 0, boxes: int = 0) -> None:
        """Add `shells` of a box with `of`, or whole boxes."""
        self.shells += shells
        self.singles += singles
        self.boxes += boxes
        if price is None:
            self.unpriced += shells + boxes
        else:
            self.exact += Fraction(price * (shells + boxes), of)


def value(shelf: Shelf) -> Worth:
    """What is tied up by family and age, what was scrapped or is missing, and what each engine cost in shells."""
    with shelf.reading() as connection:
        return Worth(_tied_up(connection, shelf), _lost(connection), _engines(connection))


def _tied_up(connection: Connection, shelf: Shelf) -> tuple[TiedUp, ...]:
    sums = defaultdict[tuple[str, bool, int | None], _Sum](_Sum)  # by family, whether sealed, and age
    age = _age(shelf, BOXES.c.opened)
    query = (
        select(
            *(SHELLS.c.family, age, BOXES.c.price_thousandths, _SHARES.c.shells, func.count()),
            func.sum(cast(case((single(), 1), else_=0), Integer)),
        )
        .select_from(_priced())
        .where(SHELLS.c.state.in_((FREE, SET_ASIDE)))
        .group_by(SHELLS.c.family, age, SHELLS.c.box, BOXES.c.price_thousandths, _SHARES.c.shells)
    )
    for family, band, price, of, shells, singles in connection.execute(query):
        sums[family, False, band].add(shells, price, of, singles=int(singles))
    sealed = select(BOXES.c.family, BOXES.c.price_thousandths).where(BOXES.c.state == SEALED)
    for family, price in connection.execute(sealed):
        sums[family, True, None].add(0, price, 1, boxes=1)
    return tuple(
        TiedUp(family, band, one.shells, one.singles, one.boxes, round(one.exact), one.unpriced)
        for (family, _, band), one in sorted(sums.items(), key=_by_family_and_age)
    )


def _by_family_and_age(item: tuple[tuple[str, bool, int | None], _Sum]) -> tuple[str, bool, bool, int]:
    (family, sealed, band), _ = item
    return family, sealed, band is None, band or 0


def _priced() -> Any:
    """Shells with their boxes and how many share the price."""
    return SHELLS.join(BOXES, BOXES.c.number == SHELLS.c.box).join(_SHARES, _SHARES.c.box == SHELLS.c.box)


def _age(shelf: Shelf, date: ColumnElement[str]) -> ColumnElement[int | None]:
    """Where the band begins that a date is in, in days before today; null if there is no date."""
    today = shelf.clock().date()
    bands = [(date < (today - timedelta(days=days)).isoformat(), literal(days)) for days in reversed(AGES[1:])]
    return case((date == "", null()), *bands, else_=literal(AGES[0]))


def _lost(connection: Connection) -> tuple[Lost, ...]:
    sums = defaultdict[str, _Sum](_Sum)
    query = (
        select(SHELLS.c.state, BOXES.c.price_thousandths, _SHARES.c.shells, func.count())
        .select_from(_priced())
        .where(SHELLS.c.state.in_((SCRAPPED, MISSING)))
        .group_by(SHELLS.c.state, SHELLS.c.box, BOXES.c.price_thousandths, _SHARES.c.shells)
    )
    for state, price, of, shells in connection.execute(query):
        sums[state].add(shells, price, of)
    return tuple(Lost(s, sums[s].shells, round(sums[s].exact), sums[s].unpriced) for s in sorted(sums))


def _engines(connection: Connection) -> tuple[EngineCost, ...]:
    """A shell that goes back into its engine costs it nothing again."""
    first = (
        select(ENGINE_SHELLS.c.shell.label("shell"), func.min(ENGINE_SHELLS.c.engine).label("engine"))
        .where(ENGINE_SHELLS.c.wall_nm.is_not(None))  # others left it without having run
        .group_by(ENGINE_SHELLS.c.shell)
        .subquery("first")
    )
    query = (
        select(
            *(ENGINES.c.number, ENGINES.c.job, ENGINES.c.at),
            *(BOXES.c.price_thousandths, _SHARES.c.shells, func.count(first.c.shell)),
        )
        .select_from(
            ENGINES.join(ENGINE_SHELLS, ENGINE_SHELLS.c.engine == ENGINES.c.number)
            .join(SHELLS, SHELLS.c.number == ENGINE_SHELLS.c.shell)
            .join(BOXES, BOXES.c.number == SHELLS.c.box)
            .join(_SHARES, _SHARES.c.box == SHELLS.c.box)
            .outerjoin(first, and_(first.c.shell == ENGINE_SHELLS.c.shell, first.c.engine == ENGINES.c.number))
        )
        .where(ENGINE_SHELLS.c.wall_nm.is_not(None))
        .group_by(ENGINES.c.number, SHELLS.c.box, BOXES.c.price_thousandths, _SHARES.c.shells)
    )
    sums = defaultdict[tuple[int, str, str], _Sum](_Sum)
    for number, job, at, price, of, shells in connection.execute(query):
        sums[number, job, at].add(shells, price, of)
    return tuple(_cost(*key, sums[key]) for key in sorted(sums))


def _cost(number: int, job: str, at: str, one: _Sum) -> EngineCost:
    return EngineCost(number, job, at, one.shells, round(one.exact), one.unpriced)
