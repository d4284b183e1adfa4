"""What one layer tells another: a code with its figures. Words are made of it in `report` alone."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple


class Fact(NamedTuple):
    """`code` says what is the case; `slots` are the figures, names and further facts that belong to it, by name.

    Lengths are whole nanometres and their slots end in `_nm`; twice a length, where half a nanometre can matter, ends
    in `_twice_nm`. No slot holds a sentence.
    """

    code: str
    slots: Mapping[str, object] = MappingProxyType({})
