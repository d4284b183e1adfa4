"""Why a position stayed empty or outside its limits, and what else needs attention: facts with their figures.

In: a job and what was placed. Out: one fact per failing position, and flags for whatever needs attention.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from fitmatch.facts import Fact
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Flag
from fitmatch.records.job import Job, Rule
from fitmatch.records.keys import full_name
from fitmatch.records.parts import KEPT_FOR, SIDES, Position, Shell, excess_of, shortfall_of
from fitmatch.rules.in_force import broken, in_force, row_rules
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.rules.positions.guard import guard_of
from fitmatch.rules.registry import REGISTRY

_MANY: Final = 1 << 62
_ORDER: Final = [sort.key for sort in REGISTRY]


class Reasons:
    """The reasons of one kind; what they need is built once, and only if a position fails."""

    def __init__(self, job: Job, kind: Kind) -> None:
        self._job = job
        self._kind = kind
        self._guarded = guard_of(job) > 0
        self._bores = {p.key: bore for bore in kind.seats for p in bore.positions}

    def why(self, position: Position) -> Fact:
        """Why this measured position is empty or outside its limits."""
        if bore_refused(self._job, position):
            return self._refused(position)
        if position.upper is not None and position.lower is not None:
            return self._locked_pair(position)
        bore = self._bores[position.key]
        for side in SIDES:
            if not getattr(bore, side).classes:
                return self._no_half(position, side)
        if self._kind.smallest_sum(bore, bore.inside_low, bore.inside_high) is not None:
            return self._taken(bore)
        return self._no_pair_inside(position, bore)

    # --- the cases ---

    def _refused(self, position: Position) -> Fact:
        assert position.housing_bore is not None
        band = self._job.drawing[position.kind]["housing_bore"]
        bore_nm = position.housing_bore.mean_nm
        return Fact("bore-refused", {"bore_nm": bore_nm, "low_nm": band.low_nm, "high_nm": band.high_nm})

    def _locked_pair(self, position: Position) -> Fact:
        known = {s.key: s for s in self._job.shells}
        upper, lower = (known[lock] for lock in (position.upper, position.lower) if lock is not None)
        pair = self._kind.place(position, upper, lower)
        names = {"upper": full_name(upper.key), "lower": full_name(lower.key)}
        if pair.clearance_tightest_nm <= 0:
            return Fact("locked-without-clearance", {**names, "clearance_nm": pair.clearance_tightest_nm})
        return Fact("locked-misfit", {**names, "misses": _misses(pair)})

    def _no_half(self, position: Position, side: str) -> Fact:
        free = (s for s in self._kind.free_shells() if s.half in (side, "either"))
        shells = [s for s in free if not self._is_kept(position, side, s)]
        demands = self._demands(position, side)
        unmet = [demand for demand, rule in demands if not any(rule.takes(position, side, s) for s in shells)]
        return Fact(
            "no-half",
            {
                "side": side,
                "kind": position.kind,
                "halves": len(shells),
                "unmet": tuple(unmet),  # met by no half; if each is met by some, no half meets all together
                "marks": self._marks(shells, unmet),
                "demands": tuple(demand for demand, _ in demands),
                "aside": self._set_aside(position, side),
            },
        )

    def _marks(self, shells: Sequence[Shell], demands: Sequence[Fact]) -> dict[str, tuple[str, ...]]:
        """What halves have in the columns of these demands, by column."""
        columns = [str(demand.slots["column"]) for demand in demands if "column" in demand.slots]
        found = {column: self._job.shell_columns.index(column) for column in columns}
        return {column: tuple(sorted({s.marks[at] for s in shells})) for column, at in found.items()}

    def _taken(self, bore: Bore) -> Fact:
        short = self._shortage(bore)
        if short is not None:
            return short
        thick = None
        if bore.terms.one_thick_side:
            sides = {p.thick for p in self._kind.pairs(bore, bore.inside_low, bore.inside_high)}
            thick = "upper" if sides == {1} else "lower" if sides == {-1} else None
        rows = tuple(bore.terms.shifts.names)
        return Fact("wanted-elsewhere", {"needs": _needs(bore), "thick_half": thick, "rows": rows})

    def _no_pair_inside(self, position: Position, bore: Bore) -> Fact:
        """The walls it needs, compared with what the boxes have."""
        low, high = bore.inside_low, bore.inside_high
        if low > high:
            assert bore.max_nm is not None
            least = bore.min_nm or 0
            scatter = bore.room_nm - bore.tightest_nm
            return Fact("scattered", {"scatter_nm": scatter, "min_nm": least, "allowed_nm": bore.max_nm - least})
        thin = self._kind.largest_sum(bore, 0, low - 1)
        thick = self._kind.smallest_sum(bore, high + 1, _MANY)
        needs = _needs(bore, *([] if thin is None else [low - thin]), *([] if thick is None else [thick - high]))
        if thin is None and thick is None:
            partner = next((side for side in SIDES if getattr(position, side) is not None), None)
            lock = None if partner is None else full_name(getattr(position, partner))
            other = None if partner is None else SIDES[1 - SIDES.index(partner)]
            return Fact("no-partner", {"needs": needs, "side": other, "locked": lock})
        near = tuple(self._near(bore, walls) for walls in (thin, thick) if walls is not None)
        look = thin is not None or (thick is not None and thick <= bore.sum_high)
        return Fact("no-pair", {"needs": needs, "near": near, "short": self._shortage(bore) if look else None})

    # --- what prevents a fit -----

    def _shortage(self, bore: Bore) -> Fact | None:
        """Where there are more positions than halves for them; None if there are enough."""
        position, bores = bore.positions[0], self._kind.seats
        found = []
        for side in SIDES:
            if getattr(position, side) is not None:
                continue
            alike = [b for b in bores if getattr(b, side) is getattr(bore, side)]
            everyone = [b for b in bores if getattr(b.positions[0], side) is None]
            asked: tuple[Fact, ...] = ()
            if _stock(alike, [side]) < sum(s.half in (side, "either") for s in self._kind.free_shells()):
                asked = tuple(demand for demand, _ in self._demands(position, side))
            for rivals, demands in ((alike, asked), (everyone, ())):
                seats, halves = sum(b.count for b in rivals), _stock(rivals, [side])
                if halves < seats:
                    aside = self._set_aside(position, side)
                    slots = {"side": side, "demands": demands, "aside": aside, "positions": seats, "halves": halves}
                    found.append(Fact("of-a-half", slots))
                    break
        if not found:
            seats = sum(b.count * [b.positions[0].upper, b.positions[0].lower].count(None) for b in bores)
            halves = _stock(bores, SIDES)
            if halves < seats:
                positions = sum(b.count for b in bores)
                found.append(Fact("in-all", {"positions": positions, "seats": seats, "halves": halves}))
        return Fact("short", {"of": tuple(found)}) if found else None

    def _set_aside(self, position: Position, side: str) -> dict[str, list[str]]:
        """Halves that would do but may not be used, by the reason."""
        locked = {lock for p in self._job.positions for lock in (p.upper, p.lower)}
        terms = self._kind.terms_of(position)
        found: dict[str, list[str]] = {}
        for s in self._job.shells:
            if s.kind != self._kind.name or s.half not in (side, "either"):
                continue
            kept = self._is_kept(position, side, s)
            if not all(r.takes(position, side, s) for r in terms.rules if not (kept and KEPT_FOR in r.columns)):
                continue
            if s.hold is not None:
                found.setdefault("on-hold", []).append(full_name(s.key))
            elif s.wall_nm is None:
                found.setdefault("not-measured", []).append(full_name(s.key))
            elif s.key in self._job.reserved:
                found.setdefault("locked-in-another-job", []).append(full_name(s.key))
            elif s.key in locked:
                found.setdefault("locked", []).append(full_name(s.key))
            elif kept:
                found.setdefault("kept-for-another-job", []).append(full_name(s.key))
        return found

    def _is_kept(self, position: Position, side: str, shell: Shell) -> bool:
        """Whether the shelf keeps a half for another job."""
        rules = (rule for rule in self._kind.terms_of(position).rules if KEPT_FOR in rule.columns)
        return not all(rule.takes(position, side, shell) for rule in rules)

    def _demands(self, position: Position, side: str) -> list[tuple[Fact, Rule]]:
        """What its rules demand of a half here."""
        asked = ((rule.demand(position, side), rule) for rule in self._kind.terms_of(position).rules)
        return [(fact, rule) for fact, rule in asked if fact is not None]

    def _near(self, bore: Bore, walls: int) -> dict[str, object]:
        """A pair that does not fit: what its walls total, and by how much they miss."""
        if walls > bore.inside_high and (bore.min_nm or 0) <= 0:
            miss = Fact("no-clearance", {"gap_nm": walls - bore.tightest_nm})
        else:
            clearances, limits = (bore.room_nm - walls, bore.tightest_nm - walls), (bore.min_nm, bore.max_nm)
            (miss,) = _missed(*clearances, *limits, guarded=self._guarded)
        return {"walls_nm": walls, "miss": miss}


def flags(job: Job, placements: Sequence[Placement], why: Callable[[Position], Fact]) -> Iterator[Flag]:
    """What needs attention although it was filled: outside its limits, accepted, excused by a lock, outside its drawing
    limits, fitted already and read outside. What is said of one position names rules in registry order."""
    in_rows: dict[object, list[Fact]] = {}
    for apart in (apart for kind in job.kinds for one in row_rules(job, kind) for apart in one.apart(placements)):
        if apart.excused:
            in_rows.setdefault(apart.fact.slots["other"], []).append(apart.fact)
    for p in placements:
        name = p.position.name
        if not p.within_limits:
            slots = {"walls_nm": p.wall_sum_nm, "misses": _misses(p), "why": why(p.position)}
            yield Flag(name, "below-min" if p.shortfall_nm else "above-max", Fact("misfit", slots))
        faults = broken(in_force(job, p.position.kind), p.position, p.upper, p.lower)
        excused = (*(fault.fact for fault in faults if fault.excused), *in_rows.get(name, ()))
        for fact in sorted(excused, key=lambda fact: _ORDER.index(fact.code)):
            yield Flag(name, "lock-breaks-rule", Fact("excused", {"broken": fact}))
        yield from _drawing(job, p)
        yield from _fitted_already(job, p)


def _fitted_already(job: Job, p: Placement) -> Iterator[Flag]:
    """What is on record of a position that is in the job's engine."""
    shelved = job.shelved or {}
    known = [(s.key, shelved[s.key]) for s in (p.upper, p.lower) if s.key in shelved]
    if any(one.is_not_to_be_run for _, one in known):
        yield Flag(p.position.name, "fitted-not-to-be-run", Fact("fitted-not-to-be-run"))
    if permitted := [one.permitted for _, one in known if one.permitted is not None]:
        yield Flag(p.position.name, "fitted-outside", Fact("fitted-outside", {"permission": permitted[0]}))
    for key, one in known:
        if one.hold_inside:
            slots = {"shell": full_name(key), "number": one.number, "hold": one.hold_inside}
            yield Flag(p.position.name, "fitted-on-hold", Fact("fitted-on-hold", slots))


