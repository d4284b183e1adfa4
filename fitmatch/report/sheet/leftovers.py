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
_SIZES: Final = (10, 9, 8, 7, 6)  # tenths of those
_MM_PER_PT: Final = 25.4 / 72
# As in the style sheet, in millimetres and in heights of a letter; the widths are those of the widest usual letters.
_INSIDE_MM: Final = (3.8, 3.0)
_LINE: Final = 1.25
_LETTER: Final = 0.57
_NAME: Final = 2
_LOST_AT_THE_END: Final = 0.12  # of a line, where words are not parted


class Tag(NamedTuple):
    """What a label says of a shell; what is not known is empty. `number`: that on the shelf; `held`: why it is not to
    be used. `size`: of its letters, in tenths of the usual ones."""

    name: tuple[Run, ...]
    box: str
    half: str
    kind: str
    wall: Amount
    about: tuple[tuple[str, str], ...]
    held: str
    number: str
    size: int = _SIZES[0]

    @property
    def lines(self) -> Iterator[str]:
        """What stands below its name."""
        yield f"{self.kind}, {self.half}; box {self.box}"
        yield f"wall {self.wall.own} ({self.wall.other})"
        if self.held:
            yield f"HELD: {self.held}"
        yield "; ".join(f"{name} {text}" for name, text in self.about)


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
        tag = _tag(job, shell, when.get(shell.key, ""))
        boxes.setdefault(shell.box, []).append(tag._replace(size=_size(tag, label)))
    return Leftovers(tuple(Box(box, tuple(tags)) for box, tags in boxes.items()), len(told))


def letters_pt(label: Label) -> float:
    """The usual letters of labels of a size."""
    return _USUAL_PT * min(1.0, label.width_mm / USUAL.width_mm, label.height_mm / USUAL.height_mm)


def _size(tag: Tag, label: Label) -> int:
    """The largest letters with which everything stays within the label; if there are none, the smallest."""
    width_mm, height_mm = (mm - inside for mm, inside in zip(label, _INSIDE_MM, strict=True))
    name = "".join(run.text for run in tag.name) + " " * (len(tag.number) + 4) * bool(tag.number)

    def lines(text: str, letters: float) -> int:
        return 1 if len(text) <= letters else ceil(len(text) / (letters * (1 - _LOST_AT_THE_END)))

    for size in _SIZES:
        em_mm = letters_pt(label) * _MM_PER_PT * size / _SIZES[0]
        letters = width_mm / (em_mm * _LETTER)
        high = _NAME * lines(name, letters / _NAME) + sum(lines(text, letters) for text in tag.lines)
        if high * _LINE * em_mm <= height_mm:
            return size
    return _SIZES[-1]


def _tag(job: Job, shell: Shell, when: str) -> Tag:
    assert shell.wall_nm is not None
    gauges: Sequence[str] = shell.measured.gauges if shell.measured else ()
    shelved = (job.shelved or {}).get(shell.key)
    if shelved is not None and not when:
        when = shelved.day if shelved.day_known else f"before {shelved.day}" if shelved.day else ""
    measured = " ".join(filter(None, [when, f"with {' and '.join(gauges)}" if gauges else ""]))
    marks = ", ".join(f"{column} {mark}" for column, mark in marks_of(job, shell).items())
    about = (
        ("family", job.spelled.get(shell.family, shell.family)),
        ("part", shell.part),
        ("step", shell.step),
        ("coating", coating_of(shell, job.unit).removeprefix("coated ")),
        ("marks", marks),
        ("grade", shell.grade or ""),
        ("measured", measured),
        ("location", shelved.location if shelved else ""),
    )
    return Tag(
        runs(shell.name),
        shell.box,
        shell.half,
        shell.kind,
        amount(shell.wall_nm, job.unit),
        tuple((name, text) for name, text in about if text),
        shell.hold or "",
        str(shelved.number) if shelved else "",
    )
