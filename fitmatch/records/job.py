"""A whole job as it was read, and what every rule is to the rest of the program."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import ClassVar, Final, NamedTuple, Protocol, Self, TypeAlias

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.measuring import Measuring
from fitmatch.records.parts import Band, Fit, Position, Shell

Jobs: TypeAlias = "tuple[Job, ...]"
Place = tuple[str, str]  # names of job and position
ENDLESS: Final = 1 << 62  # a length that none exceeds


class Half(Protocol):
    """What a rule may look at of a shell, or of shells that are alike."""

    @property
    def wall_nm(self) -> int | None: ...
    @property
    def marks(self) -> tuple[str, ...]: ...
    @property
    def family(self) -> str: ...


class Near(NamedTuple):
    """How the bores of a row must lie to one another: what they lie at, in twice the length, differs by `most` at most,
    between neighbouring rows or, with `everyone`, between any two. A bore lies at twice its axis shift and its own of
    `origins`, which are in the order of the row."""

    most: int
    everyone: bool
    origins: tuple[int, ...]


class Bond(NamedTuple):
    """Something that keeps pairs of shells out of a kind, and how to let it go in all jobs that decide the kind
    together."""

    name: str
    off: Callable[[Jobs], Jobs]


class Single(NamedTuple):
    """One of the things that a bond is made of, such as the hold on one shell, and the jobs without it."""

    change: str
    name: str | None
    key: object  # tells it from every other change
    jobs: Jobs


class Rule:
    """Something that keeps shells out of bores, or bores from each other's company: a frozen record, its own setting.

    A rule overrides what it is about; the rest, as it stands here, keeps nothing out. Search, reasons, cures, one more
    shell, baselines and report ask these questions of every rule in `fitmatch.rules` and know none by its name.
    """

    key: ClassVar[str]  # in [rules] of job.toml, and in reasons and cures
    keys: ClassVar[tuple[str, ...]] = ()  # all that it reads there
    limit: ClassVar[str] = ""  # its field that can be let out, in nm or as a factor; empty: only let go as a whole
    phrases: ClassVar[Mapping[str, str]]  # by code; slots as in `facts`
    columns_in: ClassVar[str] = "shells"  # which files must have its columns: shells, positions or either
    plain_to_see: ClassVar[bool] = False  # whether shells come out of their boxes by it: as-boxed obeys it too
    most_singles: ClassVar[int | None] = None  # more are not tried one by one

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        """The rules of this sort that job.toml sets, or that hold unless it says otherwise."""
        return iter(())

    @property
    def idle(self) -> bool:
        """Whether it does nothing for want of another setting, which its phrase of that code names."""
        return False

    def binds(self, kind: str) -> bool:
        """Whether the rule is about this kind."""
        return True

    # --- what it keeps out ---

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns that it names in [rules]."""
        return ()

    @property
    def by_default(self) -> bool:
        """Whether it holds unless [rules] says otherwise, and only where shell files have its columns."""
        return False

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        """The same rule, knowing where its columns stand among the marks of a shell."""
        return self

    def binds_among(self, marks: Collection[tuple[str, ...]]) -> bool:
        """Whether it can keep anything apart, once located, where all shells have some of these marks."""
        return True

    def asks(self, position: Position, side: str) -> object:
        """All that `takes` depends on besides the shell: positions that ask for the same take the same."""
        return None

    def takes(self, position: Position, side: str, half: Half) -> bool:
        """Whether this half may go into this side of the position, whatever the other half is."""
        least, most = self.walls
        return half.wall_nm is None or least <= half.wall_nm <= most

    @property
    def walls(self) -> tuple[int, int]:
        """From and to which wall a half may have."""
        return 0, ENDLESS

    @property
    def differences(self) -> tuple[int, int]:
        """From and to how much the wall of the lower half may exceed that of the upper one."""
        return -ENDLESS, ENDLESS

    def share(self, upper: Half, lower: Half) -> bool:
        """Whether these two halves may share a bore, as far as walls do not tell."""
        return True

    def near(self, row: Sequence[Position]) -> Near | None:
        """How the bores of these rows of one kind bind each other; None: they do not."""
        return None

    # --- what it asks for, and what is wrong where it is broken ---

    @property
    def slots(self) -> dict[str, object]:
        """Its own figures in what it demands and in what is wrong."""
        return {self.limit: self.amount} if self.limit else {}

    def demand(self, position: Position, side: str) -> Fact | None:
        """What a half must be like to go into this side of the position; None where anything will do."""
        return Fact(self.key, self.slots) if "demand" in self.phrases else None

    def refusal(self, position: Position, side: str, shell: Shell) -> Fact:
        """What is wrong with a half that the position does not take."""
        return Fact(self.key, {"shell": shell.key, "wall_nm": shell.wall_nm, **self.slots})

    def discord(self, upper: Shell, lower: Shell) -> Iterator[Fact]:
        """What is wrong with two halves that may not share a bore."""
        assert upper.wall_nm is not None and lower.wall_nm is not None
        least, most = self.differences
        if not least <= lower.wall_nm - upper.wall_nm <= most:
            yield Fact(self.key, {"difference_nm": abs(lower.wall_nm - upper.wall_nm), **self.slots})

    # --- letting it go, and letting it out ---

    @classmethod
    def of(cls, job: "Job", kind: str) -> Iterator[Self]:
        """The rules of this sort that are in force for the kind."""
        return (rule for rule in job.rules if type(rule) is cls and rule.binds(kind))

    @property
    def name(self) -> str | None:
        """What it is called as a bond; None: it keeps nothing out."""
        return self.key

    def off(self, job: "Job", kind: str) -> "Job":
        """The job without this rule, as far as the kind goes."""
        return replace(job, rules=tuple(rule for rule in job.rules if rule != self))

    @classmethod
    def without(cls, name: str, job: "Job", kind: str) -> "Job":
        """The job without the rules of this sort that have this name, as far as the kind goes."""
        for rule in [r for r in cls.of(job, kind) if r.name == name]:
            job = rule.off(job, kind)
        return job

    @classmethod
    def bonds(cls, jobs: Jobs, kind: str) -> Iterator[Bond]:
        """The rules of this sort as bonds: of several jobs that decide the kind together, those of one name are let go
        in all of them. Letting go takes nothing away: every plan of the jobs is one of the jobs without the bond."""

        def off(name: str, some: Jobs) -> Jobs:
            return tuple(cls.without(name, job, kind) for job in some)

        names = dict.fromkeys(rule.name for job in jobs for rule in cls.of(job, kind) if rule.name is not None)
        return (Bond(name, partial(off, name)) for name in names)

    @classmethod
    def singles(cls, jobs: Jobs, kind: str, place: Place, bonds: Sequence[str]) -> Iterator[Single]:
        """Where a bond is made of single things in the parts' own rows: each that may help the position `place`, by the
        names of job and position, which these `bonds` keep out."""
        return iter(())

    @property
    def change(self) -> str:
        """What letting it out by an amount is called."""
        return self.keys[-1]

    @property
    def amount(self) -> int | float | None:
        """The limit that it sets; None: it has none."""
        return getattr(self, self.limit, None)

    def amounts(self, job: "Job", kind: str) -> Sequence[int | float | None]:
        """Other limits that [rules] may set, each letting out more than the one before. The last does as much as none
        at all, or is None where no limit does: then the rule is let go."""
        return ()

    def eased(self, amount: float) -> Self:
        """The same rule with this limit."""
        return replace(self, **{self.limit: amount})  # type: ignore[type-var]  # every rule with a limit is a dataclass

    # --- telling it ---

    @classmethod
    def told(cls, job: "Job") -> Iterator[tuple[str, Fact]]:
        """What is in force of this sort, for the list of a job's rules, with the code of its phrase."""
        found = [rule for rule in job.rules if type(rule) is cls]
        if found:
            yield "in-force", Fact(cls.key, cls.summed(found))
        elif "off" in cls.phrases:
            yield "off", Fact(cls.key)

    @classmethod
    def summed(cls, rules: "Sequence[Self]") -> dict[str, object]:
        """The figures of all rules of this sort in a job, for that list."""
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
    rules: tuple[Rule, ...] = ()  # in the order of their registry; what `[rules]` does not say stands there too
    drawing: Mapping[str, Mapping[str, Band]] = field(default_factory=dict)  # kind -> journal, housing_bore, wall
    matched_columns: tuple[str, ...] = ()
    shell_columns: tuple[str, ...] = ()  # matched columns, then others that rules look at
    coating_counts: bool = True
    digest: str = ""
    warnings: tuple[str, ...] = ()
    measuring: Measuring = field(default_factory=Measuring)
    # Of one among several jobs that share their shells; `shells` are then those of all.
    name: str = ""
    reserved: frozenset[tuple[str, str]] = frozenset()  # shells locked in another of the jobs
    own_shells: tuple[Shell, ...] | None = None  # as its own files tell of them, by which its readings are doubted

    @property
    def jobs(self) -> Jobs:
        """Itself: a job alone is a pool of one."""
        return (self,)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds that have a position, in file order."""
        return tuple(dict.fromkeys(p.kind for p in self.positions))
