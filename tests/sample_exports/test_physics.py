"""The simulated operating points hold together, and react to faults the way published studies say."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sample_exports.generator import physics
from sample_exports.generator.words import FIXED, REFRIGERANTS, TXV

SIGNS = Path(__file__).parents[1] / "data" / "fault_signs_rossi_braun.csv"
QUANTITY = {
    "t_evap": lambda p: p["evaporating_f"],
    "t_sh": lambda p: p["superheat_f"],
    "t_cond": lambda p: p["condensing_f"],
    "t_sc": lambda p: p["subcooling_f"],
    "t_hg": lambda p: p["discharge_line_f"],
    "dt_ca": lambda p: p["condenser_leaving_f"],
    "dt_ea": lambda p: -p["supply_db_f"],
}


def point(metering: int = FIXED, **changes: float) -> dict[str, np.ndarray]:
    given = {
        "target_subcooling_f": 10.0,
        "approach_f": 20.0,
        "superheat_bias_f": 0.0,
        "charge_pct": 0.0,
        "fouling": 0.0,
        "airflow": 1.0,
        "outdoor_db_f": 90.0,
        "return_db_f": 76.0,
        "return_wb_f": 64.0,
    } | changes
    return physics.cooling_point(metering=np.array([metering]), **{k: np.array([v]) for k, v in given.items()})


def test_an_orifice_at_nominal_charge_runs_on_the_published_target() -> None:
    # "Target Superheat", trade training page: wet bulb 64, outdoor 96 -> (3 * 64 - 80 - 96) / 2 = 8
    assert point(outdoor_db_f=96.0)["superheat_f"][0] == pytest.approx(8.0)


def test_charge_shows_in_superheat_on_an_orifice_and_in_subcooling_on_a_valve() -> None:
    # common practice, no source: 10 % low shows plainly in the one and hardly in the other
    assert point(charge_pct=-10.0)["superheat_f"] - point()["superheat_f"] > 6.0
    assert point(TXV, charge_pct=-10.0)["superheat_f"] - point(TXV)["superheat_f"] < 1.0
    assert point(TXV, charge_pct=-10.0)["subcooling_f"] - point(TXV)["subcooling_f"] < -5.0
    assert point(TXV, charge_pct=-30.0)["superheat_f"] - point(TXV)["superheat_f"] > 10.0  # the valve is starved


FAULTS = {
    "refrigerant_leak": {"charge_pct": -12.0},
    "condenser_fouling": {"fouling": 0.6},
    "evaporator_fouling": {"airflow": 0.8},
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_move_readings_the_published_way(fault: str) -> None:
    """Signs of residuals: Rossi & Braun 1997, HVAC&R Research 3(1), as tabled in a thesis (see the data file)."""
    rows = csv.DictReader(line for line in SIGNS.read_text("utf-8").splitlines() if not line.startswith("#"))
    signs = next(row for row in rows if row["fault"] == fault)
    before, after = point(), point(**FAULTS[fault])
    for name, of in QUANTITY.items():
        assert np.sign(of(after)[0] - of(before)[0]) == int(signs[name]), name


@pytest.mark.parametrize("name", ["R-22", "R-32", "R-410A", "R-407C"])
def test_pressures_give_the_simulated_superheat_back(name: str) -> None:
    """Against CoolProp, which the generator does not use: dew for superheat, bubble for subcooling."""
    from CoolProp.CoolProp import PropsSI

    fluid = name.replace("-", "")
    state = point(charge_pct=-6.0)
    suction, liquid = physics.gauge_pressures(np.array([REFRIGERANTS.index(name)]), state)
    dew = PropsSI("T", "P", (suction[0] + 14.696) * 6894.757, "Q", 1, fluid) * 1.8 - 459.67
    bubble = PropsSI("T", "P", (liquid[0] + 14.696) * 6894.757, "Q", 0, fluid) * 1.8 - 459.67
    assert state["suction_line_f"][0] - dew == pytest.approx(state["superheat_f"][0], abs=0.05)
    assert bubble - state["liquid_line_f"][0] == pytest.approx(state["subcooling_f"][0], abs=0.05)


def test_capacitor_amps_follow_the_trade_formula() -> None:
    # 28.13 uF at 330 V carries 3.5 A: 2652.58 * 3.5 / 330 (trade page "Replace Blower Run Capacitor" gives 2652)
    assert physics.start_winding_amps(np.array([28.13]), np.array([330.0]))[0] == pytest.approx(3.5, abs=0.001)


def test_humidity_agrees_with_the_standard_equations() -> None:
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.IP)
    for dry, wet in ((75.0, 62.55), (72.0, 58.0), (80.0, 67.0)):
        exact = 100.0 * psychrolib.GetRelHumFromTWetBulb(dry, wet, 14.696)
        assert physics.wet_bulb_to_humidity_pct(np.array([dry]), np.array([wet]))[0] == pytest.approx(exact, abs=1.0)


def test_readings_of_a_whole_shop_recompute_to_the_truth(shop: dict[str, pl.DataFrame]) -> None:
    """Typed pressures and line temperatures give the true superheat back within what gauges and clamps allow."""
    from pipeline.enrich.refrigerants import add_saturation

    read = (
        shop["visits"]
        .join(shop["units"].select("unit_id", "refrigerant"), on="unit_id")
        .join(shop["truth_visits"], on=["visit_id", "unit_id"])
        .filter(pl.col("mode").fill_null("cooling") == "cooling", pl.col("outdoor_db_f") > 60)
        .with_columns(altitude_ft=pl.lit(0.0))
    )
    back = add_saturation(read).with_columns(
        superheat_error=pl.col("suction_line_f") - pl.col("suction_saturation_f") - pl.col("true_superheat_f"),
        subcooling_error=pl.col("liquid_saturation_f") - pl.col("liquid_line_f") - pl.col("true_subcooling_f"),
    )
    for error in ("superheat_error", "subcooling_error"):
        sizes = back[error].drop_nulls().abs()
        # 2 psi of gauge and half a degree of clamp are about 1.5 degF
        assert len(sizes) > 500
        assert sizes.median() < 1.0
        assert sizes.quantile(0.99) < 4.0
