"""Names: what they may contain, how they are sorted, and which known name a mistyped one is nearest to."""

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Final
from unicodedata import category, normalize

_UNSEEN: Final = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
_DIGITS: Final = re.compile(r"([0-9]+)")
# What a spreadsheet takes for the beginning of one, in full width, small, raised and lowered too: all characters whose
# compatibility form (NFKC) begins with one of the four.
_FORMS: Final = "=\u207c\u208c\u2a75\u2a76\ufe66\uff1d+\u207a\u208a\ufb29\ufe62\uff0b-\ufe63\uff0d@\ufe6b\uff20"
FORMULA: Final = frozenset(_FORMS)
_BEGINS_FORMULA: Final = re.compile(rf"[{re.escape(_FORMS)}\t\r](?![0-9]*[.,]?[0-9]+\Z)")  # no plain number
_NOES: Final = frozenset(("no", "n", "none", "false", "0", "-", "nein", "non"))
_WORD: Final = re.compile(r"[^\W_]+")
_GRANTING: Final = r"(?:permi\w+|allow\w*|grant\w*|given|approv\w*|accept\w*|agree\w*|consent\w*|authori[sz]\w*)"
_REFUSES: Final = re.compile(
    rf"\b(?:no|not|never|cannot|without|t)(?: \w+){{0,2}}? {_GRANTING}\b"
    r"|\b(?:refus|declin|reject|forb[ai]d|prohibit|disallow|pending|await|waiting)\w*|\bden(?:y|ied|ies)\b"
)
_GRANTS: Final = re.compile(rf"\b(?!permissions?\b)(?:{_GRANTING}|objections?|ok|may)\b")
_ASKS: Final = re.compile(
    r"^(?:to |please |must |will |need to )?(?:ask(?! co\b)|asks|asking|query)\b"
    r"|\bcheck(?:ing)? with\b|\b(?:to|must|should|shall|will|please|ll) (?:ask|(?:be )?(?:asked|confirmed|clarified))\b"
)
_IS_TO_SAY: Final = re.compile(r"\bto (?:check|clarify|confirm|verify)\b")
_SAY_NOTHING: Final = _NOES | frozenset(  # by themselves, in whatever order
    (
        *("a", "an", "and", "any", "answer", "answered", "applicable", "as", "ask", "asked", "asking", "available"),
        *("be", "bearing", "been", "blank", "by", "confirmation", "confirmed", "engine", "fine", "follow", "follows"),
        *("for", "from", "given", "had", "has", "have", "he", "heard", "i", "in", "is", "it", "ja", "later", "maker"),
        *("makers", "manufacturer", "me", "missing", "na", "necessary", "needed", "never", "nil", "nobody", "not"),
        *("nothing", "now", "null", "of", "ok", "okay", "open", "oral", "orally", "permission", "phone", "position"),
        *("quote", "replied", "reply", "required", "s", "said", "says", "she", "si", "soon", "still", "tba", "tbc"),
        *("because", "check", "confirm", "nah", "nope", "reason", "released", "settled", "verify", "why"),
        *("tbd", "text", "the", "there", "they", "to", "todo", "today", "true", "unknown", "verbal", "verbally", "was"),
        *("way", "we", "will", "writing", "written", "x", "xx", "xxx", "y", "yes", "yet", "1"),
    )
)
LONGEST_NAME: Final = 200  # longer ones are most likely text in the wrong column


def fault_in_name(name: str) -> str | None:
    """Why `name` cannot name a shell, box, position or kind, and what to do; None if it can."""
    if len(name) > LONGEST_NAME:
        return f"`{_visible(name)}` is {len(name)} characters long; write a name of at most {LONGEST_NAME}"
    if "/" in name:
        return f"`{_visible(name)}` holds a `/`, which separates box and shell in a lock; use another character"
    return fault_in_text(name, "name")


def fault_in_text(text: str, what: str) -> str | None:
    """Why a text does not belong in a table that a spreadsheet may open, and what to do; None if it does."""
    if text[:1] and text[0] in FORMULA:
        begins = f"`{_visible(text)}` begins with `{text[0]}`, which a spreadsheet takes for a formula"
        return f"{begins}; begin it with a letter or a digit"
    if holds_unseen(text):
        return f"`{_visible(text)}` holds an invisible character (shown as ?); type the {what} again"
    return None


