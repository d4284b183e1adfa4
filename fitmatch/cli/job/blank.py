"""The files of a blank job folder. They explain themselves, so that nobody needs the documents to fill them in."""

from typing import Final, NamedTuple

_UNITS = {"in": "inches", "mm": "millimetres"}
_UPPER = {"rod": "beam side", "main": "block side"}

_JOB = """\
# A job: one engine, its journals, housings and the shells there are to choose from.
# A line that begins with "#" is a comment. Fill in the lines marked TO DO.

title = "Untitled engine"   # TO DO: printed on every report

# The unit of every number in this folder that does not have its own, such as "0.5 thou" or "12 um".
unit = "{unit}"               # "in" or "mm"

{sources}{fits}
# Limits of the parts themselves, from the makers' drawings. A position with its housing bore outside them is not
# filled; a journal or a wall outside them is reported. Remove the "#" in front and put the figures in.
{drawings}
# Rules for two shells in one bore. The first and the last apply unless they are "off", the other is off unless set.
# [rules]
# wall_difference = "0.6 thou"           # the most that the two walls in one bore may differ; this is the default
# thick_half = {{ {thick_half} }}   # the side for the thicker shell, where walls differ
# same_in_bore = ["series", "condition", "coating"]  # columns in which both shells of a bore must agree; the default

# A flanged main, which takes the thrust: add a column named flange to positions.csv and to the files of shells, and
# write yes in the row of that main and of every flanged shell. The same with chamfer. Others stay empty.

# "fitmatch boxes" says how many sealed boxes are worth opening; this is the most that you would open of one kind.
# [boxes]
# budget = 3
"""

_TABLES = """\
# The files. Unless these lines say otherwise, positions.csv and every .csv file in the folder shells are read.
# Workbooks (.xlsx) are read as well, once they are named here: remove the "#" in front of all three lines.
# [sources]
# positions = "positions.*"   # the one that is there
# shells    = ["shells/*.csv", "shells/*.xlsx"]
"""

_WORKBOOKS = """\
# The files: workbooks, or tables (.csv) once they are named here.
[sources]
positions = "positions.xlsx"
shells    = ["shells/*.xlsx", "shells/*.csv"]
"""

_FIT = """
# TO DO: the {plural}. Clearances are diametral: housing bore - journal - both walls.
# Take min and max from the engine maker's manual: this program knows no engine and suggests no limits.
# Put each figure in place of its "...". Remove the "#" in front of target to aim elsewhere than the middle.
[fit.{kind}]
min      = "..."   # TO DO: the smallest clearance the engine maker allows, in {unit_words}
max      = "..."   # TO DO: the largest
# target = "..."   # the clearance to aim at; without it, the middle of min and max
# limits_from = "engine manual, p. ..."   # where min and max come from; printed over the table
"""

_DRAWING = """\
# [drawing.{kind}]
# journal      = "smallest..largest"
# housing_bore = "smallest..largest"
# wall         = "smallest..largest"
"""

_POSITION_NOTES = (
    "journal: diameter in {unit_words}; for several readings add columns journal_1 and journal_2 and so on",
    "housing_bore: cap on and tightened as for good - no shells in - across the crown axis (90 degrees from the joint)",
    "leave empty what is not measured yet; add rows as needed",
)
_SHELL_NOTES = (
    "one file is one box; for another box copy it - give file and shells other names and write in its own walls",
    "write the name on the edge of the shell with a felt pen; measure the wall at the crown in {unit_words}",
    "half: upper is the {upper}; lower is the cap side; either fits both sides",
)


TEXT_COLUMNS: Final = ("position", "shell", "kind", "note")

Rows = list[list[str]]


class Blank(NamedTuple):
    """A blank job folder: the text of job.toml, and the rows of each table by its path without an ending."""

    job_toml: str
    tables: dict[str, Rows]


def blank_job(unit: str, *, rods: int, mains: int, name: str = "", workbooks: bool = False) -> Blank:
    """Of each kind there is one box with as many uppers and lowers as positions; `name` of the job stands before that
    of each box, so that the boxes of two engines are not taken for one."""
    counts = {kind: count for kind, count in (("rod", rods), ("main", mains)) if count}
    unit_words = _UNITS[unit]
    job_toml = _JOB.format(
        unit=unit,
        sources=_WORKBOOKS if workbooks else _TABLES,
        fits="".join(_FIT.format(kind=kind, plural=f"{kind}s", unit_words=unit_words) for kind in counts),
        drawings="".join(_DRAWING.format(kind=kind) for kind in counts),
        thick_half=", ".join(f'{kind} = "{"upper" if kind == "rod" else "lower"}"' for kind in counts),
    )
    tables = {
        "positions": _noted(
            ["position", "kind", "journal", "housing_bore", "note"],
            [[f"{kind[0].upper()}{i}", kind, "", ""] for kind, count in counts.items() for i in range(1, count + 1)],
            [note.format(unit_words=unit_words) for note in _POSITION_NOTES],
        )
    }
    for letter, (kind, count) in zip("AB", counts.items(), strict=False):
        # No two shells in the folder share a name, whatever their box: the name is all that is written on a shell.
        halves = ["upper"] * count + ["lower"] * count
        tables[f"shells/{f'{name}-' if name else ''}{kind}s-{letter}"] = _noted(
            ["shell", "kind", "half", "wall", "note"],
            [[f"{letter}{i}", kind, half, ""] for i, half in enumerate(halves, start=1)],
            [note.format(unit_words=unit_words, upper=_UPPER[kind]) for note in _SHELL_NOTES],
        )
    return Blank(job_toml, tables)


def _noted(header: list[str], rows: Rows, notes: list[str]) -> Rows:
    """The notes go into the last cell of the first rows, as a table has no remarks; `#` keeps them out of reports."""
    told = [f"# {note}" for note in notes[: len(rows)]]
    return [header, *([*row, note] for row, note in zip(rows, told + [""] * (len(rows) - len(told)), strict=True))]
