"""The part that says how good the plan is: clearances against their limits, the axis, what is proven, what it rests
on."""

from collections.abc import Iterator, Sequence
from math import ceil
from typing import Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.report.shared.axis import in_a_row, lies
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.grounds import grounds
from fitmatch.report.shared.scale import NOTHING, UNITS, Scale, scale_for
from fitmatch.report.shared.states import DANGER, side_of
from fitmatch.report.sheet.amounts import in_full, judged
from fitmatch.report.sheet.drawings import Bar, scale_of
from fitmatch.report.sheet.source import Shown
from fitmatch.report.words.levels import WORDS
from fitmatch.report.words.phrases import phrase
from fitmatch.rules.registry import SETTINGS
from fitmatch.version import __version__
from fitmatch.wording import listed, printable

_WAYS: Final = {"": "this plan", "by-hand": "by hand", "as-boxed": "as boxed"}


class Row(NamedTuple):
    """One position: its clearance, how far it is off the target, how certain that is, and both drawings; `axis` is
    None where bores need not be in line."""

    position: str
    state: str
    clearance: str
    off: str
    sure: str
    bar: Bar
    shift: str
    axis: Bar | None


class Way(NamedTuple):
    """A way of choosing, and what it gives."""

    name: str
    cells: tuple[str, ...]


class KindFigured(NamedTuple):
    """One kind: `rows` of its filled positions, `ways` of choosing beside each other, and how far it is proven.
    `reach`: where the drawings along the line end, None where bores need not be in line; `towards`: what plus is."""

    kind: str
    proven: str
    rows: tuple[Row, ...]
    ways: tuple[Way, ...]
    reach: str | None
    towards: str


class Figured(NamedTuple):
    """The whole part. `lengths` is the unit in words, `step` the small unit, `rests_on` are sentences."""

    lengths: str
    unit: str
    step: str
    sure: bool
    heads: tuple[str, ...]
    kinds: tuple[KindFigured, ...]
    rules: tuple[str, ...]
    rests_on: tuple[str, ...]


def figured(shown: Shown) -> Figured:
    """The figures of a plan, worked out again, beside those that it was saved with."""
    plan = shown.plan
    unit = plan.job.unit
    scale, certainty = scale_for(unit, [p.clearance_nm for p in plan.placements]), Certainty(plan)
    told = tuple(phrase(code, fact, unit) for sort in SETTINGS for code, fact in sort.told(plan.job))
    return Figured(
        UNITS[unit],
        unit,
        scale.step,
        certainty.known,
        ("filled", "outside limits", f"worst off, {scale.step}", f"spread, {scale.step}", f"mean, {unit}", "boxes"),
        tuple(_kind(shown, kind, scale, certainty) for kind in shown.kinds),
        told,
        tuple(_rests_on(shown, scale)),
    )


def _kind(shown: Shown, kind: str, scale: Scale, certainty: Certainty) -> KindFigured:
    placements = shown.plan.of_kind(kind)
    in_line = in_a_row(shown.plan.job, kind) and len(placements) > 1
    return KindFigured(
        kind,
        _proven(shown, kind),
        tuple(_rows(placements, scale, certainty, in_line=in_line)),
        tuple(_ways(shown, kind, scale)),
        scale.axis(_reach(placements, scale)) if in_line else None,
        _towards(kind),
    )


def _towards(kind: str) -> str:
    return f"towards the upper half ({side_of(kind, 'upper')})"


def _reach(placements: Sequence[Placement], scale: Scale) -> int:
    """Twice how far the drawings along the line reach to each side: as far as the furthest, or one step."""
    return max((abs(lies(p)) for p in placements), default=0) or 2 * NM_PER_UNIT[scale.step]


def _proven(shown: Shown, kind: str) -> str:
    proof = shown.said.proofs.get(kind)
    if proof is None:
        return "The saved plan does not say whether it was proven."
    together = shown.said.together.get(kind)
    whose, readings = "", "its readings"
    if together is not None and len(together.jobs) > 1:
        whose, readings = f", for {_names(together.jobs)} together", "their readings"
    if proof.proven:
        return f"Proven when it was saved{whose}: with {readings} no choice of shells does better."
    level = WORDS.get(proof.level or "", "stopped early")
    return f"NOT PROVEN when it was saved{whose} ({level}): a better choice may exist."


