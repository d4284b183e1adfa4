"""Reasons and flags in words: why a position is empty or outside its limits, and what else needs attention at it."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from fitmatch.facts import Fact
from fitmatch.records.answers.plans import Flag
from fitmatch.report.shared.scale import sizes, steps, usual
from fitmatch.report.shared.states import DANGER, NOT_TO_BE_RUN, one_line
from fitmatch.report.words.phrases import phrase
from fitmatch.wording import listed

_Slots = Mapping[str, Any]
_MOST_CELLS: Final = 6
_ASIDE: Final = {
    "on-hold": "on hold",
    "not-measured": "not yet measured",
    "locked-in-another-job": "locked in another engine",
    "locked": "locked to a position",
    "kept-for-another-job": "set aside for another job",
}


def words_of(fact: Fact, unit: str) -> str:
    """The one line that says it, lengths in `unit`."""
    return _SAID[fact.code](fact.slots, unit)


def misses_of(misfit: Fact, unit: str) -> str:
    """By how much a bore outside its limits misses them."""
    slots: _Slots = misfit.slots
    return _misses(slots["misses"], unit)


def out_by(misfit: Fact, unit: str) -> str:
    """The clearance of a bore outside its limits, the limit, and by how much it is out: nothing of its walls."""
    slots: _Slots = misfit.slots
    return "; and ".join(_out(miss, unit) for miss in slots["misses"])


def flag_words(flag: Flag, unit: str) -> str:
    """The same for a flag, with a warning before it if the clearance is outside its limits."""
    words = words_of(flag.what, unit)
    return f"{DANGER}: {words}" if flag.what.code == "misfit" else words


# --- why a position is empty or outside its limits ---


def _no_clearance(s: _Slots, unit: str) -> str:
    (clearance,) = sizes(unit, [s["clearance_nm"]])
    return f"its locked shells {s['upper']} and {s['lower']} leave no clearance ({clearance})"


def _locked_misfit(s: _Slots, unit: str) -> str:
    return f"its locked shells {s['upper']} and {s['lower']} are {_misses(s['misses'], unit)}"


def _no_partner(s: _Slots, unit: str) -> str:
    if s["locked"] is None:
        return f"{_needs(s, unit)}; no two halves in these boxes may go together in it"
    half = f"no {s['side']} half in these boxes may go with the locked {s['locked']}"
    return f"{_needs(s, unit)}; {half}"


def _shortage(s: _Slots, unit: str) -> str:
    return f"shells are short: {'; '.join(_short(one, unit) for one in s['of'])}"


def _refused(s: _Slots, unit: str) -> str:
    bore, low, high = s["bore_nm"], s["low_nm"], s["high_nm"]
    side, gap = ("above", bore - high) if bore > high else ("below", low - bore)
    size, least, most = sizes(unit, [bore, low, high], gap)
    return (
        f"the housing bore {size} is {side} its drawing limits, {least} to {most}: no choice of "
        "shells can correct the crush; "
        "rework the housing, unless the engine maker permits it in writing: quote that in the column `accept`"
    )


def _no_half(s: _Slots, unit: str) -> str:
    side, kind, halves, aside = s["side"], s["kind"], s["halves"], _aside(s["aside"])
    if not halves:
        return f"there is no {side} half of kind {kind} to choose from{aside}"
    asked = ", ".join(_demands(s["unmet"], unit)) or " and ".join(_demands(s["demands"], unit)) + " together"
    they = "its" if halves == 1 else "their"
    have = "".join(f"; {they} {column} is {_cells(some)}" for column, some in s["marks"].items())
    if halves == 1:
        return f"the only {side} half of kind {kind} does not match {asked}{have}{aside}"
    return f"none of the {halves} {side} halves of kind {kind} matches {asked}{have}{aside}"


def _cells(cells: Sequence[str]) -> str:
    """What some shells have in a column, or some positions ask for there; of many the first."""
    told = [f"`{one}`" if one else "blank" for one in cells]
    return listed(told if len(told) <= _MOST_CELLS else [*told[:_MOST_CELLS], "others"], "or")


def _short(fact: Fact, unit: str) -> str:
    s: _Slots = fact.slots
    positions, halves = s["positions"], s["halves"]
    need = "1 position needs" if positions == 1 else f"{positions} positions need"
    there = "there is 1" if halves == 1 else f"there are {halves}" if halves else "there is none"
    if fact.code == "in-all":
        return f"{need} {s['seats']} halves in all and {there}"
    which = f" that matches {', '.join(_demands(s['demands'], unit))}" if s["demands"] else ""
    return f"{need} {'an' if s['side'] == 'upper' else 'a'} {s['side']} half{which} and {there}{_aside(s['aside'])}"


def _wanted_elsewhere(s: _Slots, unit: str) -> str:
    text = (
        f"{_needs(s, unit)}; pairs that would fit it exist, but there are too few for all the positions that need them"
    )
    if s["thick_half"]:
        text += f", or the rule thick_half keeps them out: in each of them the {s['thick_half']} half is the thicker"
    rows = s["rows"]
    if rows:
        text += (
            f", or {' and '.join(rows)} keep{'' if len(rows) > 1 else 's'} them out because of the other "
            "bores in the row"
        )
    return text


def _scattered(s: _Slots, unit: str) -> str:
    between = "from min to max it is" if s["min_nm"] else "max is"
    return (
        "its places differ by more than its limits allow: the clearance at the tightest places is "
        f"{steps(unit, s['scatter_nm'])} below the one from the means, and {between} {steps(unit, s['allowed_nm'])}; "
        "look for taper and out-of-round, and measure again"
    )


def _no_pair(s: _Slots, unit: str) -> str:
    near = [f"{_walls(pair, unit)}: {_miss(pair['miss'], unit)}" for pair in s["near"]]
    if len(near) == 2:
        found = f"the nearest admissible pairs in these boxes total {near[0]}; and {near[1]}"
    else:
        extreme = "thickest" if s["near"][0]["miss"].code == "too-thin" else "thinnest"
        found = f"the {extreme} admissible pair in these boxes totals {near[0]}"
    besides = f"; also, {words_of(s['short'], unit)}" if s["short"] else ""
    return f"{_needs(s, unit)}; {found}{besides}"


# --- what they are made of ---


def _walls(pair: _Slots, unit: str) -> str:
    return sizes(unit, [pair["walls_nm"]], pair["miss"].slots["gap_nm"])[0]


def _needs(s: _Slots, unit: str) -> str:
    """The wall sums that fit, with enough decimals to distinguish them from those that just miss."""
    needs: _Slots = s["needs"]
    least, most = needs["least_nm"], needs["most_nm"]
    bounds = [nm for nm in (least, most) if nm is not None]
    shown = sizes(unit, bounds or [needs["below_nm"]], needs["gap_nm"])
    if len(bounds) == 2:
        return f"needs walls totalling {shown[0].removesuffix(f' {unit}')} to {shown[1]}"
    limit = "at least" if least is not None else "at most" if most is not None else "less than"
    return f"needs walls totalling {limit} {shown[0]}"


def _miss(fact: Fact, unit: str) -> str:
    """By how much walls miss their limits, and the clearance that was judged."""
    s: _Slots = fact.slots
    gap = s["gap_nm"]
    if fact.code == "no-clearance":
        return f"{steps(unit, gap)} too thick to leave any clearance" if gap else "no clearance is left"
    return f"{steps(unit, gap)} too {'thick' if fact.code == 'too-thick' else 'thin'}, {_against(fact, unit)}"


def _out(fact: Fact, unit: str) -> str:
    if fact.code == "no-clearance":
        return "no clearance is left"
    s: _Slots = fact.slots
    return f"{_against(fact, unit)}: {steps(unit, s['gap_nm'])} {'below' if fact.code == 'too-thick' else 'above'}"


def _against(fact: Fact, unit: str) -> str:
    """The clearance that was judged, and its limit."""
    s: _Slots = fact.slots
    judged, limit = ("at the tightest places", "min") if fact.code == "too-thick" else ("by the means", "max")
    clearance, bound = sizes(unit, [s["clearance_nm"], s["limit_nm"]], s["gap_nm"])
    by, guard = f" {judged}" if s["scattered"] else "", " with guard" if s["guarded"] else ""
    return f"clearance{by} {clearance}, {limit}{guard} {bound}"


def _misses(misses: Sequence[Fact], unit: str) -> str:
    return "; and ".join(_miss(miss, unit) for miss in misses)


def _demands(demands: Sequence[Fact], unit: str) -> list[str]:
    return [phrase("demand", demand, unit) for demand in demands]


def _aside(aside: Mapping[str, Sequence[str]]) -> str:
    """Halves that exist but may not be used."""
    text = ""
    for state, names in aside.items():
        some = " and ".join(names) if len(names) <= 3 else f"{names[0]}, {names[1]} and {len(names) - 2} more"
        text += f"; {some} {'is' if len(names) == 1 else 'are'} {_ASIDE[state]}"
    return text


# --- flags ---


def _excused(s: _Slots, unit: str) -> str:
    return one_line(f"its lock is obeyed although {phrase('broken', s['broken'], unit)}")


def _misfit(s: _Slots, unit: str) -> str:
    why: Fact = s["why"]
    slots: _Slots = why.slots
    reason, own = words_of(why, unit), _misses(s["misses"], unit)
    if own in (_misses(slots.get("misses", ()), unit), *(_miss(pair["miss"], unit) for pair in slots.get("near", ()))):
        return reason
    (walls,) = sizes(unit, [s["walls_nm"]])  # the reason is about other pairs than the one that was placed
    return f"its walls total {walls}: {own}; {reason}"


def _off_drawing(s: _Slots, unit: str) -> str:
    size_nm, low_nm, high_nm = s["size_nm"], s["low_nm"], s["high_nm"]
    size, low, high = sizes(unit, [size_nm, low_nm, high_nm], max(low_nm - size_nm, size_nm - high_nm))
    accepted = f"; accepted: {s['accepted']}" if s["accepted"] else ""
    return one_line(f"{_part(s)}, {size}, is outside its drawing limits, {low} to {high}{accepted}")


def _off_form(s: _Slots, unit: str) -> str:
    found, given = (usual(unit, nm) for nm in (abs(s["form_nm"]), s["limit_nm"]))
    what = "hour-glass" if s["what"] == "barrel" and s["form_nm"] < 0 else s["what"].replace("_", "-")
    larger = f"; its larger diameter is {s['larger']}" if s["larger"] else ""
    return f"{_part(s)} has {what} {found} {unit}, more than the {given} allowed{larger}"


def _stray(s: _Slots, _unit: str) -> str:
    return one_line(
        f"no {s['kind']} position takes the {s['column']} `{s['mark']}`: theirs is {_cells(s['wanted'])}; if one of "
        "them is meant for it, write the same word there, otherwise put the shells aside and write why in `hold`"
    )


def _part(s: _Slots) -> str:
    return f"the {s['feature'].replace('_', ' ')}" + (f" of {s['shell']}" if s["shell"] else "")


_SAID: Final[Mapping[str, Callable[[_Slots, str], str]]] = {
    "bore-refused": _refused,
    "locked-without-clearance": _no_clearance,
    "locked-misfit": _locked_misfit,
    "no-half": _no_half,
    "wanted-elsewhere": _wanted_elsewhere,
    "scattered": _scattered,
    "no-partner": _no_partner,
    "no-pair": _no_pair,
    "misfit": _misfit,
    "excused": _excused,
    "fitted-not-to-be-run": lambda _s, _unit: (
        f"{NOT_TO_BE_RUN}: read with its shells in it is outside its limits, by the record of its engine"
    ),
    "fitted-outside": lambda s, _unit: (
        f"OUT OF LIMITS, permitted in writing: {s['permission']}" if s["permission"] else "OUT OF LIMITS, by permission"
    ),
    "fitted-on-hold": lambda s, _unit: (
        f"{NOT_TO_BE_RUN}: {s['shell']}, fitted there, is ON HOLD ({s['hold']}); "
        f"`fitmatch shelf release {s['number']} REASON` once that is settled"
    ),
    "off-drawing": _off_drawing,
    "off-form": _off_form,
    "stray": _stray,
    "short": _shortage,
}
