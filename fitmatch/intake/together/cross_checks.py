"""What only shows when files are compared: locks, bores against journals, columns that rule out every shell."""

from collections.abc import Iterable, Iterator, Sequence
from math import sqrt
from typing import Final

from fitmatch.gauging.uncertainty.scatter import beyond_stated
from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import LAST, Findings
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.rows.positions import PositionRow
from fitmatch.intake.rows.sheet import Sheet, ShellNames
from fitmatch.intake.rows.shells import ShellPool
from fitmatch.intake.tables.columns import MATCHED_IF_ASKED, OFTEN_MATCHED, per_half
from fitmatch.intake.together.all_shells import some_cells
from fitmatch.lengths import with_unit
from fitmatch.names import composed, one_slip_away, other_coding
from fitmatch.records.keys import ShellKey
from fitmatch.records.measuring import Measuring
from fitmatch.records.parts import ANY, SIDES, Shell
from fitmatch.wording import dotted, listed, shorten

# What a text in a column does, whatever it says.
_DOES: Final = {
    "hold": "the shell is not used",
    "copy_confirmed": "the box is taken as another one than the one it reads like",
}
_CONFIRMS: Final = "the reading is no longer doubted"


def matched_columns(settings: Settings, in_positions: set[str], in_shells: set[str]) -> tuple[str, ...]:
    """The columns in which shell and position must agree, according to the rules and the headers."""
    matched = [
        name
        for name in (*OFTEN_MATCHED, *MATCHED_IF_ASKED)
        if not in_positions.isdisjoint((name, *per_half([name]))) or (name in OFTEN_MATCHED and name in in_shells)
    ]
    return tuple(dict.fromkeys((*matched, *settings.match)))


def check_rule_columns(settings: Settings, in_positions: set[str], in_shells: set[str]) -> None:
    """Note columns named in [rules] that no file has; one that is mistyped in a header is reported there."""
    files = {
        "either": (in_positions | in_shells, "no file has"),
        "shells": (in_shells, "no shell file has"),
        "positions": (in_positions, "the positions file lacks"),
    }
    for rule in (rule for rule in settings.rules if not rule.by_default):
        headers, where = files[rule.columns_in]
        for column in rule.columns:
            names = (column, *per_half([column])) if rule.columns_in == "either" else (column,)
            if headers.intersection(names) or any(one_slip_away(header, names) for header in headers):
                continue
            text = f"{where} a column `{shorten(column)}`"
            same = other_coding(column, headers)
            text += f", though a header does{advice.COPY}" if same else "; add the column or correct the name"
            settings.file.report("unknown-column", text, "rules", rule.key)


def warn_of_idle_rules(settings: Settings, findings: Findings) -> None:
    """Warn of a rule that has no effect without another, and of a key that does nothing without another."""
    findings.warnings += [f"job.toml: {rule.phrases['idle']}" for rule in settings.rules if rule.idle]
    for kind, table in settings.fits.items():
        if table.fit.seating_readings is not None and table.fit.seating_u_nm is None:
            text = "does nothing without seating_u, the uncertainty that came from these readings; write that too"
            findings.warnings.append(f"job.toml: fit.{shorten(kind)}.seating_readings {text}")
    measuring = settings.measuring
    for name, gauge in measuring.gauges.items():
        stated = gauge.repeatability_nm is not None
        for key, needed, idle in (
            ("repeatability_from", "repeatability", gauge.repeatability_from is not None and not stated),
            ("repeatability_rounded", "repeatability", gauge.repeatability_rounded and not stated),
            ("expansion_limit", "expansion", gauge.expansion_limit is not None and gauge.expansion is None),
        ):
            if idle:
                findings.warnings.append(_idle(("gauge", name, key), needed))
    for kind, limits in measuring.material_limits.items():
        idle_limits = [feature for feature in limits if feature not in measuring.materials.get(kind, {})]
        findings.warnings += [_idle(("material", kind, f"{feature}_limit"), feature) for feature in idle_limits]


def _idle(path: tuple[str, ...], needed: str) -> str:
    return f"job.toml: {dotted(path)} does nothing without {needed}; write that too"


