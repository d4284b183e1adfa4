"""What reading a job needs from the layer above it, which knows how readings become sizes."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

from fitmatch.measuring import Form, Pooled, Reading
from fitmatch.parts import Size


class Sized(NamedTuple):
    """A size, and its mean before it was rounded."""

    size: Size
    exact_mean: tuple[int, int]  # numerator and denominator, in nm


class Sizing(Protocol):
    """Turns readings into sizes. It sees every reading of a job once, and so learns how far repeats scatter."""

    def sized(self, kind: str, feature: str, readings: Sequence[Reading]) -> Sized | None:
        """The size that readings of a journal, a housing bore or a wall give; None where none of them counts."""

    def plain_wall(self, gauge: str | None, readings: Sequence[int], confirmed: str = "") -> Size:
        """The same for readings of one gauge at the crown that tell neither station nor angle, in whole nanometres."""

    def form(self, kind: str, feature: str, readings: Sequence[Reading]) -> Form | None:
        """What the readings say about form; None where none tells its station or angle."""

    def pooled(self) -> Mapping[str, Pooled]:
        """The scatter of each gauge, from all repeats seen."""

    def form_told(self) -> frozenset[str]:
        """The features of whose form any reading seen tells."""
