"""The target swept: what the same shells give for each, and which they serve best."""

from collections.abc import Iterator, Sequence

from fitmatch.facts import Fact
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.stages import now
from fitmatch.study.comparison.certainties import Certainties
from fitmatch.study.comparison.compared import TargetRow
from fitmatch.study.comparison.decision import Decision, Ranked

MOST_TARGETS = 1_000


def check_targets(jobs: Sequence[Job], targets_nm: Sequence[int]) -> None:
    """Raise NotPossible where kinds differ in what they aim at, so that one sweep cannot be meant for all, and for a
    target outside the limits of a position."""
    fits = {kind: job.fits[kind] for job in jobs for kind in job.kinds}
    if len({(f.target_nm, f.target_ratio, f.min_nm, f.max_nm) for f in fits.values()}) > 1:
        raise NotPossible(Fact("kinds-differ", {"kinds": tuple(fits)}))
    for job in jobs:
        for p in job.positions:
            for nm in targets_nm:
                if not (p.min_nm or 0) <= nm <= (nm if p.max_nm is None else p.max_nm):
                    slots = {"target_nm": nm, "position": full_name(p.key), "min_nm": p.min_nm, "max_nm": p.max_nm}
                    raise NotPossible(Fact("target-outside", slots))


def target_rows(decision: Decision, targets_nm: Sequence[int]) -> Iterator[TargetRow]:
    """A row for each target that there was time for."""
    asked: list[tuple[int, Ranked]] = []
    for at, nm in enumerate(targets_nm, 1):
        if not decision.has_time():
            break
        now(f"{decision.group.label}: target {at} of {len(targets_nm)}")
        asked.append((nm, decision.ask(target_nm=nm)))
    best = min((answer.rank for _, answer in asked), default=None)
    certainty = Certainties(decision.jobs)
    for nm, answer in asked:
        chance = None if answer.found.unfilled else certainty.joint_chance(answer.placements)
        near = certainty.near(answer.placements)
        yield TargetRow(nm, answer.found, answer.rank == best, answer.outside, chance, *near)