def scatter_warnings(measuring: Measuring) -> Iterator[str]:
    """Which gauges scatter more than their stated repeatability can explain."""
    for name, gauge in measuring.gauges.items():
        if gauge.repeatability_nm is None or (repeats := beyond_stated(measuring, name)) is None:
            continue
        freedom = repeats.degrees_of_freedom
        degrees = "degree" if freedom == 1 else "degrees"
        yield (
            f"the repeats with gauge {shorten(name)} scatter by {sqrt(repeats.variance_nm2) / 1000:.2f} um "
            f"({freedom} {degrees} of freedom), which is more than its repeatability of "
            f"{gauge.repeatability_nm / 1000:.2f} um explains, so they alone count; check the gauge and that figure"
        )


def warn_of_unmatched(columns: set[str], findings: Findings) -> None:
    """Warn of columns that are in both files and are not matched."""
    for column in sorted(columns):
        text = f"positions and shells both have a column `{shorten(column)}`, and it is not matched"
        findings.warnings.append(f"{text}; name it in [rules] match if they must agree in it")


def warn_of_columns(sheet: Sheet, told: Iterable[str] = ()) -> None:
    """Warn of columns that have content and are not used: `on hold` may have been meant as `hold`; those in `told` have
    a warning of their own. And of columns in which any text counts, and some say no."""
    columns = sheet.columns
    names = [f"`{shorten(name)}`" for name in columns.ignored if name in columns.filled and name not in told]
    if names:
        what = f"column {names[0]} is" if len(names) == 1 else f"columns {listed(names)} are"
        sheet.findings.warnings.append(f"{sheet.paper.name}: {what} not used")
    for column, rows in sheet.denied.items():
        more = f" (and {len(rows) - 1} more)" if len(rows) > 1 else ""
        text = f"{sheet.paper.name}:{rows[0]}{more}: {column}: a cell that says no counts like any other text"
        what = f"{_DOES.get(column, _CONFIRMS)}; empty the cell if that is not meant"
        sheet.findings.warnings.append(f"{text}, and {what}")


def check_bores(rows: Sequence[PositionRow], sheet: Sheet) -> None:
    """Every housing bore must be larger than its journal."""
    unit = sheet.settings.unit or ""  # without it no row has a size
    for row in rows:
        journal, bore = row.position.journal, row.position.housing_bore
        if row.sizes_sound and journal and bore and bore.mean_nm <= journal.mean_nm:
            column = next((c.name for c in sheet.columns.readings["housing_bore"]), "position")
            text = f"{with_unit(bore.mean_nm, unit)} is not larger than the journal {with_unit(journal.mean_nm, unit)}"
            todo = "check both, and whether they were swapped"
            sheet.report("bore-not-greater", f"{text}; {todo}", row.position.row, column)


