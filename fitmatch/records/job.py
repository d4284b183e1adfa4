"""A whole job as it was read, and the interface through which the rest of the program sees every rule."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Final, NamedTuple, Protocol, Self, TypeAlias

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.keys import PositionKey, ShellKey
from fitmatch.records.measuring import Measuring
from fitmatch.records.parts import Band, Fit, Position, Shell

if TYPE_CHECKING:
    from fitmatch.records.shelf.shelved import ShelvedShell
    from fitmatch.records.study.bearings import Running
    from fitmatch.records.study.unopened import BoxesTold

Jobs: TypeAlias = "tuple[Job, ...]"
ENDLESS: Final = 1 << 62  # longer than any length


class Half(Protocol):
    """What a rule may look at in a shell, or in shells that are alike."""

    @property
    def wall_nm(self) -> int | None: ...
    @property
    def marks(self) -> tuple[str, ...]: ...
    @property
    def family(self) -> str: ...


class Near(NamedTuple):
    """How the bores of a row must line up: their places, in twice the length, differ by `most` at most, between
    neighbouring rows or, with `everyone`, between any two. The place of a bore is twice its axis shift plus its own
    entry of `origins`, which are in the order of the row."""

    most: int
    everyone: bool
    origins: tuple[int, ...]


class Bond(NamedTuple):
    """Something that rules out pairs of shells in a kind, and how to drop it in all jobs that decide the kind
    together."""

    name: str
    off: Callable[[Jobs], Jobs]


class Single(NamedTuple):
    """One part of a bond, such as the hold on one shell, and the jobs without it."""

    change: str
    name: str | None
    key: object  # distinguishes it from every other change
    jobs: Jobs
    why: str | None = None  # what its row gives as the reason


class Rule:
    """Something that rules out shells for a bore, or certain bores beside each other: a frozen record that is its own
    setting.

    A rule overrides the methods it needs; the defaults here rule nothing out. Search, reasons, cures, one more shell,
    baselines and report ask these questions of every rule in `fitmatch.rules` and know none by name.
    """

    key: ClassVar[str]  # in [rules] of job.toml, and in reasons and cures
    keys: ClassVar[tuple[str, ...]] = ()  # all keys that it reads there
    limit: ClassVar[str] = ""  # its field that can be relaxed, in nm or as a factor; empty: it can only be dropped
    phrases: ClassVar[Mapping[str, str]]  # by code; slots as in `facts`
    columns_in: ClassVar[str] = "shells"  # which files must have its columns: shells, positions or either
    plain_to_see: ClassVar[bool] = False  # whether as-boxed obeys it too
    most_singles: ClassVar[int | None] = None  # if there are more, they are not tried one by one
    offered: ClassVar[bool] = True  # whether the shop may drop it: what the makers decide is never a cure

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        """The rules of this type that job.toml sets, or that apply unless it says otherwise."""
        return iter(())

    @property
    def idle(self) -> bool:
        """Whether it has no effect because another setting is missing, which its `idle` phrase names."""
        return False

    def binds(self, kind: str) -> bool:
        """Whether the rule is about this kind."""
        return True

    # --- what it rules out ---

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns that it names in [rules]."""
        return ()

    @property
    def by_default(self) -> bool:
        """Whether it holds unless [rules] says otherwise, and only where shell files have its columns."""
        return False

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        """The same rule, knowing where its columns are among the marks of a shell."""
        return self

    def binds_among(self, marks: Collection[tuple[str, ...]]) -> bool:
        """Whether it can keep anything apart, once located, where all shells have some of these marks."""
        return True

    def asks(self, position: Position, side: str) -> object:
        """All that `takes` depends on apart from the shell: positions with equal demands take the same shells."""
        return None

    def takes(self, position: Position, side: str, half: Half) -> bool:
        """Whether this half may go into this side of the position, whatever the other half is."""
        least, most = self.walls
        return half.wall_nm is None or least <= half.wall_nm <= most

    @property
    def walls(self) -> tuple[int, int]:
        """The least and the greatest wall a half may have."""
        return 0, ENDLESS

    @property
    def differences(self) -> tuple[int, int]:
        """The least and the most by which the lower wall may exceed the upper one."""
        return -ENDLESS, ENDLESS

    def share(self, upper: Half, lower: Half) -> bool:
        """Whether these two halves may share a bore, apart from what their walls say."""
        return True

    def near(self, row: Sequence[Position]) -> Near | None:
        """How the bores of these rows of one kind constrain each other; None: they do not."""
        return None

    # --- what it demands, and what is wrong where it is broken ---

    def reads(self, position: Position, side: str, other: Half) -> Iterator[tuple[str, tuple[str, ...]]]:
        """What a half bought for this side of the position must read beside this other one: columns, and any one of
        several marks."""
        return iter(())

    @property
    def slots(self) -> dict[str, object]:
        """Its own figures, for the demand and for what is wrong."""
        return {self.limit: self.amount} if self.limit else {}

    def demand(self, position: Position, side: str) -> Fact | None:
        """What it demands of a half in this side of the position; None where anything will do."""
        return Fact(self.key, self.slots) if "demand" in self.phrases else None

    def refusal(self, position: Position, side: str, shell: Shell) -> Fact:
        """What is wrong with a half that the position cannot take."""
        return Fact(self.key, {"shell": shell.key, "wall_nm": shell.wall_nm, **self.slots})

    def discord(self, upper: Shell, lower: Shell) -> Iterator[Fact]:
        """What is wrong with two halves that may not share a bore."""
        assert upper.wall_nm is not None and lower.wall_nm is not None
        least, most = self.differences
        if not least <= lower.wall_nm - upper.wall_nm <= most:
            yield Fact(self.key, {"difference_nm": abs(lower.wall_nm - upper.wall_nm), **self.slots})

    # --- dropping it, and relaxing it ---

    @classmethod
    def of(cls, job: "Job", kind: str) -> Iterator[Self]:
        """The rules of this type that are in force for the kind."""
        return (rule for rule in job.rules if type(rule) is cls and rule.binds(kind))

    @property
    def name(self) -> str | None:
        """Its name as a bond; None: it rules nothing out."""
        return self.key

    def off(self, job: "Job", kind: str) -> "Job":
        """The job without this rule for the kind."""
        return replace(job, rules=tuple(rule for rule in job.rules if rule != self))

    @classmethod
    def without(cls, name: str, job: "Job", kind: str) -> "Job":
        """The job without the rules of this type that have this name, for the kind."""
        for rule in [r for r in cls.of(job, kind) if r.name == name]:
            job = rule.off(job, kind)
        return job

    @classmethod
    def bonds(cls, jobs: Jobs, kind: str) -> Iterator[Bond]:
        """The rules of this type as bonds. If several jobs decide the kind together, rules of one name are dropped in
        all of them. Dropping a bond takes nothing away: every plan of the jobs is also a plan of the jobs without
        it."""

        def off(name: str, some: Jobs) -> Jobs:
            return tuple(cls.without(name, job, kind) for job in some)

        names = dict.fromkeys(rule.name for job in jobs for rule in cls.of(job, kind) if rule.name is not None)
        return (Bond(name, partial(off, name)) for name in names)

    @classmethod
    def singles(cls, jobs: Jobs, kind: str, place: PositionKey, bonds: Sequence[str]) -> Iterator[Single]:
        """If a bond is made of single entries in the parts' own rows: each entry that may help the position `place`
        (job and position), which these `bonds` keep out."""
        return iter(())

    @property
    def change(self) -> str:
        """What relaxing it by an amount is called."""
        return self.keys[-1]

    @property
    def amount(self) -> int | float | None:
        """The limit that it sets; None: it has none."""
        return getattr(self, self.limit, None)

    def amounts(self, job: "Job", kind: str) -> Sequence[int | float | None]:
        """Other limits that [rules] may set, each looser than the one before. The last is as loose as having no rule
        at all; it is None if no limit is, and the rule is then dropped."""
        return ()

    def eased(self, amount: float) -> Self:
        """The same rule with this limit."""
        return replace(self, **{self.limit: amount})  # type: ignore[type-var]  # every rule with a limit is a dataclass

    # --- reporting it ---

    @classmethod
    def told(cls, job: "Job") -> Iterator[tuple[str, Fact]]:
        """What is in force of this type, for the list of a job's rules, with the code of its phrase."""
        found = [rule for rule in job.rules if type(rule) is cls]
        if found:
            yield "in-force", Fact(cls.key, cls.summed(found))
        elif "off" in cls.phrases:
            yield "off", Fact(cls.key)

    @classmethod
    def summed(cls, rules: "Sequence[Self]") -> dict[str, object]:
        """The figures of all rules of this type in a job, for that list."""
        return rules[0].slots


