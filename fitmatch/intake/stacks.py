"""Stacks of limits from options and from the `[drawing]` tables of a job.toml, of which nothing else is needed."""

from collections.abc import Callable, Iterator, Mapping
from hashlib import sha256
from itertools import product
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.intake.common.bands import read_band
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.options import OptionError, option_of
from fitmatch.intake.common.quantities import (
    COATING,
    HOUSING_BORE,
    JOURNAL,
    LIMIT,
    MEASURED,
    CellError,
    LengthReader,
    Quantity,
)
from fitmatch.intake.job_toml.key_rows import JOB_FILE
from fitmatch.intake.job_toml.settings import Settings, read_settings
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.intake.reading import check_folder
from fitmatch.lengths import with_unit
from fitmatch.names import fault_in_name, nearest
from fitmatch.problems import InputError
from fitmatch.records.measuring import FEATURES
from fitmatch.records.parts import Band
from fitmatch.records.study.stacks import NO_COATING, Stack
from fitmatch.wording import dotted, listed, shorten

STEP: Final = Quantity("a step of shells", 1, 2_000_000, "more than 0, up to 2 mm", above_zero=True)
CLEARANCE: Final = ("min", "max")  # the limits of it
ALONE: Final = "clearance"  # the name of a row that is given by options without a name
_MOST: Final = 1_000
_LARGEST_NM: Final = 2_000_000


class Given(NamedTuple):
    """What the options say, as typed; a limit may begin with a name: `NAME=LIMITS`."""

    kind: str | None = None
    housing_bore: tuple[str, ...] = ()
    journal: tuple[str, ...] = ()
    wall: tuple[str, ...] = ()
    min: str | None = None
    max: str | None = None
    coating: str | None = None
    step: str | None = None


class Drawings(NamedTuple):
    """Stacks, and where they come from; `digest` is that of job.toml. Kinds that have no limits are `left_out`.
    `drawn`: the kinds of which a `[drawing]` table gives limits; `limits_from`: where the job's min and max come from,
    by kind; `by_option`: which limits, of parts and of the clearance, options give instead."""

    title: str
    unit: str
    stacks: tuple[Stack, ...]
    digest: str | None = None
    left_out: tuple[str, ...] = ()
    drawn: tuple[str, ...] = ()
    limits_from: tuple[tuple[str, str | None], ...] = ()
    by_option: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def drawings_from_options(given: Given, unit: str) -> Drawings:
    """What the options say, without a job; plain numbers are in `unit`. Raises OptionError."""
    options = _Options(given, unit)
    for feature in FEATURES:
        if not getattr(given, feature):
            raise OptionError(
                option_of(feature),
                "nothing gives these limits; write the option, or name a JOB whose job.toml has [drawing] tables",
            )
    stacks = options.stacks(given.kind or "", {}, None, None)
    return Drawings("", unit, stacks, by_option=_by_option(given), warnings=tuple(options.warnings))


def read_drawings(folder: Path, given: Given) -> Drawings:
    """What job.toml says of each kind, or of the one kind asked for, with what the options say in its place. Raises
    InputError and OptionError."""
    findings = Findings()
    check_folder(folder, findings)
    data = read_bytes(folder, JOB_FILE, findings)
    settings = read_settings(data, findings)
    if findings.problems or data is None:
        raise InputError(findings.problems, findings.warnings)
    assert settings.unit is not None
    options = _Options(given, settings.unit)
    kinds = _kinds(settings, given)
    _check_complete(settings, given, kinds, findings)
    stacks: list[Stack] = []
    for kind in kinds:
        fit = settings.fits[kind].fit
        stacks += options.stacks(kind, settings.drawing.get(kind, {}), fit.min_nm, fit.max_nm)
    left_out = () if given.kind is not None else tuple(kind for kind in settings.fits if kind not in kinds)
    warnings = (*findings.warnings, *options.warnings)
    by_option = _by_option(given)
    return Drawings(
        title=settings.title,
        unit=settings.unit,
        stacks=tuple(stacks),
        digest=sha256(data).hexdigest(),
        left_out=left_out,
        drawn=() if set(FEATURES) <= set(by_option) else tuple(kinds),
        limits_from=tuple(_limits_from(settings, kinds, by_option)),
        by_option=by_option,
        warnings=warnings,
    )


def _by_option(given: Given) -> tuple[str, ...]:
    return tuple(name for name in (*FEATURES, *CLEARANCE) if getattr(given, name))


def _limits_from(settings: Settings, kinds: list[str], by_option: tuple[str, ...]) -> Iterator[tuple[str, str | None]]:
    """Of the kinds that have a limit in job.toml which no option replaces."""
    for kind in kinds:
        fit = settings.fits[kind].fit
        own = [name for name in CLEARANCE if getattr(fit, f"{name}_nm") is not None and name not in by_option]
        if own:
            yield kind, fit.limits_from


def _kinds(settings: Settings, given: Given) -> list[str]:
    """The kinds that are asked for: the one named, else all that have limits."""
    if given.kind is not None:
        if given.kind not in settings.fits:
            near = nearest(given.kind, settings.fits)
            raise OptionError("--kind", f"there is no [fit.{dotted((given.kind,))}]; the nearest is `{near}`")
        return [given.kind]
    kinds = [kind for kind in settings.fits if settings.drawing.get(kind)]
    if not kinds and all(getattr(given, feature) for feature in FEATURES):
        kinds = list(settings.fits)
    asked = _by_option(given)
    if len(kinds) > 1 and asked:
        raise OptionError(option_of(asked[0]), f"is about one kind; add --kind {listed(kinds, 'or --kind')}")
    return kinds