class LockCheck(ShellNames):
    """Finds the shells that positions lock, and notes every lock that is impossible."""

    def __init__(
        self, sheet: Sheet, pool: ShellPool, rows: Sequence[PositionRow], *, complete: bool, shelf_asked: bool
    ) -> None:
        """`shelf_asked`: whether the shells of a shelf are in the pool."""
        wanted = {composed(cell.rpartition("/")[2].strip()) for row in rows for cell in row.locks.values()}
        shells: dict[ShellKey, Shell] = {}  # the first of those with one name in one box
        for shell in pool.shells if wanted else ():
            if composed(shell.name) in wanted:
                shells.setdefault(shell.key, shell)
        super().__init__(sheet, shells.values(), complete=complete)
        self._used: dict[ShellKey, str] = {}
        self._ran = pool.used
        self._elsewhere = pool.elsewhere
        self._shelf_asked = shelf_asked

    def resolved(self, row: PositionRow) -> dict[str, ShellKey]:
        """The shell locked in each side of a row."""
        found: dict[str, ShellKey] = {}
        for side, cell in row.locks.items():
            shell = self.find(row.position.row, side, cell)
            if shell is not None:
                self._check(row, side, shell)
                found[side] = shell.key
        return found

    def ambiguous(self, name: str, fitting: Sequence[Shell]) -> tuple[str, str]:
        example = f"{shorten(fitting[0].box)}/{shorten(name)}"
        text = f"shell `{shorten(name)}` is in {_boxes(fitting)}; write BOX/NAME, such as {example}"
        return "lock-ambiguous", text

    def unknown(self, typed: str, named: Sequence[Shell]) -> tuple[str, str]:
        why = self._elsewhere.get(composed("/".join(part.strip() for part in typed.split("/"))))
        if why is not None:
            return "lock-held", f"shell `{shorten(typed)}` is on the shelf, but {why}"
        todo = f"that name is in {_boxes(named)}" if named else "write NAME or BOX/NAME of a shell"
        families = any(table.fit.family for table in self.sheet.settings.fits.values())  # else a shelf has none of its
        if "/" in typed and families and not self._shelf_asked:
            todo += ", or look on the shelf too: --from-shelf"
        return "lock-unknown", f"there is no shell `{shorten(typed)}`; {todo}"

    def _check(self, row: PositionRow, side: str, shell: Shell) -> None:
        position = row.position
        name = f"shell `{shorten(shell.box)}/{shorten(shell.name)}`"
        if shell.key in self._used:
            text = f"{name} is locked in {self._used[shell.key]} already; lock another shell in one of the two"
            self.sheet.report("lock-twice", text, position.row, side)
        self._used.setdefault(
            shell.key, f"the {side} half of {shorten(position.name) or 'a position'} (row {position.row})"
        )
        if row.kind_known and shell.kind and shell.kind != position.kind:
            text = f"{name} is of kind `{shell.kind}`, not `{position.kind}`; lock a shell of the position's kind"
            self.sheet.report("lock-wrong-kind", text, position.row, side)
        if shell.half and shell.half not in (side, "either"):
            text = f"{name} is for the {shell.half} half; lock it there, or lock a shell for the {side} half"
            self.sheet.report("lock-wrong-half", text, position.row, side)
        if shell.key in self._ran:
            if self._ran[shell.key] != (position.name, side):
                text = f"{name} was {shorten(shell.hold or '')}; lock another shell"
                self.sheet.report("lock-held", text, position.row, side)
        elif shell.hold is not None:
            there = ", on the shelf by `fitmatch shelf release`," if self._shelf_asked else ""
            text = f"{name} is on hold (`{shorten(shell.hold)}`); clear its hold{there} or lock another shell"
            self.sheet.report("lock-held", text, position.row, side)


def _boxes(shells: Sequence[Shell]) -> str:
    """The boxes of some shells, for a message."""
    boxes = [f"`{shorten(shell.box)}`" for shell in shells]
    return f"box {boxes[0]}" if len(boxes) == 1 else f"boxes {_some(boxes)}"


def _some(words: list[str]) -> str:
    """All of a few words, otherwise the first of them."""
    return listed(words if len(words) < 6 else [*words[:5], "others"])


def check_agreement(rows: Sequence[PositionRow], pool: ShellPool, matched: tuple[str, ...], sheet: Sheet) -> None:
    """Note a matched column that rules out every shell of a kind for every position.

    That is a typing error, not a lack of parts. Locked halves are left out, as a lock outranks the column, and so are
    columns meant by a misspelt header.
    """
    slipped = sheet.columns.slipped | pool.slipped
    marks: dict[tuple[str, str], set[tuple[str, ...]]] = {}
    for shell in pool.shells:
        marks.setdefault((shell.kind, shell.half), set()).add(shell.marks)
    for kind in dict.fromkeys(row.position.kind for row in rows if row.kind_known):
        asking = [row for row in rows if row.position.kind == kind]
        for place, column in enumerate(matched):
            if slipped.intersection((column, *per_half([column]))):
                continue
            sides = [
                (
                    {getattr(row.position, f"wants_{side}")[place] for row in asking if side not in row.locks},
                    {m[place] for half in (side, "either") for m in marks.get((kind, half), ())},
                )
                for side in SIDES
            ]
            told = [(wants, marked) for wants, marked in sides if wants and marked]
            if told and not any(wants & marked or ANY in wants | marked for wants, marked in told):
                asked, offered = (set().union(*cells) for cells in zip(*told, strict=True))
                text = f"keeps every {kind} shell out of every {kind} position: they ask for {some_cells(asked)}"
                todo = f"shells have {some_cells(offered)}; write both alike, or `any`"
                sheet.findings.report("nothing-agrees", f"{text}, {todo}", sheet.paper, None, column, LAST + place)
