"""What a comparison found: tables of figures, each row of them what `fitmatch assign` would print for the same
question."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import JobPlan, Plan, Proof
from fitmatch.records.job import Job
from fitmatch.stages import now
from fitmatch.study.film.films import Row as Film

if TYPE_CHECKING:
    import pandas

BY_STRATEGY: Final = ("target", "even", "keep-sets")
BASELINES: Final = ("as-boxed", "by-hand")
FILM_FIGURES: Final = (
    "min_film_thickness_um",
    "edge_film_thickness_um",
    "friction_power_w",
    "side_flow_mm3_s",
    "feed_flow_mm3_s",
    "temperature_rise_k",
    "effective_temperature_c",
)


class Found(NamedTuple):
    """What one question gave for one kind, or for one group of jobs that decide it together; `job` is the job where
    each has the shells alone. `positions`: how many there are, filled or not."""

    job: str
    kind: str
    positions: int
    figures: KindFigures
    proof: Proof

    @property
    def unfilled(self) -> int:
        return self.positions - self.figures.filled


class PlanFilms(NamedTuple):
    """The films of all filled positions of a kind, at their clearances as calculated. Where one of them has no figure,
    neither has the plan: the others alone would make it look better."""

    rows: tuple[Film, ...]

    @property
    def thinnest(self) -> Film | None:
        """The one with the smallest thickness, at the tighter end if the gap slopes."""
        known = all(row.edge_film_thickness_um is not None for row in self.rows)
        return min(self.rows, key=lambda row: row.edge_film_thickness_um or 0.0, default=None) if known else None

    @property
    def min_film_thickness_um(self) -> float | None:
        return None if self.thinnest is None else self.thinnest.min_film_thickness_um

    @property
    def edge_film_thickness_um(self) -> float | None:
        return None if self.thinnest is None else self.thinnest.edge_film_thickness_um

    @property
    def thinnest_at(self) -> str | None:
        return None if self.thinnest is None else self.thinnest.bearing.position

    @property
    def friction_power_w(self) -> float | None:
        return self._sum("friction_power_w")

    @property
    def side_flow_mm3_s(self) -> float | None:
        return self._sum("side_flow_mm3_s")

    @property
    def feed_flow_mm3_s(self) -> float | None:
        return self._sum("feed_flow_mm3_s")

    @property
    def temperature_rise_k(self) -> float | None:
        return self._largest("temperature_rise_k")

    @property
    def effective_temperature_c(self) -> float | None:
        return self._largest("effective_temperature_c")

    @property
    def outside(self) -> tuple[str, ...]:
        """The positions outside their limits: not to be assembled, whatever their film."""
        return tuple(row.bearing.position or "" for row in self.rows if row.bearing.within_limits is False)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Of all of them, each once."""
        return tuple(dict.fromkeys(caution for row in self.rows for caution in row.cautions))

    def _sum(self, name: str) -> float | None:
        values = [getattr(row, name) for row in self.rows]
        return None if self.thinnest is None else sum(values)

    def _largest(self, name: str) -> float | None:
        """None at constant viscosity, of which no temperature is known."""
        values = [value for row in self.rows if (value := getattr(row, name)) is not None]
        return None if self.thinnest is None else max(values, default=None)

    def record(self) -> dict[str, object]:
        """The figures by name."""
        named = {name: getattr(self, name) for name in FILM_FIGURES}
        told = {"film_outside": self.outside, "film_cautions": self.cautions}
        return named | {"thinnest_at": self.thinnest_at} | {name: ", ".join(names) for name, names in told.items()}


class PlanRow(NamedTuple):
    """One way of choosing. `joint_chance`: None where too little is known, or a position is not filled.
    `leftover_sets`: None where it could not be counted in time. `equal`: the plans whose worst deviation differs from
    this one's by less than measurement can tell; `same`: those of them that place the same shells. `films`: None unless
    asked for and the kind has a [film] table, in all of its jobs."""

    plan: str
    found: Found
    joint_chance: float | None
    leftover_sets: int | None
    rules_broken: int
    equal: tuple[str, ...] = ()
    same: tuple[str, ...] = ()
    films: PlanFilms | None = None


class TargetRow(NamedTuple):
    """Every position of the kind aimed at one clearance; `best`: no other target asked for is met better. `outside`:
    the positions that are not inside their limits, filled or not. `joint_chance` as of a plan. `near_min`, `near_max`:
    how many are inside by less than U; None where it is not known of all."""

    target_nm: int
    found: Found
    best: bool = False
    outside: tuple[str, ...] = ()
    joint_chance: float | None = None
    near_min: int | None = None
    near_max: int | None = None


class RuleRow(NamedTuple):
    """One of the shop's own rules let go, by its key in [rules]."""

    rule: str
    found: Found


