"""One session at the bench: what is asked next, and what an entry does to the file of readings."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Final, NamedTuple

from fitmatch.cli.bench.typed import Typed, as_typed
from fitmatch.gauging.bench_path import Asked, bench_path
from fitmatch.intake.common.quantities import MEASURED, CellError, LengthReader
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.writing.appending import LogFile
from fitmatch.intake.writing.log_rows import Row
from fitmatch.intake.writing.new_box import BoxError, NewBox, write_box
from fitmatch.names import holds_unseen
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.wording import shorten

COMMANDS: Final = ("undo", "skip", "back", "keep", "box", "help", "?", "quit")
_WORDS: Final = "undo, skip, back, keep REASON, box NAME KIND UPPERS LOWERS, help or quit"
_HELP: Final = """\
Type what the gauge reads and Enter or Tab; the line `saved ...` says that it is on disk. In place of a reading:
  undo         take back the newest reading
  skip         leave this place for later
  back         go to the place before, to read it once more
  keep REASON  say why the newest reading stands though it looks doubtful
  box NAME KIND UPPERS LOWERS
               begin a box that was just opened, such as {example}
  help or ?    show these words
  quit         end; all that was saved is there the next time"""
_BOX: Final = "write box NAME KIND UPPERS LOWERS, such as {example}"


def help_for(job: Job) -> str:
    """What the words do."""
    return _HELP.format(example=_example(job))


def _example(job: Job) -> str:
    """A box that bears the job's name, so that the boxes of two engines are not taken for one."""
    name = "-".join(job.folder.resolve().name.split())
    return f"box {f'{name}-' if name else ''}rods-C rod 5 5"


class RefusedError(Exception):
    """An entry that does nothing; the message says why, and what to do."""


class Quit(Exception):
    """The word `quit`."""


class Doors(NamedTuple):
    """What a session needs from outside."""

    read: Callable[[bytes], Job]  # the job with these readings; raises InputError
    settings: Callable[[], Settings]
    doubts_of: Callable[[Job], Iterable[Doubt]]
    say: Callable[[str], None]
    warn: Callable[[str], None]  # with the bell
    by: str = ""


