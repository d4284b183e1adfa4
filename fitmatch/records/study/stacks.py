"""Sizes of which only the limits are known: what the study of drawing limits is given."""

from typing import NamedTuple

from fitmatch.records.parts import Band

NO_COATING = Band(0, 0)


class Stack(NamedTuple):
    """The limits of one housing bore, its journal and both shells, and of the clearance, which may be left out.

    `wall` is each shell's without its coating; `coating` is that of each shell, on the running face. `step_nm` is
    a step of shells as it is printed: diametral, so that each wall of the step is thicker by half of it.
    """

    name: str
    housing_bore: Band
    journal: Band
    wall: Band
    min_nm: int | None = None
    max_nm: int | None = None
    coating: Band = NO_COATING
    step_nm: int = 0
