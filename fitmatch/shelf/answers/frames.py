"""Records of the shelf as a frame of pandas."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.lengths import NM_PER_UNIT

if TYPE_CHECKING:
    import pandas


def framed(records: Iterable[NamedTuple], unit: str) -> "pandas.DataFrame":
    """Lengths as floats in `unit`, under their names without `_nm`."""
    import pandas

    def shown(name: str, value: object) -> tuple[str, object]:
        if not name.endswith("_nm"):
            return name, value
        return name.removesuffix("_nm"), value / NM_PER_UNIT[unit] if isinstance(value, int | float) else None

    return pandas.DataFrame([dict(shown(*item) for item in one._asdict().items()) for one in records])