def _check_complete(settings: Settings, given: Given, kinds: list[str], findings: Findings) -> None:
    """Every kind has limits of bore, journal and wall, from job.toml or from the options."""
    if not kinds:
        example = dotted(("drawing", next(iter(settings.fits), "rod")))
        todo = f"write [{example}] with housing_bore, journal and wall, or give them as options"
        what = f"no kind has drawing limits; {todo}"
        settings.file.report("no-drawing", what, "drawing")
    for kind in kinds:
        for feature in FEATURES:
            if feature not in settings.drawing.get(kind, {}) and not getattr(given, feature):
                what = f'is missing; write {feature} = "LOW..HIGH", or give {option_of(feature)}'
                settings.file.report("no-drawing", what, "drawing", kind, feature)
    if findings.problems:
        raise InputError(findings.problems, findings.warnings)


class _Options:
    """The options, read once."""

    def __init__(self, given: Given, unit: str) -> None:
        self._unit = unit
        self.warnings: list[str] = []
        self._bands = {feature: self._named(feature, getattr(given, feature)) for feature in FEATURES}
        self._min = self._length("min", given.min, LIMIT)
        self._max = self._length("max", given.max, LIMIT)
        self._step = self._length("step", given.step, STEP) or 0
        self._coating = NO_COATING if given.coating is None else self._thickness(given.coating)

    def stacks(
        self, kind: str, drawing: Mapping[str, Band], min_nm: int | None, max_nm: int | None
    ) -> tuple[Stack, ...]:
        """Every combination of what is given for bore, journal and wall."""
        low, high = (min_nm if self._min is None else self._min), (max_nm if self._max is None else self._max)
        if low is not None and high is not None and low > high:
            option = "--max" if self._max is not None else "--min"
            raise OptionError(option, f"min {self._told(low)} is above max {self._told(high)}; swap or correct them")
        bores, journals, walls = (self._bands[key] or {"": drawing[key]} for key in ("housing_bore", "journal", "wall"))
        if len(bores) * len(journals) * len(walls) > _MOST:
            raise OptionError("--journal", f"more than {_MOST:,} combinations are given; give fewer")
        found = []
        for bore, journal, wall in product(bores, journals, walls):
            name = ", ".join(filter(None, (kind, bore, journal, wall))) or ALONE
            bands = bores[bore], journals[journal], walls[wall]
            stack = Stack(name, *bands, low, high, self._coating, self._step)
            found.append(stack)
        faults = [next(_faults(stack, self._told), None) for stack in found]
        if None not in faults:
            raise OptionError("limits", f"{found[0].name}: {faults[0]}; check digits, units and which limit is which")
        return tuple(found)

    def _named(self, feature: str, texts: tuple[str, ...]) -> dict[str, Band]:
        """Limits by name; several must have one each."""
        found: dict[str, Band] = {}
        for text in texts:
            name, equals, limits = text.rpartition("=")
            name = name.strip()
            fault = fault_in_name(name) if equals else None
            if fault is not None or (equals and not name):
                raise OptionError(
                    option_of(feature), f"`{shorten(name)}` {fault or 'is not a name; write NAME=LIMITS'}"
                )
            if len(texts) > 1 and not name:
                raise OptionError(option_of(feature), f"`{shorten(text)}`: of several each is NAME=LIMITS")
            if name in found:
                raise OptionError(option_of(feature), f"`{shorten(name)}` is given twice; give each its own name")
            found[name] = self._band(feature, limits, MEASURED[feature])
        return found

    def _band(self, key: str, text: str, quantity: Quantity) -> Band:
        try:
            band = read_band(text, quantity, self._reads(key), inch_job=self._unit == "in")
        except CellError as error:
            raise OptionError(option_of(key), str(error)) from error
        assert band is not None  # a length that is wrong has ended it
        return band

    def _thickness(self, text: str) -> Band:
        """One thickness, or its limits."""
        if ".." in text or "±" in text or "+" in text:
            return self._band("coating", text, COATING)
        nm = self._length("coating", text, COATING) or 0
        return Band(nm, nm)

    def _length(self, key: str, text: str | None, quantity: Quantity) -> int | None:
        return None if text is None else self._reads(key)(text, quantity)

    def _reads(self, key: str) -> Callable[[str, Quantity], int]:
        def read(text: str, quantity: Quantity) -> int:
            reader = LengthReader(quantity, self._unit, inch_job=self._unit == "in")
            try:
                nm = reader.read(text)
            except CellError as error:
                raise OptionError(option_of(key), str(error)) from error
            if reader.finer:
                self.warnings.append(f"{option_of(key)}: `{shorten(text)}` is finer than a nanometre and was rounded")
            return nm

        return read

    def _told(self, nm: int) -> str:
        return with_unit(nm, self._unit)


def _faults(stack: Stack, told: Callable[[int], str]) -> Iterator[str]:
    """Why no engine can have these limits: a wall counted once, say, or an inch for a millimetre."""
    bore, journal, wall = stack.housing_bore, stack.journal, stack.wall
    least = bore.low_nm - journal.high_nm - 2 * (wall.high_nm + stack.coating.high_nm)
    most = bore.high_nm - journal.low_nm - 2 * wall.low_nm
    if bore.high_nm <= journal.low_nm:
        yield f"{HOUSING_BORE.name} of {told(bore.high_nm)} is not larger than {JOURNAL.name} of {told(journal.low_nm)}"
    elif most <= 0:
        yield f"the largest clearance is {told(most)}: nothing fits"
    elif least > _LARGEST_NM:
        yield f"the smallest clearance is {told(least)}, more than any bearing has"
    elif 2 * stack.coating.high_nm >= wall.low_nm:
        yield f"a coating of {told(stack.coating.high_nm)} is half the wall or more"
