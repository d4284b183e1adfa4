"""Shells of the shelf made shells of a job, while the job is read: each once, whether or not a file has it too."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from sys import intern
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.sizes.places import places, sum_of_squares
from fitmatch.gauging.sizes.sizing import series_of
from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.rows.shells import ShellPool, coated_wall
from fitmatch.intake.together.copies import Copy
from fitmatch.names import composed
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.measuring import Gauge, MeasuredAs, Pooled, Reading
from fitmatch.records.parts import ON_SHELF, SIDES, Position, Shell, Size
from fitmatch.records.shelf.shelved import ShelvedShell, Supply
from fitmatch.wording import listed, shorten

_LABELS: Final = ("grade", "family", "condition", "series", "part", "undersize", "step", "note")


class Offer(NamedTuple):
    """What the shelf offers a job: shells of its families, and the kind that each family is for."""

    supply: Supply
    shells: tuple[ShelvedShell, ...]
    kinds: Mapping[str, str]

    @property
    def columns(self) -> set[str]:
        """The columns in which some shell has something."""
        alike = {id(s.marks): s.marks for s in self.shells}
        found = {name for marks in alike.values() for name, text in marks.items() if text}
        found |= {name for name in _LABELS if any(getattr(s, name) for s in self.shells)}
        return found | ({"coating"} if any(s.coating_nm for s in self.shells) else set())

    def take(self, pool: ShellPool, findings: Findings, locks: Iterable[str]) -> "Taken":
        """Add what is offered to the shells of the files. Of a shell that is in both, the file says how it was measured
        and the shelf whether it may be had; one that reads otherwise there is noted. `locks`: the shells that positions
        name."""
        taker = _Taker(pool, self, findings)
        taker.match()
        taker.add()
        taker.look_up(locks)
        return Taken(taker.shelved, taker.gauges, taker.pooled())


def offer_of(supply: Supply, settings: Settings) -> Offer:
    """What the shelf offers; a kind without families, and a family of two kinds, are noted."""
    kinds: dict[str, str] = {}
    for kind, table in settings.fits.items():
        if table.fit.family is None:
            text = (
                'is missing; what comes from the shelf goes by its family, so name those that fit, as in ["narrow-2"]'
            )
            settings.file.report("family-missing", text, "fit", kind, "family")
        for family in table.fit.family or ():
            if kinds.setdefault(family, kind) != kind:
                text = f"`{shorten(family)}` fits {shorten(kinds[family])} already; of the shelf's shells the family"
                text = f"{text} decides the kind, so name each family in one kind"
                settings.file.report("family-twice", text, "fit", kind, "family")
    return Offer(supply, supply.of_families(kinds.keys()), kinds)


class Taken(NamedTuple):
    """Which of a job's shells are on the shelf, their gauges, and how far these scatter."""

    shelved: Mapping[ShellKey, ShelvedShell]
    gauges: Mapping[str, Gauge]
    pooled: Mapping[str, Pooled]

    def free_what_is_locked(self, pool: ShellPool, positions: Iterable[Position], findings: Findings) -> None:
        """Used shells are free where a lock puts them back into their own place; others that no file has are left
        out."""
        back = {key: p.name for p in positions for key in (p.upper, p.lower) if key is not None and pool.used.get(key)}
        shells = [s for s in pool.shells if s.key in back or s.key not in pool.used or s.file != ON_SHELF]
        pool.shells[:] = [replace(s, hold=None) if s.key in back else s for s in shells]
        for key, name in back.items():
            text = f"{shorten(full_name(key))} has run in {shorten(name)} and is to run there again"
            findings.warnings.append(f"{text}: whether a used shell may, the engine and bearing maker decide")

    def fixed(self, pool: ShellPool, positions: Sequence[Position], sheet: Sheet) -> list[Position]:
        """The positions with what is fitted in the job's engine kept in its place; a lock that says otherwise is noted,
        and what has no such position any more is not used."""
        found = {p.name: p for p in positions}
        kinds = {s.key: s.kind for s in pool.shells}
        lost = dict[ShellKey, str]()
        for key, (name, side) in pool.fitted.items():
            where = f"fitted in {shorten(name)} {side} of this job's engine"
            for p in positions:
                for at in SIDES:
                    other = getattr(p, at) not in (None, key) if (p.name, at) == (name, side) else getattr(p, at) == key
                    if other:
                        text = f"`{shorten(full_name(key))}` is {where}; put it back first, or take this lock out"
                        sheet.report("lock-held", text, p.row, at)
            if name in found and found[name].kind == kinds[key]:
                found[name] = replace(found[name], upper=key) if side == "upper" else replace(found[name], lower=key)
            else:
                lost[key] = where
        pool.shells[:] = [replace(s, hold=lost[s.key]) if s.key in lost else s for s in pool.shells]
        return [found[p.name] for p in positions]

    def into(self, job: Job, own: tuple[Shell, ...]) -> Job:
        """The job with what is known of its shells on the shelf; `own` are those of its files."""
        shelved = {s.key: self.shelved[s.key] for s in job.shells if s.key in self.shelved}
        gauges, pooled = {**job.measuring.gauges, **self.gauges}, {**job.measuring.pooled, **self.pooled}
        measuring = replace(job.measuring, gauges=gauges, pooled=pooled)
        return replace(job, shelved=shelved, own_shells=own, measuring=measuring)


