"""Why a position stayed empty or outside its limits, in the words and the arithmetic of the shop.

In: a job and what was placed. Out: one line per failing position, and flags for whatever needs attention.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from fitmatch.fit.candidates import Bore, Kind, bore_refused
from fitmatch.fit.checker import locks_excuse
from fitmatch.lengths import fixed
from fitmatch.parts import Flag, Job, Placement, Position, Shell

_PLACES = {"in": 5, "mm": 4}


class Reasons:
    """The reasons of one kind; what they need is built once, and only if a position fails."""

    def __init__(self, job: Job, kind: Kind) -> None:
        self._job = job
        self._kind = kind
        self._bores = {id(p): bore for bore in kind.bores for p in bore.positions}
        self._relaxed: list[tuple[str, Kind]] | None = None

    def why(self, position: Position) -> str:
        """One line on why this measured position is empty or outside its limits."""
        if bore_refused(self._job, position):
            return self._refused(position)
        if position.upper is not None and position.lower is not None:
            return self._locked_pair(position)
        bore = self._bores[id(position)]
        for side, rack in (("upper", bore.upper), ("lower", bore.lower)):
            if not rack.classes:
                return self._no_half(position, side)
        if self._sum_inside(self._kind, bore) is not None:
            return self._wanted_elsewhere()
        return self._arithmetic(bore)

    # --- the cases ---

    def _refused(self, position: Position) -> str:
        assert position.housing_bore is not None
        band = self._job.drawing[position.kind]["housing_bore"]
        bore = position.housing_bore.mean_nm
        side = "above" if bore > band.high_nm else "below"
        return (
            f"the housing bore {self._size(bore)} lies {side} its drawing band "
            f"{self._range(band.low_nm, band.high_nm)}: shells cannot mend the crush; "
            f"rework the housing, or write the reason for using it in the column `accept`"
        )

    def _locked_pair(self, position: Position) -> str:
        known = {s.key: s for s in self._job.shells}
        upper, lower = (known[lock] for lock in (position.upper, position.lower) if lock is not None)
        pair = Placement(position, upper, lower, self._job.rules.limits_at)
        if pair.clearance_tightest_nm <= 0:
            return (
                f"the locked shells {upper.box}/{upper.name} and {lower.box}/{lower.name} leave no clearance "
                f"({self._size(pair.clearance_tightest_nm)})"
            )
        return f"its locked shells give clearance {self._size(pair.clearance_nm)}, {self._off(pair)}"

    def _no_half(self, position: Position, side: str) -> str:
        wants = position.wants_upper if side == "upper" else position.wants_lower
        shells = [s for s in self._kind.free_shells() if s.half in (side, "either")]
        if not shells:
            return f"there is no {side} half of kind {position.kind} to choose from"
        demands = [f"{c} = {w or 'blank'}" for c, w in zip(self._job.matched_columns, wants, strict=False)]
        family = self._job.fits[position.kind].family
        if family is not None:
            demands.append(f"family = {' or '.join(family)}")
        return f"none of the {len(shells)} {side} halves of kind {position.kind} matches {', '.join(demands)}"

    def _wanted_elsewhere(self) -> str:
        kind = self._kind
        shortages = []
        for side in ("upper", "lower"):
            halves = sum(s.half in (side, "either") for s in kind.free_shells())
            seats = sum(b.count for b in kind.bores if getattr(b.positions[0], side) is None)
            if halves < seats:
                shortages.append(f"{seats} positions need {_a(side)} half and the boxes hold {halves}")
        both = len(kind.free_shells())
        needed = sum(b.count * [b.positions[0].upper, b.positions[0].lower].count(None) for b in kind.bores)
        if not shortages and both < needed:
            shortages.append(f"the positions need {needed} halves and the boxes hold {both}")
        if shortages:
            return f"shells are short: {'; '.join(shortages)}"
        return "pairs that would fit it exist, but their shells serve more positions elsewhere"

    def _arithmetic(self, bore: Bore) -> str:
        """What walls it needs against what the boxes hold."""
        low, high = bore.inside_low, bore.inside_high
        if low > high:
            return (
                "its readings scatter by more than its limits allow: no wall sum keeps the tightest clearance at min "
                "and the mean at max"
            )
        thickest = self._kind.largest_sum(bore, 0, low - 1)
        thinnest = self._kind.smallest_sum(bore, high + 1, 1 << 62)
        needs = f"needs walls totalling {self._needs(bore)}"
        if thickest is not None and thinnest is None:
            text = (
                f"{needs}; the thickest admissible pair in these boxes totals {self._size(thickest)}: "
                f"{self._step(low - thickest)} too thin, clearance {self._size(bore.room_nm - thickest)}"
            )
        elif thinnest is not None and thickest is None:
            text = (
                f"{needs}; the thinnest admissible pair in these boxes totals {self._size(thinnest)}: "
                f"{self._step(thinnest - high)} too thick, clearance {self._size(bore.room_nm - thinnest)}"
            )
        elif thickest is not None and thinnest is not None:
            text = (
                f"{needs}; the nearest admissible pairs total {self._size(thickest)} ({self._step(low - thickest)} too "
                f"thin) and {self._size(thinnest)} ({self._step(thinnest - high)} too thick)"
            )
        else:
            text = f"{needs}; no two halves in these boxes may share its bore"
        helped = [name for name, kind in self._relaxations() if self._fits_in(kind, bore)]
        if helped:
            text += f"; a pair would fit without {' or without '.join(helped)}"
        return text

    # --- details ---

    def _sum_inside(self, kind: Kind, bore: Bore) -> int | None:
        return kind.smallest_sum(bore, bore.inside_low, bore.inside_high)

    def _fits_in(self, kind: Kind, bore: Bore) -> bool:
        name = bore.positions[0].name
        return any(self._sum_inside(kind, other) is not None for other in kind.bores if other.positions[0].name == name)

    def _relaxations(self) -> list[tuple[str, Kind]]:
        """The kind once more for each rule, with that rule alone taken away."""
        if self._relaxed is None:
            self._relaxed = [
                (rule, Kind(job, self._kind.name)) for rule, job in _each_rule_off(self._job, self._kind.name)
            ]
        return self._relaxed

    def _off(self, pair: Placement) -> str:
        if pair.shortfall_nm:
            return f"{self._step(pair.shortfall_nm)} below min"
        return f"{self._step(pair.excess_nm)} above max"

    def _needs(self, bore: Bore) -> str:
        if bore.max_nm is None:
            return f"at most {self._size(bore.inside_high)}"
        if bore.min_nm is None:
            return f"at least {self._size(bore.inside_low)}"
        return self._range(bore.inside_low, bore.inside_high)

    def _size(self, nm: int) -> str:
        return f"{fixed(nm, self._job.unit, _PLACES[self._job.unit])} {self._job.unit}"

    def _range(self, low: int, high: int) -> str:
        places = _PLACES[self._job.unit]
        return f"{fixed(low, self._job.unit, places)} to {fixed(high, self._job.unit, places)} {self._job.unit}"

    def _step(self, nm: int) -> str:
        name = "tenths" if self._job.unit == "in" else "um"
        tenths = fixed(nm, name, 1).removesuffix(".0")
        return f"{tenths} tenth" if name == "tenths" and tenths == "1" else f"{tenths} {name}"


def flags(job: Job, placements: list[Placement], why: Callable[[Position], str]) -> tuple[Flag, ...]:
    """What needs attention though it was filled: outside its limits, accepted, excused by a lock, off its drawing."""
    found = []
    for p in placements:
        position = p.position
        if not p.within_limits:
            code = "below-min" if p.shortfall_nm else "above-max"
            found.append(Flag(position.name, code, f"NOT TO BE ASSEMBLED: {why(position)}"))
        for _, fault in locks_excuse(job, p):
            found.append(Flag(position.name, "lock-breaks-rule", f"its lock is obeyed although {fault}"))
        found += _drawing(job, p)
    return tuple(found)


def _drawing(job: Job, p: Placement) -> Iterator[Flag]:
    bands = job.drawing.get(p.position.kind, {})
    places = _PLACES[job.unit]
    assert p.position.journal is not None and p.position.housing_bore is not None
    for feature, what, nm in (
        ("journal", "the journal", p.position.journal.mean_nm),
        ("housing_bore", "the housing bore", p.position.housing_bore.mean_nm),
        ("wall", f"the wall of {p.upper.box}/{p.upper.name}", p.upper.wall_nm),
        ("wall", f"the wall of {p.lower.box}/{p.lower.name}", p.lower.wall_nm),
    ):
        band = bands.get(feature)
        if band is None or nm is None or nm in band:
            continue
        text = (
            f"{what}, {fixed(nm, job.unit, places)} {job.unit}, lies outside its drawing band "
            f"{fixed(band.low_nm, job.unit, places)} to {fixed(band.high_nm, job.unit, places)}"
        )
        if feature == "housing_bore":
            text += f"; accepted: {p.position.accept}"
        yield Flag(p.position.name, f"{feature.replace('_', '-')}-outside-drawing", text)


def _each_rule_off(job: Job, kind: str) -> Iterator[tuple[str, Job]]:
    rules = job.rules
    if rules.wall_difference_nm is not None:
        yield "the rule wall_difference", replace(job, rules=replace(rules, wall_difference_nm=None))
    if kind in rules.thick_half:
        others = {k: side for k, side in rules.thick_half.items() if k != kind}
        yield "the rule thick_half", replace(job, rules=replace(rules, thick_half=others))
    if rules.same_in_bore:
        yield "the rule same_in_bore", replace(job, rules=replace(rules, same_in_bore=()))
    for at, column in enumerate(job.matched_columns):
        yield (
            f"matching {column}",
            replace(
                job,
                positions=tuple(
                    replace(p, wants_upper=_blanked(p.wants_upper, at), wants_lower=_blanked(p.wants_lower, at))
                    for p in job.positions
                ),
            ),
        )
    if job.fits[kind].family is not None:
        fits = {**job.fits, kind: replace(job.fits[kind], family=None)}
        yield "the limit to its family", replace(job, fits=fits)
    if any(s.hold is not None and s.kind == kind for s in job.shells):
        yield "the holds", replace(job, shells=tuple(_released(s) for s in job.shells))


def _blanked(wants: tuple[str, ...], at: int) -> tuple[str, ...]:
    return (*wants[:at], "any", *wants[at + 1 :])


def _released(shell: Shell) -> Shell:
    return replace(shell, hold=None) if shell.hold is not None else shell


def _a(side: str) -> str:
    return f"an {side}" if side == "upper" else f"a {side}"