def says_no(text: str) -> bool:
    """Whether a text says no, or that there is nothing."""
    return text.casefold() in _NOES


def says_nothing(text: str) -> bool:
    """Whether a text says no, asks, stands for what is still to be written, or is one of the phrases by which people
    say that there is nothing."""
    words = _WORD.findall(text.casefold())
    said = " ".join(words)
    refused = _REFUSES.search(said) is not None and _GRANTS.search(_REFUSES.sub(" ", said)) is None
    waits = said.startswith("asked ") or _IS_TO_SAY.search(said) is not None
    refused = refused or (waits and _GRANTS.search(said) is None and "yes" not in words)
    asks = text.rstrip(" .!\"')").endswith(("?", "\uff1f")) or _ASKS.search(said) is not None
    return says_no(text) or refused or asks or (bool(text) and _SAY_NOTHING.issuperset(words))


def fault_in_permission(text: str) -> str | None:
    """Why a text does not quote a permission, and what to do; None if it may."""
    if says_nothing(text):
        return f"`{_visible(text)}` is no permission; quote the engine maker's written permission"
    return None


def holds_unseen(text: str) -> bool:
    """Whether a text contains a control character, a line break or another invisible character."""
    return not text.isprintable() and any(category(c) in _UNSEEN for c in text)


def guarded(text: str) -> str:
    """A text for a cell: with an apostrophe before it if a spreadsheet could take it for a formula."""
    return f"'{text}" if _BEGINS_FORMULA.match(text) else text


def composed(name: str) -> str:
    """The one coding of all that look like this name: an accent can be part of its letter or follow it."""
    return name if name.isascii() else normalize("NFC", name)


def _visible(name: str) -> str:
    shown = name if name.isprintable() else "".join("?" if category(c) in _UNSEEN else c for c in name)
    return shown if len(shown) <= 40 else shown[:37] + "..."


def slips(one: str, other: str) -> int:
    """How many letters were added, lost, changed or swapped with their neighbour between two words.

    The restricted Damerau-Levenshtein distance (optimal string alignment).
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        before, last, row = row, before, [i]
        for j, wanted in enumerate(other, 1):
            best = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != wanted))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == wanted:
                best = min(best, last[j - 2] + 1)
            row.append(best)
    return row[-1]


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that starts like `word` or needs the fewest changes to match it; None if no words are known."""
    start = word.casefold()[:100]

    def distance(candidate: str) -> tuple[bool, int]:
        lowered = candidate.casefold()
        return not (len(start) >= 3 and lowered.startswith(start)), slips(start, lowered)

    return min(known, key=distance, default=None)


def spellings(texts: Iterable[str]) -> dict[str, str]:
    """By text in lower case how it was first typed, for those with a capital."""
    found: dict[str, str] = {}
    for typed in map(str.strip, texts):
        if typed != (lowered := typed.casefold()):
            found.setdefault(lowered, typed)
    return found


def other_case(word: str, known: Iterable[str]) -> str | None:
    """The known word that differs from `word` only in capitals."""
    return next((candidate for candidate in known if candidate.casefold() == word.casefold()), None)


def other_coding(word: str, known: Iterable[str]) -> str | None:
    """The known word that looks like `word`, the same letters being coded in another way."""
    if word.isascii():
        return None
    return next((candidate for candidate in known if candidate != word and composed(candidate) == composed(word)), None)


def one_slip_away(word: str, known: Iterable[str]) -> str | None:
    """The known word of four letters or more that is a single typing error away from `word`."""
    near = (name for name in known if len(name) >= 4 and abs(len(word) - len(name)) <= 1)
    return next((name for name in near if slips(word, name) == 1), None)


@lru_cache(1 << 14)  # boxes often use the same shell names, and a job sorts them more than once
def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key of natural order, box-2 before box-10: runs of digits count as numbers, the rest by code point."""
    return tuple((0, int(part), "") if i % 2 else (1, 0, part) for i, part in enumerate(_DIGITS.split(text)) if part)