@dataclass(frozen=True, slots=True)
class Job:
    """A whole job as read: positions in file order, shells in file order, every cell valid."""

    folder: Path
    title: str
    unit: str
    fits: Mapping[str, Fit]
    positions: tuple[Position, ...]
    shells: tuple[Shell, ...]
    rules: tuple[Rule, ...] = ()  # in registry order; defaults that `[rules]` does not mention are included
    drawing: Mapping[str, Mapping[str, Band]] = field(default_factory=dict)  # kind -> journal, housing_bore, wall
    matched_columns: tuple[str, ...] = ()
    shell_columns: tuple[str, ...] = ()  # matched columns, then others that rules look at
    spelled: Mapping[str, str] = field(default_factory=dict)  # marks and families as first typed, if with capitals
    coating_counts: bool = True
    digest: str = ""
    warnings: tuple[str, ...] = ()
    look_alikes: tuple[tuple[str, str], ...] = ()  # boxes that may be copies, each with the other, and no reason given
    measuring: Measuring = field(default_factory=Measuring)
    running: "Mapping[str, Running]" = field(default_factory=dict)  # kind -> how its bearings run
    polish_max_nm: int | None = None  # the most that advice may propose to polish off a journal; None: nothing
    record: Mapping[str, str] = field(default_factory=dict)  # the user's own words for the record of the build
    boxes: "BoxesTold | None" = None  # what is said of boxes not opened yet
    # Of its shells those that are on the shelf; None: the shelf was not asked.
    shelved: "Mapping[ShellKey, ShelvedShell] | None" = None
    # If it is one of several jobs that share their shells; `shells` are then those of all.
    name: str = ""
    reserved: frozenset[ShellKey] = frozenset()  # shells locked in another of the jobs
    own_shells: tuple[Shell, ...] | None = None  # as its own files describe them; doubts about its readings go by these

    def preferring_singles(self) -> "Job":
        """The same, the single shells of the shelf preferred to others."""
        known = self.shelved or {}
        singles = {key for key, one in known.items() if one.single}
        return replace(self, shells=tuple(replace(s, preferred=True) if s.key in singles else s for s in self.shells))

    @property
    def jobs(self) -> Jobs:
        """Itself: a single job is a pool of one."""
        return (self,)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds that have a position, in file order."""
        return tuple(dict.fromkeys(p.kind for p in self.positions))
