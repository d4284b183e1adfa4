"""The part of the text report that says what is wrong or missing and why, and what to do next."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan, Proof, Reason, Stray
from fitmatch.records.parts import ANY, Position, Shell
from fitmatch.report.screen.sure import INSIDE
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.layout import clean, items, paragraph, whole
from fitmatch.report.shared.states import (
    DANGER,
    NOT_FILLED,
    NOT_MEASURED,
    NOT_TO_BE_RUN,
    missing_of,
    missing_words,
    unmeasured_shells,
)
from fitmatch.report.words.doubts import doubt_lines
from fitmatch.report.words.reasons import misses_of, words_of
from fitmatch.wording import listed

NOT_LOOKED_THROUGH = "NOT LOOKED THROUGH"
_TIME_RAN_OUT = f"{NOT_LOOKED_THROUGH}: time ran out before the readings were looked through for mistakes"
_LOOK_THROUGH = (
    "Before anything else let `fitmatch check` look through the readings, or run this again with more time "
    "(--time-limit): a wrong reading may be among them."
)
NOT_LOOKED_THROUGH_YET = f"{_TIME_RAN_OUT}. {_LOOK_THROUGH}"  # where there is no list of what to do
_MOST_SHELLS = 10
_GROUP = 3  # so many bad positions that the same keeps out are told in one item


def summary(plan: JobPlan, certainty: Certainty) -> str:
    """How many positions are good, and how many are not or not surely, in one sentence."""
    total = len(plan.job.positions)
    inside = sum(p.within_limits for p in plan.placements)
    if inside == total:
        good = (
            f"All {total} positions filled, inside the limits"
            if total > 1
            else ("The position is filled, inside its limits")
        )
        doubtful = len(plan.in_doubt)
        unsure = sum(certainty.verdict(p) not in (None, INSIDE) for p in plan.placements)
        rest = "rests on a reading" if doubtful == 1 else "rest on readings"
        within = "its" if unsure == 1 else "their"
        good += f" as calculated; {unsure} doubtful within {within} uncertainty" if unsure else ""
        if not plan.looked_through:
            return f"{good}, but the readings were not looked through for mistakes."
        return f"{good}, but {doubtful} {rest} in doubt." if doubtful else f"{good}."
    counts = [
        (inside, "filled inside the limits"),
        (len(plan.placements) - inside, DANGER),
        (len(plan.unfilled), "not filled"),
        (len(plan.unmeasured_positions), "not yet measured"),
    ]
    return f"{_positions(total)}: " + ", ".join(f"{n} {words}" for n, words in counts if n) + "."


def attention(plan: JobPlan, proofs: Mapping[str, Proof], unit: str) -> list[str]:
    """One item for each thing that needs attention; nothing where there is none. `proofs` of its kinds."""
    # A misfit often follows from a reading in doubt, so those come first.
    found = [f"IN DOUBT: {line}" for line in doubt_lines(plan.doubts, unit, plan.job.unit)]
    if not plan.looked_through:
        found.append(_TIME_RAN_OUT)
    found += _failing(plan, unit)
    found += _without_reading(plan)
    told = {lock for p in plan.unmeasured_positions for lock in (p.upper, p.lower)}
    found += _without_wall([shell for shell in unmeasured_shells(plan.job) if shell.key not in told])
    flags = [flag for flag in plan.flags if flag.what.code != "misfit"]
    found += [f"{whole(flag.position)}: {clean(words_of(flag.what, unit))}" for flag in flags]
    found += [f"{_some_shells(one.shells)}: {clean(words_of(one.what, unit))}" for one in plan.strays]
    found += [f"NOT PROVEN: {clean(kind)}: a better choice may exist" for kind, p in proofs.items() if not p.proven]
    return items("NEEDS ATTENTION", found)


def next_steps(plan: JobPlan, proofs: Mapping[str, Proof]) -> list[str]:
    """What to do now, in the order of doing it. No shell is fitted before its kind is complete: what
    completes it may change all its shells."""
    bad = [p for p in plan.placements if not p.within_limits]
    refused = [u for u in plan.unfilled if u.why.code == "bore-refused"]
    empty = [u for u in plan.unfilled if u.why.code != "bore-refused"]
    ready = [kind for kind in plan.job.kinds if plan.is_ready(kind)]
    waiting = set(plan.job.kinds).difference(ready)
    unread = {s.kind for s in unmeasured_shells(plan.job)}
    # What is missing may fill them: nothing else is done about them before.
    bad_now = [p for p in bad if p.position.kind not in unread]
    empty_now = [u for u in empty if u.position.kind not in unread]
    in_doubt = plan.doubted.kinds
    steps = []
    if not plan.looked_through:
        steps.append(_LOOK_THROUGH)
    if in_doubt & waiting:
        steps.append(
            "Before anything else measure again what is in doubt, write down what you find and run this again."
        )
    copies = dict.fromkeys(pair for kind in plan.job.kinds for pair in plan.drawn_from_copies(kind))
    for box, other in copies:
        steps.append(
            f"{'Then' if steps else 'First'} look whether {whole(box)} is a copy of {whole(other)} that nobody has "
            "filled in: measure a few of its shells. If so, write in its own readings, otherwise write why the two "
            "read alike in its column `copy_confirmed`, and run this again."
        )
    if plan.unmeasured_positions or unread & waiting:
        steps.append(f"{'Then' if steps else 'First'} take the missing readings, write them in and run this again.")
    if any(not stray.is_held for stray in plan.strays):
        steps.append(
            f"{'Then' if steps else 'First'} find out which positions the marked shells named above are meant for, "
            "write the mark there and run this again."
        )
    if spare := [whole(k) for k in ready if k in unread | in_doubt and k not in plan.waits_for]:
        steps.append(
            f"Fitting may begin: the {' and '.join(spare)} readings that are missing or in doubt are of shells left "
            "over; reading them first may lead to a better choice. Lock the shells fitted by then."
        )
    if refused:
        steps.append(
            "If a housing bore is outside its drawing limits, measure it again. If that stands, rework the housing: no "
            "shell can correct it."
        )
    if empty_now and not bad_now and all(u.why.code == "short" for u in empty_now):
        steps.append("Open another box: shells are short.")
    elif bad_now or empty_now:
        steps.append(
            "Where a position is bad or empty, measure its journal and housing bore again, and the walls. If they "
            "stand, see above what would fix it; otherwise try another box."
        )
    if bad:
        steps.append(f"Run no engine with a bore marked {DANGER}: its shells are only the least bad choice.")
    if run := _names(plan.not_to_be_run):
        steps.append(
            f"Run no engine with a bore marked {NOT_TO_BE_RUN}: take {run} apart and find out why; "
            "`fitmatch assembled` tells what is likely."
        )
    if held := _names(plan.on_hold_inside):
        steps.append(f"Do not run the engine with what is in it at {held} until its hold is settled and released.")
    if any(not p.proven for p in proofs.values()):
        steps.append("Allow more time (--time-limit) if the plan is to be proven the best.")
    placed = (s for p in plan.placements for s in (p.upper, p.lower) if s.is_shelved)
    if old := sum(plan.shelved[s.key].seat is None for s in placed):  # others are inside the engine
        which = "the shell" if old == 1 else f"the {old} shells"
        steps.append(
            f"{'Then' if steps else 'First'} measure {which} of this plan that "
            "came from the shelf again with today's micrometer: write them into a shell file, `fitmatch shelf take-in` "
            "with --remeasured, and run this again."
        )
    steps += _what_to_fit(plan)
    return next_in_order(steps)


def next_in_order(steps: Sequence[str]) -> list[str]:
    """What to do now: a single step behind the heading, several below it."""
    if len(steps) == 1:
        return paragraph(f"NEXT: {steps[0]}", rest="  ")
    return items("NEXT", steps, first="  - ", rest=None)


def _what_to_fit(plan: JobPlan) -> Iterator[str]:
    kinds = plan.job.kinds
    ready = [kind for kind in kinds if plan.is_ready(kind)]
    waiting: defaultdict[tuple[str, str], list[str]] = defaultdict(list)  # by what they wait for, and what need not
    for kind in kinds:
        if kind not in ready:
            waiting["As it stands", _fixed(plan, kind)].append(kind)
        elif kind in plan.waits_for:
            others = " and ".join(map(whole, plan.waits_for[kind]))
            waiting[f"While its shells may still change for {others}", _fixed(plan, kind)].append(kind)
    for (why, fixed), some in waiting.items():
        kinds_named = " or ".join(map(whole, some))
        told = (
            f"of {kinds_named} fit only the locked shells of {fixed}, and no other yet: another box or reading may "
            "change all others"
            if fixed
            else f"fit no shell of {kinds_named} yet: another box or reading may change them all"
        )
        begin = "To begin with others" if fixed else "To begin"
        yield (
            f"{why}, {told}. {begin} all the same, lock the shells you fit. A lock is a shell's name in upper or lower "
            "of the positions file."
        )
    bad = {p.position.kind for p in (*plan.not_to_be_run, *plan.on_hold_inside)}
    good = [kind for kind in ready if kind not in plan.waits_for and kind not in bad]
    fitted = [plan.is_fitted(p) for kind in good for p in plan.of_kind(kind)]
    if good and not all(fitted):
        which = "" if len(good) == len(kinds) else f" ({', '.join(map(whole, good))})"
        rest = ", but for what is fitted already" if any(fitted) else ""
        if any(one.seat is None for one in plan.shelved.values()):
            yield (
                "Once this plan is saved (--save), set its shells aside before anybody else takes them: "
                "`fitmatch shelf set-aside`."
            )
        yield (
            f"Lay out the shells as shown{which}{rest}, fit them, tighten the caps as the engine maker says, measure "
            "each assembled bore."
        )
    elif good:
        yield "All that is shown is fitted already: measure each assembled bore, if that was not done."


def _names(placements: Sequence[Placement]) -> str:
    return listed([whole(p.position.name) for p in placements]) if placements else ""


def _fixed(plan: JobPlan, kind: str) -> str:
    """The positions of a kind whose locked shells may be fitted: they stay where they are, inside their limits and in
    no doubt."""
    in_doubt = plan.in_doubt
    fixed = (p for p in plan.of_kind(kind) if p.within_limits and (p.position.upper or p.position.lower))
    return _names([p for p in fixed if p not in in_doubt])


def _positions(count: int) -> str:
    return "1 position" if count == 1 else f"{count} positions"


def _without_reading(plan: JobPlan) -> list[str]:
    """One item for all positions of a kind that lack the same: a blank job is one thing to do."""
    groups: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for position in plan.unmeasured_positions:
        groups[position.kind, missing_words(missing_of(plan.job, position))].append(whole(position.name))
    return [
        f"{NOT_MEASURED}: {', '.join(names)} ({clean(kind)}): {clean(missing)}"
        for (kind, missing), names in groups.items()
    ]


def _some_shells(shells: Sequence[Shell]) -> str:
    """All of a few shells, else the first of them and how many more."""
    names = [whole("/".join(shell.key)) for shell in shells]
    more = len(names) - _MOST_SHELLS
    return listed([*names[:_MOST_SHELLS], f"{more} more"] if more > 1 else names)


def _without_wall(shells: list[Shell]) -> list[str]:
    """One item for each box, not for each shell: a box nobody has measured yet is one thing to do."""
    by_box: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for shell in shells:
        by_box[shell.box, shell.kind].append(whole(shell.name))
    return [
        f"{NOT_MEASURED}: shells of {whole(box)} ({clean(kind)}): no wall of {', '.join(names)}"
        for (box, kind), names in by_box.items()
    ]


# Bad positions and empty ones: what is the same for several of them is said once.


class _Item(NamedTuple):
    """What is said of one position or, word for word, of several."""

    label: str
    kind: str
    why: str
    kept_out: tuple[str, str]  # as said of one position, and of several


def _failing(plan: JobPlan, unit: str) -> Iterator[str]:
    """Bad positions, then empty ones, each kind of failure where its first position stands in the file."""
    kept_out = _kept_out(plan, unit)
    facts = {f.position: f.what for f in plan.flags if f.what.code == "misfit"}
    grouped = _groups(plan, facts)
    yield from (_group_told(plan, group, facts, unit) for group in grouped)
    misfits = {name: clean(words_of(fact, unit)) for name, fact in facts.items()}
    several = {reason.position.name for group in grouped for reason in group}
    alike: dict[_Item, list[str]] = {}

    def add(label: str, position: Position, why: str) -> None:
        item = _Item(label, position.kind, why, kept_out.get(position.name, ("", "")))
        alike.setdefault(item, []).append(position.name)

    for p in plan.placements:
        if not p.within_limits and p.position.name not in several:
            add(DANGER, p.position, misfits.get(p.position.name, ""))
    for u in plan.unfilled:
        add(NOT_FILLED, u.position, clean(words_of(u.why, unit)))
    yield from _told(alike, [p.name for p in plan.job.positions])


def _groups(plan: JobPlan, misfits: Mapping[str, Fact]) -> list[list[Reason]]:
    """Many bad positions of a kind that the same keeps out."""
    groups: defaultdict[tuple[str, tuple[str, ...]], list[Reason]] = defaultdict(list)
    for reason in plan.reasons:
        if reason.position.name in misfits and reason.reduced and not reason.in_doubt:
            groups[reason.position.kind, reason.together].append(reason)
    return [group for group in groups.values() if len(group) >= _GROUP]


def _group_told(plan: JobPlan, group: Sequence[Reason], misfits: Mapping[str, Fact], unit: str) -> str:
    from fitmatch.report.words.small_reasons import Beside, of_group

    kind, names = group[0].position.kind, [reason.position.name for reason in group]
    each = "; ".join(f"{whole(name)} {misses_of(misfits[name], unit)}" for name in names)
    unread = any(s.kind == kind for s in unmeasured_shells(plan.job))
    return f"{DANGER}: {_named(names, kind)}: {each}. {of_group(group, unit, Beside(unread=unread))}"


def _told(alike: dict[_Item, list[str]], order: list[str]) -> Iterator[str]:
    """One text for each item. Where items differ in nothing but why, what keeps their positions out comes after the
    last of them, for all together in the `order` of the file."""
    together: dict[_Item, list[_Item]] = {}
    for item in alike:
        together.setdefault(item._replace(why=""), []).append(item)
    for item, names in alike.items():
        group = together[item._replace(why="")]
        told = f"{item.label}: {_named(names, item.kind)}{f': {item.why}' if item.why else ''}"
        of_one, of_several = item.kept_out
        if len(group) == 1 and of_one:
            told += f". {of_one if len(names) == 1 else of_several}"
        yield told
        if len(group) > 1 and of_one and item == group[-1]:
            every = {name for other in group for name in alike[other]}
            yield f"{_named([name for name in order if name in every], item.kind)}: {of_several}"


def _named(names: list[str], kind: str) -> str:
    return f"{', '.join(map(whole, names))} ({whole(kind)})"


def _kept_out(plan: JobPlan, unit: str) -> dict[str, tuple[str, str]]:
    """By position what keeps it out, and what would put it inside, as further sentences: as said of it alone, and of
    several positions."""
    if not plan.reasons:
        return {}
    from fitmatch.report.words.small_reasons import Beside, in_words  # not loaded where nothing fails

    refused = {u.position.name for u in plan.unfilled if u.why.code == "bore-refused"}
    unread = {s.kind for s in unmeasured_shells(plan.job)}
    found = {}
    for reason in plan.reasons:
        p = reason.position
        meant = next((stray for stray in plan.strays if _may_be_meant(plan, stray, reason)), None)
        beside = Beside(p.name in refused, p.kind in unread, meant)
        one, many = (in_words(reason, unit, beside, several=several) for several in (False, True))
        found[p.name] = one, many
    return found


def _may_be_meant(plan: JobPlan, stray: Stray, reason: Reason) -> bool:
    """Whether marked shells may be meant for a position that only their column keeps out, as it asks for another
    word."""
    position, at = reason.position, plan.job.matched_columns.index(stray.column)
    asked = {wants[at] for wants in (position.wants_upper, position.wants_lower)} - {"", ANY}
    alone = reason.together == (f"match {stray.column}",)
    return bool(asked) and alone and stray.kind == position.kind and not stray.is_held
