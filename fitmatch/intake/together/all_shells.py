"""What only shows once all shells are known, those of one job or of several that share them."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from fitmatch.intake.tables.columns import MATCHED_IF_ASKED
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, Shell
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.two_halves.same_in_bore import SameInBore
from fitmatch.wording import listed, shorten

_MOST_CELLS = 5


def settled(job: Job) -> Job:
    """The job without rules about columns that are blank throughout, and with a warning for each column in which a
    blank keeps shells apart."""
    if not job.shell_columns:
        return job
    marks = {shell.marks for shell in job.shells}
    job = replace(job, rules=tuple(rule for rule in job.rules if rule.binds_among(marks)))
    return replace(job, warnings=(*job.warnings, *_kept_apart(job)))


def _kept_apart(job: Job) -> Iterator[str]:
    rules = [rule for rule in job.rules if isinstance(rule, SameInBore)]
    if not rules:
        return
    usable = [s for s in job.shells if s.wall_nm is not None and s.hold is None]
    ran = {key for key, one in (job.shelved or {}).items() if one.ran}
    for rule in rules:
        # What the shelf wrote of shells that have run nobody needs to fill in for the others.
        typed = (s for s in usable if rule.column != "condition" or s.key not in ran)
        there = Counter((s.kind, s.half, s.marks) for s in typed)
        pairs = {kind: _pairs(rule, {k[1:]: n for k, n in there.items() if k[0] == kind}) for kind in job.kinds}
        found = {kind: count for kind, count in pairs.items() if count}
        if found:
            one = sum(found.values()) == 1
            by_kind = ", ".join(f"{kind} {count}" for kind, count in found.items())
            text = f"same_in_bore: {sum(found.values())} pair{' is' if one else 's are'} kept apart ({by_kind})"
            if rule.column == "coating":
                why = "as one half is coated and the `coating` of the other is blank"
                todo = "if that is coated too, fill it in"
            else:
                why = f"as `{rule.column}` is filled in for one half and blank for the other"
                todo = "fill it in for every shell, as printed or measured"
            yield f"{text}, {why}; {todo}"


def _pairs(rule: SameInBore, there: dict[tuple[str, tuple[str, ...]], int]) -> int:
    """How many pairs of an upper and a lower half have one blank and one filled cell in the rule's column."""
    blank, filled = Counter[str](), Counter[str]()
    for (half, marks), count in there.items():
        if marks[rule.at] != ANY:
            (filled if marks[rule.at] else blank)[half] += count
    every = blank.total() * filled.total()
    return every - sum(blank[half] * filled[half] for half in ("upper", "lower"))


def unlike(job: Job) -> Iterator[tuple[str, str]]:
    """Columns of MATCHED_IF_ASKED in which shells that may go into a kind differ and for which the job's positions do
    not ask, each with what is wrong."""
    asked = {rule.column for rule in job.rules if isinstance(rule, Match)}
    for column in MATCHED_IF_ASKED:
        if column not in job.shell_columns or column in asked:
            continue
        at = job.shell_columns.index(column)
        for kind in job.kinds:
            cells = {s.marks[at] for s in _that_may_fit(job, kind)} - {ANY}
            if len(cells) > 1:
                text = f"the column is missing, and {shorten(kind)} shells differ in it: they have {some_cells(cells)}"
                yield column, f"{text}; add it and write what each position takes"
                break


def without_family(job: Job) -> Iterator[tuple[str, str]]:
    """Kinds whose fit names families though no shell of the kind has one, each with what is wrong."""
    for kind, fit in job.fits.items():
        shells = [s for s in job.shells if s.kind == kind]
        if fit.family is not None and shells and not any(s.family for s in shells):
            text = f"no {shorten(kind)} shell has a family, so that none would fit"
            yield kind, f"{text}; fill in the column `family` of the shell files, as printed on the box"


def _that_may_fit(job: Job, kind: str) -> Sequence[Shell]:
    families = job.fits[kind].family
    return [s for s in job.shells if s.kind == kind and (families is None or s.family in families)]


def some_cells(cells: set[str]) -> str:
    """All of a few cells, else the first of them, for a message."""
    words = [f"`{shorten(cell)}`" if cell else "nothing" for cell in sorted(cells)]
    return listed(words if len(words) <= _MOST_CELLS else [*words[:_MOST_CELLS], "others"])
