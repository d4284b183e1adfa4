"""The text of `fitmatch range`: the clearances that drawing limits allow, and what each part of them is worth."""

from collections.abc import Sequence
from typing import Final

from fitmatch.intake.stacks import CLEARANCE, Drawings
from fitmatch.records.measuring import FEATURES
from fitmatch.records.parts import Band
from fitmatch.records.study.stacks import NO_COATING, Stack
from fitmatch.report.shared.grounds import sources
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table
from fitmatch.report.shared.scale import NOTHING, PLACES, UNITS, Scale, scale_for
from fitmatch.report.words.stacks import SHAPE_WORDS, row_name
from fitmatch.study.drawings.ranges import Ends, Range, Row
from fitmatch.study.drawings.sums import ALLOWED
from fitmatch.wording import dotted, listed

NO_CLEARANCE: Final = "NO CLEARANCE AT ALL"
_CLOSING: Final = (
    "This is what the limits allow, parts taken as they come: it says nothing about any part that "
    "has been made. Shells are chosen by measuring, and the assembled bore decides. Limits of size and clearance are "
    "the engine and bearing maker's."
)
_NOTHING_MEASURED: Final = "Nothing has been measured, so there is no U."
_PARTS: Final = {"journal": "journal", "housing_bore": "housing bore", "wall": "walls"}
_MOST_TOLD: Final = 12  # rows below a picture
_SURE: Final = 0.00005  # what is nearer to never or always than this is not written as 0.00 % or 100.00 %


