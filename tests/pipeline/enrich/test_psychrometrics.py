"""Moist air against the ASHRAE handbook's printed values and against psychrolib."""

from __future__ import annotations

import numpy as np
import polars as pl
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.enrich.psychrometrics import (
    complete_rows,
    humidity_ratio,
    moist_enthalpy_btu_lb,
    solve_wet_bulb_f,
    specific_volume_ft3_lb,
    standard_atmosphere_psia,
    vapor_saturation_psia,
    wet_bulb_f,
)

psychrolib.SetUnitSystem(psychrolib.IP)


def array(*values: float) -> np.ndarray:
    return np.asarray(values, dtype=np.float64)


def relative_humidity_pct(dry_bulb_f: np.ndarray, wet_bulb_f: np.ndarray, psia: np.ndarray) -> np.ndarray:
    """Return relative humidity [%] by definition: vapour pressure from the humidity ratio, over that of saturation."""
    ratio = humidity_ratio(dry_bulb_f, wet_bulb_f, psia)
    return 100.0 * psia * ratio / (0.621945 + ratio) / vapor_saturation_psia(dry_bulb_f)


@pytest.mark.parametrize(
    ("altitude_ft", "psia"),
    [(-1000, 15.236), (0, 14.696), (1000, 14.175), (3000, 13.173), (10000, 10.108), (30000, 4.371)],
)
def test_standard_atmosphere_is_the_handbooks_table_1(altitude_ft: float, psia: float) -> None:
    # ASHRAE Handbook of Fundamentals 2017, chapter 1, table 1
    assert pl.select(standard_atmosphere_psia(pl.lit(altitude_ft))).item() == pytest.approx(psia, abs=0.01)


@pytest.mark.parametrize(("temp_f", "psia"), [(23.0, 0.058268), (41.0, 0.12656), (77.0, 0.45973), (122.0, 1.79140)])
def test_vapour_saturation_is_the_handbooks_table_3(temp_f: float, psia: float) -> None:
    # same, table 3
    assert vapor_saturation_psia(array(temp_f))[0] == pytest.approx(psia, rel=3e-4)


@pytest.mark.parametrize(("temp_f", "ratio", "enthalpy"), [(41.0, 0.005425, 15.699), (77.0, 0.020173, 40.576)])
def test_saturated_air_is_the_handbooks_table_2(temp_f: float, ratio: float, enthalpy: float) -> None:
    # same, table 2: saturated moist air at 14.696 psia
    t, p = array(temp_f), array(14.696)
    assert humidity_ratio(t, t, p)[0] == pytest.approx(ratio, rel=0.005)
    assert moist_enthalpy_btu_lb(t, t, p)[0] == pytest.approx(enthalpy, rel=0.01)


def test_worked_example_1_of_the_handbook() -> None:
    # same, example 1: 100 degF dry bulb, 65 degF wet bulb, 14.696 psia
    state = array(100.0), array(65.0), array(14.696)
    assert humidity_ratio(*state)[0] == pytest.approx(0.00523, abs=1e-4)
    assert relative_humidity_pct(*state)[0] == pytest.approx(13.0, abs=1.0)
    assert moist_enthalpy_btu_lb(*state)[0] == pytest.approx(29.80, abs=0.1)
    assert specific_volume_ft3_lb(*state)[0] == pytest.approx(14.22, rel=0.01)


def test_humidity_ratio_of_a_published_state() -> None:
    # reference number in psychrolib's public tests: 86 degF, 77 degF wet bulb, 14.175 psia
    assert humidity_ratio(array(86.0), array(77.0), array(14.175))[0] == pytest.approx(0.0187193, rel=3e-4)


@pytest.mark.parametrize(
    ("dry_bulb_f", "rh_pct", "altitude_ft", "wet_f"),
    [(80, 50, 0, 66.66), (80, 50, 5000, 65.88), (75, 50, 0, 62.55), (75, 50, 5280, 61.72)],
)
def test_wet_bulb_from_humidity_falls_with_altitude(dry_bulb_f, rh_pct, altitude_ft, wet_f) -> None:
    # computed with psychrolib 2.5.0
    frame = pl.DataFrame({"db": [float(dry_bulb_f)], "rh": [float(rh_pct)], "ft": [float(altitude_ft)]})
    found = frame.select(wet_bulb_f(pl.col("db"), pl.col("rh"), standard_atmosphere_psia(pl.col("ft")))).item()
    assert found == pytest.approx(wet_f, abs=0.01)


@settings(deadline=None)
@given(dry_bulb=st.floats(40, 110), rh_pct=st.floats(1, 100), psia=st.floats(9.5, 15.0))
def test_wet_bulb_is_psychrolibs_over_the_contracts_range(dry_bulb: float, rh_pct: float, psia: float) -> None:
    ours = solve_wet_bulb_f(array(dry_bulb), array(rh_pct), array(psia))[0]
    theirs = psychrolib.GetTWetBulbFromRelHum(dry_bulb, rh_pct / 100, psia)
    # the handbook's formula jumps at the freezing point (over ice, over water): there both sides have a solution
    tolerance = 0.002 if min(abs(theirs - 32), abs(ours - 32)) > 2.0 else 2.0
    assert ours == pytest.approx(theirs, abs=tolerance)


@settings(deadline=None)
@given(dry_bulb=st.floats(40, 110), depression=st.floats(0, 25), psia=st.floats(9.5, 15.0))
def test_wet_bulb_to_humidity_and_back(dry_bulb: float, depression: float, psia: float) -> None:
    wet = max(dry_bulb - depression, 35.0)
    rh_pct = relative_humidity_pct(array(dry_bulb), array(wet), array(psia))
    if rh_pct[0] > 0:
        assert solve_wet_bulb_f(array(dry_bulb), rh_pct, array(psia))[0] == pytest.approx(wet, abs=0.01)


@settings(deadline=None)
@given(dry_bulb=st.floats(40, 110), depression=st.floats(0, 25), psia=st.floats(9.5, 15.0))
def test_enthalpy_is_psychrolibs(dry_bulb: float, depression: float, psia: float) -> None:
    wet = max(dry_bulb - depression, 35.0)
    ratio = psychrolib.GetHumRatioFromTWetBulb(dry_bulb, wet, psia)
    ours = moist_enthalpy_btu_lb(array(dry_bulb), array(wet), array(psia))[0]
    assert ours == pytest.approx(psychrolib.GetMoistAirEnthalpy(dry_bulb, ratio), abs=0.01)


def test_null_in_null_out() -> None:
    frame = pl.DataFrame({"db": [80.0, None, 80.0], "wb": [67.0, 67.0, None], "p": [14.696] * 3})
    found = frame.select(complete_rows(moist_enthalpy_btu_lb, pl.col("db"), pl.col("wb"), pl.col("p"))).to_series()
    # 80/67 at sea level, the standard rating point: 31.447 Btu/lb by psychrolib 2.5.0
    assert found.to_list() == [pytest.approx(31.447, abs=0.01), None, None]


def test_a_library_of_scalars_and_our_columns_agree_at_altitude() -> None:
    # 75 degF dry bulb, 63 degF wet bulb at 5,000 ft (12.2268 psia): 54.09 % humidity by psychrolib 2.5.0
    psia = pl.select(standard_atmosphere_psia(pl.lit(5000.0))).item()
    assert relative_humidity_pct(array(75.0), array(63.0), array(psia))[0] == pytest.approx(54.09, abs=0.02)
