"""A plan as CSV: one row per position in file order, whether it was filled or not."""

import csv
from collections.abc import Iterator, Mapping
from io import StringIO
from typing import Final

from fitmatch.lengths import exact
from fitmatch.parts import Position
from fitmatch.placements import Placement
from fitmatch.plans import JobPlan, Plan
from fitmatch.report.certainty import Certainty
from fitmatch.report.facts import (
    DANGER,
    clearance_over_coating,
    clearance_to_metal,
    is_coated,
    kind_wishes,
    one_line,
    wall,
    within_want,
)
from fitmatch.report.reasons import flag_words, words_of
from fitmatch.rules.movable import is_movable

FILLED: Final = "filled"
UNFILLED: Final = "not filled"
UNMEASURED: Final = "not yet measured"
_WITHOUT_UNIT: Final = (
    "position",
    "kind",
    "state",
    "upper_box",
    "upper_shell",
    "upper_locked",
    "lower_box",
    "lower_shell",
    "lower_locked",
)
_LENGTHS: Final = (
    "upper_wall",
    "lower_wall",
    "journal",
    "housing_bore",
    "wall_sum",
    "seating",
    "clearance",
    "clearance_tightest",
    "target",
    "deviation",
    "min",
    "max",
    "limit_low",
    "limit_high",
    "wall_difference",
    "axis_shift",
    "clearance_over_coating",
    "clearance_to_metal",
)


def plan_rows(plan: Plan, unit: str) -> str:
    """The whole table with a header; a length column names its unit, what is absent is an empty cell. Of several jobs
    one after the other, with the name of its job before each position."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    certainties = [Certainty(one) for one in plan.plans]
    judged = (f"uncertainty [{unit}]", "verdict") if any(c.known for c in certainties) else ()
    jobs = [one.job for one in plan.plans]
    housing = ("housing",) if any(is_movable(j, kind) for j in jobs for kind in j.kinds) else ()
    offset = (f"offset [{unit}]",) if any(p.offset_nm is not None for j in jobs for p in j.positions) else ()
    wishing = any(kind_wishes(j, kind) for j in jobs for kind in j.kinds)
    wished = (f"want_min [{unit}]", f"want_max [{unit}]", "within_want") if wishing else ()
    further = (*housing, *offset, *wished, *judged)
    named = [] if plan.alone else ["job"]
    writer.writerow([*named, *_WITHOUT_UNIT, *(f"{name} [{unit}]" for name in _LENGTHS), *further, "remark"])
    for one, certainty in zip(plan.plans, certainties, strict=True):
        for row in _rows(one, unit, certainty, further):
            writer.writerow(row if plan.alone else [one.job.name, *row])
    return out.getvalue()


def _rows(plan: JobPlan, unit: str, certainty: Certainty, further: tuple[str, ...]) -> Iterator[list[str]]:
    placed = plan.by_position()
    why = {u.position.key: words_of(u.why, unit) for u in plan.unfilled}
    for position in plan.job.positions:
        placement = placed.get(position.key)
        words = _words(position, placement, plan, why.get(position.key), unit)
        half_nm = _position_lengths(position) if placement is None else _placement_lengths(placement)
        lengths = [half_nm.get(name) for name in _LENGTHS]
        yield [
            *(words.get(name, "") for name in _WITHOUT_UNIT),
            *("" if value is None else exact(value, unit) for value in lengths),
            *(more for name, more in _further(position, placement, certainty, unit).items() if name in further),
            words["remark"],
        ]


def _further(position: Position, placement: Placement | None, certainty: Certainty, unit: str) -> Mapping[str, str]:
    """The columns that only some jobs have: housing, offset, wished band, uncertainty."""
    lengths = {"offset": position.offset_nm, "want_min": position.want_min_nm, "want_max": position.want_max_nm}
    within = None if placement is None else within_want(placement)
    expanded, verdict = _judged(placement, certainty, unit)
    return {
        "housing": position.housing or position.name,
        **{f"{name} [{unit}]": "" if nm is None else exact(2 * nm, unit) for name, nm in lengths.items()},
        "within_want": "" if within is None else _yes(within),
        f"uncertainty [{unit}]": expanded,
        "verdict": verdict,
    }


def _judged(placement: Placement | None, certainty: Certainty, unit: str) -> tuple[str, str]:
    """The expanded uncertainty and the verdict, for a job that tells how it was measured."""
    uncertainty = None if placement is None else certainty.of(placement)
    if placement is None or uncertainty is None:
        return "", ""
    return exact(round(2 * uncertainty.expanded_nm), unit), certainty.verdict(placement) or ""


def _words(
    position: Position, placement: Placement | None, plan: JobPlan, why: str | None, unit: str
) -> Mapping[str, str]:
    words = {"position": position.name, "kind": position.kind, "remark": ""}
    if placement is None:
        if why is None:
            return words | {"state": UNMEASURED, "remark": "no reading of " + ", ".join(position.missing)}
        return words | {"state": UNFILLED, "remark": one_line(why)}
    return words | {
        "state": FILLED if placement.within_limits else DANGER,
        "upper_box": placement.upper.box,
        "upper_shell": placement.upper.name,
        "upper_locked": _yes(position.upper is not None),
        "lower_box": placement.lower.box,
        "lower_shell": placement.lower.name,
        "lower_locked": _yes(position.lower is not None),
        "remark": "; ".join(one_line(flag_words(f, unit)) for f in plan.flags if f.position == position.name),
    }


def _yes(fact: bool) -> str:
    return "true" if fact else "false"


def _position_lengths(position: Position) -> Mapping[str, int | None]:
    """In half nanometres, as all here, so that an axis shift is a whole number too."""
    known = {
        "journal": position.journal.mean_nm if position.journal else None,
        "housing_bore": position.housing_bore.mean_nm if position.housing_bore else None,
        "seating": position.seating_nm,
        "target": position.target_nm,
        "min": position.min_nm,
        "max": position.max_nm,
    }
    return {name: None if nm is None else 2 * nm for name, nm in known.items()}


def _placement_lengths(placement: Placement) -> Mapping[str, int | None]:
    known = {
        "upper_wall": wall(placement.upper),
        "lower_wall": wall(placement.lower),
        "wall_sum": placement.wall_sum_nm,
        "clearance": placement.clearance_nm,
        "clearance_tightest": placement.clearance_tightest_nm,
        "deviation": placement.deviation_nm,
        "wall_difference": placement.wall_difference_nm,
    }
    if is_coated(placement):
        known["clearance_over_coating"] = clearance_over_coating(placement)
        known["clearance_to_metal"] = clearance_to_metal(placement)
    known |= {
        name: nm
        for name, nm in (("limit_low", placement.limit_low_nm), ("limit_high", placement.limit_high_nm))
        if nm is not None
    }
    return {
        **_position_lengths(placement.position),
        **{name: 2 * nm for name, nm in known.items()},
        "axis_shift": placement.twice_axis_shift_nm,
    }
