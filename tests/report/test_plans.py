"""The hand-made plans of the tests of the output are what they claim to be."""

from made.plans import clean_plan, nm, troubled_plan


def test_hand_made_plans_hold_together() -> None:
    """The hand-made plans have the clearances that their numbers give, and the troubled one has every trouble once."""
    r1, r2 = clean_plan().placements
    assert (r1.clearance_nm, r2.clearance_nm) == (nm("0.00225"), nm("0.00215"))
    plan = troubled_plan()
    assert [p.position.name for p in plan.placements if not p.within_limits] == ["R3"]
    assert [p.name for p in plan.plans[0].unmeasured_positions] == ["R5"]
    assert [u.position.name for u in plan.unfilled] == ["R4"]
    assert plan.needs_attention and not clean_plan().needs_attention
