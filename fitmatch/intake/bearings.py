"""Bearings for the study of the oil film: from the saved plan and `[film.KIND]`, or from options alone."""

from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any, Final, NamedTuple

from fitmatch.gauging.sizes.hot import hot_clearances
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.common.options import OptionError, option_of
from fitmatch.intake.common.quantities import ASSEMBLED_CLEARANCE, JOURNAL, CellError, LengthReader, Quantity
from fitmatch.intake.common.running import FIELDS, FIGURES, LENGTHS, figure_of, oil_point, oil_table
from fitmatch.intake.common.sweeps import MOST_POINTS, read_sweep
from fitmatch.intake.film_limits import HOT, OF_HEAT, SAID, faults, missing
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile
from fitmatch.intake.reading import read_job
from fitmatch.intake.saved.saved_plan import FILE, PAPER, read_saved_plan
from fitmatch.intake.saved.shared_plan import apart, changed
from fitmatch.names import nearest
from fitmatch.problems import InputError, Problem
from fitmatch.records.answers.placements import Placement
from fitmatch.records.housings import rehoused
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS
from fitmatch.records.parts import SIDES, Position
from fitmatch.records.study.bearings import Bearing, Running
from fitmatch.rules.positions.limits_at import limits_at
from fitmatch.wording import dotted, listed, shorten

_WAYS: Final = (("viscosity_mpa_s",), ("table",), ("oil_40_mm2_s", "oil_100_mm2_s"))  # in which an oil is given
_OF_ONE_KIND: Final = ("width", "lands", "load", "slope")
SWEPT: Final = ("speed", "viscosity")
_Mistake = tuple[tuple[str, ...], str]  # a key of job.toml, and what is wrong


class Given(NamedTuple):
    """What the options say, as typed; `figures` by key, those of `SWEPT` as a list or sweep."""

    kind: str | None
    journal: str | None
    clearance: str | None
    figures: Mapping[str, str]


class Hot(NamedTuple):
    """What the hot clearances of a kind are estimated from: temperatures, and expansion per kelvin."""

    kind: str
    housing_c: float
    journal_c: float
    housing_per_k: float
    journal_per_k: float


class Runs(NamedTuple):
    """Bearings, and where they come from. Kinds without `[film.KIND]` are `left_out`, as are positions without shells
    in the plan, `empty`; `outside` are those outside their limits."""

    title: str
    unit: str
    bearings: tuple[Bearing, ...]
    digest: str | None = None
    left_out: tuple[str, ...] = ()
    empty: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    hot: tuple[Hot, ...] = ()


def bearings_from_options(given: Given, unit: str) -> Runs:
    """A bearing for every clearance, speed and viscosity; plain lengths are in `unit`. Raises OptionError."""
    options = _Options(given, unit)
    if given.kind is not None:
        raise OptionError("--kind", "is about the kinds of a JOB; name a JOB, or leave it out")
    for key in HOT:
        if key in given.figures:
            raise OptionError(option_of(key), "needs the sizes of a JOB; give the clearance as it is when hot instead")
    said = "nothing gives the {}; write the option, or name a JOB"
    lacking = [(name, said.format(name)) for name in ("journal", "clearance") if getattr(given, name) is None]
    lacking += [(key, f"nothing gives it; {SAID[key]}") for key in missing(Running(**options.cases[0]))]
    _refuse(lacking)
    assert given.journal is not None and given.clearance is not None
    journal = options.length("journal", given.journal, JOURNAL)
    clearances = options.clearances(given.clearance)
    if len(clearances) * len(options.cases) > MOST_POINTS:
        raise OptionError("--clearance", f"more than {MOST_POINTS:,} films are asked for; ask for fewer")
    found = []
    for case, clearance in product(options.cases, clearances):
        running = Running(**case)
        _refuse(faults(running, journal))
        found.append(running.bearing(clearance, journal))
    return Runs("", unit, tuple(found), warnings=tuple(options.warnings))