def ranges_text(found: Range, drawings: Drawings, unit: str) -> str:
    """The whole report, lengths in `unit`, ending in a line break."""
    rows = found.rows
    scale = Scale(unit, PLACES[unit])
    stacks = list(dict.fromkeys(row.stack for row in rows))
    blocks = [
        [
            *paragraph(clean(drawings.title) or "What the limits allow"),
            *paragraph(f"Clearances in {UNITS[unit]}, diametral."),
        ],
        _clearances(rows, scale),
        [line for text in no_clearance(rows) for line in paragraph(text)],
        _chances(rows, scale),
        _shares(rows),
        _limits(stacks, unit),
        paragraph(assumed(found)),
        [line for text in rests_on(drawings) for line in paragraph(text)],
        items("WARNINGS", list(map(clean, drawings.warnings))),
        paragraph(f"Left out, as [drawing] has nothing for it: {listed(list(map(clean, drawings.left_out)))}.")
        if drawings.left_out
        else [],
        paragraph(_CLOSING),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _clearances(rows: tuple[Row, ...], scale: Scale) -> list[str]:
    def ends(ends: Ends) -> str:
        return f"{scale.length(round(ends.min_nm))} {scale.length(round(ends.max_nm))}"

    return [
        "CLEARANCE, smallest and largest",
        *table(
            rows,
            Column("", lambda r: clean(row_name(r)), "left", wraps=True),
            Column("worst case", lambda r: ends(r.worst)),
            Column("root sum square", lambda r: ends(r.root_sum_square)),
            Column("95 % inside", lambda r: ends(r.middle)),
            Column("mean", lambda r: scale.length(round(r.mean_nm))),
        ),
    ]


def _chances(rows: tuple[Row, ...], scale: Scale) -> list[str]:
    """How clearances scatter, and what of them is inside the limits."""

    def percent(row: Row, which: str) -> str:
        return NOTHING if row.chance is None else _percent(getattr(row.chance, which))

    limited = any(row.chance for row in rows)
    return [
        "CHANCES" if limited else "SCATTER",
        *table(
            rows,
            Column("", lambda r: clean(row_name(r)), "left", wraps=True),
            Column("standard deviation", lambda r: scale.length(round(r.standard_nm))),
            Column("below min", lambda r: percent(r, "below"), shown=limited),
            Column("inside", lambda r: percent(r, "inside"), shown=limited),
            Column("above max", lambda r: percent(r, "above"), shown=limited),
        ),
    ]


def _shares(rows: tuple[Row, ...]) -> list[str]:
    """What each part contributes to the variance; a step shifts all and changes none of it."""
    varying = [row for row in rows if row.shares is not None and not row.thicker]

    def share(row: Row, name: str) -> str:
        return f"{100 * row.shares[name]:.1f} %" if row.shares is not None and name in row.shares else NOTHING

    shown = table(
        varying,
        Column("", lambda r: clean(row_name(r)), "left", wraps=True),
        Column("housing bore", lambda r: share(r, "housing_bore")),
        Column("journal", lambda r: share(r, "journal")),
        Column("both walls", lambda r: share(r, "walls")),
        Column("both coatings", lambda r: share(r, "coating"), shown=any(r.coated for r in varying)),
    )
    return ["SHARES OF THE VARIANCE", *shown] if shown else []


def _percent(chance: float) -> str:
    if 0 < chance < _SURE:
        return "<0.01 %"
    return ">99.99 %" if 1 - _SURE < chance < 1 else f"{100 * chance:.2f} %"


def no_clearance(rows: Sequence[Row]) -> list[str]:
    """A warning, if the limits of any row allow no clearance."""
    names = [clean(row_name(row)) for row in rows if row.worst.min_nm <= 0]
    told = f"{NO_CLEARANCE} with all parts at their limits: {'; '.join(names)}. Parts that are so must not run."
    return [told] if names else []


def _limits(stacks: list[Stack], unit: str) -> list[str]:
    scale = _scale_of(stacks, unit)
    coated = any(s.coating != NO_COATING for s in stacks)

    def shown(band: Band) -> str:
        return _band(scale, band)

    return [
        "LIMITS THAT WERE GIVEN",
        *table(
            stacks,
            Column("", lambda s: clean(s.name), "left", wraps=True),
            Column("housing bore", lambda s: shown(s.housing_bore), "left"),
            Column("journal", lambda s: shown(s.journal), "left"),
            Column("each wall", lambda s: shown(s.wall), "left"),
            Column("its coating", lambda s: shown(s.coating), "left", shown=coated),
            Column("min", lambda s: scale.length(s.min_nm), shown=any(s.min_nm is not None for s in stacks)),
            Column("max", lambda s: scale.length(s.max_nm), shown=any(s.max_nm is not None for s in stacks)),
            Column("step", lambda s: scale.length(s.step_nm), shown=any(s.step_nm for s in stacks)),
        ),
    ]


def _scale_of(stacks: list[Stack], unit: str) -> Scale:
    """With the decimals that the limits of parts need."""
    bands = [band for s in stacks for band in (s.housing_bore, s.journal, s.wall, s.coating)]
    return scale_for(unit, [nm for band in bands for nm in (band.low_nm, band.high_nm)])


def _band(scale: Scale, band: Band) -> str:
    return f"{scale.length(band.low_nm)}..{scale.length(band.high_nm)}"


def rests_on(drawings: Drawings) -> list[str]:
    """Where limits come from, the temperature, how certain sizes are, how it is decided that a clearance is inside, and
    the digest: as in `report/shared/grounds.py`, of a job of which nothing has been measured."""
    told = _parts(drawings)
    if any(stack.min_nm is not None or stack.max_nm is not None for stack in drawings.stacks):
        found = dict(drawings.limits_from)
        written = [f"from {sources(found)}"] if found else []
        if by_option := [name for name in CLEARANCE if name in drawings.by_option]:
            written.append(f"{' and '.join(by_option)} from the options")
        told.append(f"Limits of clearance{' ' if found else ': '}{'; '.join(written)}.")
        told.append(f"Decision rule: inside is at least min and at most max. {_NOTHING_MEASURED}")
    told.append("Temperature: limits and clearances are at 20 °C. Seating is left out.")
    return [*told, *([f"Digest of job.toml: {drawings.digest}"] if drawings.digest else [])]


def _parts(drawings: Drawings) -> list[str]:
    """Where the limits of each part come from, and which of them are classes of ISO 286."""
    by_option = [_PARTS[name] for name in FEATURES if name in drawings.by_option]
    drawn = [_PARTS[name] for name in FEATURES if name not in drawings.by_option]
    tables = listed([clean(f"[{dotted(('drawing', kind))}]") for kind in drawings.drawn] or [""])
    told = [f"of {listed(by_option)} from the options"] if by_option else []
    told += [f"of {listed(drawn)} from {tables} in job.toml"] if drawings.drawn else []
    classes = {
        _PARTS[name]: list(dict.fromkeys(clean(b.iso_286) for s in drawings.stacks if (b := getattr(s, name)).iso_286))
        for name in FEATURES
    }
    written = [f"{part} {listed(some)}" for part, some in classes.items() if some]
    last = [f"Classes of ISO 286: {', '.join(written)}."] if written else []
    return [f"Limits {'; '.join(told)}.", *last]


def rows_told(found: Range, unit: str) -> list[str]:
    """The limits of each row, its worst case and its chances, a line each; of many rows the first."""
    scale = Scale(unit, PLACES[unit])
    told = []
    for row in found.rows[:_MOST_TOLD]:
        stack, chance = row.stack, row.chance
        bands = [("bore", stack.housing_bore), ("journal", stack.journal), ("each wall", stack.wall)]
        bands += [("its coating", stack.coating)] if row.coated else []
        parts = [f"{name} {_band(_scale_of([stack], unit), band)}" for name, band in bands]
        parts += [
            f"{n} {scale.length(nm)}" for n, nm in (("min", stack.min_nm), ("max", stack.max_nm)) if nm is not None
        ]
        worst = f"worst case {scale.length(round(row.worst.min_nm))} to {scale.length(round(row.worst.max_nm))}"
        inside = ""
        if chance is not None:
            inside = (
                f"; inside {_percent(chance.inside)}, below {_percent(chance.below)}, above {_percent(chance.above)}"
            )
        told.append(f"{clean(row_name(row))} ({unit}): {', '.join(parts)}; {worst}{inside}.")
    more = len(found.rows) - len(told)
    return [*told, *([f"And {more} more rows: see the table."] if more else [])]


def assumed(found: Range) -> str:
    """What the chances rest on."""
    told = "Worst case: every part at its limit. For the rest each part lies "
    told += f"{SHAPE_WORDS[found.shape]}, independent of the others"
    if found.shared:
        told += f", but that {100 * found.shared:g} % of the variance of a wall is common to both"
        if found.shared < 1:
            told += ", so that a wall may lie a little beyond its limits"
    told += f"; chances are right to {ALLOWED:.6f}"
    if any(row.stack.step_nm for row in found.rows):
        told += ". Thicker: by the step, which is diametral as printed, so that a wall grows by half of it"
    return told + "."
