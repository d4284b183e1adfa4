"""The files of a blank job folder. They explain themselves, so that nobody needs the documents to fill them in."""

from collections.abc import Sequence

_UNITS = {"in": "inches", "mm": "millimetres"}
_UPPER = {"rod": "beam side", "main": "block side"}

_JOB = """\
# A job: one engine, its journals, housings and the shells there are to choose from.
# A line that begins with "#" is a comment. Fill in the lines marked TO DO.

title = "Untitled engine"   # TO DO: printed on every report

# The unit of every number in this folder that does not have its own, such as "0.5 thou" or "12 um".
unit = "{unit}"               # "in" or "mm"

# The files. Unless these lines say otherwise, positions.csv and every .csv file in the folder shells are read.
# Workbooks (.xlsx) are read as well, once they are named here: remove the "#" in front.
# [sources]
# positions = "positions.xlsx"
# shells    = ["shells/*.csv", "shells/*.xlsx"]
{fits}
# Limits of the parts themselves, from the makers' drawings. A position with its housing bore outside them is not
# filled; a journal or a wall outside them is reported. Remove the "#" in front and put the figures in.
{drawings}
# Rules for two shells in one bore. All but the first are off unless set.
# [rules]
# wall_difference = "0.6 thou"           # the most that the two walls in one bore may differ; this is the default
# thick_half = {{ {thick_half} }}   # the side for the thicker shell, where walls differ
# same_in_bore = ["series"]              # columns of the shell files in which both shells of a bore must agree
"""

_FIT = """
# TO DO: the {plural}. Clearances are diametral: housing bore - journal - both walls.
# Take min and max from the engine maker's manual: this program knows no engine and suggests no limits.
# Put each figure in place of its "...". Remove the "#" in front of target to aim elsewhere than the middle.
[fit.{kind}]
min      = "..."   # TO DO: the smallest clearance the engine maker allows, in {unit_words}
max      = "..."   # TO DO: the largest
# target = "..."   # the clearance to aim at; without it, the middle of min and max
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
    "one file is one box; for another box copy this file and give its shells other names",
    "write the name on the edge of the shell with a felt pen; measure the wall at the crown in {unit_words}",
    "half: upper is the {upper}; lower is the cap side; either fits both sides",
)


def blank_files(unit: str, *, rods: int, mains: int) -> dict[str, str]:
    """Texts by path inside the folder. There is one box for each kind, with as many uppers and lowers as positions."""
    counts = {kind: count for kind, count in (("rod", rods), ("main", mains)) if count}
    unit_words = _UNITS[unit]
    files = {
        "job.toml": _JOB.format(
            unit=unit,
            fits="".join(_FIT.format(kind=kind, plural=f"{kind}s", unit_words=unit_words) for kind in counts),
            drawings="".join(_DRAWING.format(kind=kind) for kind in counts),
            thick_half=", ".join(f'{kind} = "{"upper" if kind == "rod" else "lower"}"' for kind in counts),
        ),
        "positions.csv": _csv(
            "position,kind,journal,housing_bore,note",
            [f"{kind[0].upper()}{i},{kind},,," for kind, count in counts.items() for i in range(1, count + 1)],
            [note.format(unit_words=unit_words) for note in _POSITION_NOTES],
        ),
    }
    for letter, (kind, count) in zip("AB", counts.items(), strict=False):
        # No two shells in the folder share a name, whatever their box: the name is all that is written on a shell.
        halves = ["upper"] * count + ["lower"] * count
        files[f"shells/{kind}s-{letter}.csv"] = _csv(
            "shell,kind,half,wall,note",
            [f"{letter}{i},{kind},{half},," for i, half in enumerate(halves, start=1)],
            [note.format(unit_words=unit_words, upper=_UPPER[kind]) for note in _SHELL_NOTES],
        )
    return files


def _csv(header: str, rows: Sequence[str], notes: Sequence[str]) -> str:
    """The notes go into the last cell of the first rows: a CSV file has no comments."""
    noted = [row + (notes[i] if i < len(notes) else "") for i, row in enumerate(rows)]
    return "\n".join([header, *noted]) + "\n"