def read_bearings(folder: Path, given: Given) -> Runs:
    """A bearing for every position of the saved plan whose kind has `[film.KIND]`, the options before that. Raises
    InputError and OptionError."""
    for name in ("journal", "clearance"):
        if getattr(given, name) is not None:
            raise OptionError(option_of(name), f"the {name} of a JOB is that of each position; leave it out")
    job = read_job(folder)
    options = _Options(given, job.unit)
    findings = Findings()
    placements, empty, marked = _planned(job, findings)
    kinds = _kinds(job, given)
    warnings = [*job.warnings, *findings.warnings, *options.warnings]
    found: list[Bearing] = []
    mistakes: list[_Mistake] = []
    for kind in kinds:
        for case in options.cases:
            running = _replaced(job.running.get(kind, Running()), case)
            if kind not in job.running and (lacking := missing(running)):
                raise InputError([_no_table(kind, lacking)], warnings)
            wrong = _mistakes(job, kind, running)
            _refuse([(key, text) for (_, _, key), text in wrong if key in given.figures])
            if _hot(running) is not None:
                wrong += [(("material", kind, feature), _NO_MATERIAL) for feature in _without_material(job, kind)]
            mistakes += wrong
            if wrong:
                continue
            for placement in (p for p in placements if p.position.kind == kind):
                assert placement.position.journal is not None
                journal, name = placement.position.journal.mean_nm, placement.position.name
                inside = name not in marked
                for state, clearance in _clearances(job, placement, running).items():
                    bearing = running.bearing(clearance, journal, name, kind, state=state, within_limits=inside)
                    found.append(bearing)
    if mistakes:
        raise InputError(_problems(job, mistakes), warnings)
    if len(found) > MOST_POINTS:
        raise OptionError("--speed", f"more than {MOST_POINTS:,} films are asked for; ask for fewer")
    order = {position.name: at for at, position in enumerate(job.positions)}
    found.sort(key=lambda bearing: order[bearing.position or ""])
    left_out = () if given.kind is not None else tuple(kind for kind in job.kinds if kind not in kinds)
    lost = tuple(p.name for p in empty if p.kind in kinds)
    hot = tuple(_hot_of(job, kind, _replaced(job.running.get(kind, Running()), options.cases[0])) for kind in kinds)
    outside = tuple(p.position.name for p in placements if p.position.kind in kinds and p.position.name in marked)
    return Runs(
        job.title,
        job.unit,
        tuple(found),
        job.digest,
        left_out,
        lost,
        outside,
        tuple(warnings),
        tuple(filter(None, hot)),
    )


def check_running(jobs: Mapping[str, Job]) -> None:
    """Raise InputError where `[film]` of these jobs lacks or contradicts something, or no kind of any has it; `jobs` by
    their names, of a single one empty."""
    problems: list[Problem] = []
    for at, (name, job) in enumerate(jobs.items()):
        running = {kind: job.running[kind] for kind in job.kinds if kind in job.running}
        mine = _problems(job, [one for kind, how in running.items() for one in _mistakes(job, kind, how)])
        problems += [p._replace(file=f"{name}/{p.file}" if name else p.file, rank=(at, *p.rank)) for p in mine]
    if not problems and not any(kind in job.running for job in jobs.values() for kind in job.kinds):
        problems.append(_no_kind(next(iter(jobs.values()))))
    if problems:
        raise InputError(problems)


def _mistakes(job: Job, kind: str, running: Running) -> list[_Mistake]:
    """All that is missing or contradicts something else, at its key."""
    journals = sorted({p.journal.mean_nm for p in job.positions if p.kind == kind and p.journal is not None})
    wrong = [(key, f"is missing; {SAID[key]}") for key in missing(running)]
    wrong += dict.fromkeys(fault for journal in journals for fault in faults(running, journal))
    return [(("film", kind, key), text) for key, text in wrong]


def _problems(job: Job, mistakes: Sequence[_Mistake]) -> list[Problem]:
    """Each mistake once, with its row of job.toml."""
    findings = Findings()
    if mistakes:
        file = JobFile((job.folder / JOB_FILE.name).read_text(encoding="utf-8"), findings)
        for path, text in dict.fromkeys(mistakes):
            file.report("no-film", text, *path)
    return findings.problems


def _refuse(mistakes: Sequence[tuple[str, str]]) -> None:
    """Raise OptionError where there are mistakes, (key, text), with all of them."""
    if mistakes:
        (key, text), *more = mistakes
        raise OptionError(option_of(key), "\n  ".join([text, *(f"{option_of(k)}: {other}" for k, other in more)]))


