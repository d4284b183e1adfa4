"""Hand-made plans for the tests of the output."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from made.jobs import with_given
from oracles.rulebook import Rules, records

from fitmatch.facts import Fact
from fitmatch.lengths import parse_length
from fitmatch.records.answers.placements import Placement, figures_of
from fitmatch.records.answers.plans import Baseline, Flag, GroupAnswer, JobPlan, Plan, Proof, Unfilled
from fitmatch.records.job import Job
from fitmatch.records.measuring import Reading
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.records.pools import Group

ACCEPTED = "the housing bore, 1.94200 in, is outside its drawing limits, 1.94210 in to 1.94250 in; accepted: "
TOO_TIGHT = (
    "needs walls totalling 0.12295 to 0.12380 in; the thinnest admissible pair in these boxes totals 0.12405 in: 2.5 "
    "tenths too thick, clearance at the tightest places 0.00155 in, min 0.00180 in"
)


def nm(text: str, unit: str = "in") -> int:
    return parse_length(text, unit, inch_job=unit == "in")[0]


def no_upper_half(kind: str = "rod") -> Fact:
    """Why a position of the kind is empty where there is no shell at all."""
    return Fact("no-half", {"side": "upper", "kind": kind, "halves": 0, "unmet": (), "demands": (), "aside": {}})


def accepted(position: str, reason: str) -> Flag:
    """The flag of a housing bore outside its drawing: `ACCEPTED` and the reason."""
    slots = {"size_nm": nm("1.9420"), "low_nm": nm("1.9421"), "high_nm": nm("1.9425"), "accepted": reason}
    what = Fact("off-drawing", {"feature": "housing_bore", "shell": None, **slots})
    return Flag(position, "housing-bore-outside-drawing", what)


def too_tight(position: str) -> Flag:
    """The flag of a bore below its min: `TOO_TIGHT`."""
    figures = {"gap_nm": nm("0.00025"), "clearance_nm": nm("0.00155"), "limit_nm": nm("0.0018")}
    miss = Fact("too-thick", {**figures, "scattered": True, "guarded": False})
    bounds = {"least_nm": nm("0.12295"), "most_nm": nm("0.1238"), "below_nm": nm("0.1256"), "gap_nm": nm("0.00025")}
    near = ({"walls_nm": nm("0.12405"), "miss": miss},)
    why = Fact("no-pair", {"needs": bounds, "near": near, "short": None})
    return Flag(position, "below-min", Fact("misfit", {"walls_nm": nm("0.12405"), "misses": (miss,), "why": why}))


def size(*readings: str, unit: str = "in") -> Size:
    values = [nm(text, unit) for text in readings]
    return Size(sum(values) // len(values), min(values), max(values), tuple(map(Reading, values)))


def shell(name: str, half: str, wall: str | None, *, box: str = "box-1", kind: str = "rod", unit: str = "in") -> Shell:
    return Shell(name, box, kind, half, None if wall is None else nm(wall, unit))


def position(name: str, journal: Size | None, bore: Size | None, *, kind: str = "rod") -> Position:
    return Position(name, kind, journal, bore, nm("0.0022"), nm("0.0018"), nm("0.0028"))


def plan_of(
    placements: Sequence[Placement],
    *,
    others: Sequence[Position] = (),
    shells: Sequence[Shell] = (),
    unfilled: Mapping[str, Fact] | None = None,
    title: str = "Sawmill engine, winter overhaul",
    unit: str = "in",
) -> Plan:
    """A plan whose figures follow from its placements; `others` are positions without shells, `shells` are left over
    unless they are held or unmeasured, `unfilled` says why a position is empty."""
    positions = (*(p.position for p in placements), *others)
    kinds = tuple(dict.fromkeys(p.kind for p in positions))
    placed = [s for p in placements for s in (p.upper, p.lower)]
    job = Job(
        folder=Path("sawmill"),
        title=title,
        unit=unit,
        fits={kind: Fit(kind) for kind in kinds},
        positions=positions,
        shells=(*placed, *shells),
        rules=records(Rules()),
        digest="0123abcd",
    )
    groups = []
    for kind in kinds:
        figures = figures_of([p for p in placements if p.position.kind == kind])
        baseline = Baseline(figures, rules_broken=1)
        both = {"as-boxed": baseline, "by-hand": baseline}
        groups.append(GroupAnswer(Group(kind, kind, (0,)), 0, figures, Proof(), both))
    empty = tuple(Unfilled(p, unfilled[p.name]) for p in others if unfilled and p.name in unfilled)
    return Plan(
        (JobPlan(job, tuple(placements), empty),),
        tuple(groups),
        strategy="target",
        leftover=tuple(s for s in shells if s.wall_nm is not None and s.hold is None),
        held=tuple(s for s in shells if s.hold is not None),
    )


def clean_plan() -> Plan:
    """Two rods from two boxes, both inside their limits, nothing left over."""
    return plan_of(
        [
            Placement(
                position("R1", size("1.8162"), size("1.9421")),
                shell("03", "upper", "0.06185"),
                shell("07", "lower", "0.0618", box="box-2"),
            ),
            Placement(
                position("R2", size("1.8161"), size("1.9420")),
                shell("04", "upper", "0.06185"),
                shell("08", "lower", "0.0619", box="box-2"),
            ),
        ]
    )


def troubled_plan() -> Plan:
    """Everything that can be the matter: out of limits, unfilled, unmeasured, flagged, coated, held, unproven."""
    r1, r2 = clean_plan().placements
    tight = Placement(
        position("R3", size("1.8162", "1.8164"), size("1.9421", "1.9420")),
        shell("05", "upper", "0.06205"),
        shell("09", "lower", "0.0620", box="box-2"),
    )
    seated = replace(position("M1", size("2.2480"), size("2.4410"), kind="main"), seating_nm=nm("0.0001"))
    coated = replace(
        shell("A1", "upper", "0.0954", box="mains", kind="main"),
        coating_nm=nm("0.0003"),
        wall_to_metal_nm=nm("0.0951"),
    )
    mains = Placement(seated, coated, shell("A2", "lower", "0.0954", box="mains", kind="main"))
    plan = plan_of(
        [r1, r2, tight, mains],
        others=[
            position("R4", size("1.8162"), size("1.9430")),
            position("R5", None, size("1.9421")),
        ],
        shells=[
            replace(shell("10", "upper", "0.0619"), grade="2"),
            replace(shell("11", "upper", "0.06195"), grade="2"),
            shell("12", "lower", "0.0618"),
            shell("13", "lower", None),
            replace(shell("14", "lower", "0.0617"), hold="scratched by the wash"),
        ],
        unfilled={
            "R4": Fact("bore-refused", {"bore_nm": nm("1.943"), "low_nm": nm("1.9415"), "high_nm": nm("1.9425")})
        },
    )
    rod, main = plan.groups
    stopped = rod._replace(proof=Proof(False, "worst_deviation", nm("0.00005")))
    return with_given(
        replace(plan, groups=(stopped, main)),
        flags=(accepted("R2", "sleeved and bored"), too_tight("R3")),
    )