def _names(jobs: Sequence[str]) -> str:
    return listed([printable(name) for name in jobs])


def _rows(placements: Sequence[Placement], scale: Scale, certainty: Certainty, *, in_line: bool) -> Iterator[Row]:
    sure = {p.position.key: found.expanded_nm for p in placements if (found := certainty.of(p)) is not None}
    lengths: list[float | None] = []
    for p in placements:
        wide = sure.get(p.position.key, 0.0)
        lengths += [
            p.clearance_nm - wide,
            p.clearance_nm + wide,
            p.position.target_nm,
            p.position.min_nm,
            p.position.max_nm,
        ]
    drawn = scale_of(lengths)
    reach = _reach(placements, scale)
    along = scale_of([-reach, reach])
    for p in placements:
        position, u = p.position, sure.get(p.position.key)
        clearance = judged(p.clearance_nm, scale.unit, position)
        bar = Bar(
            f"{position.name}: clearance {clearance} {scale.unit}, {_between(p, scale.unit)}",
            drawn.at(p.clearance_nm) or 0.0,
            drawn.at(position.target_nm),
            drawn.at(position.min_nm),
            drawn.at(position.max_nm),
            None if u is None else drawn.at(p.clearance_nm - u),
            None if u is None else drawn.at(p.clearance_nm + u),
        )
        shift = scale.axis(lies(p))
        title = f"{position.name}: axis {shift} {scale.step}, plus being {_towards(position.kind)}"
        axis = Bar(title, along.at(lies(p)) or 0.0, along.at(0), None, None, None, None)
        yield Row(
            position.name,
            "" if p.within_limits else DANGER,
            clearance,
            scale.steps(p.deviation_nm, sign=True),
            NOTHING if u is None else scale.steps(ceil(u)),
            bar,
            shift,
            axis if in_line else None,
        )


def _between(p: Placement, unit: str) -> str:
    low, high = (in_full(nm, unit) for nm in (p.position.min_nm, p.position.max_nm))
    return f"limits {low} to {high} {unit}" + ("" if p.within_limits else f", {DANGER}")


def _ways(shown: Shown, kind: str, scale: Scale) -> Iterator[Way]:
    """This plan, by its own figures, and the baselines that it was saved with. Those of a plan of several jobs were
    worked out for all of them, and are compared with its figures for all."""
    total = sum(p.kind == kind for p in shown.plan.job.positions)
    yield Way(_WAYS[""], _cells(shown.plan.figures[kind], scale, total))
    together = shown.said.together.get(kind)
    of_all = ""
    if together is not None and len(together.jobs) > 1:
        of_all, total = f", {_names(together.jobs)} together", together.positions
        yield Way(_WAYS[""] + of_all, _cells(together.figures, scale, total))
    for name in ("by-hand", "as-boxed"):
        other = shown.said.baselines.get(name, {}).get(kind)
        if other is not None:
            broken = other.rules_broken
            breaking = f", breaking {broken} rule{'s' if broken > 1 else ''}" if broken else ""
            yield Way(_WAYS[name] + of_all + breaking, _cells(other.figures, scale, total))


def _cells(figures: KindFigures, scale: Scale, total: int) -> tuple[str, ...]:
    over = f" over {figures.counted} of {total} positions" if 0 < figures.counted < total else ""
    return (
        str(figures.filled),
        str(figures.below + figures.above),
        scale.steps(figures.worst_deviation_nm) + over,
        scale.steps(figures.spread_nm) + over,
        scale.rounded(figures.mean_clearance_nm) + over,
        str(figures.boxes),
    )


def _rests_on(shown: Shown, scale: Scale) -> Iterator[str]:
    yield from grounds([shown.plan], scale)
    for why in shown.void:
        yield f"VOID: {why}."
    by = f" by fitmatch {shown.said.version}" if shown.said.version else ""
    slack = f", slack {in_full(shown.said.slack_nm, scale.unit)} {scale.unit}" if shown.said.slack_nm else ""
    yield f"Saved{by}, strategy {shown.said.strategy or 'not known'}{slack}; sheet by fitmatch {__version__}."
