"""Hand-made plans for the tests of the output, and a check that they are what they claim to be."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from fitmatch.lengths import parse_length
from fitmatch.measuring import Reading
from fitmatch.parts import Fit, Job, Position, Shell, Size
from fitmatch.plans import Baseline, Flag, Placement, Plan, Proof, Status, Unfilled, figures_of

_TOO_TIGHT = (
    "NOT TO BE ASSEMBLED: the thinnest pair is 2.5 tenths too thick, clearance by the tightest readings 0.00155 in, "
    "min 0.00180 in"
)


def nm(text: str, unit: str = "in") -> int:
    return parse_length(text, unit, inch_job=unit == "in")[0]


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
    unfilled: Mapping[str, str] | None = None,
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
        digest="0123abcd",
    )
    figures = {kind: figures_of(tuple(p for p in placements if p.position.kind == kind)) for kind in kinds}
    baseline = {kind: Baseline(f, rules_broken=1) for kind, f in figures.items()}
    return Plan(
        job=job,
        strategy="target",
        status=Status.PROVEN if placements else Status.NONE,
        placements=tuple(placements),
        unfilled=tuple(Unfilled(p, unfilled[p.name]) for p in others if unfilled and p.name in unfilled),
        figures=figures,
        proofs={kind: Proof() for kind in kinds},
        leftover=tuple(s for s in shells if s.wall_nm is not None and s.hold is None),
        held=tuple(s for s in shells if s.hold is not None),
        baselines={"as-boxed": baseline, "by-hand": baseline},
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
    main = Placement(seated, coated, shell("A2", "lower", "0.0954", box="mains", kind="main"))
    plan = plan_of(
        [r1, r2, tight, main],
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
        unfilled={"R4": "housing bore 1.94300 in lies outside the drawing's band of 1.94150 to 1.94250 in"},
    )
    return replace(
        plan,
        status=Status.UNPROVEN,
        proofs={"rod": Proof(False, "worst_deviation", nm("0.00005")), "main": Proof()},
        flags=(
            Flag("R2", "housing-bore-outside-drawing", "housing bore outside its drawing; accepted: sleeved and bored"),
            Flag("R3", "below-min", _TOO_TIGHT),
        ),
    )


def test_hand_made_plans_hold_together() -> None:
    """The hand-made plans have the clearances that their numbers give, and the troubled one has every trouble once."""
    r1, r2 = clean_plan().placements
    assert (r1.clearance_nm, r2.clearance_nm) == (nm("0.00225"), nm("0.00215"))
    plan = troubled_plan()
    assert [p.position.name for p in plan.placements if not p.within_limits] == ["R3"]
    assert [p.name for p in plan.unmeasured_positions] == ["R5"]
    assert [u.position.name for u in plan.unfilled] == ["R4"]
    assert plan.needs_attention and not clean_plan().needs_attention