class BoxesRow(NamedTuple):
    """Only these boxes opened, of all that there are `without` those."""

    opened: tuple[str, ...]
    without: tuple[str, ...]
    found: Found


class LeftOut(NamedTuple):
    """Boxes that cannot be the only ones opened: shells of `locked` are locked in."""

    job: str
    kind: str
    opened: tuple[str, ...]
    locked: tuple[str, ...]


class Point(NamedTuple):
    """A plan that no other one beats both in its worst deviation and in `against`, which is "boxes" or "spread"."""

    against: str
    found: Found


@dataclass(frozen=True, slots=True)
class Compared:
    """All tables; None where one was not asked for. `answers` are the plans by the strategy asked for: one, or one for
    each job where each has the shells alone, `names` then being theirs."""

    answers: tuple[Plan, ...]
    names: tuple[str, ...]
    plans: tuple[PlanRow, ...]
    targets: tuple[TargetRow, ...] | None = None
    rules: tuple[RuleRow, ...] | None = None
    boxes: tuple[BoxesRow, ...] | None = None
    left_out: tuple[LeftOut, ...] = ()
    trade_off: tuple[Point, ...] | None = None
    films: bool = False  # whether the plans have films beside them
    complete: bool = True  # False: time ran out before all rows of the further tables

    @property
    def strategy(self) -> str:
        """Of the answers."""
        return self.answers[0].strategy

    @property
    def jobs(self) -> tuple[Job, ...]:
        """All jobs, as they were read."""
        return tuple(one.read for one in self.job_plans)

    @property
    def job_plans(self) -> tuple[JobPlan, ...]:
        """The part of each job in the answers."""
        return tuple(one for answer in self.answers for one in answer.plans)

    @property
    def warnings(self) -> tuple[str, ...]:
        return tuple(warning for answer in self.answers for warning in answer.warnings)

    @property
    def found(self) -> Iterator[Found]:
        """What stands in all rows of all tables."""
        for table in (self.plans, self.targets, self.rules, self.boxes, self.trade_off):
            yield from (row.found for row in table or ())

    @property
    def proven(self) -> bool:
        return self.complete and all(found.proof.proven for found in self.found)

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        doubtful = any(row.films.cautions for row in self.plans if row.films is not None)
        return not self.proven or doubtful or any(answer.needs_attention for answer in self.answers)

    def records(self) -> Iterator[dict[str, object]]:
        """Every row of every table by the names of its columns; lengths in nanometres end in `_nm`, squares in
        `_nm2`."""
        for plan in self.plans:
            more: dict[str, object] = {"joint_chance": plan.joint_chance, "leftover_sets": plan.leftover_sets}
            more["rules_broken"] = plan.rules_broken
            if plan.films is not None:
                more |= plan.films.record()
            more |= {"equal": ", ".join(plan.equal), "same": ", ".join(plan.same)}
            yield _record("plans", plan.found, plan=plan.plan, **more)
        for target in self.targets or ():
            sure: dict[str, object] = {"joint_chance": target.joint_chance}
            sure |= {"near_min": target.near_min, "near_max": target.near_max}
            told = {"best": target.best, "outside": ", ".join(target.outside), **sure}
            yield _record("targets", target.found, target_nm=target.target_nm, **told)
        for rule in self.rules or ():
            yield _record("rules", rule.found, rule=rule.rule)
        for boxes in self.boxes or ():
            some = {"opened": ", ".join(boxes.opened), "without": ", ".join(boxes.without)}
            yield _record("boxes", boxes.found, **some)
        for point in self.trade_off or ():
            yield _record("trade_off", point.found, against=point.against)

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per row of the tables, whose name is in the column `table`; lengths as floats in `unit`, else the
        first job's. Pandas is imported here."""
        import pandas

        now("loading pandas")
        per_unit = NM_PER_UNIT[unit or self.jobs[0].unit]
        return pandas.DataFrame([dict(_floats(record, per_unit)) for record in self.records()])


def _record(table: str, found: Found, **own: object) -> dict[str, object]:
    job = {"job": found.job} if found.job else {}
    figures = {"positions": found.positions, **found.figures._asdict()}
    return {"table": table, **job, "kind": found.kind, **own, **figures, "proven": found.proof.proven}


def _floats(record: dict[str, object], per_unit: int) -> Iterator[tuple[str, object]]:
    for name, value in record.items():
        if isinstance(value, int) and name.endswith("_nm"):
            yield name.removesuffix("_nm"), value / per_unit
        elif isinstance(value, int) and name.endswith("_nm2"):
            yield name.removesuffix("_nm2"), value / per_unit**2
        else:
            yield name.removesuffix("_nm").removesuffix("_nm2"), value
