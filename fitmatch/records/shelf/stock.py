"""What is taken onto the shelf: boxes and shells as their files describe them, lengths in whole nanometres."""

from collections.abc import Mapping
from typing import NamedTuple

from fitmatch.records.measuring import Gauge, Measuring, Reading
from fitmatch.records.parts import Size


class Printed(NamedTuple):
    """What is printed on a box or a shell, as typed; sizes are diametral, thicker positive, None if no length."""

    family: str = ""
    part: str = ""
    series: str = ""
    undersize: str = ""
    step: str = ""
    undersize_nm: int | None = None
    step_nm: int | None = None


class Bought(NamedTuple):
    """How a box was bought and where it is. `opened` is a date."""

    lot: str = ""
    seller: str = ""
    price_thousandths: int | None = None
    location: str = ""
    opened: str = ""
    note: str = ""


class StockBox(NamedTuple):
    """A box; a `sealed` one has no shells that anybody has seen."""

    name: str
    sealed: bool
    kind: str
    printed: Printed
    bought: Bought


class StockShell(NamedTuple):
    """A shell as measured, `at` a time of the long file or on the day `measured_on`. `wall_nm` is over the coating;
    `off_nm` is what was taken off each reading."""

    box: str
    name: str
    kind: str
    half: str
    printed: Printed
    grade: str = ""
    condition: str = ""
    wall_nm: int | None = None
    coating_nm: int = 0
    measured_bare: bool = False
    readings: tuple[Reading, ...] = ()
    off_nm: int = 0
    taken_by: str = ""
    at: str = ""
    measured_on: str = ""
    hold: str = ""
    note: str = ""
    location: str = ""
    marks: Mapping[str, str] = {}
    file: str = ""
    row: int = 0

    @property
    def label(self) -> tuple[str, str]:
        return self.box, self.name


class Stock(NamedTuple):
    """All that some files describe, in file order."""

    boxes: tuple[StockBox, ...]
    shells: tuple[StockShell, ...]
    gauges: Mapping[str, Gauge]
    unit: str
    warnings: tuple[str, ...] = ()


class MeasuredAgain(NamedTuple):
    """What was measured when an engine was taken down: by position, the sizes of journal, upper and lower."""

    sizes: Mapping[str, Mapping[str, Size]]
    measuring: Measuring
    warnings: tuple[str, ...] = ()
