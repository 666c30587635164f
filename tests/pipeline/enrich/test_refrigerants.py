"""Saturation against a fixture, against equations published apart from CoolProp, and by its own laws."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.enrich.refrigerants import (
    add_saturation,
    bubble_psia,
    dew_psia,
    find_refrigerant,
    read_refrigerants,
    refrigerants,
    saturation_f,
    saturation_slope,
)
from tests.saturation import bubble_f, dew_f

DATA = Path(__file__).parents[2] / "data"
NAMES = sorted(r.name for r in refrigerants().values())
FIXTURE = pl.read_csv(DATA / "saturation_coolprop8.csv", comment_prefix="#")
ATMOSPHERE = 14.696

# Correlations carried by `chemicals` that were published apart from CoolProp's: the VDI Heat Atlas (PPDS form of the
# Wagner equation) and the Wagner coefficients of McGarry (1983). Fits of Antoine are 4 % off at 120 degF: not used.
INDEPENDENT_F = (0, 40, 60, 100, 120)


def test_the_contract_names_five_refrigerants_and_each_has_a_table() -> None:
    assert set(NAMES) >= {"R-22", "R-32", "R-407C", "R-410A", "R-454B"}


@pytest.mark.parametrize("name", NAMES)
def test_a_table_rises_covers_the_working_range_and_names_its_source(name: str) -> None:
    refrigerant = find_refrigerant(name)
    assert refrigerant.source
    assert refrigerant.temps_f[0] <= -40
    assert refrigerant.temps_f[-1] >= 150
    assert np.all(np.diff(refrigerant.log_dew) > 0)
    assert np.all(refrigerant.log_bubble >= refrigerant.log_dew)


@pytest.mark.parametrize("name", ["R-22", "R-32", "R-410A", "R-407C", "R-454B"])
def test_both_curves_agree_with_the_coolprop_fixture_both_ways(name: str) -> None:
    rows = FIXTURE.filter(pl.col("refrigerant") == name)
    temps, bubble, dew = (rows[c].to_numpy() for c in ("temp_f", "bubble_psia", "dew_psia"))
    assert np.abs(bubble_psia(name, temps) - bubble).max() < 0.02
    assert np.abs(dew_psia(name, temps) - dew).max() < 0.02
    assert np.abs(bubble_f(name, bubble) - temps).max() < 0.01
    assert np.abs(dew_f(name, dew) - temps).max() < 0.01


@pytest.mark.parametrize(
    ("curve", "name", "psig", "temp_f"),
    [  # gauge at sea level -> degF, computed once with CoolProp 8.0.0, not with our tables
        (dew_f, "R-22", 60, 33.87),
        (dew_f, "R-22", 70, 40.99),
        (dew_f, "R-410A", 110, 36.24),
        (dew_f, "R-410A", 118, 39.84),
        (dew_f, "R-410A", 130, 44.95),
        (bubble_f, "R-410A", 340, 104.61),
        (bubble_f, "R-410A", 400, 116.44),
        (dew_f, "R-32", 118, 38.72),
        (bubble_f, "R-32", 365, 108.07),
        (dew_f, "R-407C", 60, 37.80),
        (bubble_f, "R-407C", 250, 107.16),
        (dew_f, "R-454B", 118, 44.85),
        (bubble_f, "R-454B", 365, 113.39),
    ],
)
def test_gauge_pressures_of_the_field_give_their_temperature(curve, name: str, psig: float, temp_f: float) -> None:
    assert float(curve(name, psig + ATMOSPHERE)) == pytest.approx(temp_f, abs=0.01)


def test_bubble_and_dew_of_r407c_are_not_swapped() -> None:
    # A swap is an 11 degF error here and 0.2 degF on R-410A, which is why R-407C is the test.
    assert float(dew_f("R-407C", 65 + ATMOSPHERE)) == pytest.approx(41.3, abs=0.1)
    assert float(bubble_f("R-407C", 65 + ATMOSPHERE)) == pytest.approx(30.2, abs=0.1)
    assert float(bubble_f("R-407C", 260 + ATMOSPHERE)) == pytest.approx(109.9, abs=0.1)
    assert float(dew_f("R-407C", 260 + ATMOSPHERE)) == pytest.approx(118.5, abs=0.1)


@pytest.mark.parametrize(("name", "cas"), [("R-22", "75-45-6"), ("R-32", "75-10-5")])
@pytest.mark.parametrize(
    ("published", "form"),
    [("Psat_data_WagnerMcGarry", "Wagner_original"), ("Psat_data_VDI_PPDS_3", "Wagner")],
)
def test_pure_fluids_agree_with_independently_published_equations(name, cas, published, form) -> None:
    import chemicals

    row = getattr(chemicals.vapor_pressure, published).loc[cas]
    equation = getattr(chemicals, form)
    kelvin = (np.asarray(INDEPENDENT_F) + 459.67) / 1.8
    pascal = np.asarray([equation(t, row["Tc"], row["Pc"], row["A"], row["B"], row["C"], row["D"]) for t in kelvin])
    assert np.abs(dew_psia(name, INDEPENDENT_F) / (pascal / 6894.757) - 1).max() < 0.005


@pytest.mark.parametrize(
    ("name", "temps_c", "kpa"),
    [  # textbook tables quoted from memory: Moran & Shapiro A-7; Borgnakke & Sonntag B.4.1 (R-410A)
        ("R-22", (-20, 0, 20, 40), (245.3, 498.1, 910.3, 1533.5)),
        ("R-410A", (0, 10, 20, 30, 40, 50, 60), (798.7, 1085.7, 1444.2, 1885.1, 2421, 3065.2, 3836.9)),
    ],
)
def test_textbook_tables_from_memory_lie_within_half_a_percent(name, temps_c, kpa) -> None:
    temps_f = np.asarray(temps_c) * 1.8 + 32
    middle = (dew_psia(name, temps_f) + bubble_psia(name, temps_f)) / 2
    assert np.abs(middle * 6.894757 / np.asarray(kpa) - 1).max() < 0.005


@pytest.mark.parametrize(
    ("name", "psig", "sea_level_f", "high_f"),
    [("R-410A", 118.0, 39.84, 38.75), ("R-22", 68.5, 39.96, 38.24)],  # CoolProp 8.0.0 at 14.696 and 12.228 psia
)
def test_altitude_lowers_the_saturation_temperature_of_a_gauge_reading(name, psig, sea_level_f, high_f) -> None:
    frame = pl.DataFrame(
        {"refrigerant": [name] * 2, "suction_psig": [psig] * 2, "altitude_ft": [0.0, 5000.0]}
    ).with_columns(liquid_psig=pl.lit(None, dtype=pl.Float64))
    found = add_saturation(frame)["suction_saturation_f"].to_list()
    assert found == pytest.approx([sea_level_f, high_f], abs=0.01)


def test_unknown_refrigerant_missing_or_impossible_pressure_give_null_never_a_default() -> None:
    frame = pl.DataFrame(
        {
            "refrigerant": ["R-12", None, "R-22", "R-22", "R-22", "R410A"],
            "suction_psig": [60.0, 60.0, None, -14.7, 60.0, 118.0],
            "liquid_psig": [200.0, 200.0, 200.0, 200.0, 800.0, None],
            "altitude_ft": [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        }
    )
    found = add_saturation(frame)
    assert found["suction_saturation_f"].is_null().to_list() == [True, True, True, True, False, False]
    assert found["liquid_saturation_f"].is_null().to_list() == [True, True, False, False, True, True]
    with pytest.raises(KeyError, match="no saturation table for 'R-12'"):
        dew_psia("R-12", 40.0)


def test_row_order_changes_nothing() -> None:
    frame = pl.DataFrame(
        {
            "refrigerant": ["R-22", "R-32", None, "R-407C", "R-22"],
            "suction_psig": [60.0, 118.0, 60.0, 65.0, 70.0],
            "liquid_psig": [200.0, 365.0, 200.0, 260.0, 250.0],
            "altitude_ft": [0.0, 100.0, 0.0, 5000.0, 0.0],
        }
    )
    eager = add_saturation(frame)
    assert_frame_equal(add_saturation(frame.reverse()).reverse(), eager)


@settings(deadline=None)
@given(name=st.sampled_from(NAMES), low=st.floats(-90, 150), step=st.floats(0.001, 40))
def test_pressure_rises_with_temperature(name: str, low: float, step: float) -> None:
    high = min(low + step, 155.0)
    assert dew_psia(name, high) > dew_psia(name, low)
    assert bubble_psia(name, high) > bubble_psia(name, low)


@settings(deadline=None)
@given(name=st.sampled_from(NAMES), temp_f=st.floats(-95, 155))
def test_temperature_to_pressure_and_back_is_exact(name: str, temp_f: float) -> None:
    assert float(dew_f(name, dew_psia(name, temp_f))) == pytest.approx(temp_f, abs=0.01)
    assert float(bubble_f(name, bubble_psia(name, temp_f))) == pytest.approx(temp_f, abs=0.01)


@settings(deadline=None)
@given(name=st.sampled_from(NAMES), psia=st.floats(40, 500))
def test_the_slope_is_the_derivative_of_the_temperature(name: str, psia: float) -> None:
    rows = pl.DataFrame({"r": [name], "p": [psia]})
    slope = rows.select(saturation_slope(pl.col("r"), pl.col("p"), "dew")).item()
    numeric = float(dew_f(name, psia * 1.01) - dew_f(name, psia * 0.99)) / (0.02 * psia)
    assert slope == pytest.approx(numeric, rel=0.02)


def test_tables_come_from_coolprop_between_grid_points_too() -> None:
    from CoolProp.CoolProp import PropsSI

    for name, key in (("R-22", "R22"), ("R-410A", "R410A"), ("R-407C", "R407C")):
        for temp_f in (-49.5, 39.5, 111.5, 150.5):
            kelvin = (temp_f + 459.67) / 1.8
            for quality, curve in ((0, bubble_f), (1, dew_f)):
                psia = PropsSI("P", "T", kelvin, "Q", quality, key) / 6894.757293
                assert float(curve(name, psia)) == pytest.approx(temp_f, abs=0.005)


def test_one_file_in_a_folder_adds_a_refrigerant(tmp_path: Path) -> None:
    (tmp_path / "r_999.toml").write_text(
        'name = "R-999"\nsource = "invented"\nsafety_class = "A1"\ngwp = 1\nozone_depleting = false\n'
        "lowest_f = 0.0\nstep_f = 100.0\nbubble_psia = [10.0, 100.0]\ndew_psia = [10.0, 100.0]\n"
    )
    known = read_refrigerants(tmp_path)
    rows = pl.DataFrame({"r": ["r999", "R-22"], "p": [100.0**0.5 * 10**0.5, 50.0]})
    found = rows.select(saturation_f(pl.col("r"), pl.col("p"), "dew", known)).to_series().to_list()
    assert found == [pytest.approx(50.0), None]  # halfway in ln P is halfway in temperature


def test_a_table_with_swapped_columns_is_refused(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text(
        'name = "R-999"\nsource = "invented"\nsafety_class = "A1"\ngwp = 1\nozone_depleting = false\n'
        "lowest_f = 0.0\nstep_f = 1.0\nbubble_psia = [10.0, 11.0]\ndew_psia = [12.0, 13.0]\n"
    )
    with pytest.raises(ValueError, match="swapped"):
        read_refrigerants(tmp_path)
