"""Why a position stayed empty or outside its limits, in the words and the arithmetic of the shop.

In: a job and what was placed. Out: one line per failing position, and flags for whatever needs attention.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from fitmatch.fit.bores import Bore
from fitmatch.fit.candidates import Kind, bore_refused
from fitmatch.fit.checker import locks_excuse
from fitmatch.fit.rowrules import excused_in_rows
from fitmatch.fit.words import SHORT, misfit, sizes, steps, thick, thin
from fitmatch.gauging.doubts import doubts_of
from fitmatch.gauging.formlimits import form_flags
from fitmatch.parts import SIDES, Job, Position, Shell, marks_agree
from fitmatch.plans import Flag, Placement, Plan, Unfilled
from fitmatch.pools import Group, PoolPlan, groups_of

_DANGER = "NOT TO BE ASSEMBLED: "
_MANY = 1 << 62


class Reasons:
    """The reasons of one kind; what they need is built once, and only if a position fails."""

    def __init__(self, job: Job, kind: Kind) -> None:
        self._job = job
        self._kind = kind
        self._guarded = job.rules.guard > 0
        self._bores = {id(p): bore for bore in kind.seats for p in bore.positions}

    def why(self, position: Position) -> str:
        """One line on why this measured position is empty or outside its limits."""
        if bore_refused(self._job, position):
            return self._refused(position)
        if position.upper is not None and position.lower is not None:
            return self._locked_pair(position)
        bore = self._bores[id(position)]
        for side in SIDES:
            if not getattr(bore, side).classes:
                return self._no_half(position, side)
        if self._kind.smallest_sum(bore, bore.inside_low, bore.inside_high) is not None:
            return self._taken(bore)
        return self._no_pair_inside(position, bore)

    # --- the cases ---

    def _refused(self, position: Position) -> str:
        assert position.housing_bore is not None
        band = self._job.drawing[position.kind]["housing_bore"]
        bore = position.housing_bore.mean_nm
        side, gap = ("above", bore - band.high_nm) if bore > band.high_nm else ("below", band.low_nm - bore)
        size, low, high = sizes(self._job.unit, [bore, band.low_nm, band.high_nm], gap)
        return (
            f"the housing bore {size} lies {side} its drawing band {low} to {high}: shells cannot mend the crush; "
            "rework the housing, or write the reason for using it in the column `accept`"
        )

    def _locked_pair(self, position: Position) -> str:
        known = {s.key: s for s in self._job.shells}
        upper, lower = (known[lock] for lock in (position.upper, position.lower) if lock is not None)
        pair = self._kind.place(position, upper, lower)
        (clearance,) = sizes(self._job.unit, [pair.clearance_tightest_nm])
        if pair.clearance_tightest_nm <= 0:
            return f"its locked shells {_name(upper)} and {_name(lower)} leave no clearance ({clearance})"
        return f"its locked shells {_name(upper)} and {_name(lower)} are {misfit(self._job.unit, pair)}"

    def _no_half(self, position: Position, side: str) -> str:
        shells = [s for s in self._kind.free_shells() if s.half in (side, "either")]
        aside = self._set_aside(side, self._wants(position, side))
        if not shells:
            return f"there is no {side} half of kind {position.kind} to choose from{aside}"
        demands = self._demands(position, side)
        unmet = [words for words, meets in demands if not any(meets(s) for s in shells)]
        asked = ", ".join(unmet) or " and ".join(words for words, _ in demands) + " together"
        count = f"the only {side} half" if len(shells) == 1 else f"none of the {len(shells)} {side} halves"
        verb = "does not match" if len(shells) == 1 else "matches"
        return f"{count} of kind {position.kind} {verb} {asked}{aside}"

    def _taken(self, bore: Bore) -> str:
        short = self._shortage(bore)
        if short:
            return f"{SHORT}: {short}"
        rules = self._job.rules
        text = f"{self._needs(bore)}; pairs that would fit it exist, but too few for all positions that want them"
        if bore.terms.one_thick_side:
            sides = {p.thick for p in self._kind.pairs(bore, bore.inside_low, bore.inside_high)}
            if len(sides) == 1 and 0 not in sides:
                side = "upper" if sides == {1} else "lower"
                text += f", or the rule thick_half keeps them out: in each of them the {side} half is the thicker"
        rows = [
            rule
            for rule, limits in (("neighbour_step", rules.neighbour_step_nm), ("line", rules.line_nm))
            if self._kind.name in limits
        ]
        if rows:
            text += f", or {' and '.join(rows)} keep{'' if len(rows) > 1 else 's'} them out beside the other bores"
        return text

    def _no_pair_inside(self, position: Position, bore: Bore) -> str:
        """What walls it needs against what the boxes hold."""
        low, high = bore.inside_low, bore.inside_high
        if low > high:
            return self._scatter(bore)
        thin = self._kind.largest_sum(bore, 0, low - 1)
        thick = self._kind.smallest_sum(bore, high + 1, _MANY)
        near = [self._near(bore, walls) for walls in (thin, thick) if walls is not None]
        needs = self._needs(bore, *([] if thin is None else [low - thin]), *([] if thick is None else [thick - high]))
        if not near:
            text = f"{needs}; {self._no_partner(position)}"
        elif len(near) == 2:
            text = f"{needs}; the nearest admissible pairs in these boxes total {near[0]}; and {near[1]}"
        else:
            extreme = "thinnest" if thin is None else "thickest"
            text = f"{needs}; the {extreme} admissible pair in these boxes totals {near[0]}"
        short = self._shortage(bore) if thin is not None or (thick is not None and thick <= bore.sum_high) else ""
        return f"{text}; besides, {SHORT}: {short}" if short else text

    def _scatter(self, bore: Bore) -> str:
        scatter = bore.room_nm - bore.tightest_nm
        assert bore.max_nm is not None
        allowed = bore.max_nm - (bore.min_nm or 0)
        between = f"max is {self._step(allowed)}" if not bore.min_nm else f"from min to max it is {self._step(allowed)}"
        return (
            "its readings scatter by more than its limits allow: the clearance by the tightest readings lies "
            f"{self._step(scatter)} below the one by the means, and {between}; look for taper and out-of-round, and "
            "measure again"
        )

    def _no_partner(self, position: Position) -> str:
        for side, other in (SIDES, SIDES[::-1]):
            lock = getattr(position, side)
            if lock is not None:
                return f"no {other} half in these boxes may share its bore with the locked {lock[0]}/{lock[1]}"
        return "no two halves in these boxes may share its bore"

    # --- what stands in the way ---

    def _shortage(self, bore: Bore) -> str:
        """Where there are more seats than halves for them; empty where there are enough."""
        position, bores = bore.positions[0], self._kind.seats
        found = []
        for side in SIDES:
            if getattr(position, side) is not None:
                continue
            alike = [b for b in bores if getattr(b, side) is getattr(bore, side)]
            everyone = [b for b in bores if getattr(b.positions[0], side) is None]
            asked = ""
            if _stock(alike, [side]) < sum(s.half in (side, "either") for s in self._kind.free_shells()):
                asked = f" that matches {', '.join(words for words, _ in self._demands(position, side))}"
            for rivals, which in ((alike, asked), (everyone, "")):
                seats, halves = sum(b.count for b in rivals), _stock(rivals, [side])
                if halves < seats:
                    aside = self._set_aside(side, self._wants(position, side))
                    found.append(f"{_needs_what(seats)} {_a(side)} half{which} and {_there_are(halves)}{aside}")
                    break
        if not found:
            seats = sum(b.count * [b.positions[0].upper, b.positions[0].lower].count(None) for b in bores)
            halves = _stock(bores, SIDES)
            if halves < seats:
                positions = sum(b.count for b in bores)
                found.append(f"{_needs_what(positions)} {seats} halves in all and {_there_are(halves)}")
        return "; ".join(found)

    def _set_aside(self, side: str, wants: tuple[str, ...]) -> str:
        """Matching halves that may not be used: on hold, without a reading, locked to another position."""
        locked = {lock for p in self._job.positions for lock in (p.upper, p.lower)}
        states: dict[str, list[str]] = {}
        for s in self._job.shells:
            if s.kind != self._kind.name or s.half not in (side, "either") or not all(map(marks_agree, wants, s.marks)):
                continue
            if s.hold is not None:
                states.setdefault("on hold", []).append(_name(s))
            elif s.wall_nm is None:
                states.setdefault("not yet measured", []).append(_name(s))
            elif s.key in self._job.reserved:
                states.setdefault("locked in another engine", []).append(_name(s))
            elif s.key in locked:
                states.setdefault("locked to a position", []).append(_name(s))
        return "".join(f"; {_some(names)} {state}" for state, names in states.items())

    def _wants(self, position: Position, side: str) -> tuple[str, ...]:
        return position.wants_upper if side == "upper" else position.wants_lower

    def _demands(self, position: Position, side: str) -> list[tuple[str, Callable[[Shell], bool]]]:
        """What a half must agree with here, in words and as a question to a shell."""
        demands: list[tuple[str, Callable[[Shell], bool]]] = []
        for at, (column, want) in enumerate(zip(self._job.matched_columns, self._wants(position, side), strict=False)):
            if want != "any":
                demands.append((f"{column} = {want or 'blank'}", partial(_has_mark, at, want)))
        family = self._job.fits[position.kind].family
        if family is not None:
            demands.append((f"family = {' or '.join(family)}", lambda s: s.family in family))
        return [(_line(words), meets) for words, meets in demands]

    # --- figures ---

    def _near(self, bore: Bore, walls: int) -> str:
        """A pair that does not fit: what its walls total, and by how much they miss."""
        unit, scattered = self._job.unit, bore.tightest_nm != bore.room_nm
        if walls < bore.inside_low:
            gap = bore.inside_low - walls
            words = thin(unit, gap, bore.room_nm - walls, bore.max_nm, scattered, self._guarded)
        elif bore.min_nm is None or bore.min_nm <= 0:
            gap = walls - bore.tightest_nm
            words = f"{self._step(gap)} too thick to leave any clearance" if gap else "no clearance is left"
        else:
            gap = walls - bore.inside_high
            words = thick(
                unit, gap, bore.tightest_nm - walls, bore.min_nm, bore.tightest_nm != bore.room_nm, self._guarded
            )
        (size,) = sizes(unit, [walls], gap)
        return f"{size}: {words}"

    def _needs(self, bore: Bore, *gaps: int) -> str:
        """The wall sums that fit, with enough decimals to tell them from sums that miss by `gaps`."""
        unit = self._job.unit
        least = [] if bore.max_nm is None else [bore.inside_low]
        most = [] if not bore.min_nm else [bore.inside_high]
        shown = sizes(unit, least + most or [bore.tightest_nm], min(gaps, default=0) if least or most else 0)
        if least and most:
            return f"needs walls totalling {shown[0].removesuffix(f' {unit}')} to {shown[1]}"
        limit = "at least" if least else "at most" if most else "less than"
        return f"needs walls totalling {limit} {shown[0]}"

    def _step(self, nm: int) -> str:
        return steps(self._job.unit, nm)


def flags(job: Job, placements: Iterable[Placement], why: Callable[[Position], str]) -> tuple[Flag, ...]:
    """What needs attention though it was filled: outside its limits, accepted, excused by a lock, off its drawing."""
    found = []
    placements = list(placements)
    in_rows: dict[int, list[str]] = {}
    for p, fault in excused_in_rows(job, placements):
        in_rows.setdefault(id(p), []).append(fault)
    for p in placements:
        position = p.position
        if not p.within_limits:
            code = "below-min" if p.shortfall_nm else "above-max"
            reason, own = why(position), misfit(job.unit, p)
            if own not in reason:  # the reason tells of other pairs than the one that was placed
                (walls,) = sizes(job.unit, [p.wall_sum_nm])
                reason = f"its walls total {walls}: {own}; {reason}"
            found.append(Flag(position.name, code, _DANGER + reason))
        for fault in (*(fault for _, fault in locks_excuse(job, p)), *in_rows.get(id(p), ())):
            found.append(Flag(position.name, "lock-breaks-rule", _line(f"its lock is obeyed although {fault}")))
        found += _drawing(job, p)
    return tuple(found)


def told_in(plan: Plan, unit: str) -> Plan:
    """The same plan with its reasons, flags and doubts in another unit."""
    return _told([plan], unit)[0]


def all_told_in(pool: PoolPlan, unit: str) -> PoolPlan:
    """The same plans of several jobs with all reasons, flags and doubts in one unit."""
    return replace(pool, plans=tuple(_told(pool.plans, unit)))


def _told(plans: Sequence[Plan], unit: str) -> list[Plan]:
    jobs = [replace(plan.job, unit=unit) for plan in plans]
    group_of = {(i, group.kind): group for group in groups_of(jobs) for i in group.members}
    kinds: dict[Group, Kind] = {}
    found = []
    for i, (plan, job) in enumerate(zip(plans, jobs, strict=True)):
        reasons: dict[str, Reasons] = {}

        def why(position: Position, i: int = i, job: Job = job, reasons: dict[str, Reasons] = reasons) -> str:
            if position.kind not in reasons:
                group = group_of[i, position.kind]
                if group not in kinds:
                    kinds[group] = Kind([jobs[member] for member in group.members], group.kind)
                reasons[position.kind] = Reasons(job, kinds[group])
            return reasons[position.kind].why(position)

        unfilled = tuple(Unfilled(u.position, why(u.position)) for u in plan.unfilled)
        doubts = doubts_of(replace(plan.moved_from or job, unit=unit), typed_in=plan.job.unit)
        told = (*flags(job, plan.placements, why), *form_flags(job, plan.placements))
        found.append(replace(plan, job=job, unfilled=unfilled, flags=told, doubts=doubts))
    return found


def _drawing(job: Job, p: Placement) -> Iterator[Flag]:
    bands = job.drawing.get(p.position.kind, {})
    assert p.position.journal is not None and p.position.housing_bore is not None
    for feature, what, nm in (
        ("journal", "the journal", p.position.journal.mean_nm),
        ("housing_bore", "the housing bore", p.position.housing_bore.mean_nm),
        ("wall", f"the wall of {_name(p.upper)}", p.upper.wall_nm),
        ("wall", f"the wall of {_name(p.lower)}", p.lower.wall_nm),
    ):
        band = bands.get(feature)
        if band is None or nm is None or nm in band:
            continue
        gap = max(band.low_nm - nm, nm - band.high_nm)
        size, low, high = sizes(job.unit, [nm, band.low_nm, band.high_nm], gap)
        text = f"{what}, {size}, lies outside its drawing band {low} to {high}"
        if feature == "housing_bore":
            text += f"; accepted: {p.position.accept}"
        yield Flag(p.position.name, f"{feature.replace('_', '-')}-outside-drawing", _line(text))


# --- words ---


def _stock(bores: Iterable[Bore], sides: Iterable[str]) -> int:
    """How many halves any of these bores may have on these sides."""
    classes = {c.index: c for b in bores for side in sides if getattr(b.positions[0], side) is None
               for c in getattr(b, side).classes}  # fmt: skip
    return sum(c.count for c in classes.values())


def _has_mark(at: int, want: str, shell: Shell) -> bool:
    return marks_agree(want, shell.marks[at])


def _needs_what(positions: int) -> str:
    return "1 position needs" if positions == 1 else f"{positions} positions need"


def _there_are(halves: int) -> str:
    return "there is 1" if halves == 1 else f"there are {halves}" if halves else "there is none"


def _some(names: list[str]) -> str:
    if len(names) <= 3:
        return " and ".join(names) + (" is" if len(names) == 1 else " are")
    return f"{names[0]}, {names[1]} and {len(names) - 2} more are"


def _name(shell: Shell) -> str:
    return f"{shell.box}/{shell.name}"


def _a(side: str) -> str:
    return f"an {side}" if side == "upper" else f"a {side}"


def _line(text: str) -> str:
    """The user's own words may hold line breaks."""
    return " ".join(text.split())
