"""What every position aims at: its own target and limits, else those of its kind, checked against one another."""

from typing import NamedTuple

from fitmatch.intake.findings import shorten
from fitmatch.intake.fits import from_ratio, middle, outside, shown
from fitmatch.intake.positions import PositionRow
from fitmatch.intake.quantities import TARGET
from fitmatch.intake.sheet import Sheet
from fitmatch.parts import Fit


class Aim(NamedTuple):
    """Target and limits of one position, as they hold in the end."""

    target_nm: int | None = None
    min_nm: int | None = None
    max_nm: int | None = None
    at_middle: bool = False  # nobody wrote a target
    want_min_nm: int | None = None
    want_max_nm: int | None = None


class AimCheck:
    """Finds the aim of every position of a job and notes what does not go together."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._settings = sheet.settings
        self._faulty_ratios: set[str] = set()

    def aims(self, rows: list[PositionRow]) -> list[Aim]:
        """One aim per row; an empty one where something is wrong."""
        self._check_for_targets(rows)
        aims = [self._aim(row) for row in rows]
        self._warn_of_wishes(rows, aims)
        return aims

    def _warn_of_wishes(self, rows: list[PositionRow], aims: list[Aim]) -> None:
        """Say once for a kind that its target lies outside the band that is wished: the band comes first."""
        told: set[str] = set()
        unit = self._settings.unit
        for row, aim in zip(rows, aims, strict=True):
            low, high, target = aim.want_min_nm, aim.want_max_nm, aim.target_nm
            if target is None or unit is None or row.kind in told:
                continue
            if low is not None and target < low:
                lies = f"below the wished band, which begins at {shown(low, unit)}"
            elif high is not None and target > high:
                lies = f"above the wished band, which ends at {shown(high, unit)}"
            else:
                continue
            told.add(row.kind)
            self._sheet.findings.warnings.append(
                f"fit.{row.kind}: at position {shorten(row.name)} the target {shown(target, unit)} lies {lies}; "
                "the band comes before the target"
            )

    def _check_for_targets(self, rows: list[PositionRow]) -> None:
        """Something must give a target to every position, and a kind without positions must have one as well."""
        if "target" in self._sheet.columns.slipped:
            return
        for kind, table in self._settings.fits.items():
            mine = [row for row in rows if row.kind == kind]
            lacking = [row for row in mine if not table.gives_target(row.own)]
            if lacking or (self._sheet.table.complete and not mine and not table.gives_target(())):
                whom = f" to position {shorten(lacking[0].name)}" if lacking and len(lacking) < len(mine) else ""
                text = f"nothing gives a target{whom}; write the engine maker's min and max, target or target_ratio"
                self._settings.file.report("no-target", text, "fit", kind)

    def _aim(self, row: PositionRow) -> Aim:
        table = self._settings.fits.get(row.kind)
        unit = self._settings.unit
        if table is None or unit is None or None in row.own.values():
            return Aim()
        # Of a table that cannot be relied on nothing is taken, but the row's own cells are still held together.
        fit = table.fit if table.sound else Fit(row.kind)
        low, high = row.own.get("min", fit.min_nm), row.own.get("max", fit.max_nm)
        if low is not None and high is not None and low > high:
            text = f"min {shown(low, unit)} is above max {shown(high, unit)}; swap or mend them"
            self._sheet.report("limits-crossed", text, row.row, "min" if "min" in row.own else "max")
            return Aim()
        at_middle = False
        if "target" in row.own:
            target = row.own["target"]
        elif fit.target_ratio is not None:
            journal = row.sized.get("journal") if row.sizes_sound else None
            target = from_ratio(fit.target_ratio, journal.exact_mean, unit) if journal else None
        elif "target" in table.given:
            target = fit.target_nm
        else:
            target = middle(low, high) if low is not None and high is not None else None
            at_middle = target is not None
        if target is not None:
            self._check(row, target, low, high)
        wants = (_clipped(want, low, high) for want in (fit.want_min_nm, fit.want_max_nm))
        return Aim(target, low, high, at_middle, *wants)

    def _check(self, row: PositionRow, target: int, low: int | None, high: int | None) -> None:
        """Hold a target against its limits.

        What a kind's table says agrees with itself, so what does not agree is the row's own, or comes from a ratio.
        """
        unit = self._settings.unit
        assert unit is not None
        if not TARGET.holds(target):
            if self._settings.fits[row.kind].fit.target_ratio is not None:
                text = f"{TARGET.name} is {TARGET.bounds}; mend the ratio, clearance per unit of journal diameter"
                self._report_ratio(row, f"gives {shown(target, unit)} at position {shorten(row.name)}, and {text}")
            else:
                text = "the middle of min and max is zero and leaves nothing to aim at; give a target or a larger max"
                self._sheet.report("not-positive", text, row.row, "max" if "max" in row.own else "min")
            return
        fault = outside(target, low, high, unit)
        if fault is None:
            return
        limit = "min" if low is not None and target < low else "max"
        column = next((key for key in ("target", limit) if key in row.own), None)
        if column is not None:
            self._sheet.report("target-outside-limits", fault, row.row, column)
        else:
            self._report_ratio(row, f"at position {shorten(row.name)} {fault}")

    def _report_ratio(self, row: PositionRow, text: str) -> None:
        """A ratio that fails at one position mostly fails at all: the first one stands for them."""
        if row.kind not in self._faulty_ratios:
            self._faulty_ratios.add(row.kind)
            self._settings.file.report("target-outside-limits", text, "fit", row.kind, "target_ratio")


def _clipped(wish: int | None, low: int | None, high: int | None) -> int | None:
    """An end of the wished band, no further out than the position's own limits."""
    if wish is None:
        return None
    if low is not None:
        wish = max(wish, low)
    return wish if high is None else min(wish, high)
