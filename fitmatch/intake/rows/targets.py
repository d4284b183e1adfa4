"""What every position aims at: its own target and limits, otherwise those of its kind, checked against one another."""

from dataclasses import replace
from typing import Final

from fitmatch.intake.common.quantities import TARGET
from fitmatch.intake.job_toml.fits import from_ratio, middle, outside
from fitmatch.intake.rows.positions import PositionRow
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.lengths import with_unit
from fitmatch.records.parts import Fit, Position
from fitmatch.wording import shorten

_LOOSE: Final = 200  # a clearance of more than this part of the journal, and
_SMALL_NM: Final = 100_000  # more than this, as small journals run looser, is beyond what anybody allows
_TIGHT: Final = 5_000  # one of less than this part is below it
_WIDE: Final = 10  # times min
_OFF: Final = 4  # times the target


class AimCheck:
    """Finds the aim of every position of a job and notes contradictions."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._settings = sheet.settings
        self._faulty_ratios: set[str] = set()

    def aimed(self, rows: list[PositionRow]) -> list[Position]:
        """The positions of the rows with their final target, limits and seating; without these if something is
        wrong."""
        self._check_for_targets(rows)
        positions = [self._aimed(row) for row in rows]
        self._warn_of_wishes(positions)
        self._warn_of_odd_limits(positions)
        return positions

    def _warn_of_odd_limits(self, positions: list[Position]) -> None:
        """Say once for the same limits of a kind that a point may have slipped in one of them: no answer shows it, and
        an engine built to such a limit fails."""
        told: set[tuple[str, str]] = set()
        unit = self._settings.unit
        for position in positions if unit is not None else ():
            text = _slipped(position, unit or "")
            if text is not None and (position.kind, text) not in told:
                told.add((position.kind, text))
                journal = f", journal {with_unit(position.journal.mean_nm, unit or '')}" if position.journal else ""
                where = f"fit.{position.kind}: at position {shorten(position.name)}{journal}"
                todo = "check digits and unit against the engine maker's figures"
                self._sheet.findings.warnings.append(f"{where}: {text}; {todo}")

    def _warn_of_wishes(self, positions: list[Position]) -> None:
        """Say once for a kind that its target is outside the wanted band: the band comes first."""
        told: set[str] = set()
        unit = self._settings.unit
        for position in positions:
            low, high, target = position.want_min_nm, position.want_max_nm, position.target_nm
            if target is None or unit is None or position.kind in told:
                continue
            if low is not None and target < low:
                lies = f"below the wanted band, which starts at {with_unit(low, unit)}"
            elif high is not None and target > high:
                lies = f"above the wanted band, which ends at {with_unit(high, unit)}"
            else:
                continue
            told.add(position.kind)
            where = f"fit.{position.kind}: at position {shorten(position.name)}"
            text = f"the target {with_unit(target, unit)} is {lies}; the band comes before the target"
            self._sheet.findings.warnings.append(f"{where} {text}")

    def _check_for_targets(self, rows: list[PositionRow]) -> None:
        """Something must give a target to every position, and a kind without positions must have one too."""
        if "target" in self._sheet.columns.slipped or not self._settings.needs_aims:
            return
        for kind, table in self._settings.fits.items():
            mine = [row for row in rows if row.position.kind == kind]
            lacking = [row for row in mine if not table.gives_target(row.own)]
            if lacking or (self._sheet.table.complete and not mine and not table.gives_target(())):
                whom = (
                    f" to position {shorten(lacking[0].position.name)}" if lacking and len(lacking) < len(mine) else ""
                )
                text = f"nothing gives a target{whom}; write the engine maker's min and max, target or target_ratio"
                self._settings.file.report("no-target", text, "fit", kind)

    def _aimed(self, row: PositionRow) -> Position:
        position, unit = row.position, self._settings.unit
        table = self._settings.fits.get(position.kind)
        if table is None or unit is None or None in row.own.values():
            return position
        # Nothing is taken from a table that cannot be relied on, but the row's own cells are still checked against each
        # other.
        fit = table.fit if table.sound else Fit(position.kind)
        low, high = row.own.get("min", fit.min_nm), row.own.get("max", fit.max_nm)
        if low is not None and high is not None and low > high:
            text = f"min {with_unit(low, unit)} is above max {with_unit(high, unit)}; swap or correct them"
            self._sheet.report("limits-crossed", text, position.row, "min" if "min" in row.own else "max")
            return position
        at_middle = False
        if "target" in row.own:
            target = row.own["target"]
        elif fit.target_ratio is not None:
            journal = row.journal_mean if row.sizes_sound else None
            target = from_ratio(fit.target_ratio, journal, unit) if journal else None
        elif "target" in table.given:
            target = fit.target_nm
        else:
            target = middle(low, high) if low is not None and high is not None else None
            at_middle = target is not None
        if target is not None:
            self._check(row, target, low, high, unit)
        return replace(
            position,
            target_nm=target,
            min_nm=low,
            max_nm=high,
            want_min_nm=_clipped(fit.want_min_nm, low, high),
            want_max_nm=_clipped(fit.want_max_nm, low, high),
            seating_nm=row.own.get("seating", table.fit.seating_nm) or 0,
            aims_at_middle=at_middle,
        )

    def _check(self, row: PositionRow, target: int, low: int | None, high: int | None, unit: str) -> None:
        """Check a target against its limits.

        A kind's table has been checked by itself, so a contradiction comes from the row or from a ratio.
        """
        if not TARGET.holds(target):
            if self._settings.fits[row.position.kind].fit.target_ratio is not None:
                text = f"{TARGET.name} is {TARGET.bounds}; correct the ratio, clearance per unit of journal diameter"
                self._report_ratio(
                    row, f"gives {with_unit(target, unit)} at position {shorten(row.position.name)}, and {text}"
                )
            else:
                text = "the middle of min and max is zero, which cannot be aimed at; give a target or a larger max"
                self._sheet.report("not-positive", text, row.position.row, "max" if "max" in row.own else "min")
            return
        fault = outside(target, low, high, unit)
        if fault is None:
            return
        limit = "min" if low is not None and target < low else "max"
        column = next((key for key in ("target", limit) if key in row.own), None)
        if column is not None:
            self._sheet.report("target-outside-limits", fault, row.position.row, column)
        else:
            self._report_ratio(row, f"at position {shorten(row.position.name)} {fault}")

    def _report_ratio(self, row: PositionRow, text: str) -> None:
        """A ratio that fails at one position usually fails at all: only the first is reported."""
        if row.position.kind not in self._faulty_ratios:
            self._faulty_ratios.add(row.position.kind)
            self._settings.file.report("target-outside-limits", text, "fit", row.position.kind, "target_ratio")


def _slipped(position: Position, unit: str) -> str | None:
    """Which of a position's figures looks as if a point had slipped in it; None if all look usual.

    Common practice, no source: clearances are up to some 0.3 % of the journal, seldom below 0.03 %, and the largest
    allowed is two to five times the smallest. Ten times too much or too little is beyond all of these.
    """
    low, high, target, journal = position.min_nm, position.max_nm, position.target_nm, position.journal
    name, most = ("max", high) if high is not None else ("target", target)
    if not most:
        return None
    shown = f"{name} {with_unit(most, unit)}"
    if journal is not None and most > max(journal.mean_nm // _LOOSE, _SMALL_NM):
        return f"{shown} is more than 0.5 % of the journal"
    if journal is not None and most * _TIGHT < journal.mean_nm:
        return f"{shown} is less than 0.02 % of the journal"
    if low and most > _WIDE * low:
        return f"{shown} is more than {_WIDE} times min {with_unit(low, unit)}"
    if target is not None and most > _OFF * target:
        return f"{shown} is more than {_OFF} times the target {with_unit(target, unit)}"
    return None


def _clipped(wish: int | None, low: int | None, high: int | None) -> int | None:
    """An end of the wanted band, no further out than the position's own limits."""
    if wish is None:
        return None
    if low is not None:
        wish = max(wish, low)
    return wish if high is None else min(wish, high)
