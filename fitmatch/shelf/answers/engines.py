"""Engines built from the shelf: what is in them, what was read with the shells in, what has worn."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.shelf.answers.frames import framed
from fitmatch.shelf.answers.shells import Event

if TYPE_CHECKING:
    import pandas


TEARDOWN: Final = "teardown"  # the action, and how what ran has left its engine


class EngineShell(NamedTuple):
    """A shell that an engine runs on, or ran on until it was taken down, or that was only `tried` in it.
    `wall_wear_u_nm` is the expanded uncertainty of the wear; None: not known. `hold`: why it is on hold, though it is
    in the engine."""

    half: str
    number: int
    label: str
    wall_nm: int | None  # when it was fitted; None: an earlier version did not keep that of one that was tried
    wall_after_nm: int | None
    wall_wear_u_nm: float | None
    state: str
    tried: bool = False
    hold: str = ""


class Assembled(NamedTuple):
    """A clearance as it was read with the shells in, beside the one that was calculated then. `as_read_nm`: the mean as
    the gauge gave it, of `read`, which is `clearance` or `bore`. `difference_u_nm`: the
    expanded uncertainty of their difference; None: not known. `verdict`: `apart` or `a mistake`, empty if they agree.
    `shortfall_nm` and `excess_nm`: how far it is below min and above max. `permitted`: the maker's permission was
    quoted for it. What follows an earlier version did not keep: the `readings_nm` behind the mean, each as it was
    `typed` with its unit; what the micrometer `setter` was set to, if the gauge was zeroed on one; and the least and
    the most that it must read."""

    assembled_nm: int
    calculated_nm: int
    difference_u_nm: int | None
    method: str  # gauge or strip
    gauge: str
    read: str
    as_read_nm: int
    by: str
    date: str
    verdict: str
    shortfall_nm: int
    excess_nm: int
    permitted: bool = False
    readings_nm: tuple[int, ...] = ()
    typed: tuple[str, ...] = ()
    setter: str = ""
    set_to_nm: int | None = None
    least_nm: int | None = None
    most_nm: int | None = None

    def is_still(self, now: "Assembled") -> bool:
        """Whether nothing was read anew, whatever an earlier version did not keep."""
        then = self._replace(permitted=False)
        return then == (now if self.readings_nm else now._replace(**{name: getattr(then, name) for name in NOT_KEPT}))

    @property
    def is_outside(self) -> bool:
        """Whether it is outside its limits."""
        return bool(self.shortfall_nm or self.excess_nm)

    @property
    def is_not_to_be_run(self) -> bool:
        """Whether it is outside its limits and nobody has permitted that."""
        return self.is_outside and not self.permitted

    def attention(self, position: str, *, to_metal: bool) -> tuple[Fact, ...]:
        """What somebody must look at. `to_metal`: coating does not count as wall."""
        slots = {"position": position, "to_metal": to_metal, **self._asdict()}
        outside = [Fact("read-outside", slots)] if self.is_not_to_be_run else []
        return (*outside, Fact("read-apart", slots)) if self.verdict else tuple(outside)


NOT_KEPT: Final = ("readings_nm", "typed", "setter", "set_to_nm", "least_nm", "most_nm")  # by an earlier version


def together(before: Iterable[Assembled], now: Iterable[Assembled]) -> tuple[Assembled, ...]:
    """What is on record with what was read since, the gauge's before the strip's, which tells less: the last of each
    method counts. One that has not changed stays permitted."""
    found = {one.method: one for one in before}
    for one in now:
        was = found.get(one.method)
        if was is None or not was.is_still(one):
            found[one.method] = one
    return tuple(sorted(found.values(), key=lambda one: one.method))


class EnginePosition(NamedTuple):
    """A position of an engine as it was built; outside its limits only with the maker's `permission`, which is kept if
    it is built inside them later on. `in_doubt`: it rested on readings in doubt. `readings`: what was read with its
    shells in, the one that decides first, which is `assembled_nm`. `judged`: by part, what was wrong with
    its wear, as codes, and what was missing for its uncertainty. `left`: how its shells have left it,
    `put-back`, `teardown`, `never-run` or `correct`, and when; empty while they are in it. What follows those is what
    the clearance was worked out with, None or empty where an earlier version did not keep it: `seating_nm` counted in,
    `uncounted_nm` of coating that does not count as wall, its expanded uncertainty and whether it is at least that, the
    position that the `housing` came from if it moved, and which plan it was built to."""

    position: str
    kind: str
    shells: tuple[EngineShell, ...]
    journal_nm: int
    housing_bore_nm: int
    clearance_nm: int
    target_nm: int | None
    min_nm: int | None
    max_nm: int | None
    within_limits: bool
    permission: str
    assembled_nm: int | None
    journal_after_nm: int | None = None
    journal_wear_u_nm: float | None = None
    in_doubt: bool = False
    left: str = ""
    left_at: str = ""
    judged: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {}
    seating_nm: int | None = None
    uncounted_nm: int | None = None
    clearance_u_nm: float | None = None
    clearance_u_least: bool | None = None
    housing: str = ""
    limits_from: str = ""
    gauges_celsius: float | None = None
    parts_celsius: float | None = None
    kelvin_limit: float | None = None
    plan_number: int | None = None
    plan_date: str = ""
    plan_time: str = ""
    readings: tuple[Assembled, ...] = ()

    @property
    def is_outside(self) -> bool:
        """Whether it is outside its limits, by calculation or as read with the shells in."""
        return not self.within_limits or any(one.is_outside for one in self.readings)

    @property
    def is_not_to_be_run(self) -> bool:
        """Whether it is outside as read with its shells in, which still are, and nobody has permitted that."""
        return not self.left and any(one.is_not_to_be_run for one in self.readings)

    @property
    def assembled_attention(self) -> tuple[Fact, ...]:
        """What is wrong with what was read with its shells in."""
        return tuple(
            fact for one in self.readings for fact in one.attention(self.position, to_metal=bool(self.uncounted_nm))
        )

    @property
    def is_on_hold(self) -> bool:
        """Whether a shell that is in it is on hold."""
        return any(shell.hold for shell in self.shells)

    @property
    def is_whole(self) -> bool:
        """Whether it has both shells, without which there is no clearance."""
        return len(self.shells) == 2

    @property
    def wears(self) -> tuple["Wear", ...]:
        """What its journal and shells have lost, if it was measured again."""
        found = []
        if self.journal_after_nm is not None:
            journal = self.journal_nm, self.journal_after_nm, self.journal_wear_u_nm
            found.append(Wear.of(self.position, "journal", "", *journal))
        for one in self.shells:
            if one.wall_nm is not None and not one.tried and (one.wall_after_nm is not None or one.half in self.judged):
                figures = one.wall_nm, one.wall_after_nm, one.wall_wear_u_nm
                found.append(Wear.of(self.position, one.half, one.label, *figures))
        return tuple(self._as_judged(wear) for wear in found)

    def _as_judged(self, wear: "Wear") -> "Wear":
        codes, missing = self.judged.get(wear.part, (None, ()))
        return wear if codes is None else wear._replace(grew="grew" in codes, missing=missing)

    @property
    def attention(self) -> tuple[Fact, ...]:
        """What was wrong with its wear."""
        return tuple(
            Fact(code, wear.slots)
            for wear in self.wears
            for code in self.judged.get(wear.part, (("grew",) if wear.grew else (), ()))[0]
        )


class EngineRecord(NamedTuple):
    """An engine that was built from the shelf. `torn_down` is when it was taken down. `unit` is that of its job,
    `names` are those of all positions of the job, `record` the user's own words in it; empty where an earlier version
    did not keep them."""

    number: int
    job: str
    title: str
    at: str
    by: str
    note: str
    torn_down: str
    positions: tuple[EnginePosition, ...]
    torn_down_by: str = ""
    torn_down_note: str = ""
    unit: str = ""
    names: tuple[str, ...] = ()
    record: Mapping[str, str] = {}

    @property
    def outside(self) -> tuple[EnginePosition, ...]:
        """What is, or once was, outside its limits with a permission."""
        return tuple(p for p in self.positions if p.permission)

    @property
    def not_to_be_run(self) -> tuple[EnginePosition, ...]:
        """What is outside its limits as read with the shells in, without a permission."""
        return tuple(p for p in self.positions if p.is_not_to_be_run)

    @property
    def incomplete(self) -> tuple[EnginePosition, ...]:
        """What was fitted, and is not there as it was, though the engine was not taken down then."""
        return tuple(p for p in self.positions if p.left in ("put-back", "correct") or not p.is_whole)

    @property
    def never_fitted(self) -> tuple[str, ...]:
        """The positions of its job that it has not."""
        mine = {p.position for p in self.positions}
        return tuple(name for name in self.names if name not in mine)

    @property
    def needs_attention(self) -> bool:
        """Whether what stands in it is not whole, is not to be run, is on hold, reads otherwise than calculated,
        or rests on readings in doubt."""
        doubted = any(p.in_doubt and not p.left for p in self.positions)
        apart = any(one.verdict and not one.permitted for p in self.positions if not p.left for one in p.readings)
        stands = not self.state
        lacks = any(not p.is_whole for p in self.positions)
        missing = lacks or (stands and bool(self.incomplete or self.never_fitted))
        return missing or doubted or apart or bool(self.not_to_be_run) or bool(self.on_hold)

    @property
    def is_out(self) -> bool:
        """Whether what stands in it is on hold, or outside its limits, be that permitted or not."""
        return bool(self.on_hold) or any(p.is_outside and not p.left for p in self.positions)

    @property
    def on_hold(self) -> tuple[EnginePosition, ...]:
        """Where a shell that is in it is on hold: it is not to run until that is settled."""
        return tuple(p for p in self.positions if p.is_on_hold)

    @property
    def hold_attention(self) -> tuple[Fact, ...]:
        """Which shells these are."""
        return tuple(
            Fact("fitted-on-hold", {"engine": self.number, "position": p.position, "name": s.label, **s._asdict()})
            for p in self.positions
            for s in p.shells
            if s.hold
        )

    @property
    def wears(self) -> tuple["Wear", ...]:
        """What had worn when it was taken down."""
        return tuple(wear for p in self.positions for wear in p.wears) if self.torn_down else ()

    @property
    def state(self) -> str:
        """How it was left as a whole, as `left` of a position; empty while any of it stands."""
        if self.torn_down:
            run = [p for p in self.positions if p.left == TEARDOWN]
            return TEARDOWN if run else "never-run"
        return "" if any(not p.left for p in self.positions) else max((p.left for p in self.positions), default="")

    @property
    def left_at(self) -> str:
        """When that was."""
        return self.torn_down or max((p.left_at for p in self.positions), default="")

    def to_frame(self, unit: str = "in") -> "pandas.DataFrame":
        """One row for each position."""
        return framed(self.positions, unit)


class Engines(NamedTuple):
    """All engines, oldest first."""

    engines: tuple[EngineRecord, ...]

    def to_frame(self) -> "pandas.DataFrame":
        """One row for each engine."""
        return framed(self.engines, "in")


class Wear(NamedTuple):
    """What a journal, or the upper or lower shell of a position, has lost. `u_nm` is its expanded uncertainty; None:
    not known. `after_nm` None: it was not measured again. `grew`: it is larger than before by more than `u_nm` or,
    without that, than what limits and resolutions of the gauges of both days allow. `missing`: what would have to be
    known for `u_nm`."""

    position: str
    part: str
    label: str  # of a shell
    before_nm: int
    after_nm: int | None
    u_nm: float | None
    grew: bool
    missing: tuple[str, ...] = ()

    @property
    def slipped(self) -> bool:
        """Whether the decimal point is likely in the wrong place: ten times off, give or take a fifth."""
        if self.after_nm is None:
            return False
        small, large = sorted((self.before_nm, self.after_nm))
        return 8 * small <= large <= 12 * small

    @property
    def slots(self) -> dict[str, object]:
        """For facts about it."""
        slots: dict[str, object] = {"position": self.position, "part": self.part, "name": self.label, "u_nm": self.u_nm}
        return slots | {"before_nm": self.before_nm, "after_nm": self.after_nm}

    @classmethod
    def of(
        cls, position: str, part: str, label: str, before_nm: int, after_nm: int | None, u_nm: float | None
    ) -> "Wear":
        """Of two sizes, as an earlier version kept them."""
        grew = after_nm is not None and after_nm - before_nm > (u_nm or 0.0)
        return cls(position, part, label, before_nm, after_nm, u_nm, grew=grew)

    @property
    def wear_nm(self) -> int | None:
        return None if self.after_nm is None else self.before_nm - self.after_nm


class TornDown(NamedTuple):
    """An engine that was taken down: what has worn, and what that changed on the shelf."""

    engine: int
    job: str
    wears: tuple[Wear, ...]
    events: tuple[Event, ...]
    attention: tuple[Fact, ...] = ()

    def to_frame(self, unit: str = "in") -> "pandas.DataFrame":
        """One row for each journal and shell."""
        return framed(self.wears, unit)
