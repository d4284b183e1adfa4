"""The uncertainty of a clearance by the GUM (JCGM 100:2008), in three steps that can be used one by one.

1. `ErrorModel(job)` knows the sources of error: the scatter of each gauge, and the errors that many readings share.
2. Its `of_position` and `of_wall` give the `Part` that a position, or one shell, has in each source.
3. `combined` adds three parts and turns them into one `Uncertainty`; `tightest` does so for the tightest clearance.

Floating point is allowed here, as no length is worked out from an uncertainty, and in no lower layer.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.corrections import REFERENCE_C, chain, expansion_of
from fitmatch.gauging.uncertainty.combining import Term, Uncertainty, combine
from fitmatch.gauging.uncertainty.scatter import scatter_of
from fitmatch.gauging.uncertainty.sources import (
    CRANK,
    common_errors,
    expansion_error_of,
    heat_of,
    housings_of,
    known_to,
    limit_of,
    scale_of,
    seating_of,
    setting_of,
    standard_limit_of,
)
from fitmatch.gauging.uncertainty.student import normal_quantile
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, AssembledReading, MeasuredAs, Series
from fitmatch.records.parts import Position, Size
from fitmatch.rules.positions.limits_at import TIGHTEST, limits_at

_SIGNS: Final = {"journal": -1.0, "housing_bore": 1.0}  # of a feature in the clearance; a wall has -1
_MOST_BY_SCATTER: Final = 1.3  # times what scatter does on average, see `_apart`


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
        self.scatter = {name: s for name in measuring.gauges if (s := scatter_of(measuring, name)) is not None}
        self.common = common_errors(job, self.scatter)
        heat = measuring.temperature is not None and measuring.temperature.limit is not None
        self.known = bool(measuring.gauges) or heat or any(map(self._seated, job.fits))
        self._at_tightest = limits_at(job) == TIGHTEST
        self._positions: dict[tuple[object, ...], Part] = {}
        self._walls: dict[tuple[bool, MeasuredAs | None], Part] = {}
        self._heats: dict[object, _Heat] = {}  # by gauge, or by kind and feature
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
                how = size.measured_as
                if at and how is not None:
                    how = how._replace(series=how.tightest)
                    part.apart_nm += self._apart(feature, size, how)
                self._add_diameter(part, position.kind, feature, size, how)
            if seated:
                self._add_seating(part, position.kind, 1.0)
            self._positions[key] = part.done()
        return self._positions[key]

    def of_diameter(self, kind: str, feature: str, size: Size) -> Part:
        """A journal or housing bore alone, as it enters the clearance."""
        part = _Sum()
        self._add_diameter(part, kind, feature, size, size.measured_as)
        return part.done()

    def of_seating(self, kind: str) -> Part:
        """What all positions of a kind have in common where its seating was learned; else nothing."""
        part = _Sum()
        if self._seated(kind):
            self._add_seating(part, kind, 1.0)
        return part.done()

    def of_wall(self, kind: str, measured_as: MeasuredAs | None) -> Part:
        """One shell of a kind."""
        key = (self._seated(kind), measured_as)
        if key not in self._walls:
            part = _Sum()
            self._add_scatter(part, measured_as, "walls")
            self._add_shared(part, measured_as, "wall", -1.0, key[0])
            self._walls[key] = part.done()
        return self._walls[key]

    def of_size(self, kind: str, feature: str, size: Size) -> Uncertainty | None:
        """The uncertainty of one size by itself, which shares nothing with any other; None: nothing known."""
        how, part = size.measured_as, _Sum()
        self._add_scatter(part, how, feature.replace("_", " "))
        self._add_shared(part, how, feature, 1.0, False)
        if feature in DIAMETERS:
            self._add_heat(part, kind, feature, how, size.mean_nm)
        return self._combine((part.done(),))

    def combined(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> Uncertainty | None:
        """The uncertainty of the mean clearance in this position with shells measured like these; None: nothing
        known."""
        return self._of_parts(self.of_position, position, upper, lower)

    def tightest(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> Uncertainty | None:
        """The same for the clearance that is held against min."""
        return self._of_parts(self.of_tightest, position, upper, lower)

    def sensitivities(self, position: Position, upper: MeasuredAs | None, lower: MeasuredAs | None) -> dict[str, float]:
        """How strongly each common error acts on such a clearance, signed and summed over all readings that share it:
        two walls by one gauge 2, the zero of a journal's micrometer that set the bore gauge 0."""
        return _common((self.of_position(position), *self._walls_of(position.kind, upper, lower)))

    def of_difference(self, reading: AssembledReading, placement: Placement) -> Uncertainty | None:
        """The uncertainty of assembled - calculated; None: nothing known. Several readings are repeats in one place.

        The journal's size is subtracted from an assembled bore: it is on both sides, and its errors cancel.
        Otherwise the gauge was zeroed on the micrometer locked at the journal. What that micrometer reads then does not
        matter, but locking it is one more reading of the journal, and zeroing the gauge one more of the gauge. With its
        shells in a bore has about the size of its journal, so that no limit cancels one at the size of the housing.
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
        self._add_shared(part, housing.measured_as, "housing_bore", -1.0, seated)
        for shell in (placement.upper, placement.lower):
            self._add_scatter(part, shell.measured_as, "walls")
            self._add_shared(part, shell.measured_as, "wall", 1.0, seated)
        scale: MeasuredAs | None = assembled
        if bore:
            self._add_shared(part, assembled, "journal", 1.0, seated)
        else:
            self._add_scatter(part, MeasuredAs((Series(reading.gauge, 1, 1.0),)), "assembled bore")
            if reading.gauge is not None and not seated:
                self._add_common(part, limit_of(reading.gauge, "journal"), 1.0)
            self._add_scatter(part, journal.measured_as, "journal")
            self._add_shared(part, journal.measured_as, "journal", 1.0, seated)
            scale = MeasuredAs(tuple(Series(gauge, 1, 1.0) for gauge in journal.gauges[:1]))
            self._add_scatter(part, scale, "journal")
        for how, sign in ((scale, 1.0), (housing.measured_as, -1.0)):
            self._add_heat(part, position.kind, "housing_bore", how, sign * housing.mean_nm)
        if seated:
            self._add_seating(part, position.kind, -1.0)
        return self._combine((part.done(),))

    def left_by_learning(self, reading: AssembledReading, placement: Placement) -> float:
        """The standard uncertainty of what gauges and standards are always off and a seating learned from such a
        reading does not contain, in nanometres.

        It contains what they were off at the housing and at the walls. From a bore read with its shells in the
        journal's size was subtracted, so that in the clearance of the next engine the journal's gauge is off against
        that of the assembled bore; a clearance that was read directly was off by the limit of its gauge alone.
        """
        part, journal = _Sum(), placement.position.journal
        if reading.feature == "bore":
            self._add_always(part, MeasuredAs((Series(reading.gauge, 1, 1.0),)), "journal", 1.0)
            self._add_always(part, journal.measured_as if journal is not None else None, "journal", -1.0)
        elif reading.gauge is not None:
            self._add_common(part, limit_of(reading.gauge, "journal"), 1.0)
        return sqrt(sum((each * self.common[name].standard) ** 2 for name, each in part.common.items()))

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

    def _seated(self, kind: str) -> bool:
        """Whether a seating learned from assembled checks takes the place of the limits of the gauges."""
        return seating_of(kind) in self.common

    def _add_diameter(self, part: "_Sum", kind: str, feature: str, size: Size, how: MeasuredAs | None) -> None:
        """All that a journal or bore measured like this has, signed as it enters the clearance."""
        self._add_scatter(part, how, feature.replace("_", " "))
        self._add_shared(part, how, feature, _SIGNS[feature], self._seated(kind))
        self._add_heat(part, kind, feature, how, _SIGNS[feature] * size.mean_nm)

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

    def _add_shared(self, part: "_Sum", how: MeasuredAs | None, feature: str, sign: float, seated: bool) -> None:
        """What all readings of a gauge have in common, with those of the gauges it was set with. A learned seating has
        taken in the limits; the gauges may have been set again since."""
        gauges = self._job.measuring.gauges
        for gauge, _, share, alike in how.series if how is not None else ():
            for link in chain(gauges, gauge) if gauge is not None else ():
                self._add_common(part, setting_of(link), sign * share * alike)
        if not seated:
            self._add_always(part, how, feature, sign)

    def _add_always(self, part: "_Sum", how: MeasuredAs | None, feature: str, sign: float) -> None:
        """What gauges and their standards are off however often they are set."""
        gauges = self._job.measuring.gauges
        for gauge, _, share, alike in how.series if how is not None else ():
            for link in chain(gauges, gauge) if gauge is not None else ():
                for limit in (limit_of(link, feature), standard_limit_of(link)):
                    self._add_common(part, limit, sign * share * alike)

    def _add_common(self, part: "_Sum", name: str, sensitivity: float) -> None:
        if name in self.common:
            part.common[name] = part.common.get(name, 0.0) + sensitivity

    def _add_seating(self, part: "_Sum", kind: str, sign: float) -> None:
        name = seating_of(kind)
        part.common[name] = sign
        if self.common[name].degrees_of_freedom == 0:
            part.unknown[f"how certain the seating of {kind} is, as it came from one reading"] = None

    def _add_heat(self, part: "_Sum", kind: str, feature: str, how: MeasuredAs | None, grown_nm: float) -> None:
        """Temperatures and coefficients of expansion; `grown_nm` is the size, signed as it enters."""
        of_part = self._heat_of_part(kind, feature)
        if of_part is None:
            return  # nothing was corrected
        self._add_grown(part, of_part, -grown_nm)
        for gauge, _, share, alike in (how.series if how is not None else ()) or (Series(None, 1, 1.0),):
            self._add_grown(part, self._heat_of_gauge(gauge), grown_nm * share * alike)

    def _add_grown(self, part: "_Sum", heat: "_Heat", grown_nm: float) -> None:
        self._add_common(part, heat.temperature, grown_nm * heat.per_kelvin)
        self._add_common(part, heat.coefficient, grown_nm * heat.warmer * heat.known_to)

    def _heat_of_part(self, kind: str, feature: str) -> "_Heat | None":
        """None: no temperature or no material is given."""
        measuring = self._job.measuring
        temperature, coefficient = measuring.temperature, measuring.materials.get(kind, {}).get(feature)
        if temperature is None or coefficient is None:
            return None
        key = kind, feature
        if key not in self._heats:
            limit = measuring.material_limits.get(kind, {}).get(feature)
            name = CRANK if feature == "journal" else housings_of(kind)
            warmer, known = float(temperature.parts - REFERENCE_C), known_to(coefficient, limit)
            self._heats[key] = _Heat(heat_of(temperature, "parts"), float(coefficient), name, warmer, known)
        return self._heats[key]

    def _heat_of_gauge(self, gauge: str | None) -> "_Heat":
        """Where a temperature is given; of no named gauge nobody knows how far its coefficient is certain."""
        if gauge not in self._heats:
            gauges, temperature = self._job.measuring.gauges, self._job.measuring.temperature
            assert temperature is not None
            coefficient, name, known = expansion_of(gauges, gauge), "", 0.0
            if gauge is not None:
                scale = gauges[scale_of(gauges, gauge)]
                name = expansion_error_of(scale.name)
                known = known_to(coefficient, scale.expansion_limit if scale.expansion is not None else None)
            warmer = float(temperature.gauges - REFERENCE_C)
            self._heats[gauge] = _Heat(heat_of(temperature, "gauges"), float(coefficient), name, warmer, known)
        return self._heats[gauge]

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


class _Heat(NamedTuple):
    """What heat does to a part or a gauge: the name of its temperature, by how much it grows, the name of the error of
    its coefficient of expansion, how many kelvin it is above 20 degrees, and the limit of that coefficient."""

    temperature: str
    per_kelvin: float
    coefficient: str
    warmer: float
    known_to: float


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
