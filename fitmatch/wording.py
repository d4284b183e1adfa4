"""Text for messages: lists of words, and what was read, cut to one line."""

from collections.abc import Sequence


def listed(words: Sequence[str], last: str = "and") -> str:
    """`a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def shorten(text: str) -> str:
    """What was read, made fit for one line of a message."""
    shown = "".join(c if c.isprintable() else "?" for c in text.strip())
    return shown if len(shown) <= 40 else shown[:37] + "..."