class Bench:
    """Keeps the job with every reading on disk, and the place on the path where the next reading is due."""

    def __init__(self, log: LogFile, job: Job, doors: Doors) -> None:
        self._log = log
        self._doors = doors
        self._at = 0
        self._again = False  # whether this place is asked for although it has its reading
        self._look_at(job)

    @property
    def complete(self) -> bool:
        return all(asked.taken for asked in self._path)

    def prompt(self) -> str:
        """What is asked for: progress along the path, item, feature, station, angle, gauge and unit."""
        asked = self._asked()
        total = len(self._path)
        if not total:
            return f"The tables have every reading already, and none is asked for; {_WORDS}: "
        if asked is None:
            return f"All {total} readings are there; {_WORDS}: "
        half = f" ({asked.kind} {asked.half})" if asked.half else ""
        parts = [f"{asked.item} {_words(asked.feature)}{half}"]
        station = asked.place.station
        parts.append("any station" if station is None else f"station {station}")
        parts += [f"{asked.place.angle:g} deg", asked.gauge or "no gauge named", self._unit(asked.gauge)]
        again = "one more, " if asked.taken else ""
        return f"{self._at + 1}/{total} {again}{', '.join(parts)}: "

    def enter(self, text: str) -> None:
        """Do what an entry says. Raises RefusedError, Quit, or ChangedError if another program wrote the file."""
        word, _, rest = text.partition(" ")
        word, rest = word.casefold(), rest.strip()
        if word not in COMMANDS:
            self._reading(text)
        elif word == "keep":
            self._keep(rest)
        elif word == "box":
            self._box(rest.split())
        elif rest:
            raise RefusedError(f"`{shorten(text)}`: {word} must be typed alone; nothing was done")
        elif word == "quit":
            raise Quit
        elif word in ("help", "?"):
            self._doors.say(help_for(self._job))
        else:
            {"undo": self._undo, "skip": self._skip, "back": self._back}[word]()

    def _reading(self, text: str) -> None:
        asked, typed = self._asked(), as_typed(text)
        if typed is None:
            raise RefusedError(f"`{shorten(text)}` is neither a number nor one of {_WORDS}; nothing was saved")
        if asked is None:
            raise RefusedError("all readings of the path are there; nothing was saved")
        nm = self._length(typed, asked)
        rows = self._log.rows
        unit = self._unit(asked.gauge)
        decimal_comma = rows.decimal_comma
        angle, station = f"{asked.place.angle:g}", asked.place.station
        row = rows.row(
            {
                "item": asked.item,
                "feature": asked.feature,
                "station": "" if station is None else str(station),
                "angle": angle.replace(".", ",") if decimal_comma else angle,
                "reading": typed.cell(unit, rows.unit or unit, decimal_comma=decimal_comma),
                "gauge": asked.gauge or "",
                "by": self._doors.by,
                "time": datetime.now().astimezone().isoformat(timespec="seconds"),
            }
        )
        job = self._with(self._log.data + rows.glued(row))
        try:
            self._log.append(row)
        except OSError as error:
            raise RefusedError(f"cannot be written ({error.strerror}); nothing was saved") from error
        self._at += self._again
        doubts = self._doubts
        self._look_at(job)
        self._doors.say(f"saved {asked.item} {_words(asked.feature)} {typed.told(nm, unit, job.unit)}")
        self._tell_doubts(doubts)

    def _length(self, typed: Typed, asked: Asked) -> int:
        reader = LengthReader(MEASURED[asked.feature], self._unit(asked.gauge), self._job.unit == "in")
        try:
            nm = reader.read(typed.with_unit(self._unit(asked.gauge)))
        except CellError as error:
            raise RefusedError(f"{error}; nothing was saved") from None
        if reader.finer:
            self._doors.say(f"{typed.number} is finer than a nanometre and was rounded, halves to even")
        return nm

    def _with(self, data: bytes) -> Job:
        """The job with the readings in `data`: a reading that would make it invalid is not saved."""
        try:
            return self._doors.read(data)
        except InputError as bad:
            raise RefusedError(f"{bad.problems[0]}; nothing was saved") from None

    def _tell_doubts(self, before: Iterable[Doubt]) -> None:
        """What looks wrong only since the newest reading; that need not be the newest itself."""
        known = {(doubt.file, doubt.row) for doubt in before}
        newest = self._job.measuring.log_file, self._job.measuring.log[-1].row
        for doubt in self._doubts:
            place = doubt.file, doubt.row
            if place not in known:
                from fitmatch.report.words.doubts import likely, looks_wrong, measure_again

                found = looks_wrong(doubt, self._job.unit)
                todo = "; undo, or keep REASON" if place == newest else f" ({doubt.file}:{doubt.row})"
                self._doors.warn(f"doubtful: {found}: {likely(doubt)[0]}; {measure_again(doubt)}{todo}")

    def _undo(self) -> None:
        newest = self._log.rows.newest
        if newest is None:
            raise RefusedError("there is no reading to take back")
        told = self._newest_told(newest)
        open_before = {n for n, asked in enumerate(self._path) if not asked.taken}
        self._written(lambda: self._log.replace(self._log.rows.without(newest)))
        self._look_at(self._doors.read(self._log.data))
        opened = [n for n, asked in enumerate(self._path) if not asked.taken and n not in open_before]
        self._at = opened[0] if opened else self._at
        self._doors.say(f"took back {told}")

    def _keep(self, reason: str) -> None:
        rows = self._log.rows
        newest, column = rows.newest, rows.index("confirmed")
        if not reason or holds_unseen(reason):
            raise RefusedError("say why the reading is right, on one line: keep REASON")
        if newest is None:
            raise RefusedError("there is no reading to keep")
        if column is None:
            raise RefusedError("the file of readings has no column `confirmed`; add it to its header and to every row")
        told = self._newest_told(newest)
        self._written(lambda: self._log.replace(rows.with_cell(newest, column, reason)))
        self._look_at(self._doors.read(self._log.data))
        self._doors.say(f"kept {told}: {reason}")

    def _skip(self) -> None:
        if self._asked() is None:
            raise RefusedError("all readings of the path are there; there is nothing to skip")
        self._at = (self._at + 1) % len(self._path)
        self._again = False
        self._seek()

    def _back(self) -> None:
        at = len(self._path) if self._asked() is None else self._at
        if at == 0:
            raise RefusedError("this is the first place of the path")
        self._at = at - 1
        self._again = self._path[self._at].taken

    def _box(self, words: list[str]) -> None:
        if len(words) != 4 or not all(w.isascii() and w.isdecimal() and len(w) <= 3 for w in words[2:]):
            raise RefusedError(_BOX.format(example=_example(self._job)))
        box = NewBox(words[0], words[1], int(words[2]), int(words[3]))
        try:
            path = write_box(box, self._job, self._doors.settings())
        except BoxError as error:
            raise RefusedError(str(error)) from None
        except OSError as error:
            raise RefusedError(f"the box cannot be written ({error.strerror})") from error
        self._again = False
        self._look_at(self._doors.read(self._log.data))
        self._at = next((n for n, asked in enumerate(self._path) if asked.half and asked.key[0] == box.name), self._at)
        self._doors.say(f"wrote {path}: {box.uppers} upper, {box.lowers} lower")

    def _written(self, change: Callable[[], None]) -> None:
        try:
            change()
        except OSError as error:
            raise RefusedError(f"cannot be written ({error.strerror}); nothing was changed") from error

    def _look_at(self, job: Job) -> None:
        self._job = job
        self._doubts = tuple(self._doors.doubts_of(job))
        self._path = bench_path(job)
        self._again = False
        self._seek()

    def _seek(self) -> None:
        """Go to the next open place from here on, then round again to those that were skipped."""
        count = len(self._path)
        around = [(self._at + step) % count for step in range(count)]
        self._at = next((n for n in around if not self._path[n].taken), self._at)

    def _asked(self) -> Asked | None:
        return None if self.complete and not self._again else self._path[self._at]

    def _unit(self, gauge: str | None) -> str:
        """The unit of a gauge's plain numbers."""
        return (self._job.measuring.gauges[gauge].unit if gauge else None) or self._job.unit

    def _newest_told(self, newest: Row) -> str:
        reading = self._job.measuring.log[-1]
        column = self._log.rows.index("reading")
        typed = None if column is None else as_typed(newest.cells[column])
        assert typed is not None  # the job has been read, including this reading
        unit = self._log.rows.unit or self._unit(reading.reading.gauge)
        return f"{reading.item} {_words(reading.feature)} {typed.told(reading.reading.nm, unit, self._job.unit)}"


def _words(feature: str) -> str:
    return feature.replace("_", " ")