def _drawing(job: Job, p: Placement) -> Iterator[Flag]:
    bands = job.drawing.get(p.position.kind, {})
    assert p.position.journal is not None and p.position.housing_bore is not None
    for feature, shell, nm in (
        ("journal", None, p.position.journal.mean_nm),
        ("housing_bore", None, p.position.housing_bore.mean_nm),
        ("wall", p.upper, p.upper.wall_nm),
        ("wall", p.lower, p.lower.wall_nm),
    ):
        band = bands.get(feature)
        if band is None or nm is None or nm in band:
            continue
        slots = {
            "feature": feature,
            "shell": shell and full_name(shell.key),
            "size_nm": nm,
            "low_nm": band.low_nm,
            "high_nm": band.high_nm,
            "accepted": p.position.accept if feature == "housing_bore" else None,
        }
        yield Flag(p.position.name, f"{feature.replace('_', '-')}-outside-drawing", Fact("off-drawing", slots))


def _misses(p: Placement) -> tuple[Fact, ...]:
    limits = p.limit_low_nm, p.limit_high_nm
    return _missed(p.clearance_nm, p.clearance_tightest_nm, *limits, guarded=any(p.margin))


def _missed(mean: int, tightest: int, low: int | None, high: int | None, *, guarded: bool) -> tuple[Fact, ...]:
    """By how much the walls of a bore outside its limits miss them, and the clearance that was judged, from the means
    or the tightest places; `guarded`: a guard draws in the limits."""
    misses = (
        ("too-thick", shortfall_of(low, tightest), tightest, low),
        ("too-thin", excess_of(high, mean), mean, high),
    )
    how = {"scattered": mean != tightest, "guarded": guarded}
    return tuple(
        Fact(code, {"gap_nm": gap, "clearance_nm": clearance, "limit_nm": limit, **how})
        for code, gap, clearance, limit in misses
        if gap
    )


def _needs(bore: Bore, *gaps: int) -> dict[str, int | None]:
    """The wall sums that fit, and the least by which sums near them miss."""
    least = None if bore.max_nm is None else bore.inside_low
    most = bore.inside_high if bore.min_nm else None
    gap = 0 if least is None and most is None else min(gaps, default=0)
    return {"least_nm": least, "most_nm": most, "below_nm": bore.tightest_nm, "gap_nm": gap}


def _stock(bores: Iterable[Bore], sides: Iterable[str]) -> int:
    """How many halves there are that any of these bores may have on these sides."""
    classes = {c.index: c for b in bores for side in sides if getattr(b.positions[0], side) is None
               for c in getattr(b, side).classes}  # fmt: skip
    return sum(c.count for c in classes.values())
