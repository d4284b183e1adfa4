"""The part for the store: what goes back where, and a label for every shell that does."""

from collections.abc import Iterator, Sequence
from math import ceil
from typing import Final, NamedTuple

from fitmatch.records.job import Job
from fitmatch.records.parts import Shell
from fitmatch.report.shared.states import marks_of
from fitmatch.report.sheet.amounts import Amount, Run, amount, coating_of, runs
from fitmatch.report.sheet.source import Label, Shown

USUAL: Final = Label(60, 30)
_USUAL_PT: Final = 7.5  # the letters that suit it
LEAST_PT: Final = 6.0  # no letters are smaller
# What is left out where there is no room for it in those, in this order; the rest always stands.
_LEFT_OUT: Final = ("grade", "part", "step", "family", "measured", "location")
_SIZES: Final = (10, 9, 8, 7, 6)  # tenths of those
_MM_PER_PT: Final = 25.4 / 72
# As in the style sheet, in millimetres and in heights of a letter; the widths are those of the widest usual letters.
_INSIDE_MM: Final = (3.8, 3.0)
_LINE: Final = 1.25
_LETTER: Final = 0.57
_NAME: Final = 2
_BLANK: Final = " " * 14  # as wide as room to write something in
_LOST_AT_THE_END: Final = 0.12  # of a line, where words are not parted


class Tag(NamedTuple):
    """What a label says of a shell; what is not known is empty. `when` it was measured, and `by` what, is written in by
    hand then. `number`: that on the shelf; `held`: why it is not to be used; `noted`: that it is in
    the engine by a reading with the shells in, which the plan contradicts. `size`: of its letters, in tenths of the
    usual ones. `left_out`: what there is no room for."""

    name: tuple[Run, ...]
    box: str
    half: str
    kind: str
    wall: Amount
    about: tuple[tuple[str, str], ...]
    when: str
    by: str
    held: str
    number: str
    noted: str
    size: int = _SIZES[0]
    left_out: tuple[str, ...] = ()

    def without(self, *left_out: str) -> "Tag":
        """The same without some of what it says."""
        about = tuple((name, text) for name, text in self.about if name not in left_out)
        known = {name for name, _ in self.about} | {"measured"}
        return self._replace(about=about, left_out=tuple(name for name in left_out if name in known))

    @property
    def lines(self) -> Iterator[str]:
        """What stands below its name."""
        yield f"{self.kind}, {self.half}; box {self.box}"
        yield f"wall {self.wall.own} ({self.wall.other})"
        if self.held:
            yield f"HELD: {self.held}"
        if self.noted:
            yield self.noted
        if self.about or self.left_out:
            yield "; ".join(f"{name} {text}" for name, text in self.about) + (" ..." if self.left_out else "")
        if "measured" not in self.left_out:
            yield f"measured {self.when or _BLANK} with {self.by or _BLANK}"


class Box(NamedTuple):
    """What goes back into one box."""

    box: str
    shells: tuple[Tag, ...]


class Leftovers(NamedTuple):
    """The whole part; boxes in natural order."""

    boxes: tuple[Box, ...]
    number: int


def leftovers(shown: Shown, label: Label) -> Leftovers:
    """Every shell that is left over or held, by its box, with labels of this size."""
    job = shown.plan.job
    when = {row.shell: row.time for row in job.measuring.log if row.shell is not None and row.time}
    boxes: dict[str, list[Tag]] = {}
    told = [s for s in (*shown.leftover, *shown.held) if s.wall_nm is not None]
    for shell in told:
        tag = _tag(job, shell, when.get(shell.key, ""), shown.noted_in(shell))
        boxes.setdefault(shell.box, []).append(_that_fits(tag, label))
    return Leftovers(tuple(Box(box, tuple(tags)) for box, tags in boxes.items()), len(told))


def letters_pt(label: Label) -> float:
    """The usual letters of labels of a size: they grow with it."""
    return _USUAL_PT * min(label.width_mm / USUAL.width_mm, label.height_mm / USUAL.height_mm)


def _that_fits(tag: Tag, label: Label) -> Tag:
    """The label with the largest letters with which everything stays within it; if there are none, the smallest, and
    without what is needed least."""
    for number in range(len(_LEFT_OUT) + 1):
        found = tag.without(*_LEFT_OUT[:number])
        if (size := _size(found, label)) is not None:
            return found._replace(size=size)
    return found._replace(size=_SIZES[-1])


def _size(tag: Tag, label: Label) -> int | None:
    """The largest letters with which everything stays within the label; None if there are none."""
    width_mm, height_mm = (mm - inside for mm, inside in zip(label, _INSIDE_MM, strict=True))
    name = "".join(run.text for run in tag.name) + " " * (len(tag.number) + 4) * bool(tag.number)

    def lines(text: str, letters: float) -> int:
        return 1 if len(text) <= letters else ceil(len(text) / (letters * (1 - _LOST_AT_THE_END)))

    for size in _SIZES:
        em_mm = max(LEAST_PT, letters_pt(label) * size / _SIZES[0]) * _MM_PER_PT
        letters = width_mm / (em_mm * _LETTER)
        high = _NAME * lines(name, letters / _NAME) + sum(lines(text, letters) for text in tag.lines)
        if high * _LINE * em_mm <= height_mm:
            return size
    return None


def _tag(job: Job, shell: Shell, when: str, noted: str) -> Tag:
    assert shell.wall_nm is not None
    gauges: Sequence[str] = shell.measured.gauges if shell.measured else ()
    shelved = (job.shelved or {}).get(shell.key)
    if shelved is not None and not when:
        when = shelved.day if shelved.day_known else f"before {shelved.day}" if shelved.day else ""
    marks = ", ".join(f"{column} {mark}" for column, mark in marks_of(job, shell).items())
    about = (
        ("family", job.spelled.get(shell.family, shell.family)),
        ("part", shell.part),
        ("step", shell.step),
        ("coating", coating_of(shell, job.unit).removeprefix("coated ")),
        ("marks", marks),
        ("grade", shell.grade or ""),
        ("location", shelved.location if shelved else ""),
    )
    return Tag(
        runs(shell.name),
        shell.box,
        shell.half,
        shell.kind,
        amount(shell.wall_nm, job.unit),
        tuple((name, text) for name, text in about if text),
        when,
        " and ".join(gauges),
        shell.hold or "",
        str(shelved.number) if shelved else "",
        noted and f"NOTED IN {noted}: find out",
    )
