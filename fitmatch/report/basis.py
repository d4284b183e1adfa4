"""The part of the text report that says what the answer rests on: the boxes that were read and the rules in force."""

from collections.abc import Iterator

from fitmatch.parts import HALVES, Job
from fitmatch.report.layout import clean, paragraph, whole
from fitmatch.report.phrases import phrase
from fitmatch.report.scale import Scale
from fitmatch.rules import SETTINGS


def boxes_read(job: Job) -> list[str]:
    return paragraph("Boxes read: " + (", ".join(_boxes(job)) or "none") + ".", rest="  ")


def rules_in_force(job: Job, scale: Scale) -> list[str]:
    told = [clean(phrase(code, fact, scale.unit)) for sort in SETTINGS for code, fact in sort.told(job)]
    return paragraph(f"Rules in force: {'; '.join(told)}.", rest="  ")


def _boxes(job: Job) -> Iterator[str]:
    """Every box in file order with how many shells of each kind and half it was read with, held ones and all."""
    counts: dict[str, dict[str, dict[str, int]]] = {}
    for shell in job.shells:
        halves = counts.setdefault(shell.box, {}).setdefault(shell.kind, dict.fromkeys(HALVES, 0))
        halves[shell.half] += 1
    for box, kinds in counts.items():
        held = [
            f"{kind} " + ", ".join(f"{halves[half]} {half}" for half in HALVES if halves[half])
            for kind, halves in kinds.items()
        ]
        yield whole(f"{box} ({'; '.join(held)})")
