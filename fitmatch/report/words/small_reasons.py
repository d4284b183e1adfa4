"""Small reasons and cures in words: what keeps a position out, what only others may change, and which single changes of
the shop's own would fix it."""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from fitmatch.lengths import fixed
from fitmatch.records.answers.plans import Cure, Reason, Stray
from fitmatch.records.keys import full_name
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import decimals, on_paper, steps, with_range
from fitmatch.rules.positions.drawing import Drawing
from fitmatch.rules.registry import REGISTRY
from fitmatch.wording import listed

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


class Beside(NamedTuple):
    """What else is known of a position: that its housing bore is `refused`, that shells of its kind are `unread`, and
    the shells that may be `meant` for it though their mark is another word, with that mark."""

    refused: bool = False
    unread: bool = False
    meant: Stray | None = None


def in_words(reason: Reason, unit: str, beside: Beside, *, several: bool) -> str:
    """A few sentences, lengths in `unit`, about one position or about each of `several`. What follows from a reading in
    doubt is not worth knowing, nor what besides its bore keeps a position out."""
    if reason.in_doubt:
        told = "No change is proposed while a reading of it is in doubt"
        if reason.doubted:
            be = "is" if len(reason.doubted) == 1 else "are"
            told = f"No change is proposed while {_some(reason.doubted)}, which could go there, {be} in doubt"
        return f"{told}: measure that again first."
    if beside.refused and reason.together != (Drawing.key,):
        return ""
    all_found, reason = reason.cures, _for_the_shop(reason, beside)
    cures = _cures(reason, unit, beside, several=several, exact=len(all_found) > len(reason.cures))
    kept_out = _kept_out(reason, cured=bool(reason.cures or beside.meant))
    return " ".join([kept_out, *_not_offered(reason, unit), cures])


def of_group(reasons: Sequence[Reason], unit: str, beside: Beside) -> str:
    """The same about several positions that the same keeps out, each with its own changes; by how much they miss their
    limits is told elsewhere."""
    reasons = [_for_the_shop(reason, beside) for reason in reasons]
    told = [_kept_out(reasons[0], cured=any(reason.cures for reason in reasons))]
    limits = dict.fromkeys(one.change for reason in reasons for one in reason.not_offered if one.change in _BONDS)
    told += [f"Only the maker may change {_BONDS[limit]}." for limit in limits]
    others = (one for reason in reasons for one in reason.not_offered if one.change not in _BONDS)
    told += _not_offered(reasons[0]._replace(not_offered=tuple(dict.fromkeys(others))), unit)
    names: dict[str, list[str]] = {}
    for reason in reasons:
        names.setdefault("; ".join(_cure(cure, unit) for cure in reason.cures), []).append(whole(reason.position.name))
    cures = [f"{listed(some)}: {words}" for words, some in names.items() if words]
    if cures:
        told.append(
            f"Any one of these changes would fix one of them and make no other position worse. {'. '.join(cures)}."
        )
    if none := names.get(""):
        told.append(f"No single change that is yours to make was found for {listed(none)}.")
    return " ".join(told)


def _for_the_shop(reason: Reason, beside: Beside) -> Reason:
    """With the cures that can be carried out."""
    cures = (c for c in reason.cures if c.is_to_be_had and not (beside.unread and c.is_shell))
    return reason._replace(cures=tuple(cures))


def _kept_out(reason: Reason, *, cured: bool) -> str:
    names = [_bond(name, reason.as_well) for name in reason.together]
    # A lock that excuses its shells from a rule stays when everything else is dropped; removing it may be a cure.
    locked = "locks" not in reason.together and any(cure.change == "lock" for cure in reason.cures)
    rest = ", even if every other limit and rule were relaxed" + (", as long as the locks stay" if locked else "")
    rest = "" if cured else rest
    if not reason.reduced:
        return f"Not looked into further, as it would take too long: it is kept out by some of {', '.join(names)}."
    if len(names) == 1:
        return f"Kept out by {names[0]} alone{rest}."
    if names:
        is_yours = all(map(_is_yours, reason.together)) and not reason.as_well
        yours = "; without any one of these it could be inside" if is_yours else ""
        return f"Kept out by {listed(names)} together{rest}{yours}."
    return "It stays out even if every limit and rule were relaxed."


def _some(shells: Sequence[str]) -> str:
    """All of a few shells, else the first of them and how many more."""
    more = len(shells) - _MOST_HELD
    return listed([*map(whole, shells[:_MOST_HELD]), *([f"{more} more"] if more > 0 else [])])


def _is_yours(name: str) -> bool:
    """Whether the shop may change what this bond stands for."""
    key = name.partition(" ")[0]
    return key not in ("max", "min") and all(sort.offered for sort in REGISTRY if sort.key == key)


def _cures(reason: Reason, unit: str, beside: Beside, *, several: bool, exact: bool) -> str:
    """`exact`: one more half would do, but none that can be told from others by measuring."""
    if not reason.cures:
        if beside.meant is not None:
            meant = beside.meant
            belong = "belongs" if len(meant.shells) == 1 else "belong"
            named = _some([full_name(shell.key) for shell in meant.shells])
            return f"If {named} {belong} there, write `{clean(meant.mark)}` as its {clean(meant.column)}."
        if beside.unread:
            return "Shells of its kind are not yet measured: take these readings first."
        if not reason.cures_complete:
            return "Changes that would fix it were not all looked for, as it would take too long, and none was found."
        closer = "Another half would have to be closer to one wall than gauges tell apart. " if exact else ""
        return f"{closer}No single change that is yours to make would fix it without making another position worse."
    words = "; ".join(_cure(cure, unit) for cure in reason.cures)
    more = "" if reason.cures_complete else " Others were not looked for, as it would take too long."
    told = "Any one of these changes would fix one of them" if several else "Any one of these changes would fix it"
    return f"{told} and make no other position worse: {words}.{more}"


def _not_offered(reason: Reason, unit: str) -> Iterator[str]:
    """What would fix it but is not for the shop to change: a sentence for each sort."""
    held: list[str] = []
    for one in reason.not_offered:
        match one.change:
            case "max" | "min":
                assert one.by_nm is not None
                limit, by = f"the maker's {one.change}", steps(unit, one.by_nm)
                if one.guarded:
                    yield f"Misses {limit}, as your guard draws it in, by {by}; {limit} is not yours to change."
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


def _bond(name: str, as_well: Sequence[str] = ()) -> str:
    if name in _BONDS:
        return _BONDS[name]
    key, _, column = name.partition(" ")
    sort = next(sort for sort in REGISTRY if sort.key == key)
    others = [other.partition(" ")[2] for other in as_well if other.partition(" ")[0] == key]
    column = " and in ".join([column, *others])
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
        to_nm = on_paper(cure.to_nm, unit, places, -1 if which_way == "less" else 1)
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
    return f"wall {with_range(cure.to_nm, cure.low_nm, cure.high_nm, unit)}"


def _reads(column: str, marks: Sequence[str]) -> str:
    if column == "coating":
        return "coated" if any(marks) else "uncoated"
    named = [clean(mark) for mark in marks if mark]
    return f"{clean(column)} {' or '.join(named)}" if named else f"no {clean(column)} mark"
