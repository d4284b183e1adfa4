"""What each of the shop's own rules costs: the same question without it."""

from collections.abc import Iterator

from fitmatch.stages import now
from fitmatch.study.comparison.compared import RuleRow
from fitmatch.study.comparison.decision import Decision


def rule_rows(decision: Decision) -> Iterator[RuleRow]:
    """A row for each rule in force, let go alone. What the makers decide is never let go: drawing limits, families and
    columns in which shell and position must agree."""
    for key, jobs in decision.rules():
        if not decision.has_time():
            return
        now(f"{decision.group.label}: without {key}")
        yield RuleRow(key, decision.ask(jobs=jobs).found)
