"""The text of `fitmatch assembled`: readings with the shells in, compared with the calculation, and what they give."""

from collections.abc import Iterator, Mapping

from fitmatch.gauging.assembled import APART_NM, FEWEST_POSITIONS, LIMITS_UP_TO_NM, Check, Comparison, Verdict
from fitmatch.lengths import fixed
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.parts import Position
from fitmatch.report.screen.attention import next_in_order
from fitmatch.report.shared.box_names import by_letters, by_their_ends, legend
from fitmatch.report.shared.layout import Column, clean, fits, items, paragraph, table, whole
from fitmatch.report.shared.scale import Scale, scale_for
from fitmatch.report.shared.states import NOT_TO_BE_RUN
from fitmatch.report.words.likely_causes import likely_causes, missing, refusal, why_not
from fitmatch.report.words.with_shells_in import (
    AND_THEN,
    FIND_OUT,
    HOUSING_NOT_AS_PLANNED,
    NOT_AS_PLANNED,
    VERDICTS,
    amount_off,
    limit_broken,
    noted_otherwise,
    places_off,
    way_off,
)
from fitmatch.wording import listed

_UNITS = {
    "in": "Lengths in inches; differences in tenths (0.0001 in): + is looser than calculated, - is tighter.",
    "mm": "Lengths in millimetres; differences in um (0.001 mm): + is looser than calculated, - is tighter.",
}
_CLOSING = (
    "The assembled clearance, measured with the shells in and the caps tightened as for good, decides; the calculated "
    "one only selects shells. The engine and bearing maker's limits and procedures come before any figure here."
)


