"""Small reasons and cures in words: what keeps a position out, and which single changes would put it inside."""

from fitmatch.records.plans import Cure, Reason
from fitmatch.report.shared.layout import clean, whole
from fitmatch.report.shared.scale import sizes, steps
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


def in_words(reason: Reason, unit: str) -> str:
    """One to three sentences, lengths in `unit`."""
    names = [_bond(name) for name in reason.together]
    # A lock that sets its shells free of a rule stays when all else is let go; taking it off may be a cure.
    locked = "locks" not in reason.together and any(cure.change == "lock" for cure in reason.cures)
    rest = "as long as the locks stay" if locked else "whatever else is let go"
    if not reason.reduced:
        text = f"Not looked into further, as it would take too long: it is kept out by some of {', '.join(names)}."
    elif len(names) == 1:
        text = f"Kept out by {names[0]} alone, {rest}."
    elif names:
        text = (
            f"Kept out by {', '.join(names[:-1])} and {names[-1]} together, {rest}; if any one of these were let go as "
            "well it could be inside."
        )
    else:
        text = "Whatever rule is let go, it stays out."
    return f"{text} {_cures(reason, unit)}"


def _cures(reason: Reason, unit: str) -> str:
    if not reason.cures:
        if not reason.cures_complete:
            return "Cures were not all looked for, as it would take too long, and none was found."
        return "No single change puts it inside without making another position worse."
    words = "; ".join(_cure(cure, unit) for cure in reason.cures)
    more = "" if reason.cures_complete else " Others were not looked for, as it would take too long."
    return f"Any one of these puts it inside and makes no other position worse: {words}.{more}"


def _bond(name: str) -> str:
    if name in _BONDS:
        return _BONDS[name]
    key, _, column = name.partition(" ")
    sort = next(sort for sort in REGISTRY if sort.key == key)
    return sort.phrases.get("bond", _RULE).format(name=name, column=clean(column))


def _cure(cure: Cure, unit: str) -> str:
    name = whole(cure.name or "")
    match cure.change:
        case "max" | "min":
            return f"{cure.change} {_by(cure, unit, 'more' if cure.change == 'max' else 'less')}"
        case "hold" | "lock":
            return f"the {cure.change} taken off {name}"
        case "accept":
            return f"a reason in the column `accept`{f' of {name}' if name else ''}"
        case "priority":
            return "the priority together"
        case "upper" | "lower":
            return _one_more(cure, unit)
    if cure.factor is not None:
        return f"a {cure.change} of {cure.factor:g}"
    if cure.to_nm is not None:
        sort = next(sort for sort in REGISTRY if cure.change in sort.keys)
        return f"the rule {cure.change} at {_by(cure, unit, sort.phrases.get('eased', 'more'))}"
    return f"without {_bond(cure.change)}"


def _by(cure: Cure, unit: str, which_way: str) -> str:
    assert cure.to_nm is not None and cure.by_nm is not None
    return f"{sizes(unit, [cure.to_nm], cure.by_nm)[0]} ({steps(unit, cure.by_nm)} {which_way})"


def _one_more(cure: Cure, unit: str) -> str:
    assert cure.to_nm is not None
    text = f"one more {cure.change} half with a wall of"
    if cure.low_nm is None or cure.high_nm is None or cure.low_nm == cure.high_nm:
        return f"{text} {sizes(unit, [cure.to_nm])[0]}"
    wall, low, high = sizes(unit, [cure.to_nm, cure.low_nm, cure.high_nm])
    return f"{text} {wall} ({low.removesuffix(f' {unit}')} to {high} will do)"