class _Taker:
    def __init__(self, pool: ShellPool, offer: Offer, findings: Findings) -> None:
        self._pool = pool
        self._offer = offer
        self._findings = findings
        self._gauged = bool(pool.settings.measuring.gauges)  # otherwise nothing is known of how certain a size is
        self.shelved: dict[ShellKey, ShelvedShell] = {}
        self._boxes: dict[str, set[int]] = defaultdict(set)  # of the shelf, by the box of the files that each one is
        self._repeats: dict[str, list[list[int]]] = defaultdict(list)
        self._ways: dict[MeasuredAs, MeasuredAs] = {}
        self._sizes: dict[tuple[int, int, tuple[Reading, ...]], Size] = {}

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        return self._offer.supply.gauges if self._gauged else {}

    def pooled(self) -> Mapping[str, Pooled]:
        """The scatter of each gauge of the shelf, by its repeats."""
        found: dict[str, Pooled] = {}
        for gauge, some in self._repeats.items():
            freedom = sum(len(values) - 1 for values in some)
            squares = sum(above / below for above, below in map(sum_of_squares, some))
            found[gauge] = Pooled(squares / freedom, freedom)
        return found

    # --- shells that are in a file and on the shelf ---

    def match(self) -> None:
        """Find the shells of the files on the shelf."""
        there: dict[tuple[str, str], list[ShelvedShell]] = defaultdict(list)
        for one in self._offer.supply.in_boxes({shell.box for shell in self._pool.shells}):
            there[composed(one.box), composed(one.shell)].append(one)
        for at, shell in enumerate(self._pool.shells):
            if found := there.get((composed(shell.box), composed(shell.name))):
                same = self._same(shell, found)
                if same is not None:
                    self.shelved[shell.key] = same
                    self._boxes[shell.box].add(same.box_number)
                    self._pool.shells[at] = self._as_the_shelf_says(shell, same)
                    self._note_place(shell.key, shell.hold, same)

    def _same(self, shell: Shell, found: Sequence[ShelvedShell]) -> ShelvedShell | None:
        alike = [one for one in found if one.half == shell.half and (shell.measured is None or _reads(shell, one))]
        if len(alike) == 1:
            return alike[0]
        numbers = listed([str(one.number) for one in found])
        name = f"`{shorten(shell.box)}/{shorten(shell.name)}`"
        if alike:
            text = f"{name} may be any of {numbers} on the shelf; rename the box here and there"
        else:
            text = f"{name} is on the shelf, number {numbers}, with another half or other readings; take it in again"
            text = f"{text} with --remeasured, or rename the box if it is another one"
        self._findings.report("shelf-differs", text, self._pool.papers[shell.file], shell.row, "wall")
        return None

    def _as_the_shelf_says(self, shell: Shell, one: ShelvedShell) -> Shell:
        if shell.measured is None and one.wall_nm is not None:
            new = self._shell(one, shell.box, shell.kind)
            shell = replace(
                shell,
                wall_nm=new.wall_nm,
                wall_to_metal_nm=new.wall_to_metal_nm,
                coating_nm=new.coating_nm,
                measured=new.measured,
            )
        hold = shell.hold or one.hold or (None if one.barred is None else why_not(one.barred))
        if one.hold_inside:  # its file may say so too
            hold = None
        return shell if hold == shell.hold else replace(shell, hold=hold)

    # --- shells that are on the shelf alone ---

    def add(self) -> None:
        """Add what is offered and in no file."""
        known = {one.number for one in self.shelved.values()}
        new = [one for one in self._offer.shells if one.number not in known]
        names = box_names(new, {shell.box for shell in self._pool.shells}, self._boxes)
        keys = {shell.key for shell in self._pool.shells}
        for one in new:
            shell = self._shell(one, names[one.box_number], self._offer.kinds[one.family.strip().casefold()])
            if shell.key not in keys:  # otherwise it is noted that the shell of that file reads otherwise
                self._pool.shells.append(shell if one.barred is None else replace(shell, hold=why_not(one.barred)))
                self._note_place(shell.key, None, one)
                self.shelved[shell.key] = one

    def look_up(self, locks: Iterable[str]) -> None:
        """Note why the shelf does not offer shells that locks name by BOX/NAME."""
        known = {composed(full_name(shell.key)) for shell in self._pool.shells}
        named = {
            composed(full_name((box.strip(), name.strip()))): box for box, _, name in (c.partition("/") for c in locks)
        }
        boxes = {box.strip() for name, box in named.items() if name not in known}
        for one in self._offer.supply.in_boxes(boxes) if boxes else ():
            name = composed(full_name((one.box, one.shell)))
            if name in named and name not in known:
                settled = f"`fitmatch shelf release {one.number} REASON` once that is settled, or " if one.hold else ""
                self._pool.elsewhere[name] = f"{shorten(why_not_offered(one))}; {settled}lock another shell"

    def _note_place(self, key: ShellKey, hold: str | None, one: ShelvedShell) -> None:
        if one.seat is not None:
            self._pool.fitted[key] = one.seat
        if one.barred is not None and one.barred.code == "used" and not (hold or one.hold):
            slots = one.barred.slots
            self._pool.used[key] = (str(slots["position"]), str(slots["half"])) if slots["back"] else None

    def _shell(self, one: ShelvedShell, box: str, kind: str) -> Shell:
        pool = self._pool
        measured = self._size(one)
        wall, metal = one.wall_nm, one.wall_nm
        if wall is not None and one.coating_nm:
            wall, metal = coated_wall(wall, one.coating_nm, True, pool.settings.coating_counts)
        family = one.family.strip().casefold()
        pool.families.setdefault(one.family, family)
        return Shell(
            name=one.shell,
            box=intern(box),
            kind=kind,
            half=one.half,
            wall_nm=wall,
            marks=self._marks(one),
            family=family,
            grade=one.grade or None,
            coating_nm=one.coating_nm,
            wall_to_metal_nm=metal,
            file=ON_SHELF,
            measured=measured,
            step=f"{one.undersize} {one.step}".strip(),
        )

    def _marks(self, one: ShelvedShell) -> tuple[str, ...]:
        typed = tuple([self._cell(one, name) for name in self._pool.columns_compared])
        marks = self._pool.marks.get(typed)
        if marks is None:
            marks = self._pool.marks[typed] = tuple([text.strip().casefold() for text in typed])
        return marks

    def _cell(self, one: ShelvedShell, name: str) -> str:
        if name == "coating":
            return "coated" if one.coating_nm else ""
        return str(getattr(one, name)) if name in _LABELS else one.marks.get(name, "")

    def _size(self, one: ShelvedShell) -> Size | None:
        """The wall as it was measured; the same object for equal readings."""
        if one.wall_nm is None:
            return None
        wall = one.wall_nm - one.coating_nm if one.measured_bare else one.wall_nm
        readings = one.readings if self._gauged else tuple([r._replace(gauge=None) for r in one.readings])
        if self._gauged and len(readings) > 1 and one.number not in self._offer.supply.learned:
            self._offer.supply.learned.add(one.number)
            self._learn(readings)
        alike = wall, one.off_nm, readings
        if alike not in self._sizes:
            told = readings and (self._gauged or one.off_nm)
            self._sizes[alike] = Size(wall, wall, wall, readings, self._way(one.off_nm, readings) if told else None)
        return self._sizes[alike]

    def _way(self, off_nm: int, readings: Sequence[Reading]) -> MeasuredAs:
        groups = places(readings, numbered_are_repeats=True)
        way = MeasuredAs(series_of(readings, groups), off_nm, 0, len(groups))
        return self._ways.setdefault(way, way)

    def _learn(self, readings: Sequence[Reading]) -> None:
        """Learn how far repeats scatter."""
        for group in places(readings, numbered_are_repeats=True):
            by_gauge: dict[str, list[int]] = {}
            for at in group:
                if (gauge := readings[at].gauge) is not None:
                    by_gauge.setdefault(gauge, []).append(readings[at].nm)
            for gauge, values in by_gauge.items():
                if len(values) > 1:
                    self._repeats[gauge].append(values)


