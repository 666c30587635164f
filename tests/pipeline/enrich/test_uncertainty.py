"""Instrument accuracy carried through by hand, and whether the odds of a verdict mean what they say."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.config import Charge
from pipeline.enrich.charge import charge_readings
from pipeline.enrich.refrigerants import bubble_psia, dew_psia
from pipeline.enrich.uncertainty import normal_cdf
from tests.builders import make_frame
from tests.charge_states import frames, reading, unit

VERDICT_ODDS = {"low": "p_charge_low", "high": "p_charge_high", "airflow_first": "p_charge_high"}


@pytest.mark.parametrize(("z", "p"), [(0.0, 0.5), (1.0, 0.8413), (-1.6449, 0.05), (1.96, 0.975), (None, None)])
def test_normal_distribution_function(z: float | None, p: float | None) -> None:
    # printed in any table of the standard normal distribution
    found = pl.select(normal_cdf(pl.lit(z, dtype=pl.Float64))).item()
    assert found == (None if p is None else pytest.approx(p, abs=1e-4))


@pytest.mark.parametrize(
    ("refrigerant", "gauge_f"),
    [("R-22", 2.4), ("R-410A", 1.5)],  # what 3.5 psi is at 40 degF: 3.5/1.45 and 3.5/2.28 (slopes by CoolProp 8.0.0)
)
def test_gauge_and_thermometer_add_in_squares(refrigerant: str, gauge_f: float) -> None:
    row = charge_readings(*frames(reading(refrigerant=refrigerant), unit(refrigerant=refrigerant))).row(0, named=True)
    thermometer_f = 0.001 * 50.0 + 1.3  # RA3.2.2.2.1: 0.1 % of the 50 degF line, plus 1.3 degF
    by_hand = (gauge_f**2 + thermometer_f**2) ** 0.5 / 3**0.5  # limits as rectangular distributions
    assert row["superheat_sd_f"] == pytest.approx(by_hand, rel=0.03)


def test_better_instruments_make_a_surer_verdict() -> None:
    visits, units = frames(reading(17.0, 10.0))
    usual = charge_readings(visits, units).row(0, named=True)
    fine = Charge(suction_gauge_psi=0.5, liquid_gauge_psi=1.0, thermometer_pct=0.0, thermometer_f=0.3)
    better = charge_readings(visits, units, settings=fine).row(0, named=True)
    assert better["deviation_sd_f"] < usual["deviation_sd_f"]
    assert better["p_charge_low"] > usual["p_charge_low"] > 0.5


@pytest.mark.parametrize("metering", ["fixed_orifice", "txv"])
def test_no_sure_verdict_turns_into_another_within_the_noise(metering: str) -> None:
    # superheat and subcooling in steps of a tenth, all else in order
    values = np.arange(-4.0, 40.0, 0.1)
    visits = [
        reading(float(v) if metering == "fixed_orifice" else 11.0, 12.0 if metering == "fixed_orifice" else float(v))
        | {"visit_id": f"V{k:04d}", "visit_date": dt.date(2020, 1, 1) + dt.timedelta(days=k), "static_in_wc": 0.4}
        for k, v in enumerate(values)
    ]
    found = charge_readings(*frames(visits, unit(metering=metering, target_subcooling_f=10.0)))
    noise = found["superheat_sd_f" if metering == "fixed_orifice" else "subcooling_sd_f"].mean()
    odds = [
        row[VERDICT_ODDS[row["charge_verdict"]]]
        if row["charge_verdict"] in VERDICT_ODDS
        else 1 - row["p_charge_low"] - row["p_charge_high"]
        for row in found.rows(named=True)
    ]
    verdicts = ["high" if v == "airflow_first" else v for v in found["charge_verdict"].to_list()]
    apart = int(noise / 0.1)
    turned = [k for k in range(len(values) - apart) if verdicts[k] != verdicts[k + apart]]
    assert turned
    assert all(min(odds[k], odds[k + apart]) < 0.8 for k in turned)
    assert {"low", "high"} not in [{verdicts[k], verdicts[k + apart]} for k in turned]


def test_the_odds_of_a_verdict_are_calibrated() -> None:
    """True states, instruments off by what the standard allows: the share truly outside is what the odds said."""
    rng = np.random.default_rng(4)
    n = 6000
    outdoor, wet = rng.uniform(80, 100, n), rng.uniform(65, 72, n)
    truth = rng.normal(0, 8, n)  # true deviation of superheat
    target = (3 * wet - 80 - outdoor) / 2 + rng.normal(0, 1.2, n)  # the formula errs against the chart
    superheat = target + truth

    def read(values: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
        return values + rng.uniform(-1, 1, n) * limit

    pressure = dew_psia("R-22", np.full(n, 42.0)) - 14.696
    visits = (
        make_frame("visits", [])
        .clear(n)
        .with_columns(
            unit_id=pl.lit("U1"),
            visit_id=pl.Series([f"V{k}" for k in range(n)]),
            visit_date=pl.lit(dt.date(2024, 6, 1)),
            mode=pl.lit("cooling"),
            outdoor_db_f=pl.Series(read(outdoor, 1.4)),
            return_wb_f=pl.Series(read(wet, 1.37)),
            return_db_f=pl.lit(80.0),
            suction_psig=pl.Series(read(pressure, 3.5)),
            suction_line_f=pl.Series(read(42.0 + superheat, 1.35)),
        )
    )
    units = make_frame("units", [unit(refrigerant="R-22")])
    found = charge_readings(visits, units, levels=None).join(
        pl.DataFrame({"visit_id": [f"V{k}" for k in range(n)], "truth": truth}), on="visit_id"
    )
    tested = found.filter(pl.col("charge_verdict") != "not_testable")
    for name, outside in (("p_charge_low", pl.col("truth") > 5), ("p_charge_high", pl.col("truth") < -5)):
        bins = tested.group_by((pl.col(name) * 5).floor().clip(0, 4)).agg(
            said=pl.col(name).mean(), share=outside.mean(), n=pl.len()
        )
        off = bins.filter(pl.col("n") > 100).with_columns(off=(pl.col("said") - pl.col("share")).abs())
        assert off.height == 5
        assert off["off"].max() < 0.08


def test_a_default_target_is_less_sure_than_a_plate() -> None:
    visit = reading(11.0, 6.0)
    plate = charge_readings(*frames(visit, unit(metering="txv", target_subcooling_f=10.0))).row(0, named=True)
    default = charge_readings(*frames(visit, unit(metering="txv"))).row(0, named=True)
    assert default["p_charge_low"] < plate["p_charge_low"]


def test_subcooling_noise_of_the_liquid_gauge() -> None:
    # 7 psi at 105 degF: 2.3 degF on R-22, 1.5 on R-410A (CoolProp 8.0.0)
    for name, gauge_f in (("R-22", 2.3), ("R-410A", 1.5)):
        slope = 7.0 / float(bubble_psia(name, 105.5) - bubble_psia(name, 104.5))
        assert slope == pytest.approx(gauge_f, abs=0.1)
        visit = reading(refrigerant=name, condensing_f=105.0)
        row = charge_readings(*frames(visit, unit(refrigerant=name))).row(0, named=True)
        assert row["subcooling_sd_f"] == pytest.approx((gauge_f**2 + 1.395**2) ** 0.5 / 3**0.5, rel=0.04)
