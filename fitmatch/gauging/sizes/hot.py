"""Clearances at running temperature, as an estimate: a housing grows somewhere between freely, all of it of its own
material, and held by caps of steel. Shells are steel at the housing's temperature, coatings stay as they are."""

from collections.abc import Mapping
from fractions import Fraction

from fitmatch.gauging.sizes.corrections import REFERENCE_C
from fitmatch.gauging.sizes.materials import MATERIALS
from fitmatch.records.answers.placements import Placement


def hot_clearances(
    placement: Placement, materials: Mapping[str, Fraction], housing_c: float, journal_c: float
) -> dict[str, int]:
    """The clearance over the coating with the housing `held` and `free`, or `hot` where both are the same, in nm;
    `materials` has the coefficients of journal and housing_bore."""
    position = placement.position
    assert position.housing_bore is not None and position.journal is not None
    bore, journal = position.housing_bore.mean_nm, position.journal.mean_nm
    walls = placement.upper.metal_nm + placement.lower.metal_nm
    steel, housing, pin = MATERIALS["steel"], Fraction(housing_c) - REFERENCE_C, Fraction(journal_c) - REFERENCE_C
    rest = placement.clearance_over_coating_nm - materials["journal"] * pin * journal - steel * housing * walls
    held, free = (round(rest + coefficient * housing * bore) for coefficient in (steel, materials["housing_bore"]))
    return {"hot": held} if held == free else {"held": held, "free": free}