def box_names(
    new: Iterable[ShelvedShell], files: Collection[str], known: Mapping[str, Collection[int]]
) -> Mapping[int, str]:
    """What each box of the shelf is called in a job: two boxes of one name by their numbers, unless one is in the
    files. `files`: the boxes there; `known`: by these, those of the shelf that they are."""
    numbers: dict[str, set[int]] = defaultdict(set)
    for one in new:
        numbers[one.box].add(one.box_number)
    found: dict[int, str] = {}
    for box, some in numbers.items():
        of_file = known.get(box, ())
        for number in some:
            own = number in of_file or (box not in files and len(some) == 1)
            found[number] = box if own or (box in files and not of_file) else f"{box} #{number}"
    return found


def _reads(shell: Shell, one: ShelvedShell) -> bool:
    assert shell.measured is not None
    over_coating = None if shell.wall_to_metal_nm is None else shell.wall_to_metal_nm + shell.coating_nm
    mine = tuple(reading.nm for reading in shell.measured.readings), over_coating, shell.coating_nm
    return mine == (tuple(reading.nm for reading in one.readings), one.wall_nm, one.coating_nm)


def why_not_offered(one: ShelvedShell) -> str:
    """Why a job may not have a shell of the shelf."""
    if one.hold:
        return f"on hold ({one.hold})"
    if one.barred is not None:
        return why_not(one.barred)
    return "not yet measured" if one.wall_nm is None else f"of family {one.family or '(none)'}"


def why_not(barred: Fact) -> str:
    """Why a shell may not be had, in place of a hold in its file."""
    slots = barred.slots
    match barred.code:
        case "set-aside":
            return f"set aside for {slots['job']}"
        case "fitted":
            return f"fitted in engine {slots['engine']} at {slots['position']}"
        case "used":
            return f"used in {slots['job']} {slots['position']} {slots['half']}: only for there"
        case "scrapped":
            return f"scrapped: {slots['reason']}"
    return barred.code.replace("-", " ")  # missing, sent back


def report_shelf_copy(copy: Copy, paper: Callable[[Shell], Paper], findings: Findings) -> None:
    """Note that a box of the files reads like one of the shelf under another name. `paper`: the file of a shell."""
    mine, other = (copy.other, copy.shell) if copy.shell.is_shelved else (copy.shell, copy.other)
    text = f"box `{shorten(mine.box)}` has the shells and readings of box `{shorten(other.box)}` on the shelf"
    if copy.is_mistake:
        todo = "one box under two names; give it the name that it has there, or write in its own readings"
        findings.report("box-copied", f"{text}, {todo}", paper(mine), mine.row, "box")
    else:
        findings.warnings.append(f"{paper(mine).name}: {text}, and is taken as another one")
