"""The text of `fitmatch assembled`: readings with the shells in beside the calculation, and what they teach."""

from collections.abc import Iterator

from fitmatch.gauging.assembled import APART_NM, FEWEST_POSITIONS, MISTAKE_NM, Check, Comparison, Verdict
from fitmatch.records.keys import full_name
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shared.scale import Scale, scale_for
from fitmatch.report.words.likely_causes import likely_causes, missing, why_not

NOT_TO_BE_RUN = "NOT TO BE RUN"
_UNITS = {
    "in": "Lengths in inches; differences in tenths (0.0001 in): + is looser than calculated, - is tighter.",
    "mm": "Lengths in millimetres; differences in um (0.001 mm): + is looser than calculated, - is tighter.",
}
_CLOSING = (
    "The assembled clearance, measured with the shells in and the caps at their final torque, decides; the calculated "
    "one only selects shells. The engine and bearing maker's limits and procedures come before any figure here."
)
_WORDS = {Verdict.AGREES: "agrees", Verdict.APART: "APART", Verdict.MISTAKE: "A MISTAKE"}


def assembled_text(comparison: Comparison, unit: str) -> str:
    """The whole report, lengths in `unit`, ending in a line break; no line is wider than a page."""
    scale = scale_for(unit, _lengths(comparison))
    job = comparison.job
    blocks = [
        [*paragraph(clean(job.title or job.folder.name)), *paragraph(_summary(comparison)), *paragraph(_UNITS[unit])]
    ]
    blocks += [_kind(comparison, kind, scale) for kind in comparison.kinds]
    blocks += [_attention(comparison, scale), _seating(comparison, scale), _next(comparison)]
    blocks += [items("WARNINGS", list(map(clean, job.warnings))), paragraph(_CLOSING)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _summary(comparison: Comparison) -> str:
    total = len(comparison.checks)
    counts = [
        (sum(c.verdict == Verdict.AGREES for c in comparison.checks), "in agreement with the calculation"),
        (sum(c.verdict == Verdict.APART for c in comparison.checks), "apart from it"),
        (sum(c.verdict == Verdict.MISTAKE for c in comparison.checks), "a mistake"),
        (len(comparison.not_compared), "not compared"),
        (sum(not c.within_limits for c in comparison.checks), "outside the limits"),
    ]
    told = ", ".join(f"{n} {words}" for n, words in counts if n)
    readings = f"{total + len(comparison.not_compared)} assembled readings"
    if not total and not comparison.not_compared:
        return "No assembled reading yet."
    return f"{readings.removesuffix('s') if readings.startswith('1 ') else readings}: {told}."


def _kind(comparison: Comparison, kind: str, scale: Scale) -> list[str]:
    checks = [c for c in comparison.checks if c.placement.position.kind == kind]
    seating = comparison.job.fits[kind].seating_nm
    head = f"{clean(kind).upper()}: assembled against calculated"
    if seating:
        head += f" (seating {scale.length(seating, sign=True)} {scale.unit} counted in)"
    corrected = any(c.as_read_nm != c.assembled_nm for c in checks)
    rows = table(
        checks,
        Column("position", lambda c: clean(c.reading.position), "left", wraps=True),
        Column("upper\nshell", lambda c: clean(full_name(c.reading.upper)), "left", wraps=True),
        Column("lower\nshell", lambda c: clean(full_name(c.reading.lower)), "left", wraps=True),
        Column("by", lambda c: c.reading.method, "left"),
        Column("mean\nas read", lambda c: scale.length(c.as_read_nm), shown=corrected),
        Column("assembled", lambda c: scale.length(c.assembled_nm)),
        Column("calculated", lambda c: scale.length(c.placement.clearance_nm)),
        Column(f"off\n{scale.step}", lambda c: scale.steps(c.difference_nm, sign=True)),
        Column("agrees\nwithin", lambda c: scale.steps(round(c.apart_from_nm))),
        Column("", lambda c: _WORDS[c.verdict], "left"),
    )
    return [*paragraph(head), *rows, *_bounds(checks, scale)]


def _bounds(checks: list[Check], scale: Scale) -> list[str]:
    """What the agreement is judged by."""
    unknown = list(dict.fromkeys(_unknown(c) for c in checks if c.bound_nm is None))
    fixed = f"{scale.steps(APART_NM)} {scale.step} (a mistake: more than {scale.steps(MISTAKE_NM)})"
    if not unknown:
        return paragraph(
            f"Two clearances agree within {fixed}, or within the expanded uncertainty of their difference, 95 %, if "
            "that is more."
        )
    why = "; ".join(unknown)
    whose = "" if len(unknown) == 1 and all(c.bound_nm is None for c in checks) else " for some of them"
    return paragraph(f"Two clearances agree within {fixed}; their uncertainty is not known{whose}: {why}.")


def _unknown(check: Check) -> str:
    unknown = check.uncertainty.unknown if check.uncertainty is not None else ()
    return ", ".join(clean(what) for what in unknown) or "job.toml tells nothing of the gauges"


def _attention(comparison: Comparison, scale: Scale) -> list[str]:
    found = []
    for c in comparison.checks:
        name = f"{whole(c.reading.position)} ({whole(c.placement.position.kind)})"
        if not c.within_limits:
            limit, over = ("min", c.shortfall_nm) if c.shortfall_nm else ("max", c.excess_nm)
            bound = c.placement.position.min_nm if c.shortfall_nm else c.placement.position.max_nm
            assert bound is not None
            found.append(
                f"{NOT_TO_BE_RUN}: {name}: assembled clearance {scale.with_unit(c.assembled_nm)}, {limit} "
                f"{scale.with_unit(bound)}: {scale.amount(over)} {scale.step} {'below' if limit == 'min' else 'above'}"
            )
        if c.verdict != Verdict.AGREES:
            off = f"{scale.amount(abs(c.difference_nm))} {scale.step} {'looser' if c.difference_nm > 0 else 'tighter'}"
            causes = "; ".join(clean(cause) for cause in likely_causes(comparison, c))
            found.append(f"{_WORDS[c.verdict]}: {name}: {off} than calculated. Likely: {causes}.")
    found += [
        f"NOT COMPARED: {whole(n.position.name)} ({whole(n.position.kind)}): no reading of "
        f"{' and '.join(clean(what) for what in missing(n))}"
        for n in comparison.not_compared
    ]
    return items("NEEDS ATTENTION", found)


def _seating(comparison: Comparison, scale: Scale) -> list[str]:
    """What each kind learns, beside what job.toml holds, and which readings do not teach."""
    head = "SEATING (assembled - calculated without seating: median of the positions, and its uncertainty u)"
    found = []
    for kind in comparison.kinds:
        fit, learned = comparison.job.fits[kind], comparison.learned.get(kind)
        holds = f"job.toml holds {scale.length(fit.seating_nm, sign=True)} {scale.unit}"
        if fit.seating_u_nm is not None:
            holds += f", u {scale.length(fit.seating_u_nm)}"
        if learned is None:
            teaching = {
                c.reading.position for c in comparison.checks if c.placement.position.kind == kind and c.why_not is None
            }
            told = (
                f"nothing to learn from {len(teaching)} of at least {FEWEST_POSITIONS} positions read by gauge; {holds}"
            )
        else:
            told = f"{scale.length(learned.seating_nm, sign=True)} {scale.unit}, u {scale.length(learned.u_nm)}, "
            told += f"from {learned.positions} positions; "
            told += "job.toml holds the same" if comparison.written(kind) else holds
            if not learned.u_nm:
                told += ". The differences are all the same, so that u shows nothing but the step of the gauge"
        found.append(f"{clean(kind)}: {told}.")
    found += [
        f"{whole(c.reading.position)} (row {c.reading.row}) does not teach: {clean(why_not(c.why_not))}."
        for c in comparison.checks
        if c.why_not is not None
    ]
    return items(head, found)


def _next(comparison: Comparison) -> list[str]:
    steps = []
    if any(not c.within_limits for c in comparison.checks):
        steps.append(
            f"Run no engine with a bore marked {NOT_TO_BE_RUN}. Measure it again; if the reading stands, choose other "
            "shells."
        )
    alone = [c for c in comparison.checks if c.verdict != Verdict.AGREES and not comparison.in_common(c)]
    if alone:
        names = ", ".join(dict.fromkeys(whole(c.reading.position) for c in alone))
        steps.append(
            f"Measure {names} again, assembled. If it stands, take the cap off and look for what is named above, then "
            "measure journal, housing bore and walls again."
        )
    new = [whole(kind) for kind in comparison.kinds if kind in comparison.learned and not comparison.written(kind)]
    if new:
        steps.append(f"If the readings stand, --learn writes the seating of {' and '.join(new)} into job.toml.")
    if comparison.unread:
        names = ", ".join(whole(p.name) for p in comparison.unread)
        steps.append(f"No reading yet with the shells in: {names}.")
    return items("NEXT", steps, first="  - ", rest=None)


def _lengths(comparison: Comparison) -> Iterator[int]:
    """Every length that the report writes out in full, but for the uncertainty of a seating."""
    for c in comparison.checks:
        yield from (c.as_read_nm, c.assembled_nm, c.placement.clearance_nm)
        yield from (c.placement.position.min_nm or 0, c.placement.position.max_nm or 0)
    for kind in comparison.kinds:
        yield comparison.job.fits[kind].seating_nm
        yield comparison.learned[kind].seating_nm if kind in comparison.learned else 0
