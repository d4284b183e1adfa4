"""Metal taken off: a journal polished, a housing bore honed or made smaller, each by the least that is enough.

Polishing and honing only enlarge a clearance, so they are proposed only where it is too tight; a bore is made smaller
only where it is too loose, or the bore too large. No bore leaves the band of the drawing, and no journal its own.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from fitmatch.fit.classes.candidates import Kind
from fitmatch.records.answers.placements import Placement
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job, Jobs
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import Band, Position, Size
from fitmatch.study.advice.advised import HONE, POLISH, RESIZE, Advice, Machined, Reached, Sizes
from fitmatch.study.advice.at_the_bench import machined
from fitmatch.study.advice.changes import resized, with_bore, with_journal
from fitmatch.study.advice.solving import Trial

_MANY: Final = 1 << 62


def by_polishing(trial: Trial, position: Position) -> Iterator[Advice]:
    """Only up to the most that the job allows, and only where it allows any."""
    job = trial.job_of(position.key)
    most, journal = job.polish_max_nm, position.journal
    if not most or journal is None:
        return
    band = job.drawing.get(position.kind, {}).get("journal")
    if band is not None:
        most = min(most, journal.smallest_nm - band.low_nm)
    by = too_tight(trial, trial.jobs, position.key)
    if not 0 < by <= most:
        return
    reached = trial.reached(with_journal(trial.jobs, position.key, -by), position.key)
    if reached is not None:
        most = min(most, by + _spare(reached, most))
        to = _machined(job, "journal", journal, reached.placement, by, most, -1)
        yield Advice(POLISH, {"journal_nm": journal.mean_nm - by}, by, most, reached, machined=to)


def by_honing(trial: Trial, position: Position, housed: Position) -> Iterator[Advice]:
    """Only inside the band that the drawing gives the bore, and no main: those are bored in line, together. `housed`:
    the row of the housing that is at the position."""
    bore, band = housed.housing_bore, _bore_band(trial, position)
    if band is None or bore is None:
        return
    most = band.high_nm - bore.largest_nm
    begun = max(0, band.low_nm - bore.mean_nm)
    by = begun or too_tight(trial, trial.jobs, position.key)
    found = _least(trial, position.key, housed.key, by, most, +1)
    if found is not None:
        yield _of_bore(HONE, trial, position, housed, *found, most, +1)


def by_resizing(trial: Trial, position: Position, housed: Position) -> Iterator[Advice]:
    """A cap face cut, and the bore honed back into its band: smaller than it is; no main either."""
    bore, band = housed.housing_bore, _bore_band(trial, position)
    if band is None or bore is None:
        return
    most = bore.smallest_nm - band.low_nm
    begun = max(0, bore.mean_nm - band.high_nm) if housed.accept is None else 0
    by = begun or too_loose(trial, trial.jobs, position.key)
    found = _least(trial, position.key, housed.key, by, most, -1)
    if found is not None:
        yield _of_bore(RESIZE, trial, position, housed, *found, most, -1)


def too_tight(trial: Trial, jobs: Jobs, place: PositionKey) -> int:
    """By how much the position lacks clearance: as it is filled, or with the thinnest pair that it may have; 0 if it
    does not."""
    if jobs is trial.jobs and place in trial.placed:
        return trial.placed[place].shortfall_nm
    kind = trial.sorted if jobs is trial.jobs else Kind(jobs, trial.kind)
    bore = trial.bore_of(place, kind)
    thinnest = None if bore is None else kind.smallest_sum(bore, 0, _MANY)
    return 0 if bore is None or thinnest is None else max(0, thinnest - bore.inside_high)


def too_loose(trial: Trial, jobs: Jobs, place: PositionKey) -> int:
    """By how much the position has too much clearance, in the same way with the thickest pair."""
    if jobs is trial.jobs and place in trial.placed:
        return trial.placed[place].excess_nm
    kind = trial.sorted if jobs is trial.jobs else Kind(jobs, trial.kind)
    bore = trial.bore_of(place, kind)
    thickest = None if bore is None else kind.largest_sum(bore, 0, _MANY)
    return 0 if bore is None or thickest is None else max(0, bore.inside_low - thickest)


def _least(
    trial: Trial, place: PositionKey, housing: PositionKey, by: int, most: int, way: int
) -> tuple[int, Reached] | None:
    """The bore of a housing larger (`way` 1) or smaller (-1) by this or, where a bore that was outside its band is
    inside but still too tight or too loose, by as much more as that takes."""
    for _ in range(2):
        if not 0 < by <= most:
            return None
        jobs = with_bore(trial.jobs, housing, way * by)
        reached = trial.reached(jobs, place)
        if reached is not None or jobs is None:
            return None if reached is None else (by, reached)
        more = (too_tight if way > 0 else too_loose)(trial, jobs, place)
        if not more:
            return None
        by += more
    return None


def _of_bore(
    action: str, trial: Trial, position: Position, housed: Position, by: int, reached: Reached, most: int, way: int
) -> Advice:
    most = min(most, by + (_spare(reached, most) if way > 0 else _spare_below(reached, most)))
    bore = housed.housing_bore
    assert bore is not None
    to = _machined(trial.job_of(position.key), "housing_bore", bore, reached.placement, by, most, way)
    moved = housed.name if housed.key != position.key else None
    return Advice(
        action, {"housing_bore_nm": bore.mean_nm + way * by, "housing": moved}, by, most, reached, machined=to
    )


def _machined(job: Job, feature: str, part: Size, placed: Placement, by: int, most: int, way: int) -> Machined:
    """What a part may become: from `by` to `most` larger (`way` 1) or smaller (-1), and which of that is nearest to the
    target of the position; `placed`: with `by` of it."""
    wide = way if feature == "housing_bore" else -way  # 1: the clearance grows
    best = min(max(by - wide * placed.deviation_nm, by), most)
    low, high = sorted((part.mean_nm + way * by, part.mean_nm + way * most))
    found = machined(job, placed.position.kind, feature, [part], Sizes(low, high, part.mean_nm + way * best))
    chances = [_chance(job, placed, wide * (nm - by)) for nm in (by, most, best)]
    if way < 0:
        chances[:2] = reversed(chances[:2])
    known = [chance for chance in chances if chance is not None]
    return found._replace(chances=(known[0], known[1], known[2])) if len(known) == len(chances) else found


def _chance(job: Job, placed: Placement, wider_nm: int) -> float | None:
    """That the position is inside its limits with so much more clearance, as far as the gauges are known."""
    if not job.measuring.gauges:
        return None
    from fitmatch.gauging.uncertainty.error_model import ErrorModel
    from fitmatch.gauging.uncertainty.judging import chance_inside

    position = placed.position
    assert position.housing_bore is not None
    wider = replace(placed, position=replace(position, housing_bore=resized(position.housing_bore, wider_nm)))
    ways = position, placed.upper.measured_as, placed.lower.measured_as
    model = ErrorModel(job)
    mean, tightest = model.combined(*ways), model.tightest(*ways)
    return None if mean is None or tightest is None else chance_inside(wider, mean, tightest)


def _spare(reached: Reached, most: int) -> int:
    """How much more clearance the position could have inside its limits."""
    high = reached.placement.limit_high_nm
    return most if high is None else high - reached.placement.clearance_nm


def _spare_below(reached: Reached, most: int) -> int:
    """How much less it could have."""
    low = reached.placement.limit_low_nm or 1
    return min(most, reached.placement.clearance_tightest_nm - low)


def _bore_band(trial: Trial, position: Position) -> Band | None:
    """None where no bore may be worked on alone: the drawing gives no band, or the bores are in one block."""
    if in_one_block(position.kind):
        return None
    return trial.job_of(position.key).drawing.get(position.kind, {}).get("housing_bore")
