"""How much Python work something takes: counted, so that no busy machine can fail a test."""

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any


def lines_run(action: Callable[[], object]) -> int:
    """How many lines of Python `action` runs, each turn of a loop counted; the loops of built-in functions are not."""
    count = 0

    def trace(_: FrameType, event: str, __: object) -> Any:
        nonlocal count
        count += event == "line"
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        action()
    finally:
        sys.settrace(before)
    return count