def _replaced(running: Running, case: Mapping[str, Any]) -> Running:
    """What the table says with the options of this case before it: an oil given in one way replaces one given in
    another, and a constant viscosity what the table says of heat."""
    if not any(field in case for way in _WAYS for field in way):
        return running._replace(**case)
    others = [field for way in _WAYS if not any(field in case for field in way) for field in way]
    if "oil_40_mm2_s" in others:
        others.append("high_shear_mpa_s")
    if "viscosity_mpa_s" in case:
        others += [FIELDS[key] for key in OF_HEAT]
    return running._replace(**(dict.fromkeys(others) | dict(case)))


_NO_MATERIAL: Final = (
    'is missing, and the running temperatures need it; write a material, such as "steel", or its expansion per kelvin'
)


def _hot(running: Running) -> tuple[float, float] | None:
    """The running temperatures of housing and journal; None where one is not given."""
    if running.housing_temperature_c is None or running.journal_temperature_c is None:
        return None
    return running.housing_temperature_c, running.journal_temperature_c


def _hot_of(job: Job, kind: str, running: Running) -> Hot | None:
    temperatures = _hot(running)
    if temperatures is None:
        return None
    materials = job.measuring.materials[kind]
    return Hot(kind, *temperatures, float(materials["housing_bore"]), float(materials["journal"]))


def _without_material(job: Job, kind: str) -> list[str]:
    return [feature for feature in DIAMETERS if feature not in job.measuring.materials.get(kind, {})]


def _clearances(job: Job, placement: Placement, running: Running) -> dict[str, int]:
    """The clearance by state: cold and, where the running temperatures are given, hot in two ways."""
    cold, hot = {"cold": placement.clearance_over_coating_nm}, _hot(running)
    return (
        cold
        if hot is None
        else cold | hot_clearances(placement, job.measuring.materials[placement.position.kind], *hot)
    )


def _no_kind(job: Job, otherwise: str = "") -> Problem:
    kind = dotted(("film", job.kinds[0] if job.kinds else "rod"))
    text = f"no kind says how it runs; write [{kind}] with width, load, speed and oil{otherwise}"
    return Problem("no-film", text, JOB_FILE.name, None, "film", JOB_FILE.rank)


def _no_table(kind: str, lacking: Sequence[str]) -> Problem:
    """Of a kind that is asked for by its name: what the options would have to give."""
    table = dotted(("film", kind))
    options = listed(list(map(option_of, lacking)))
    text = f"there is no [{table}]; write it with width, load, speed and oil, or give {options}"
    return Problem("no-film", text, JOB_FILE.name, None, table, JOB_FILE.rank)


def _kinds(job: Job, given: Given) -> list[str]:
    """The kinds that are asked for: the one named, else all that have `[film.KIND]`."""
    if given.kind is not None:
        if given.kind not in job.kinds:
            near = nearest(given.kind, job.kinds)
            raise OptionError("--kind", f"no position is of kind `{shorten(given.kind)}`; the nearest is `{near}`")
        return [given.kind]
    kinds = [kind for kind in job.kinds if kind in job.running]
    asked = [key for key in _OF_ONE_KIND if key in given.figures]
    if len(kinds) > 1 and asked:
        raise OptionError(option_of(asked[0]), f"is about one kind; add --kind {listed(kinds, 'or --kind')}")
    if not kinds:
        raise InputError([_no_kind(job, ", or give --kind and options")])
    return kinds


