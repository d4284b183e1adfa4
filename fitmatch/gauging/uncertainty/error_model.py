"""The uncertainty of a clearance by the GUM (JCGM 100:2008), in three steps that can be used one by one.

1. `ErrorModel(job)` knows the sources of error: the scatter of each gauge, and the errors that many readings share.
2. Its `of_position` and `of_wall` give the `Part` that a position, or one shell, has in each source.
3. `combined` adds three parts and turns them into one `Uncertainty`.

Floating point is allowed here, as no length is worked out from an uncertainty, and in no lower layer.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.corrections import chain, expansion_of
from fitmatch.gauging.uncertainty.student import t_quantile
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, AssembledReading, MeasuredAs, Series
from fitmatch.records.parts import Position
from fitmatch.records.placements import Placement

_ROOT_3: Final = sqrt(3.0)
_SIGNS: Final = {"journal": -1.0, "housing_bore": 1.0}  # of a feature in the clearance; a wall has -1
TEMPERATURE: Final = "temperature"


class Scatter(NamedTuple):
    """How far single readings of one gauge scatter; `degrees_of_freedom` None: stated, and taken as known exactly."""

    standard_nm: float
    degrees_of_freedom: int | None


class Common(NamedTuple):
    """One error that many readings share, the same in each. Its unit is the nanometre, or the kelvin for a temperature.

    `half_width` is that of a rectangular distribution; None: the distribution is normal. `degrees_of_freedom` are those
    of `standard`, None: taken as known exactly; 0: not known at all.
    """

    standard: float
    half_width: float | None = None
    degrees_of_freedom: int | None = None


@dataclass(frozen=True, eq=False)
class Part:
    """What a position, or a shell, has in each source of error; one object serves all that are alike.

    Its error is  sum over gauges of sqrt(scatter[g]) x s_g x N
                + resolution_nm x N
                + sum over common sources of common[c] x the one error c,
    with an independent standard normal N in each place. Parts of different positions and shells share the common errors
    and nothing else; a part is signed as it enters the clearance.
    """

    scatter: Mapping[str, float]  # gauge -> factor of its variance
    resolution_nm2: float  # a variance
    common: Mapping[str, float]  # source -> sensitivity
    unknown: tuple[str, ...]  # what ought to be known but is not


class Term(NamedTuple):
    """One independent term of an uncertainty."""

    name: str
    standard_nm: float
    degrees_of_freedom: int | None = None


class Uncertainty(NamedTuple):
    """Of one clearance. `degrees_of_freedom` None is infinite; `expanded_nm` covers 95 %.

    If something is `unknown` the figures are a lower bound, and nothing may be judged by them.
    """

    standard_nm: float
    degrees_of_freedom: int | None
    expanded_nm: float
    terms: tuple[Term, ...]
    unknown: tuple[str, ...] = ()

    @property
    def lower_bound(self) -> bool:
        return bool(self.unknown)


class ErrorModel:
    """The sources of error of a job, and the part that every position and shell has in them.

    To draw the errors of a whole plan, draw in each trial

    - for each gauge in `scatter` a standard deviation s_g: its `standard_nm` x sqrt(nu / chi-squared(nu)), or just its
      `standard_nm` where `degrees_of_freedom` is None;
    - each error in `common` once, rectangular or normal, a normal one that has degrees of freedom with a standard
      deviation drawn in the same way;
    - for every position `of_position(position)`, for every shell `of_wall(kind, shell.measured_as)`, and add them up as
      `Part` says. A clearance's error is that of its position plus those of its two shells.

    `known` is False if the job says nothing about measuring: then there are no parts to ask for.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        measuring = job.measuring
        temperature = measuring.temperature
        self.scatter = {name: s for name in measuring.gauges if (s := self._scatter_of(name)) is not None}
        limits = ((name, gauge.limit_nm) for name, gauge in measuring.gauges.items())
        self.common = {_limit(name): Common(limit / _ROOT_3, limit) for name, limit in limits if limit}
        if temperature is not None and temperature.limit is not None:
            kelvin = float(temperature.limit)
            apart = (f"{TEMPERATURE} of gauges", f"{TEMPERATURE} of parts")
            for name in (TEMPERATURE,) if temperature.one_room else apart:
                self.common[name] = Common(kelvin / _ROOT_3, kelvin)
        for kind, fit in job.fits.items():
            if fit.seating_u_nm is not None:
                freedom = None if fit.seating_readings is None else fit.seating_readings - 1
                self.common[_seating(kind)] = Common(float(fit.seating_u_nm), degrees_of_freedom=freedom)
        self.known = bool(measuring.gauges or self.common)
        self._positions: dict[tuple[object, ...], Part] = {}
        self._walls: dict[tuple[bool, MeasuredAs | None], Part] = {}
        self._combined: dict[tuple[Part, Part, Part], Uncertainty | None] = {}

    def of_position(self, position: Position) -> Part:
        """Journal, housing bore, temperature and seating of a measured position."""
        journal, bore = position.journal, position.housing_bore
        assert journal is not None and bore is not None
        heat = self._job.measuring.temperature
        sizes = (journal.mean_nm, bore.mean_nm) if heat is not None and heat.limit is not None else None
        key = (position.kind, journal.measured_as, bore.measured_as, sizes)
        if key not in self._positions:
            part = _Sum()
            seated = self._seated(position.kind)
            for feature, size in zip(DIAMETERS, (journal, bore), strict=True):
                self._add(part, size.measured_as, _SIGNS[feature], feature.replace("_", " "), seated)
                if sizes is not None:
                    self._add_heat(part, position.kind, feature, size.measured_as, size.mean_nm)
            if seated:
                self._add_seating(part, position.kind, 1.0)
            self._positions[key] = part.done()
        return self._positions[key]

    def of_wall(self, kind: str, measured_as: MeasuredAs | None) -> Part:
        """One shell of a kind."""
        key = (self._seated(kind), measured_as)
        if key not in self._walls:
            part = _Sum()
            self._add(part, measured_as, -1.0, "walls", key[0])
            self._walls[key] = part.done()
        return self._walls[key]

    def combined(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> Uncertainty | None:
        """The uncertainty of a clearance in this position with shells measured like these; None: nothing known."""
        if not self.known:
            return None
        parts = self._parts(position, upper, lower)
        if parts not in self._combined:
            self._combined[parts] = self._combine(parts)
        return self._combined[parts]

    def sensitivities(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> dict[str, float]:
        """How strongly each common error acts on such a clearance, signed and summed over all readings that share it:
        two walls by one gauge 2, a journal's micrometer that set the bore gauge 0."""
        return _common(self._parts(position, upper, lower))

    def of_difference(self, reading: AssembledReading, placement: Placement) -> Uncertainty | None:
        """The uncertainty of assembled - calculated; None: nothing known. Several readings are repeats in one place.

        The journal's size is subtracted from an assembled bore: it is on both sides, and its errors cancel.
        Otherwise the gauge was zeroed on the micrometer locked at the journal. What that micrometer reads then does not
        matter, but locking it is one more reading of the journal.
        """
        if not self.known:
            return None
        position, bore = placement.position, reading.feature == "bore"
        journal, housing = position.journal, position.housing_bore
        assert journal is not None and housing is not None
        assembled = MeasuredAs((Series(reading.gauge, len(reading.readings_nm), 1.0),))
        part, seated = _Sum(), self._seated(position.kind)
        self._add(part, assembled, 1.0, "assembled bore", seated, depth=None if bore else 1)
        self._add(part, housing.measured_as, -1.0, "housing bore", seated)
        for shell in (placement.upper, placement.lower):
            self._add(part, shell.measured_as, 1.0, "walls", seated)
        scale: MeasuredAs | None = assembled
        if not bore:
            self._add(part, journal.measured_as, 1.0, "journal", seated)
            scale = MeasuredAs(tuple(Series(gauge, 1, 1.0) for gauge in journal.gauges[:1]))
            self._add(part, scale, 1.0, "journal", seated, depth=0)
        heat = self._job.measuring.temperature
        if heat is not None and heat.limit is not None:
            for how, sign in ((scale, 1), (housing.measured_as, -1)):
                self._add_heat(part, position.kind, "housing_bore", how, sign * housing.mean_nm)
        if seated:
            self._add_seating(part, position.kind, -1.0)
        return self._combine((part.done(),))

    def _parts(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> tuple[Part, Part, Part]:
        walls = (self.of_wall(position.kind, upper), self.of_wall(position.kind, lower))
        return self.of_position(position), *walls

    def _combine(self, parts: tuple[Part, ...]) -> Uncertainty | None:
        scatter: dict[str, float] = {}
        for part in parts:
            for gauge, factor in part.scatter.items():
                scatter[gauge] = scatter.get(gauge, 0.0) + factor
        terms = [
            Term(f"scatter of {g}", self.scatter[g].standard_nm * sqrt(factor), self.scatter[g].degrees_of_freedom)
            for g, factor in scatter.items()
        ]
        terms.append(Term("resolution", sqrt(sum(part.resolution_nm2 for part in parts))))
        for name, sensitivity in _common(parts).items():
            source = self.common[name]
            terms.append(Term(name, abs(sensitivity) * source.standard, source.degrees_of_freedom or None))
        unknown = tuple(dict.fromkeys(what for part in parts for what in part.unknown))
        return combine([t for t in terms if t.standard_nm], unknown)

    def _scatter_of(self, name: str) -> Scatter | None:
        """From its repeats, otherwise as stated. Repeats that all agree say nothing beyond the resolution."""
        gauge, pooled = self._job.measuring.gauges[name], self._job.measuring.pooled.get(name)
        if pooled is not None and (pooled.variance_nm2 or gauge.resolution_nm):
            return Scatter(sqrt(pooled.variance_nm2), pooled.degrees_of_freedom)
        return None if gauge.repeatability_nm is None else Scatter(float(gauge.repeatability_nm), None)

    def _seated(self, kind: str) -> bool:
        """Whether a seating learned from assembled checks takes the place of the errors that the gauges share."""
        return _seating(kind) in self.common

    def _add(
        self, part: "_Sum", how: MeasuredAs | None, sign: float, what: str, seated: bool, depth: int | None = None
    ) -> None:
        """`depth`: how many gauges of the chain of settings count; None: all."""
        if how is None:
            part.unknown[f"what measured the {what}"] = None
            return
        gauges = self._job.measuring.gauges
        for gauge, repeats, share, alike in how.series:
            if gauge is None:
                part.unknown[f"what measured the {what}"] = None
                continue
            scatter, resolution = self.scatter.get(gauge), gauges[gauge].resolution_nm
            floor_nm2 = resolution * resolution / 12.0 if resolution is not None else 0.0
            weight = alike * share * share
            if scatter is None:
                part.unknown[f"the scatter of {gauge}"] = None
            # The larger of scatter and resolution counts, and averaging repeats goes no lower than the resolution.
            if scatter is not None and scatter.standard_nm**2 / repeats > floor_nm2:
                part.scatter[gauge] = part.scatter.get(gauge, 0.0) + weight / repeats
            else:
                part.resolution_nm2 += weight * floor_nm2
            for link in () if seated else chain(gauges, gauge)[:depth]:
                if _limit(link) in self.common:
                    part.common[_limit(link)] = part.common.get(_limit(link), 0.0) + sign * share * alike

    def _add_seating(self, part: "_Sum", kind: str, sign: float) -> None:
        name = _seating(kind)
        part.common[name] = sign
        if self.common[name].degrees_of_freedom == 0:
            part.unknown[f"how certain the seating of {kind} is, as it came from one reading"] = None

    def _add_heat(self, part: "_Sum", kind: str, feature: str, how: MeasuredAs | None, mean_nm: int) -> None:
        measuring = self._job.measuring
        gauge = next(iter(how.gauges), None) if how is not None else None
        grown = _SIGNS[feature] * mean_nm
        of_gauge = grown * float(expansion_of(measuring.gauges, gauge))
        of_part = -grown * float(measuring.materials[kind][feature])
        one_room = TEMPERATURE in self.common
        for name, sensitivity in (("gauges", of_gauge), ("parts", of_part)):
            source = TEMPERATURE if one_room else f"{TEMPERATURE} of {name}"
            part.common[source] = part.common.get(source, 0.0) + sensitivity


class _Sum:
    """A part while it is being added up."""

    def __init__(self) -> None:
        self.scatter: dict[str, float] = {}
        self.resolution_nm2 = 0.0
        self.common: dict[str, float] = {}
        self.unknown: dict[str, None] = {}

    def done(self) -> Part:
        return Part(self.scatter, self.resolution_nm2, self.common, tuple(self.unknown))


def combine(terms: list[Term], unknown: tuple[str, ...] = ()) -> Uncertainty | None:
    """Independent terms as one uncertainty (GUM 5.1.2, G.4.1, G.6.4); None if nothing at all is known.

    The degrees of freedom are those of Welch and Satterthwaite, rounded down to a whole number.
    """
    if not terms and unknown:
        return None
    variance = sum(t.standard_nm**2 for t in terms)
    doubt = sum(t.standard_nm**4 / t.degrees_of_freedom for t in terms if t.degrees_of_freedom is not None)
    standard = sqrt(variance)
    # A single term must give exactly its own degrees of freedom, although its square root was taken.
    freedom = floor(variance**2 / doubt * (1.0 + 1e-9)) if doubt else None
    return Uncertainty(standard, freedom, t_quantile(freedom) * standard, tuple(terms), unknown)


def _common(parts: tuple[Part, ...]) -> dict[str, float]:
    """Sensitivities summed over parts, exactly 0 where they cancel: shares may not add up to the last bit."""
    common: dict[str, float] = {}
    for part in parts:
        for name, sensitivity in part.common.items():
            common[name] = common.get(name, 0.0) + sensitivity
    return {name: 0.0 if abs(s) < 1e-12 else s for name, s in common.items()}


def _limit(gauge: str) -> str:
    return f"error limit of {gauge}"


def _seating(kind: str) -> str:
    return f"seating of {kind}"
