"""Why a question is refused, in words."""

from typing import Final

from fitmatch.facts import Fact
from fitmatch.report.shared.scale import sizes
from fitmatch.report.words.phrases import phrase
from fitmatch.wording import dotted, listed

_TEXTS: Final = {
    "not-measured": "{position} is not yet measured; take its readings first",
    "job-missing": "position `{name}` needs the name of its job: {full}",
    "no-position": "there is no position `{name}`{near}",
    "no-shell": "there is no shell `{name}`{near}",
    "several-boxes": "shell `{name}` is in several boxes ({boxes}); write BOX/NAME",
    "forbidden": "{upper} and {lower} cannot go into {position}: {against}",
    "same-shell": "they are the same shell",
    "drawing": "its housing bore is outside its [drawing] limits; rework the housing, unless the engine maker permits "
    "it in writing: quote that in `accept`",
    "half-locked": "its {side} half is locked to {lock}; remove the lock from positions.csv",
    "locked-elsewhere": "{shell} is locked in {position}; remove the lock from positions.csv",
    "other-kind": "{shell} is of kind {has}, not {wants}",
    "other-half": "{shell} is for the {half} half; give the upper shell first",
    "on-hold": "{shell} is on hold: {hold}; clear its `hold` to use it",
    "no-wall": "{shell} is not yet measured",
    "no-clearance": "no clearance is left ({clearance_nm})",
    "rule": "the rule {rule} forbids it: {broken}",
    "no-kind": "there is no kind `{name}`; choose {kinds}",
    "even-needs-limits": "even needs min and max at every position; {kinds} {lack} them: write them, or choose another "
    "strategy or --kind",
    "advise-needs-limits": "nothing says how small or large a clearance may be, so none can be judged; write the "
    "engine maker's min and max in {tables} of job.toml",
    "kinds-differ": "the kinds {kinds} have other targets or limits; say which is meant with --kind",
    "target-outside": "{target_nm} is outside the limits of {position}, {min_nm} to {max_nm}; choose others",
    "workers-lost": "{times} times a worker ended while it worked on draws {first} to {last} ({reason}); if memory is "
    "short, ask for fewer workers",
    "no-cluster": "no scheduler of a cluster can be reached at `{address}` within {wait_s:g} s ({reason}); start it "
    "with `dask scheduler`, or correct the address",
    "cluster-without-workers": "the scheduler at `{address}` has had no worker for {wait_s:g} s; start some with `dask "
    "worker {address}`",
    "cluster-version": "a worker of `{address}` has fitmatch {theirs}, and this is {ours}; install the same version "
    "everywhere",
    "cluster-unfit": "the workers of `{address}` cannot work for fitmatch ({reason}); install the same version "
    "everywhere",
    "draws-in-use": "{file} is in use by another run; wait until it ends, or name another file",
    "draws-of-others": "{file} has draws of other inputs, other options or another version; name another file, or "
    "remove this one to begin again",
    "no-draws": "{file} is another kind of file, and was left as it is; name one that does not exist yet",
    "draws-damaged": "{file}:{row}: this is not the draw that belongs here; remove the line and all below it",
    "draws-unusable": "draws cannot be kept in {file}: {reason}; name another file",
    "no-budget": "nothing says how many boxes may be opened; write budget under [boxes] in job.toml, or add --budget 3",
    "no-sealed-boxes": "the shelf has no sealed box of this job's families; leave out --from-shelf, or take one in",
    "nothing-measured": "no position is measured, and [drawing.KIND] has no limits of journal and housing bore to draw "
    "sizes from; measure them, or write the limits",
    "no-scatter": "nothing says how far the walls of {kind} scatter: no box has two shells of it measured, and there "
    "are no limits of the wall in {drawing}; measure an open box, or write within under [boxes]",
    "no-walls": "nothing says what walls a box of {step} has; measure an open one, or write wall in {table}",
    "too-many-mixes": "{kind}: {steps} steps of boxes make more than {most} mixes; write a smaller budget, or fewer",
    "rule-beside-locked": "a rule on bores in a row forbids it beside locked shells: {broken}",
}


def refused(why: Fact, unit: str) -> str:
    """What is refused, and what to do about it; lengths in `unit`."""
    shown: dict[str, object] = dict(why.slots)
    for name, value in why.slots.items():
        match name, value:
            case "near", _:
                shown[name] = f"; did you mean `{value}`?" if value else ""
            case "full", tuple():
                shown[name] = " or ".join(f"`{full}`" for full in value)
            case "boxes", tuple():
                shown[name] = ", ".join(f"`{box}`" for box in value)
            case "against", tuple():
                shown[name] = "; ".join(refused(fact, unit) for fact in value)
            case "kinds", tuple():
                shown[name] = listed([f"`{kind}`" for kind in value], "or" if why.code == "no-kind" else "and")
                shown["lack"] = "lacks" if len(value) == 1 else "lack"
            case "tables", tuple():
                shown[name] = listed([f"[{dotted(('fit', kind))}]" for kind in value])
            case "clearance_nm" | "target_nm" | "min_nm" | "max_nm", int():
                (shown[name],) = sizes(unit, [value])
            case "min_nm", None:
                shown[name] = "0"
            case "max_nm", None:
                shown[name] = "any"
            case "step", str():
                shown["table"] = f"[{dotted(('boxes', 'step', value))}]"
            case "kind", str():
                shown["drawing"] = f"[{dotted(('drawing', value))}]"
            case "broken", Fact():
                shown |= {"rule": value.code, "broken": phrase("broken", value, unit)}
    return _TEXTS[why.code].format_map(shown)
