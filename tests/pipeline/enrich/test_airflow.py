"""Airside capacity against psychrolib, and what counts as evidence of airflow."""

from __future__ import annotations

import psychrolib
import pytest

from pipeline.config import Charge
from pipeline.enrich.charge import charge_readings
from tests.charge_states import frames, reading, unit

psychrolib.SetUnitSystem(psychrolib.IP)


def state(**changes):
    return charge_readings(*frames(reading(**changes))).row(0, named=True)


@pytest.mark.parametrize("altitude_ft", [0.0, 5000.0])
def test_capacity_is_mass_flow_times_enthalpy(altitude_ft: float) -> None:
    # standard rating air, 80/67 in, 60/58 out, 1200 cfm: by psychrolib's equations one number at a time
    psia = psychrolib.GetStandardAtmPressure(altitude_ft)
    wet_in, wet_out = (psychrolib.GetHumRatioFromTWetBulb(db, wb, psia) for db, wb in ((80, 67), (60, 58)))
    pounds = 60 * 1200 / psychrolib.GetMoistAirVolume(60, wet_out, psia)
    drop = psychrolib.GetMoistAirEnthalpy(80, wet_in) - psychrolib.GetMoistAirEnthalpy(60, wet_out)
    air = {"return_db_f": 80.0, "return_wb_f": 67.0, "supply_db_f": 60.0, "supply_wb_f": 58.0, "airflow_cfm": 1200.0}
    row = state(**air, altitude_ft=altitude_ft)
    assert row["capacity_btuh"] == pytest.approx(pounds * drop, rel=2e-3)
    sensible = pounds * (0.240 + 0.444 * wet_out) * 20
    assert row["sensible_share"] == pytest.approx(sensible / (pounds * drop), rel=5e-3)


@pytest.mark.parametrize("missing", ["airflow_cfm", "supply_wb_f", "return_wb_f"])
def test_no_capacity_without_airflow_and_both_wet_bulbs(missing: str) -> None:
    air = {"return_db_f": 80.0, "return_wb_f": 67.0, "supply_db_f": 60.0, "supply_wb_f": 58.0, "airflow_cfm": 1200.0}
    row = state(**(air | {missing: None}))
    assert (row["capacity_btuh"], row["sensible_share"]) == (None, None)


def test_the_split_has_no_target_until_there_is_a_sourced_table() -> None:
    row = state()
    assert (row["temperature_split_f"], row["target_split_f"]) == (18.5, None)


@pytest.mark.parametrize(
    ("changes", "airflow", "because"),
    [
        ({}, "shown", "temperature split"),
        ({"supply_db_f": None}, "not_shown", None),
        ({"supply_db_f": 70.0}, "not_shown", None),  # a split of 8 shows that something else is wrong
        ({"supply_db_f": 55.0}, "doubtful", "temperature split high"),  # 23 at 78/65, where 19.2 is usual
        ({"airflow_cfm": 900.0}, "shown", "measured airflow; temperature split"),  # 300 cfm per ton, on the line
        ({"airflow_cfm": 899.0}, "doubtful", "measured airflow low"),
        ({"static_in_wc": 0.8}, "shown", "static pressure; temperature split"),
        ({"static_in_wc": 0.81}, "doubtful", "static pressure high"),
        ({"observations": "iced_coil; dirty_filter"}, "doubtful", "iced coil; dirty filter"),
        (
            {"evaporating_f": 31.0},
            "doubtful",
            "suction saturation below freezing; suction saturation low for the return air",
        ),
    ],
)
def test_evidence_for_and_against_airflow(changes, airflow, because) -> None:
    row = state(**changes)
    assert (row["airflow"], row["airflow_because"]) == (airflow, because)


def test_the_static_limit_is_a_setting() -> None:
    visits, units = frames(reading(static_in_wc=0.7), unit())
    assert charge_readings(visits, units)["airflow"].item() == "shown"
    assert charge_readings(visits, units, settings=Charge(static_limit_in_wc=0.5))["airflow"].item() == "doubtful"
