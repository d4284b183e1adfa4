"""The part of the text report that explains one position: its sum in numbers, what is next best for it, what insisting
on another pair would change."""

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Explanation, OtherPlan, Plan
from fitmatch.records.keys import full_name
from fitmatch.records.parts import room, tightest_room
from fitmatch.report.further.beside import Beside, answered, by_position, compared, figure_columns, put_in, shells_of
from fitmatch.report.shared.box_names import shell_name
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.report.shared.states import DANGER, NOT_FILLED
from fitmatch.report.words.reasons import words_of
from fitmatch.wording import listed


def explanation(plan: Plan, scale: Scale) -> list[str]:
    """Nothing where nothing was asked for."""
    told = plan.explanation
    if told is None:
        return []
    kind, key = answered(plan, told.label), told.position.key
    placement = kind.placements.get(key)
    why = next((u.why for u in plan.unfilled if u.position.key == key), None)
    lines = [f"{clean(full_name(told.position.key))} ({clean(told.position.kind)}) EXPLAINED"]
    if placement is not None:
        lines += _sum(placement, scale)
    elif why is not None:
        lines += paragraph(f"{NOT_FILLED}: {clean(words_of(why, scale.unit))}.")
    else:
        missing = told.position.missing or ("the wall of a locked shell",)
        return [*lines, *paragraph(f"Not yet measured: no reading of {' and '.join(missing).replace('_', ' ')}.")]
    lines += ["", *_runner_up(kind, told, placement, scale)]
    if told.pair is not None:
        lines += ["", *_off_drawing(plan, told, scale), *_insisted(kind, told, scale)]
    return lines


def _sum(p: Placement, scale: Scale) -> list[str]:
    """Pair, arithmetic, limits."""
    position, length = p.position, scale.length
    assert position.journal is not None and position.housing_bore is not None and position.target_nm is not None
    seating = f" {'+' if position.seating_nm > 0 else '-'} {length(abs(position.seating_nm))} seating"
    lines = paragraph(shells_of(p))
    lines += paragraph(
        f"{length(position.housing_bore.mean_nm)} housing bore - {length(position.journal.mean_nm)} journal - "
        f"({length(p.upper.wall_nm)} + {length(p.lower.wall_nm)}) walls{seating if position.seating_nm else ''} = "
        f"{scale.with_unit(p.clearance_nm)} clearance, {scale.steps(p.deviation_nm, sign=True)} {scale.step} off its "
        f"target {scale.with_unit(position.target_nm)}.",
        first="  ",
    )
    guard = " (drawn in by the guard)" if any(p.margin) else ""
    limits = [
        f"{which}{guard} {length(nm)}"
        for which, nm in (("min", p.limit_low_nm), ("max", p.limit_high_nm))
        if nm is not None
    ]
    verdict = "inside" if p.within_limits else f"outside: {DANGER}"
    tightest = (
        f"; at the tightest places {length(p.clearance_tightest_nm)}"
        if tightest_room(position, p.limits_at) != room(position)
        else ""
    )
    lines += paragraph(f"Its limits: {', '.join(limits) or 'none'}{tightest}: {verdict}.", first="  ")
    fitting = []
    if p.limit_high_nm is not None:
        fitting.append(f"at least {length(room(position) - p.limit_high_nm)}")
    if p.limit_low_nm:
        fitting.append(f"at most {length(tightest_room(position, p.limits_at) - p.limit_low_nm)}")
    must = f" must total {' and '.join(fitting)}; they" if fitting else ""
    target = length(room(position) - position.target_nm)
    total = f"total {length(p.wall_sum_nm)}, and {target} would hit the target."
    lines += paragraph(f"Its walls{must} {total}", first="  ")
    return lines


def _runner_up(kind: Beside, told: Explanation, placement: Placement | None, scale: Scale) -> list[str]:
    position, other = told.position, told.runner_up
    what = "in which its walls total something else" if placement is not None else "in which it is filled"
    if other is None:
        if position.upper is not None and position.lower is not None:
            return paragraph("It is locked in both halves: there is nothing to choose.")
        found = "none was found in time" if told.stopped else "there is none: no other pair may go there"
        return paragraph(f"Runner-up, the best plan {what}: {found}.")
    mine = by_position(other.placements)[position.key]
    lines = paragraph(
        f"Runner-up, the best plan {what}: {shells_of(mine)}, walls {scale.length(mine.wall_sum_nm)}."
        f"{_not_proven(other)}"
    )
    return lines + _compared(kind, other, "runner-up", scale)


def _off_drawing(plan: Plan, told: Explanation, scale: Scale) -> list[str]:
    """A warning for each shell asked for whose wall the maker's drawing does not allow."""
    job = next(one.job for one in plan.plans if one.job.name == told.position.job)
    band = job.drawing.get(told.position.kind, {}).get("wall")
    out = [s for s in told.pair or () if band is not None and s.wall_nm is not None and s.wall_nm not in band]
    walls = [f"the wall of {shell_name(s)}, {scale.with_unit(s.wall_nm)}" for s in out if s.wall_nm is not None]
    is_are = "is" if len(walls) == 1 else "are"
    return paragraph(f"Outside the maker's drawing limits {is_are} {listed(walls)}.") if walls else []


def _insisted(kind: Beside, told: Explanation, scale: Scale) -> list[str]:
    assert told.pair is not None
    names = " + ".join(map(shell_name, told.pair))
    if told.insisted is None:
        found = "no plan was found in time" if told.stopped else "there is no plan beside what is locked elsewhere"
        return paragraph(f"With {names}: {found}.")
    lines = paragraph(f"With {names}, the best plan:{_not_proven(told.insisted)}")
    return lines + _compared(kind, told.insisted, "with them", scale)


def _compared(kind: Beside, other: OtherPlan, name: str, scale: Scale) -> list[str]:
    """Figures before and after, and every position that gets other shells or another housing."""
    rows = compared("this plan", kind, {name: other})
    lines = ["", *table(rows, *figure_columns(rows, scale)), ""]
    if other.against_plan is not None:
        lines += [*paragraph(f"Its worst deviation is {other.against_plan}."), ""]
    before, after = kind.placements, by_position(other.placements)
    changed = [key for key in kind.names if put_in(before.get(key)) != put_in(after.get(key))]
    if not changed:
        return [*lines, *paragraph("Nothing changes.")]
    rows_changed = table(
        changed,
        Column("position", lambda key: whole(kind.names[key]), "left", wraps=True),
        Column("this plan:\nshells", lambda key: shells_of(before.get(key)), "left", wraps=True),
        Column("\nclearance", lambda key: scale.length(_clearance(before.get(key)))),
        Column(f"{name}:\nshells", lambda key: shells_of(after.get(key)), "left", wraps=True),
        Column("\nclearance", lambda key: scale.length(_clearance(after.get(key)))),
    )
    return [*lines, "What changes:", *rows_changed]


def _clearance(placement: Placement | None) -> int | None:
    return None if placement is None else placement.clearance_nm


def _not_proven(other: OtherPlan) -> str:
    return "" if other.proven else " NOT PROVEN: a better one may exist."