def assembled_text(comparison: Comparison, unit: str) -> str:
    """The whole report, lengths in `unit`, ending in a line break; no line is wider than a page. What is not to be run
    or is wrong comes first."""
    scale = scale_for(unit, _lengths(comparison))
    job = comparison.job
    blocks = [[*paragraph(clean(job.title or job.folder.name)), *paragraph(_summary(comparison))]]
    blocks += [_attention(comparison, scale), items("WARNINGS", list(map(clean, job.warnings)))]
    blocks += [paragraph(_UNITS[unit]) if comparison.checks else []]
    blocks += [_kind(comparison, kind, scale) for kind in comparison.kinds]
    blocks += [_out_again(comparison), _seating(comparison, scale), _next(comparison)]
    blocks += [paragraph(_CLOSING)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _summary(comparison: Comparison) -> str:
    total, standing = len(comparison.checks), comparison.standing
    counts = [
        (sum(not c.within_limits for c in standing), NOT_TO_BE_RUN),
        (sum(c.verdict == Verdict.AGREES for c in standing), "in agreement with the calculation"),
        (sum(c.verdict == Verdict.APART for c in standing), "apart from it"),
        (sum(c.verdict == Verdict.MISTAKE for c in standing), "a mistake"),
        (total - len(standing), "of shells that are out again"),
        (len(comparison.not_compared), "not compared"),
    ]
    told = ", ".join(f"{n} {words}" for n, words in counts if n)
    readings = f"{total + len(comparison.not_compared)} assembled readings"
    if not total and not comparison.not_compared:
        return "No assembled reading yet."
    return f"{readings.removesuffix('s') if readings.startswith('1 ') else readings}: {told}."


def _kind(comparison: Comparison, kind: str, scale: Scale) -> list[str]:
    checks = [c for c in comparison.checks if c.placement.position.kind == kind]
    seating = comparison.job.fits[kind].seating_nm
    methods = {c.reading.method for c in checks}
    head = f"{clean(kind).upper()}: assembled{f' by {methods.pop()}' if len(methods) == 1 else ''} against calculated"
    if seating:
        head += f" (seating {scale.length(seating, sign=True)} {scale.unit} counted in)"
    used = {key[0] for c in checks for key in (c.reading.upper, c.reading.lower)}
    every_box = {s.box for s in comparison.job.shells}
    ends, letters = by_their_ends(used, every_box), by_letters(used, every_box)
    # Names as they are, then with short ones for their boxes, then without the bound, which is told below.
    shorter = [(boxes, bound) for bound in (True, False) for boxes in (ends, letters)]
    ways: list[tuple[Mapping[str, str], bool]] = [({}, True), *shorter]
    settled = comparison.noted.settled
    every = [_columns(checks, scale, short, settled, bound=bound) for short, bound in ways]
    at = next((at for at, columns in enumerate(every) if fits(checks, *columns)), len(every) - 1)
    if ways[at][0]:
        head += f"; {legend(ways[at][0])}"
    return [*paragraph(head, rest="  "), *table(checks, *every[at], ruled=False), *_bounds(checks, scale)]


def _columns(
    checks: list[Check], scale: Scale, boxes: Mapping[str, str], settled: Mapping[int, int], *, bound: bool
) -> list[Column[Check]]:
    def name(key: ShellKey) -> str:
        return whole(full_name((boxes.get(key[0], key[0]), key[1])))

    corrected = any(c.as_read_nm != c.assembled_nm for c in checks)
    places = max(places_off(c, scale) for c in checks)
    bounded = bound and any(round(c.apart_from_nm) != c.near_nm for c in checks)
    return [
        Column("", lambda c: whole(c.reading.position), "left", wraps=True),
        Column("upper\nshell", lambda c: name(c.reading.upper), "left", wraps=True),
        Column("lower\nshell", lambda c: name(c.reading.lower), "left", wraps=True),
        Column("by", lambda c: c.reading.method, "left", shown=len({c.reading.method for c in checks}) > 1),
        Column("mean\nas read", lambda c: scale.length(c.as_read_nm), shown=corrected),
        Column("assembled", lambda c: scale.length(c.assembled_nm)),
        Column("calculated", lambda c: scale.length(c.placement.clearance_nm)),
        Column(f"off\n{scale.step}", lambda c: fixed(c.difference_nm, scale.step, places, sign=True)),
        Column("agrees\nwithin", lambda c: fixed(int(c.apart_from_nm), scale.step, places), shown=bounded),
        Column("", lambda c: _verdict(c, settled), "left", wraps=True),
    ]


def _bounds(checks: list[Check], scale: Scale) -> list[str]:
    """What the agreement is judged by."""
    above = max(c.above_tightest_nm for c in checks)
    place = f" min is held against the largest place of each journal, up to {scale.amount(above)} {scale.step} tighter."
    at_largest = place if above else ""
    at_largest += _to_metal(checks, scale)
    unknown = list(dict.fromkeys(what for c in checks if c.bound_nm is None for what in _unknown(c)))
    least, most = (way(checks, key=lambda c: c.near_nm) for way in (min, max))
    near, mistake = scale.steps(least.near_nm), f"a mistake: more than {scale.steps(least.crush_nm)}"
    base = scale.steps(APART_NM)
    from_nm = f"{base} up to a bore of {LIMITS_UP_TO_NM // 1_000_000} mm, in proportion above; "
    grown = "" if scale.steps(most.near_nm) == base else from_nm
    at = "" if near == scale.steps(most.near_nm) else " at the smallest bore"
    fixed = f"{near} {scale.step}{at} ({grown}{mistake})"
    if not unknown:
        return paragraph(
            f"Two clearances agree within {fixed}, or within the expanded uncertainty of their difference, 95 %, if "
            f"that is more.{at_largest}"
        )
    why = ", ".join(unknown)
    whose = "" if all(c.bound_nm is None for c in checks) else " for some of them"
    return paragraph(f"Two clearances agree within {fixed}; their uncertainty is not known{whose}: {why}.{at_largest}")


def _to_metal(checks: list[Check], scale: Scale) -> str:
    """That a gauge touches what does not count as wall; empty where all of it counts."""
    coating = max(c.placement.uncounted_nm for c in checks)
    if not coating:
        return ""
    return (
        " Coating does not count as wall: clearances, min and max are to the metal. A bore gauge or a strip touches "
        f"the coating, so that its thickness, up to {scale.amount(coating)} {scale.step} on both shells, is added to "
        "what was read."
    )


def _unknown(check: Check) -> list[str]:
    unknown = check.uncertainty.unknown if check.uncertainty is not None else ()
    return [clean(what) for what in unknown] or ["job.toml tells nothing of the gauges"]


def _verdict(check: Check, settled: Mapping[int, int]) -> str:
    """The last word on a reading in the table: first whether it is to be run, then whether it agrees. Shells that are
    out again are not run."""
    if check.reading.row in settled:
        return "out again"
    if check.within_limits:
        return VERDICTS[check.verdict]
    also = "" if check.verdict == Verdict.AGREES else f", {whole(VERDICTS[check.verdict])}"
    return whole(NOT_TO_BE_RUN) + also


def _attention(comparison: Comparison, scale: Scale) -> list[str]:
    """What is not to be run, then the mistakes, what is apart, and what could not be compared."""
    found = [
        f"{NOT_TO_BE_RUN}: {_name(c.placement.position)}: {limit_broken(c, scale)}"
        for c in comparison.standing
        if not c.within_limits
    ]
    noted = comparison.noted
    for state, of in ((NOT_AS_PLANNED, noted.of_shells), (HOUSING_NOT_AS_PLANNED, noted.of_housings)):
        if names := [name for name in noted.against if of(name)]:
            told = "; ".join(noted_otherwise(fact for name in names for fact in of(name)))
            found.append(f"{state}: {listed(list(map(whole, names)))}: {clean(told)}.")
    for verdict in (Verdict.MISTAKE, Verdict.APART):
        found += _off(comparison, verdict, scale)
    found += [
        f"NOT COMPARED: {_name(n.position)}: no reading of {' and '.join(clean(what) for what in missing(n))}"
        for n in comparison.not_compared
    ]
    return items("NEEDS ATTENTION", found)


def _off(comparison: Comparison, verdict: Verdict, scale: Scale) -> list[str]:
    """What is off and what is likely wrong, said once for all that are off the same way for the same reasons."""
    alike: dict[tuple[str, tuple[str, ...]], list[Check]] = {}
    for c in comparison.standing:
        if c.verdict == verdict:
            alike.setdefault((way_off(c), likely_causes(comparison, c)), []).append(c)
    told = []
    for (way, causes), checks in alike.items():
        colon = ":" if len(checks) == 1 else ""
        offs = [f"{_name(c.placement.position)}{colon} {amount_off(c, scale)}" for c in checks]
        likely = "; ".join(map(clean, causes))
        told.append(f"{VERDICTS[verdict]}: {listed(offs)} {scale.step} {way} than calculated. Likely: {likely}.")
    return told


def _name(position: Position) -> str:
    return f"{whole(position.name)} ({whole(position.kind)})"


def _out_again(comparison: Comparison) -> list[str]:
    """The rows of shells that are out again, each with the row that says so."""
    told = []
    for reading in comparison.job.measuring.assembled:
        if (later := comparison.noted.settled.get(reading.row)) is not None:
            names = " and ".join(whole(full_name(key)) for key in (reading.upper, reading.lower))
            home = f" and the housing of {whole(reading.housing)}" if reading.housing else ""
            told.append(
                f"{whole(reading.position)} (row {reading.row}): read with {names}{home}, not as planned; row {later} "
                "has what the plan says."
            )
    return items("OUT AGAIN", told)


def _seating(comparison: Comparison, scale: Scale) -> list[str]:
    """What each kind learns, beside what job.toml holds, and which readings are not learned from."""
    head = "SEATING (assembled - calculated without seating: median of the positions, and its uncertainty u)"
    found = []
    for kind in comparison.kinds:
        fit, learned = comparison.job.fits[kind], comparison.learned.get(kind)
        holds = f"job.toml holds {scale.length(fit.seating_nm, sign=True)} {scale.unit}"
        if fit.seating_u_nm is not None:
            holds += f", u {scale.length(fit.seating_u_nm)}"
            if fit.seating_readings is not None:
                holds += f" from {fit.seating_readings}"
        if kind in comparison.refused:
            told = f"nothing is learned: {clean(refusal(comparison.refused[kind]))}; {holds}"
        elif learned is None:
            counted = {
                c.reading.position for c in comparison.checks if c.placement.position.kind == kind and c.why_not is None
            }
            told = (
                f"nothing to learn from {len(counted)} of at least {FEWEST_POSITIONS} positions read by gauge; {holds}"
            )
        else:
            told = f"{scale.length(learned.seating_nm, sign=True)} {scale.unit}, u {scale.length(learned.u_nm)}, "
            told += f"from {learned.positions} positions; "
            told += "job.toml holds the same" if comparison.written(kind) else holds
            if not learned.u_nm:
                told += ". The differences are all the same, so that u shows nothing but the step of the gauge"
        found.append(f"{clean(kind)}: {told}.")
    silent: dict[str, list[str]] = {}
    for c in comparison.checks:
        if c.why_not is not None and c.reading.position not in _told_of(comparison, c.placement.position.kind):
            row = f"{whole(c.reading.position)} (row {c.reading.row})"
            silent.setdefault(clean(why_not(c.why_not)), []).append(row)
    for why, rows in silent.items():
        because = ":" if len(rows) == 1 else ", each because"
        found.append(f"Nothing is learned from {listed(rows)}{because} {why}.")
    return items(head, found)


def _told_of(comparison: Comparison, kind: str) -> tuple[str, ...]:
    """The positions that the refusal of a kind has named already."""
    named = comparison.refused[kind].slots["positions"] if kind in comparison.refused else ()
    assert isinstance(named, tuple)
    return named


def _next(comparison: Comparison) -> list[str]:
    steps = []
    standing = comparison.standing
    outside = [c for c in standing if not c.within_limits]
    if outside:
        steps.append(f"Run no engine with a bore marked {NOT_TO_BE_RUN}.")
    if comparison.noted.against:
        steps.append(f"{FIND_OUT}: {', '.join(map(whole, comparison.noted.against))}. {AND_THEN}.")
    shifted = {c.placement.position.kind: c for c in standing if comparison.beyond_crush(c)}
    alone = {
        c.reading.position: c
        for c in standing
        if c.verdict != Verdict.AGREES
        and not comparison.in_common(c)
        and not c.by_seating
        and c.placement.position.kind not in shifted
    }
    seated = dict.fromkeys(c.placement.position.kind for c in standing if c.by_seating)
    # Other shells would only make up for a burr or a cap the wrong way round where the reading is not as calculated.
    as_calculated = {
        c.reading.position: c
        for c in outside
        if c.verdict == Verdict.AGREES and c.placement.position.kind not in shifted and c.reading.position not in alone
    }
    if seated:
        steps.append(
            f"If the seating of {' and '.join(map(whole, seated))} belongs to another setting of the gauge, remove it "
            "from job.toml and the positions file, then learn again (--learn). If not, set the gauge again and measure "
            "again, assembled."
        )
    if as_calculated:
        names = ", ".join(map(whole, as_calculated))
        steps.append(f"Measure {names} again, assembled. If the reading stands, choose other shells.")
    if shifted:
        steps.append(
            f"Set the bore gauge for {' and '.join(map(whole, shifted))} again and measure all of them again, "
            "assembled, before anything is taken apart."
        )
    if alone:
        names = ", ".join(map(whole, alone))
        steps.append(
            f"Measure {names} again, assembled. If it stands, take the cap off and look for what is named above, then "
            "measure journal, housing bore and walls again. The maker says whether its bolts may be used again."
        )
    new = [whole(kind) for kind in comparison.kinds if kind in comparison.learned and not comparison.written(kind)]
    if new:
        steps.append(f"If the readings stand, --learn writes the seating of {' and '.join(new)} into job.toml.")
    if comparison.unread:
        names = ", ".join(whole(p.name) for p in comparison.unread)
        steps.append(f"No reading yet with the shells in: {names}.")
    return next_in_order(steps)


def _lengths(comparison: Comparison) -> Iterator[int]:
    """Every length that the report writes out in full, but for the uncertainty of a seating."""
    for c in comparison.checks:
        yield from (c.as_read_nm, c.assembled_nm, c.placement.clearance_nm)
        yield from (c.tightest_nm,) if c.shortfall_nm else ()
        yield from (c.placement.position.min_nm or 0, c.placement.position.max_nm or 0)
    for kind in comparison.kinds:
        yield comparison.job.fits[kind].seating_nm
        yield comparison.learned[kind].seating_nm if kind in comparison.learned else 0
