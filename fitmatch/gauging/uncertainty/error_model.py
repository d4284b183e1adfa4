"""The uncertainty of a clearance by the GUM (JCGM 100:2008), in three steps that can be used one by one.

1. `ErrorModel(job)` knows the sources of error: the scatter of each gauge, and the errors that many readings share.
2. Its `of_position` and `of_wall` give the `Part` that a position, or one shell, has in each source.
3. `combined` adds three parts and turns them into one `Uncertainty`; `tightest` does so for the tightest clearance.

Floating point is allowed here, as no length is worked out from an uncertainty, and in no lower layer.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import floor, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.corrections import GAUGE_STEEL, REFERENCE_C, chain, expansion_of
from fitmatch.gauging.uncertainty.scatter import scatter_of
from fitmatch.gauging.uncertainty.student import normal_quantile, t_quantile
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, AssembledReading, Gauge, MeasuredAs, Series
from fitmatch.records.parts import Position, Size
from fitmatch.records.placements import Placement
from fitmatch.rules.positions.limits_at import TIGHTEST, limits_at

_ROOT_3: Final = sqrt(3.0)
_SIGNS: Final = {"journal": -1.0, "housing_bore": 1.0}  # of a feature in the clearance; a wall has -1
_EXPANSION_KNOWN_TO: Final = 0.1  # of a coefficient, where its limit is not stated: our own assumption
_MOST_BY_SCATTER: Final = 1.3  # times what scatter does on average, see `_apart`
TEMPERATURE: Final = "temperature"
CRANK: Final = "expansion of the crank"


class Common(NamedTuple):
    """One error that many readings share, the same in each. Its unit is the nanometre, for a temperature the
    kelvin, for an expansion the limit of the coefficient.

    `half_width` is that of a rectangular distribution; None: the distribution is normal. `degrees_of_freedom` are those
    of `standard`, None: taken as known exactly; 0: not known at all. `gauge`: the standard deviation is a fraction of
    that gauge's scatter, and so is known no better or worse than that very figure.
    """

    standard: float
    half_width: float | None = None
    degrees_of_freedom: int | None = None
    gauge: str | None = None


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
    apart_nm: float = 0.0  # see `Uncertainty`


class Term(NamedTuple):
    """One independent term of an uncertainty. Terms that name the same `gauge` come from one and the same standard
    deviation."""

    name: str
    standard_nm: float
    degrees_of_freedom: int | None = None
    gauge: str | None = None


class Uncertainty(NamedTuple):
    """Of one clearance. `degrees_of_freedom` None is infinite; `expanded_nm` covers 95 %.

    If something is `unknown` the figures are a lower bound, and nothing may be judged by them. `apart_nm`, of a
    tightest clearance only: it may be too small by anything up to this, only because it comes from the largest and the
    smallest of several places whose readings scatter. It is in `expanded_nm`, not in `standard_nm`.
    """

    standard_nm: float
    degrees_of_freedom: int | None
    expanded_nm: float
    terms: tuple[Term, ...]
    unknown: tuple[str, ...] = ()
    apart_nm: float = 0.0

    @property
    def lower_bound(self) -> bool:
        return bool(self.unknown)


class ErrorModel:
    """The sources of error of a job, and the part that every position and shell has in them.

    To draw the errors of a whole plan, draw in each trial

    - for each gauge in `scatter` a standard deviation s_g: its `standard_nm` x sqrt(nu / chi-squared(nu));
    - each error in `common` once, rectangular or normal. The standard deviation of a normal one that has a `gauge`
      grows and shrinks with that s_g; of one that has degrees of freedom of its own it is drawn in the same way;
    - for every position `of_position(position)`, for every shell `of_wall(kind, shell.measured_as)`, and add them up as
      `Part` says. A clearance's error is that of its position plus those of its two shells.

    `known` is False if the job says nothing about measuring: then there are no parts to ask for.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        measuring = job.measuring
        temperature = measuring.temperature
        self.scatter = {name: s for name in measuring.gauges if (s := scatter_of(measuring, name)) is not None}
        self.common: dict[str, Common] = {}
        for name, gauge in measuring.gauges.items():
            self._add_errors(name, gauge)
        if temperature is not None:
            if temperature.limit is not None:
                apart = (f"{TEMPERATURE} of gauges", f"{TEMPERATURE} of parts")
                for name in (TEMPERATURE,) if temperature.one_room else apart:
                    self._add_rectangle(name, float(temperature.limit))
            if temperature.parts != REFERENCE_C:
                for name in (CRANK, *map(_housings, job.kinds)):
                    self._add_rectangle(name, 1.0)
            if temperature.gauges != REFERENCE_C:
                for name in dict.fromkeys(_scale(measuring.gauges, gauge) for gauge in measuring.gauges):
                    self._add_rectangle(_expansion(name), 1.0)
        for kind, fit in job.fits.items():
            if fit.seating_u_nm is not None:
                freedom = None if fit.seating_readings is None else fit.seating_readings - 1
                self.common[_seating(kind)] = Common(float(fit.seating_u_nm), degrees_of_freedom=freedom)
        self.known = bool(measuring.gauges or self.common)
        self._at_tightest = limits_at(job) == TIGHTEST
        self._positions: dict[tuple[object, ...], Part] = {}
        self._walls: dict[tuple[bool, MeasuredAs | None], Part] = {}
        self._combined: dict[tuple[Part, Part, Part], Uncertainty | None] = {}

    def of_position(self, position: Position) -> Part:
        """Journal, housing bore, temperature and seating of a measured position."""
        return self._of_position(position, (False, False))

    def of_tightest(self, position: Position) -> Part:
        """The same for the clearance that is held against min: at the largest place of the journal and the smallest of
        the bore, if limits are judged there."""
        sizes = (position.journal, position.housing_bore)
        return self._of_position(position, tuple(self._at_tightest and _has_places(size) for size in sizes))

    def _of_position(self, position: Position, at_place: tuple[bool, ...]) -> Part:
        """`at_place`: whether journal and bore count with their tightest place, and not with their mean."""
        journal, bore = position.journal, position.housing_bore
        assert journal is not None and bore is not None
        heat = self._job.measuring.temperature is not None
        key = (
            position.kind,
            *(
                (
                    size.measured_as,
                    size.mean_nm if heat else None,
                    at and (size.mean_nm - size.smallest_nm, size.largest_nm - size.mean_nm),
                )
                for size, at in zip((journal, bore), at_place, strict=True)
            ),
        )
        if key not in self._positions:
            part = _Sum()
            seated = self._seated(position.kind)
            for feature, size, at in zip(DIAMETERS, (journal, bore), at_place, strict=True):
                how, what = size.measured_as, feature.replace("_", " ")
                if at and how is not None:
                    how = how._replace(series=how.tightest)
                    part.apart_nm += self._apart(feature, size, how)
                self._add_scatter(part, how, what)
                self._add_shared(part, how, _SIGNS[feature], seated)
                self._add_heat(part, position.kind, feature, how, _SIGNS[feature] * size.mean_nm)
            if seated:
                self._add_seating(part, position.kind, 1.0)
            self._positions[key] = part.done()
        return self._positions[key]

    def of_wall(self, kind: str, measured_as: MeasuredAs | None) -> Part:
        """One shell of a kind."""
        key = (self._seated(kind), measured_as)
        if key not in self._walls:
            part = _Sum()
            self._add_scatter(part, measured_as, "walls")
            self._add_shared(part, measured_as, -1.0, key[0])
            self._walls[key] = part.done()
        return self._walls[key]

    def combined(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> Uncertainty | None:
        """The uncertainty of the mean clearance in this position with shells measured like these; None: nothing
        known."""
        return self._of_parts(self.of_position, position, upper, lower)

    def tightest(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> Uncertainty | None:
        """The same for the clearance that is held against min."""
        return self._of_parts(self.of_tightest, position, upper, lower)

    def sensitivities(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> dict[str, float]:
        """How strongly each common error acts on such a clearance, signed and summed over all readings that share it:
        two walls by one gauge 2, a journal's micrometer that set the bore gauge 0."""
        return _common((self.of_position(position), *self._walls_of(position.kind, upper, lower)))

    def of_difference(self, reading: AssembledReading, placement: Placement) -> Uncertainty | None:
        """The uncertainty of assembled - calculated; None: nothing known. Several readings are repeats in one place.

        The journal's size is subtracted from an assembled bore: it is on both sides, and its errors cancel.
        Otherwise the gauge was zeroed on the micrometer locked at the journal. What that micrometer reads then does not
        matter, but locking it is one more reading of the journal, and zeroing the gauge one more of the gauge.
        """
        if not self.known:
            return None
        position, bore = placement.position, reading.feature == "bore"
        journal, housing = position.journal, position.housing_bore
        assert journal is not None and housing is not None
        assembled = MeasuredAs((Series(reading.gauge, len(reading.readings_nm), 1.0),))
        part, seated = _Sum(), self._seated(position.kind)
        self._add_scatter(part, assembled, "assembled bore")
        self._add_scatter(part, housing.measured_as, "housing bore")
        self._add_shared(part, housing.measured_as, -1.0, seated)
        for shell in (placement.upper, placement.lower):
            self._add_scatter(part, shell.measured_as, "walls")
            self._add_shared(part, shell.measured_as, 1.0, seated)
        scale: MeasuredAs | None = assembled
        if bore:
            self._add_shared(part, assembled, 1.0, seated)
        else:
            self._add_scatter(part, MeasuredAs((Series(reading.gauge, 1, 1.0),)), "assembled bore")
            if reading.gauge is not None and not seated:
                self._add_common(part, _limit(reading.gauge), 1.0)
            self._add_scatter(part, journal.measured_as, "journal")
            self._add_shared(part, journal.measured_as, 1.0, seated)
            scale = MeasuredAs(tuple(Series(gauge, 1, 1.0) for gauge in journal.gauges[:1]))
            self._add_scatter(part, scale, "journal")
        for how, sign in ((scale, 1.0), (housing.measured_as, -1.0)):
            self._add_heat(part, position.kind, "housing_bore", how, sign * housing.mean_nm)
        if seated:
            self._add_seating(part, position.kind, -1.0)
        return self._combine((part.done(),))

    def _of_parts(
        self,
        of_position: Callable[[Position], Part],
        position: Position,
        upper: MeasuredAs | None,
        lower: MeasuredAs | None,
    ) -> Uncertainty | None:
        if not self.known:
            return None
        parts = of_position(position), *self._walls_of(position.kind, upper, lower)
        if parts not in self._combined:
            self._combined[parts] = self._combine(parts)
        return self._combined[parts]

    def _walls_of(self, kind: str, upper: MeasuredAs | None, lower: MeasuredAs | None) -> tuple[Part, Part]:
        return self.of_wall(kind, upper), self.of_wall(kind, lower)

    def _combine(self, parts: tuple[Part, ...]) -> Uncertainty | None:
        scatter: dict[str, float] = {}
        for part in parts:
            for gauge, factor in part.scatter.items():
                scatter[gauge] = scatter.get(gauge, 0.0) + factor
        terms = [
            Term(f"scatter of {g}", self.scatter[g].standard_nm * sqrt(factor), self.scatter[g].degrees_of_freedom, g)
            for g, factor in scatter.items()
        ]
        terms.append(Term("resolution", sqrt(sum(part.resolution_nm2 for part in parts))))
        for name, sensitivity in _common(parts).items():
            source = self.common[name]
            standard = abs(sensitivity) * source.standard
            terms.append(Term(name, standard, source.degrees_of_freedom or None, source.gauge))
        unknown = tuple(dict.fromkeys(what for part in parts for what in part.unknown))
        return combine([t for t in terms if t.standard_nm], unknown, sum(part.apart_nm for part in parts))

    def _add_errors(self, name: str, gauge: Gauge) -> None:
        """The errors that a gauge has in all its readings: what its setting left, and limits. A setting is the mean of
        the readings on the standard, or one such reading where none is written."""
        if gauge.limit_nm:
            self._add_rectangle(_limit(name), gauge.limit_nm)
        if gauge.standard_limit_nm:
            self._add_rectangle(_standard_limit(name), gauge.standard_limit_nm)
        scatter, resolution = self.scatter.get(name), float(gauge.resolution_nm or 0)
        u = 0.0 if scatter is None else scatter.standard_nm / sqrt(len(gauge.standard_reads_nm) or 1)
        if scatter is not None and u * u > resolution * resolution / 12.0:
            self.common[_setting(name)] = Common(u, None, scatter.degrees_of_freedom, name)
        elif resolution:
            self._add_rectangle(_setting(name), resolution / 2.0)

    def _add_rectangle(self, name: str, half_width: float) -> None:
        self.common[name] = Common(half_width / _ROOT_3, half_width)

    def _seated(self, kind: str) -> bool:
        """Whether a seating learned from assembled checks takes the place of the limits of the gauges."""
        return _seating(kind) in self.common

    def _add_scatter(self, part: "_Sum", how: MeasuredAs | None, what: str) -> None:
        """What each reading has by itself."""
        for gauge, repeats, share, alike in how.series if how is not None else (Series(None, 1, 1.0),):
            if gauge is None:
                part.unknown[f"what measured the {what}"] = None
                continue
            scatter, resolution = self.scatter.get(gauge), self._job.measuring.gauges[gauge].resolution_nm
            floor_nm2 = resolution * resolution / 12.0 if resolution is not None else 0.0
            weight = alike * share * share
            if scatter is None:
                part.unknown[f"the scatter of {gauge}"] = None
            # The larger of scatter and resolution counts, and averaging repeats goes no lower than the resolution.
            if scatter is not None and scatter.standard_nm**2 / repeats > floor_nm2:
                part.scatter[gauge] = part.scatter.get(gauge, 0.0) + weight / repeats
            else:
                part.resolution_nm2 += weight * floor_nm2

    def _add_shared(self, part: "_Sum", how: MeasuredAs | None, sign: float, seated: bool) -> None:
        """What all readings of a gauge have in common, with those of the gauges it was set with. A learned seating has
        taken in the limits; the gauges may have been set again since."""
        gauges = self._job.measuring.gauges
        for gauge, _, share, alike in how.series if how is not None else ():
            for link in chain(gauges, gauge) if gauge is not None else ():
                self._add_common(part, _setting(link), sign * share * alike)
                for limit in () if seated else (_limit(link), _standard_limit(link)):
                    self._add_common(part, limit, sign * share * alike)

    def _add_common(self, part: "_Sum", name: str, sensitivity: float) -> None:
        if name in self.common:
            part.common[name] = part.common.get(name, 0.0) + sensitivity

    def _add_seating(self, part: "_Sum", kind: str, sign: float) -> None:
        name = _seating(kind)
        part.common[name] = sign
        if self.common[name].degrees_of_freedom == 0:
            part.unknown[f"how certain the seating of {kind} is, as it came from one reading"] = None

    def _add_heat(self, part: "_Sum", kind: str, feature: str, how: MeasuredAs | None, grown_nm: float) -> None:
        """Temperatures and coefficients of expansion; `grown_nm` is the size, signed as it enters."""
        measuring = self._job.measuring
        temperature = measuring.temperature
        if temperature is None:
            return
        of_part = measuring.materials[kind][feature]
        limit = measuring.material_limits.get(kind, {}).get(feature)
        warmer = float(temperature.parts - REFERENCE_C)
        name = CRANK if feature == "journal" else _housings(kind)
        self._add_common(part, name, -grown_nm * warmer * _known_to(of_part, limit))
        of_gauges = 0.0
        for gauge, _, share, alike in how.series if how is not None else ():
            scale = _scale(measuring.gauges, gauge) if gauge is not None else None
            of_gauge = expansion_of(measuring.gauges, gauge)
            of_gauges += share * alike * float(of_gauge)
            if scale is not None:
                limit = (
                    measuring.gauges[scale].expansion_limit if measuring.gauges[scale].expansion is not None else None
                )
                warmer = float(temperature.gauges - REFERENCE_C)
                sensitivity = grown_nm * share * alike * warmer * _known_to(of_gauge, limit)
                self._add_common(part, _expansion(scale), sensitivity)
        one_room = TEMPERATURE in self.common
        gauges, parts = (TEMPERATURE if one_room else f"{TEMPERATURE} of {what}" for what in ("gauges", "parts"))
        self._add_common(part, gauges, grown_nm * (of_gauges if how is not None else float(GAUGE_STEEL)))
        self._add_common(part, parts, -grown_nm * float(of_part))

    def _apart(self, feature: str, size: Size, at_place: MeasuredAs) -> float:
        """How far a size's tightest place may be from its mean only because readings scatter.

        The largest of k readings of one and the same size exceeds their mean by about z(k) s on average. What is seen
        is put down to scatter up to 1.3 times that, and the less of it the further it is beyond.
        """
        seen = size.largest_nm - size.mean_nm if feature == "journal" else size.mean_nm - size.smallest_nm
        alone = _Sum()
        self._add_scatter(alone, at_place, feature)
        own_nm2 = alone.resolution_nm2 + sum(f * self.scatter[g].standard_nm ** 2 for g, f in alone.scatter.items())
        by_scatter = _MOST_BY_SCATTER * _largest_of(at_place.places) * sqrt(own_nm2)
        return seen * min(1.0, (by_scatter / seen) ** 4) if seen > 0 else 0.0


class _Sum:
    """A part while it is being added up."""

    def __init__(self) -> None:
        self.scatter: dict[str, float] = {}
        self.resolution_nm2 = 0.0
        self.common: dict[str, float] = {}
        self.unknown: dict[str, None] = {}
        self.apart_nm = 0.0

    def done(self) -> Part:
        return Part(self.scatter, self.resolution_nm2, self.common, tuple(self.unknown), self.apart_nm)


def combine(terms: list[Term], unknown: tuple[str, ...] = (), apart_nm: float = 0.0) -> Uncertainty | None:
    """Independent terms as one uncertainty (GUM 5.1.2, G.4.1, G.6.4); None if nothing at all is known.

    The degrees of freedom are those of Welch and Satterthwaite, rounded down to a whole number; terms of one gauge's
    scatter are one term in them. U is the smallest that covers the clearance whether all of `apart_nm` is due to
    scatter or none of it: then it is two-sided, or that far off and one-sided (F.2.4.5).
    """
    if not terms and unknown:
        return None
    variance = sum(t.standard_nm**2 for t in terms)
    alike: dict[str, float] = {}
    freedoms: dict[str, int] = {}
    for term in terms:
        if term.degrees_of_freedom is not None:
            source = term.gauge or term.name
            alike[source] = alike.get(source, 0.0) + term.standard_nm**2
            freedoms[source] = term.degrees_of_freedom
    doubt = sum(of_source**2 / freedoms[source] for source, of_source in alike.items())
    standard = sqrt(variance)
    # A single term must give exactly its own degrees of freedom, although its square root was taken.
    freedom = floor(variance**2 / doubt * (1.0 + 1e-9)) if doubt else None
    expanded = t_quantile(freedom) * standard
    if apart_nm:
        expanded = max(expanded, apart_nm + t_quantile(freedom, 0.95) * standard)
    return Uncertainty(standard, freedom, expanded, tuple(terms), unknown, apart_nm)


def _common(parts: tuple[Part, ...]) -> dict[str, float]:
    """Sensitivities summed over parts, exactly 0 where they cancel: shares may not add up to the last bit."""
    common: dict[str, float] = {}
    for part in parts:
        for name, sensitivity in part.common.items():
            common[name] = common.get(name, 0.0) + sensitivity
    return {name: 0.0 if abs(s) < 1e-12 else s for name, s in common.items()}


def _has_places(size: Size | None) -> bool:
    return size is not None and size.measured_as is not None and bool(size.measured_as.tightest)


def _largest_of(count: int) -> float:
    """About what the largest of so many standard normal values is on average (G. Blom, Statistical Estimates and
    Transformed Beta-Variables, Wiley, 1958, from memory)."""
    return normal_quantile((count - 0.375) / (count + 0.25)) if count > 1 else 0.0


def _known_to(coefficient: Fraction, limit: Fraction | None) -> float:
    return _EXPANSION_KNOWN_TO * float(coefficient) if limit is None else float(limit)


def _scale(gauges: Mapping[str, Gauge], name: str) -> str:
    """The gauge whose expansion this one has: the first of its chain with a coefficient of its own, else the last."""
    links = chain(gauges, name)
    return next((link for link in links if gauges[link].expansion is not None), links[-1])


def _limit(gauge: str) -> str:
    return f"error limit of {gauge}"


def _standard_limit(gauge: str) -> str:
    return f"error limit of the standard of {gauge}"


def _setting(gauge: str) -> str:
    return f"setting of {gauge}"


def _expansion(gauge: str) -> str:
    return f"expansion of {gauge}"


def _housings(kind: str) -> str:
    return f"expansion of the housings of {kind}"


def _seating(kind: str) -> str:
    return f"seating of {kind}"
