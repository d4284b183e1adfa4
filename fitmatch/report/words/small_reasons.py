"""Small reasons and cures in words: what keeps a position out, what only others may change, and which single changes of
the shop's own would fix it."""

from collections.abc import Iterator, Sequence
from typing import Final

from fitmatch.lengths import NM_PER_UNIT, exact, fixed, round_half_even
from fitmatch.records.plans import Cure, Reason
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import decimals, steps
from fitmatch.rules.registry import REGISTRY

# What binds a position besides rules.
_BONDS = {
    "max": "its max",
    "min": "its min",
    "uppers": "too few upper halves",
    "lowers": "too few lower halves",
    "priority": "the quality of the engines before it",
}
_RULE = "the rule {name}"
_MOST_HELD: Final = 3  # more are counted


def in_words(reason: Reason, unit: str) -> str:
    """A few sentences, lengths in `unit`."""
    names = [_bond(name) for name in reason.together]
    # A lock that excuses its shells from a rule stays when everything else is dropped; removing it may be a cure.
    locked = "locks" not in reason.together and any(cure.change == "lock" for cure in reason.cures)
    rest = "even if every other limit and rule were relaxed" + (", as long as the locks stay" if locked else "")
    if not reason.reduced:
        text = f"Not looked into further, as it would take too long: it is kept out by some of {', '.join(names)}."
    elif len(names) == 1:
        text = f"Kept out by {names[0]} alone, {rest}."
    elif names:
        text = (
            f"Kept out by {', '.join(names[:-1])} and {names[-1]} together, {rest}; without any one of these it could "
            "be inside."
        )
    else:
        text = "It stays out even if every limit and rule were relaxed."
    return " ".join([text, *_not_offered(reason, unit), _cures(reason, unit)])


def _cures(reason: Reason, unit: str) -> str:
    if reason.in_doubt:
        return "No change is proposed while a reading of it is in doubt: measure that again first."
    if not reason.cures:
        if not reason.cures_complete:
            return "Changes that would fix it were not all looked for, as it would take too long, and none was found."
        return "No single change that is yours to make would fix it without making another position worse."
    words = "; ".join(_cure(cure, unit) for cure in reason.cures)
    more = "" if reason.cures_complete else " Others were not looked for, as it would take too long."
    return f"Any one of these changes would fix it and make no other position worse: {words}.{more}"


def _not_offered(reason: Reason, unit: str) -> Iterator[str]:
    """What would fix it but is not for the shop to change: a sentence for each sort."""
    held: list[str] = []
    for one in reason.not_offered:
        match one.change:
            case "max" | "min":
                assert one.by_nm is not None
                limit, by = f"the maker's {one.change}", steps(unit, one.by_nm)
                if one.guarded:
                    yield f"Misses {limit}, as your guard tightens it, by {by}; {limit} is not yours to change."
                else:
                    yield f"Misses {limit} by {by}; only the maker may change that."
            case "accept":
                whose = f" of {whole(one.name)}" if one.name else ""
                yield (
                    f"The housing bore{whose} would do only with the engine maker's written permission, quoted in the "
                    "column `accept`; without it rework the housing."
                )
            case "hold":
                held.append(f"{whole(one.name or '')} would fit but is on hold: '{clean(one.why or '')}'")
    if len(held) > _MOST_HELD:
        held[_MOST_HELD - 1 :] = [f"{len(held) - _MOST_HELD + 1} more that are on hold would"]
    if held:
        yield f"{'; '.join(held)}."


def _bond(name: str) -> str:
    if name in _BONDS:
        return _BONDS[name]
    key, _, column = name.partition(" ")
    sort = next(sort for sort in REGISTRY if sort.key == key)
    return sort.phrases.get("bond", _RULE).format(name=name, column=clean(column))


def _cure(cure: Cure, unit: str) -> str:
    match cure.change:
        case "lock":
            return f"the lock removed from {whole(cure.name or '')}"
        case "priority":
            return "--priority together"
        case "upper" | "lower":
            return _one_more(cure, unit)
    if cure.factor is not None:
        return f"a {cure.change} of {cure.factor:g}"
    if cure.to_nm is not None:
        assert cure.by_nm is not None
        sort = next(sort for sort in REGISTRY if cure.change in sort.keys)
        which_way = sort.phrases.get("eased", "more")
        places = decimals(unit, [cure.to_nm], cure.by_nm)
        to_nm = _on_paper(cure.to_nm, unit, places, -1 if which_way == "less" else 1)
        to = fixed(to_nm, unit, places)
        return f"the rule {cure.change} at {to} {unit} ({steps(unit, cure.by_nm)} {which_way})"
    return f"without {_bond(cure.change)}"


def _one_more(cure: Cure, unit: str) -> str:
    """One more half, described completely: what it must read, and where it goes if not into the position itself."""
    goes_to = f" for {whole(cure.name)}" if cure.name else ""
    reads = [_reads(column, marks) for column, marks in cure.marks]
    return f"one more {cure.change} half{goes_to}: {', '.join([_wall(cure, unit), *reads])}"


def _wall(cure: Cure, unit: str) -> str:
    """The wall, and the range of walls that will do."""
    assert cure.to_nm is not None and cure.low_nm is not None and cure.high_nm is not None
    walls = cure.to_nm, cure.low_nm, cure.high_nm
    places = decimals(unit, walls)
    wall, low, high = (_on_paper(nm, unit, places, way) for nm, way in zip(walls, (0, 1, -1), strict=True))
    if low <= wall <= high:
        text, least, most = (fixed(nm, unit, places) for nm in (wall, low, high))
    else:
        text, least, most = (exact(nm, unit) for nm in walls)
    will_do = "" if cure.low_nm == cure.high_nm else f" ({least} to {most} will do)"
    return f"wall {text} {unit}{will_do}"


def _reads(column: str, marks: Sequence[str]) -> str:
    named = [clean(mark) for mark in marks if mark]
    return f"{clean(column)} {' or '.join(named)}" if named else f"no {clean(column)} mark"


def _on_paper(nm: int, unit: str, places: int, way: int) -> int:
    """What is read if this length is written back with so many decimals: rounded up (1), down (-1) or to the nearest
    (0). A limit that falls short by a rounding does not work."""
    per, power = NM_PER_UNIT[unit], 10**places
    digits = round_half_even(nm * power, per) if not way else way * -(-way * nm * power // per)
    return round_half_even(digits * per, power)
