"""What a job is made of: frozen records, every length in whole nanometres.

Words: a *position* is one rod or main with its journal and housing; a *shell* is one half bearing; the *wall* is the
wall thickness at the crown; the *clearance* is diametral. *upper* is the block side of a main and the beam side of a
rod, *lower* the cap side of both.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import ClassVar, Final, NamedTuple, Protocol, Self, TypeAlias

from fitmatch.ask import Ask
from fitmatch.facts import Fact
from fitmatch.measuring import DIAMETERS, Form, MeasuredAs, Measuring, Reading

SIDES: Final = ("upper", "lower")
HALVES: Final = ("upper", "lower", "either")
ANY: Final = "any"
Jobs: TypeAlias = "tuple[Job, ...]"
Place = tuple[str, str]  # names of job and position
ENDLESS: Final = 1 << 62  # a length that none exceeds


# --- what is given ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Size:
    """A diameter or a wall as it was measured: the mean of its places, and the extremes of its readings, all corrected.

    Of a coated shell this is the wall that was measured, coated or bare. Raw mean - zero error - ball + temperature =
    mean, to the nanometre.
    """

    mean_nm: int
    smallest_nm: int
    largest_nm: int
    readings: tuple[Reading, ...] = ()  # those that make it, as the gauge gave them
    measured_as: MeasuredAs | None = None  # None: nothing is known of how
    temperature_nm: int = 0  # what the correction to 20 degrees Celsius added
    aside: tuple[Reading, ...] = ()  # those away from the crown axis, which tell of form alone
    form: Form | None = None  # None: no reading tells of it

    @property
    def zero_nm(self) -> int:
        """The zero error that was taken off."""
        return self.measured_as.zero_nm if self.measured_as else 0

    @property
    def ball_nm(self) -> int:
        """The ball that was taken off."""
        return self.measured_as.ball_nm if self.measured_as else 0

    @property
    def raw_mean_nm(self) -> int:
        """The mean before correction."""
        return self.mean_nm + self.zero_nm + self.ball_nm - self.temperature_nm

    @property
    def gauges(self) -> tuple[str, ...]:
        """The named gauges, each once."""
        return self.measured_as.gauges if self.measured_as else ()


@dataclass(frozen=True, slots=True)
class Shell:
    """One half bearing. `marks` are its cells in `Job.shell_columns`, in that order, trimmed and lower-cased."""

    name: str
    box: str
    kind: str
    half: str  # upper, lower or either
    wall_nm: int | None  # the wall that counts in a clearance; None: not yet measured
    marks: tuple[str, ...] = ()
    family: str = ""
    grade: str | None = None
    hold: str | None = None
    coating_nm: int = 0  # on the running face; 0: uncoated
    wall_to_metal_nm: int | None = None  # the wall without its coating
    file: str = ""
    row: int = 0
    measured: Size | None = None  # the wall as it was measured; equal shells may share it, as there may be a million

    @property
    def measured_as(self) -> MeasuredAs | None:
        """How the wall was measured; None: nothing is known of how."""
        return self.measured.measured_as if self.measured else None

    @property
    def key(self) -> tuple[str, str]:
        """Box and name, which together tell this shell from every other."""
        return self.box, self.name


@dataclass(frozen=True, slots=True)
class Position:
    """One rod or main. `wants_upper` and `wants_lower` are the cells its halves must match, in the order of
    `Job.matched_columns`, trimmed and lower-cased.

    `target_nm`, `min_nm` and `max_nm` are final: the row's own, else the kind's. `upper` and `lower` name locked
    shells.
    """

    name: str
    kind: str
    journal: Size | None
    housing_bore: Size | None
    target_nm: int | None  # None only where target_ratio waits for a journal
    min_nm: int | None = None
    max_nm: int | None = None
    want_min_nm: int | None = None  # the narrower band one would like, already clipped to min and max
    want_max_nm: int | None = None
    seating_nm: int = 0
    upper: tuple[str, str] | None = None
    lower: tuple[str, str] | None = None
    wants_upper: tuple[str, ...] = ()
    wants_lower: tuple[str, ...] = ()
    accept: str | None = None
    pin: int | None = None
    row: int = 0
    undersize: str = ""  # the user's own label of what the journal was ground to
    aims_at_middle: bool = False  # its target is the middle of min and max because nobody wrote one
    within: tuple[str, ...] = ()  # cells in which a housing and its journal must agree, trimmed and lower-cased
    housing: str | None = None  # the row whose housing stands here, if it was moved
    offset_nm: int | None = None  # of the housing's axis off the line of the others; positive towards the block
    job: str = ""  # the name of its job; empty for one alone

    @property
    def key(self) -> tuple[str, str]:
        """Job and name, which together tell this position from every other, whichever housing it has."""
        return self.job, self.name

    unsized: Form | None = None  # of a housing bore that has no size, as no reading of it lies near the crown axis

    @property
    def wishes(self) -> bool:
        """Whether a band is wished for here."""
        return self.want_min_nm is not None or self.want_max_nm is not None

    @property
    def missing(self) -> tuple[str, ...]:
        """The features that have no reading yet."""
        return tuple(feature for feature in DIAMETERS if getattr(self, feature) is None)

    def form(self, feature: str) -> Form | None:
        """What the readings of the journal or housing bore tell of its form; None if nothing."""
        size: Size | None = getattr(self, feature)
        if size is not None:
            return size.form
        return self.unsized if feature == "housing_bore" else None


@dataclass(frozen=True, slots=True)
class Band:
    """A drawing's limits; both ends belong to it."""

    low_nm: int
    high_nm: int

    def __contains__(self, nm: int) -> bool:
        return self.low_nm <= nm <= self.high_nm


@dataclass(frozen=True, slots=True)
class Fit:
    """One `[fit.KIND]` table: what every position of the kind has unless its row says otherwise."""

    kind: str
    target_nm: int | None = None
    target_ratio: str | None = None
    min_nm: int | None = None
    max_nm: int | None = None
    seating_nm: int = 0
    family: tuple[str, ...] | None = None  # lower-cased; None: every family fits
    seating_u_nm: int | None = None  # standard uncertainty of the seating
    want_min_nm: int | None = None  # the narrower band one would like, as written
    want_max_nm: int | None = None


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

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        """The same rule, knowing where its columns stand among the marks of a shell."""
        return self

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


def marks_agree(one: str, other: str) -> bool:
    """Whether two lower-cased cells agree: `any` with everything, blank with blank only."""
    return one == other or ANY in (one, other)


# --- what is answered ------------------------------------------------------------------------------------------------


def room(position: Position) -> int:
    """What walls and clearance share: housing bore - journal + seating, from the mean sizes."""
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm


def tightest_room(position: Position, limits_at: str) -> int:
    """The room left by the smallest crown-axis bore reading and the largest journal reading."""
    if limits_at == "mean":
        return room(position)
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.smallest_nm - position.journal.largest_nm + position.seating_nm


def shortfall_of(least_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies below a bound; 0 if it does not, or there is none."""
    return 0 if least_nm is None else max(0, least_nm - clearance_nm)


def excess_of(most_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies above a bound; 0 if it does not, or there is none."""
    return 0 if most_nm is None else max(0, clearance_nm - most_nm)
