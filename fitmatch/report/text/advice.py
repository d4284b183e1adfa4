"""The text report of `fitmatch advise`: what each position wants of its shells, what to do where one is not inside, and
what each of that risks."""

from collections.abc import Iterator
from typing import Final

from fitmatch.lengths import round_half_even
from fitmatch.records.keys import full_name
from fitmatch.report.screen.attention import NOT_LOOKED_THROUGH_YET
from fitmatch.report.screen.proven import NOT_PROVEN
from fitmatch.report.screen.table import target_and_limits
from fitmatch.report.shared.grounds import grounds, grounds_without_answer
from fitmatch.report.shared.layout import Column, clean, items, paragraph, table, whole
from fitmatch.report.shared.scale import NOTHING, UNITS, Scale, scale_for
from fitmatch.report.text.report import CLOSING
from fitmatch.report.words.advice import AFTER_METAL, METAL, RISKS, advice_words, box_chance, reads_words, sizes_words
from fitmatch.study.advice.advised import ACTIONS, OTHER_PIN, Advised, AdvisedJobs, Boxes, Order
from fitmatch.wording import dotted, listed

NO_LIMITS: Final = "NO LIMITS"
_MOST: Final = 2  # positions whose advice is on the first screen


def advised_text(found: AdvisedJobs, unit: str, *, full: bool = False) -> str:
    """The report, lengths in `unit`, ending in a line break; no line is wider than the page. `full`: the advice on
    every position."""
    scale = scale_for(unit, _lengths(found))
    blocks = [_heading(found, scale), items("WARNINGS", list(map(clean, found.warnings)))]
    for job in found.jobs:
        for kind in job.kinds:
            mine = [one for one in found.positions if (one.position.job, one.position.kind) == (job.name, kind)]
            blocks.append(_wanted(mine, job.name, scale, answered=found.answer is not None))
    bad = [one for one in found.positions if one.advice and (one.in_doubt or not one.is_inside)]
    shown = [*bad, *(one for one in found.positions if one.advice and one not in bad)] if full else bad[:_MOST]
    blocks += [_advice(one, scale) for one in shown]
    if left := bad[len(shown) :]:
        blocks.append(paragraph(f"And on {_names(left)}: add --full."))
    moved = [one for one in found.positions if one.position.housing is not None]
    blocks += [_moved(moved), _together(found, scale), _risks(shown, moved=bool(moved))]
    rests_on = grounds_without_answer(found.jobs) if found.answer is None else grounds(found.answer.plans, scale)
    blocks += [[line for text in rests_on for line in paragraph(text)], paragraph(CLOSING)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _heading(found: AdvisedJobs, scale: Scale) -> list[str]:
    title = "; ".join(clean(job.title or job.folder.name) for job in found.jobs)
    plan = "" if found.answer is None else f"; now: by strategy {found.answer.strategy}"
    lines = [*paragraph(title), *paragraph(f"Lengths in {UNITS[scale.unit]}; walls: the total of both halves{plan}.")]
    if not found.looked_through:
        lines += paragraph(NOT_LOOKED_THROUGH_YET)
    if found.answer is None:
        return [*lines, *paragraph("No shells yet: what each position wants, and nothing to choose from.")]
    bad = [one for one in found.positions if not one.is_inside]
    doubtful = [one for one in found.positions if one.in_doubt]
    unjudged = [one for one in found.positions if one.unjudged]
    if bad:
        lines += paragraph(
            f"NEEDS ATTENTION: {len(bad)} of {len(found.positions)} not inside the limits: {_names(bad)}."
        )
    elif unjudged:
        number = len(found.positions)
        lines += paragraph(f"{number - len(unjudged)} of {number} positions can be inside their limits.")
    else:
        rest = "" if doubtful or not found.looked_through else ": nothing is needed"
        lines += paragraph(f"All {len(found.positions)} positions can be inside their limits{rest}.")
    if unjudged:
        tables = listed([f"[{dotted(('fit', kind))}]" for kind in dict.fromkeys(p.position.kind for p in unjudged)])
        lines += paragraph(
            f"{NO_LIMITS}, so nothing is judged at {_names(unjudged)}: write the maker's min and max in {tables}."
        )
    if doubtful:
        lines += paragraph(f"IN DOUBT, measure again before anything else: {_names(doubtful)}.")
    if not found.proven:
        lines += paragraph(f"{NOT_PROVEN}: not all that might help could be looked for; there may be more.")
    return lines


def _wanted(rows: list[Advised], job: str, scale: Scale, *, answered: bool) -> list[str]:
    kind = clean(rows[0].position.kind).upper()
    head = f"{f'{whole(job)}, ' if job else ''}{kind}: {target_and_limits([one.position for one in rows], scale)}"
    return [
        *paragraph(head),
        *table(
            rows,
            Column("", lambda one: whole(one.position.name), "left"),
            Column("walls\nwanted", lambda one: scale.length(one.wanted and one.wanted.wall_sum_nm)),
            Column("lowest", lambda one: scale.length(one.wanted and one.wanted.lowest_nm)),
            Column("highest", lambda one: scale.length(one.wanted and one.wanted.highest_nm)),
            Column("each\nhalf", lambda one: _each_half(one, scale)),
            Column("nearest steps", _steps, "left", wraps=True, shown=any(_steps(one) for one in rows)),
            Column("now", lambda one: scale.length(one.clearance_nm), shown=answered),
            Column("", lambda one: _state(one, answered=answered), "left"),
        ),
    ]


def _each_half(one: Advised, scale: Scale) -> str:
    return NOTHING if one.wanted is None else scale.length(round_half_even(one.wanted.wall_sum_nm, 2))


def _steps(one: Advised) -> str:
    steps = one.wanted and one.wanted.steps
    if not steps or not (steps.upper or steps.lower):
        return ""
    upper, lower = (clean(step) or "plain" for step in (steps.upper, steps.lower))
    return upper if upper == lower else f"{upper} + {lower}"


def _state(one: Advised, *, answered: bool) -> str:
    if one.wanted is None:
        return "not measured"
    if one.in_doubt:
        return "IN DOUBT"
    if not answered:
        return ""
    if one.placed is None:
        return "NOT FILLED"
    housing = "" if one.position.housing is None else f", housing of {whole(one.position.housing)}"
    if one.unjudged:
        return f"no limits{housing}"
    if one.placed.shortfall_nm:
        return f"TOO TIGHT{housing}"
    if one.placed.excess_nm:
        return f"TOO LOOSE{housing}"
    lacks = [f", no {end}" for end in ("min", "max") if getattr(one.position, f"{end}_nm") is None]
    return f"inside{''.join(lacks)}{housing}"


def _advice(one: Advised, scale: Scale) -> list[str]:
    name = "/".join(filter(None, one.position.key))
    texts = [f"{number}. {advice_words(advice, scale)}" for number, advice in enumerate(one.advice, 1)]
    lines = items(f"{whole(name)} ({clean(one.position.kind)}), cheapest first:", texts, rest="     ")
    if not one.is_inside and one.wanted is not None and not one.in_doubt and len(one.advice) == 1:
        lines += paragraph("Nothing else was found that would put it inside and make no other worse.", first="  ")
    return lines


def _moved(rows: list[Advised]) -> list[str]:
    """Which housings the answer moves, and what only that brings inside."""
    if not rows:
        return []
    where = [f"that of {whole(one.position.housing or '')} is at {_names([one])}" for one in rows]
    gained = [one for one in rows if any(advice.action == OTHER_PIN for advice in one.advice)]
    told = f"; only so {'is' if len(gained) == 1 else 'are'} {_names(gained)} inside" if gained else ""
    return paragraph(f"HOUSINGS MOVED: {listed(where)}{told}. See `fitmatch assign`.")


def _together(found: AdvisedJobs, scale: Scale) -> list[str]:
    """What to open or to buy, of positions together."""
    texts = [_order(order, scale) for order in found.orders]
    counts = [_boxes(some) for some in found.boxes_together]
    told = [f"Together at least {listed(counts)}; no box is sure to hold them."] if counts else []
    return items("BOXES, for all together:", [*texts, *told])


def _order(order: Order, scale: Scale) -> str:
    walls = listed([scale.length(nm) for nm in order.walls_nm])
    step = f" of step {whole(order.step)}" if order.step else ""
    half = "both halves" if order.half == "both" else f"{order.half} half"
    reads = reads_words(order.marks)
    told = zip(order.positions, order.chances, strict=True)
    names = listed(
        [whole(full_name(key)) + ("" if chance is None else f" (chance {chance:.2f})") for key, chance in told]
    )
    unknown = box_chance(order.step, None)
    wanted = f"{half}{step} about {walls} {scale.unit}{f', {reads}' if reads else ''}"
    return f"{clean(order.kind)}: {wanted}, for {names}{unknown}."


def _boxes(some: Boxes) -> str:
    family = f" (family {listed(list(map(whole, some.family)), 'or')})" if some.family else ""
    step = f" of step {whole(some.step)}" if some.step else ""
    return f"{some.boxes} box{'es' if some.boxes > 1 else ''} for {clean(some.kind)}{step}{family}"


def _risks(shown: list[Advised], *, moved: bool) -> list[str]:
    used = {advice.action for one in shown for advice in one.advice} | ({OTHER_PIN} if moved else set())
    texts = [f"{action}: {RISKS[action]}" for action in ACTIONS if action in used]
    lines = items("RISKS", texts)
    sizes = sizes_words(advice for one in shown for advice in one.advice)
    return [*lines, *(paragraph(AFTER_METAL) if used.intersection(METAL) else []), *(paragraph(sizes) if sizes else [])]


def _names(rows: list[Advised]) -> str:
    return listed([whole("/".join(filter(None, one.position.key))) for one in rows])


def _lengths(found: AdvisedJobs) -> Iterator[int]:
    """Every length that is written out in full."""
    for one in found.positions:
        p = one.position
        yield from (nm or 0 for nm in (p.target_nm, p.min_nm, p.max_nm))
        if one.wanted is not None:
            yield from (nm or 0 for nm in one.wanted[:3])
        if one.placed is not None:
            yield one.placed.clearance_nm
