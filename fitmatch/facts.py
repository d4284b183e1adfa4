"""What one layer passes to another: a code with its figures. Only `report` turns it into words."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple


class Fact(NamedTuple):
    """`code` says what the fact is; `slots` are the figures, names and further facts that belong to it, by name.

    Lengths are whole nanometres and their slots end in `_nm`; where half a nanometre can matter, the slot holds twice
    the length and ends in `_twice_nm`. No slot holds a sentence.
    """

    code: str
    slots: Mapping[str, object] = MappingProxyType({})
