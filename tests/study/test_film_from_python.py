"""`fitmatch.film`: what it refuses by name, and a frame that explains itself."""

import io
from math import nan

import pandas
import pytest

import fitmatch
from fitmatch import Bearing, InputError, Oil
from fitmatch.report.data.films import films_rows
from fitmatch.study.film.films import film

OIL = Oil(
    oil_40_mm2_s=100.0,
    oil_100_mm2_s=11.2,
    density_kg_m3=875.0,
    density_slope_kg_m3_k=0.65,
    heat_capacity_j_kg_k=2_100.0,
    inlet_c=90.0,
)
ROD = Bearing(50_000, 50_000_000, 20_000_000, 8_000.0, 3_000.0, OIL)
THIN = ROD._replace(oil=Oil(viscosity_mpa_s=10.0))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        *(({name: wrong}, name) for name in ("load_n", "speed_rpm") for wrong in (0.0, -1.0, nan, "much")),
        *(({name: wrong}, name) for name in ("width_nm", "lands", "journal_nm") for wrong in (0, -1, nan)),
        ({"lands": 9}, "lands: `9` is outside 1 to 8 lands"),
        ({"lands": 1, "feed_pressure_mpa": 0.3}, "lands: a full groove feeds two lands"),
        ({"feed_pressure_mpa": -0.3}, "feed_pressure_mpa: `-0.3` is outside 0 to 20 MPa"),
        ({"slope_nm": -1}, "slope_nm: `-1` is no such length; a slope of the gap over the width is 0 to 1 mm"),
        ({"clearance_nm": nan}, "clearance_nm: `nan`"),
        ({"clearance_nm": 3_000_000}, "clearance_nm: `3000000` is no such length"),
        ({"width_nm": 400_000_000}, "width_nm: a land is 0.02 to 5 times as wide"),
        ({"oil": OIL._replace(margin_k=61.0)}, "oil.margin_k: `61.0` is outside 0 to 60 K"),
        ({"oil": OIL._replace(density_kg_m3=None)}, "oil.density_kg_m3: is missing"),
        ({"oil": OIL._replace(density_slope_kg_m3_k=None)}, "oil.density_slope_kg_m3_k: is missing"),
        ({"oil": OIL._replace(heat_capacity_j_kg_k=None)}, "oil.heat_capacity_j_kg_k: is missing"),
        ({"oil": OIL._replace(inlet_c=None)}, "oil.inlet_c: is missing"),
        ({"oil": OIL._replace(inlet_c=125.0)}, "oil.inlet_c: `125` degrees Celsius is more than 20 K"),
        ({"oil": OIL._replace(oil_100_mm2_s=None)}, "oil.oil_100_mm2_s: is missing"),
        ({"oil": OIL._replace(oil_100_mm2_s=101.0)}, "oil.oil_100_mm2_s: is not below oil_40"),
        ({"oil": OIL._replace(viscosity_mpa_s=9.0)}, "oil.viscosity_mpa_s: of viscosity, oil_table"),
        ({"oil": Oil()}, "oil.viscosity_mpa_s: is missing"),
        ({"oil": Oil(viscosity_mpa_s=0.0)}, "oil.viscosity_mpa_s: `0.0` is outside"),
        ({"oil": OIL._replace(oil_40_mm2_s=None, oil_100_mm2_s=None, table=((100.0, 9.4), (40.0, 90.0)))},
         "oil.table: write its points coolest first"),
        ({"oil": OIL._replace(oil_40_mm2_s=None, oil_100_mm2_s=None, table=((40.0, 90.0), (100.0, nan)))},
         "oil.table: `nan` is outside"),
    ],
)  # fmt: skip
def test_what_the_command_refuses_is_refused_by_its_argument(changes: dict[str, object], words: str) -> None:
    """An InputError says which bearing and which argument, and what it may be."""
    with pytest.raises(InputError) as caught:
        fitmatch.film([THIN, ROD._replace(**changes)])  # type: ignore[arg-type]
    assert str(caught.value).startswith("bearings[1]: ") and words in str(caught.value)


def test_every_mistake_is_told_at_once() -> None:
    """Mistakes of one bearing and of the next come together, in their order."""
    with pytest.raises(InputError) as caught:
        fitmatch.film([ROD._replace(load_n=0.0, speed_rpm=0.0), ROD._replace(slope_nm=-1)])
    assert [(p.file, p.column) for p in caught.value.problems] == [
        ("bearings[0]", "load_n"), ("bearings[0]", "speed_rpm"), ("bearings[1]", "slope_nm"),
    ]  # fmt: skip


def test_what_is_in_order_is_worked_out_as_by_the_study() -> None:
    """The checks change no figure; a position that has lost its clearance is no mistake but a caution."""
    some = [ROD, THIN, ROD._replace(lands=2, feed_pressure_mpa=0.3, slope_nm=500), ROD._replace(clearance_nm=0)]
    assert fitmatch.film(some).rows == film(some).rows
    assert fitmatch.film([ROD._replace(position="R1", clearance_nm=-5)]).rows[0].cautions == ("no-clearance",)


def test_the_frame_is_the_csv() -> None:
    """Each column and each cell of `--csv` is in it, lengths with their unit in the name: kind, journal, slope, lands,
    feed, the oil as given, remark, flow and what such a film cannot tell."""
    some = [
        ROD._replace(position="R1", kind="rod", within_limits=False, slope_nm=1_000, lands=2, feed_pressure_mpa=0.3),
        ROD._replace(position="R2", kind="rod", state="free", oil=OIL._replace(high_shear_mpa_s=3.0)),
        ROD._replace(clearance_nm=12_000),
        THIN,
    ]
    found = fitmatch.film(some)
    for unit in ("mm", "in"):
        frame = found.to_frame(unit)
        same = pandas.read_csv(io.StringIO(films_rows(found, unit)))
        assert list(frame.columns) == list(same.columns) and f"journal [{unit}]" in frame
        for name in frame:
            for cell, other in zip(frame[name], same[name], strict=True):
                assert cell == other or ((pandas.isna(cell) or cell == "") and pandas.isna(other)), name
    first, free, hot, thin = found.to_frame().to_dict("records")
    assert (first["journal [mm]"], first["slope [mm]"], first["lands"]) == (50, 0.001, 2)
    assert (first["remark"], first["flow"], thin["flow"]) == ("NOT TO BE ASSEMBLED", "laminar", "unchecked")
    assert (first["inlet_temperature_c"], first["heat_capacity_j_kg_k"], free["high_shear_mpa_s"]) == (90, 2100, 3)
    assert hot["cautions"] == "beyond-oil" and "Hot clearances are estimates" in free["caution"]
    assert all("certifies none" in row["caution"] for row in (first, free, hot, thin))
    assert fitmatch.film([]).to_frame().columns.tolist() == frame.columns.str.replace("[in]", "[mm]").tolist()
