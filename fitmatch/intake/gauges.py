"""Which gauge took a reading: the row's own cell, else what [measured.KIND] says, and the unit it reads in."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from fitmatch.intake.findings import shorten
from fitmatch.intake.names import nearest

if TYPE_CHECKING:
    from fitmatch.intake.settings import Settings

Report = Callable[[str, str, int, str], None]  # code, text, row, column


class GaugeCells:
    """Looks up the gauges of the rows of one file."""

    def __init__(self, settings: "Settings", report: Report) -> None:
        self._settings = settings
        self._report = report

    def name(self, row: int, cell: str, column: str, kind: str, feature: str) -> tuple[str | None, bool]:
        """The gauge, None where nobody says, and whether that can be relied on: an unknown name is noted."""
        if not cell:
            return self._settings.measuring.measured.get(kind, {}).get(feature), True
        if cell in self._settings.measuring.gauges:
            return cell, True
        if self._settings.readable:  # otherwise [gauge] is unknown
            self._report("unknown-gauge", unknown_gauge(cell, self._settings.measuring.gauges), row, column)
        return None, False

    def unit(self, gauge: str | None) -> str | None:
        """The unit a gauge's plain numbers are in, where it names one."""
        return None if gauge is None else self._settings.measuring.gauges[gauge].unit


def unknown_gauge(name: str, gauges: Iterable[str]) -> str:
    """That a gauge has no table, and the nearest that has one."""
    near = nearest(name, gauges)
    text = f"there is no [gauge.{shorten(name)}]; add it"
    return text if near is None else f"{text}, or write the nearest gauge `{near}`"