def _planned(job: Job, findings: Findings) -> tuple[list[Placement], list[Position], set[str]]:
    """The placements of the saved plan as the files now say them, the positions that have none, and those outside
    their limits, then or now."""
    plan = read_saved_plan(job.folder, findings)
    if plan is None and not findings.problems:
        todo = f"`fitmatch assign {job.folder.name} --save` saves one"
        findings.report("no-saved-plan", f"there is no {FILE}, which says what was assigned; {todo}", PAPER)
    if plan is None:
        raise InputError(findings.problems, job.warnings)
    if not plan.is_of(job.digest):
        findings.warnings.append(changed(job.folder, plan))
    findings.warnings += apart(job.folder, plan)
    shells = {shell.key: shell for shell in job.shells}
    rows = {position.name: position for position in job.positions}
    placed, empty = [], []
    for position in job.positions:
        pair = [shells.get(plan.shells.get((position.name, side), ("", ""))) for side in SIDES]
        bore = rehoused(position, rows.get(plan.housings.get(position.name, position.name), position))
        upper, lower = pair
        if bore.missing or upper is None or lower is None or upper.wall_nm is None or lower.wall_nm is None:
            empty.append(position)
        else:
            placed.append(Placement(bore, upper, lower, limits_at(job)))
    outside = {p.position.name for p in placed if not p.within_limits}
    return placed, empty, outside | plan.outside


def _refuse_several(key: str, text: str) -> None:
    """Raise OptionError for a list or a sweep of what is not swept."""
    if "," in text or ".." in text:
        swept = listed([option_of(name) for name in ("clearance", *SWEPT)])
        why = (
            f"`{shorten(text)}` is not one figure; write one, with a decimal point: {swept} alone take a list or sweep"
        )
        raise OptionError(option_of(key), why)


class _Options:
    """The options, read once; `cases` has one set of figures for every combination of what is swept."""

    def __init__(self, given: Given, unit: str) -> None:
        self._unit = unit
        self.warnings: list[str] = []
        fixed: dict[str, Any] = {}  # by field of Running
        swept: dict[str, list[float]] = {}
        for key, text in given.figures.items():
            if key in LENGTHS:
                fixed[FIELDS[key]] = self.length(key, text, LENGTHS[key])
            elif key == "oil_table":
                fixed["table"] = self._table(text)
            elif key in SWEPT:
                swept[FIELDS[key]] = self._figures(key, text)
            else:
                _refuse_several(key, text)
                fixed[FIELDS[key]] = self._figure(key, text)
        combined = product(*swept.values())
        self.cases = [fixed | dict(zip(swept, some, strict=True)) for some in combined]

    def length(self, key: str, text: str, quantity: Quantity) -> int:
        """A length in nm."""
        _refuse_several(key, text)
        reader = LengthReader(quantity, self._unit, inch_job=self._unit == "in")
        try:
            nm = reader.read(text)
        except CellError as error:
            raise OptionError(option_of(key), str(error)) from error
        if reader.finer:
            self._warn(key)
        return nm

    def clearances(self, text: str) -> tuple[int, ...]:
        """One clearance, a list or a sweep."""
        try:
            sweep = read_sweep(text, ASSEMBLED_CLEARANCE, self._unit)
        except CellError as error:
            raise OptionError("--clearance", str(error)) from error
        if sweep.finer:
            self._warn("clearance")
        return sweep.points_nm

    def _warn(self, key: str) -> None:
        self.warnings.append(f"{option_of(key)}: numbers finer than a nanometre were rounded")

    def _table(self, text: str) -> tuple[tuple[float, float], ...]:
        try:
            return oil_table([oil_point(part) for part in text.split(",")])
        except CellError as error:
            raise OptionError("--oil-table", str(error)) from error

    def _figure(self, key: str, text: str) -> float:
        try:
            return figure_of(key, text)
        except CellError as error:
            raise OptionError(option_of(key), str(error)) from error

    def _figures(self, key: str, text: str) -> list[float]:
        """A figure, a list of them, or `FROM..TO/STEP`."""
        low, dots, rest = text.partition("..")
        if not dots:
            return [self._figure(key, part) for part in text.split(",")]
        high, slash, step = rest.partition("/")
        first, last = self._figure(key, low), self._figure(key, high)
        by = self._figure(key, step) if slash else 0.0
        if not by or first > last:
            what = f"`{shorten(text)}` is no sweep; write FROM..TO/STEP in {FIGURES[key].unit}, the smaller first"
            raise OptionError(option_of(key), what)
        count = int((last - first) / by * (1 + 1e-12)) + 1
        if count > MOST_POINTS:
            raise OptionError(
                option_of(key), f"`{shorten(text)}` are {count:,} points; at most {MOST_POINTS:,} are taken"
            )
        return [first + by * i for i in range(count)]
