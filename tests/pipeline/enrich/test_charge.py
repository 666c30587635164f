"""The charge verdict: arithmetic, bands, validity, what is used where something is missing, and what never happens."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.config import Charge
from pipeline.enrich.charge import CHARGE_READINGS_SCHEMA, charge_readings
from pipeline.enrich.charge_targets import formula_target_f
from pipeline.enrich.refrigerants import bubble_psia, dew_psia
from tests.charge_states import frames, reading, unit

TXV = unit(metering="txv", target_subcooling_f=10.0)


def judge(visit: dict[str, Any], system: dict[str, Any] | None = None, **options: Any) -> dict[str, Any]:
    """Return the one row that a visit gives."""
    return charge_readings(*frames(visit, system), **options).row(0, named=True)


@pytest.mark.parametrize(
    ("wet_bulb_f", "outdoor_f", "target_f"),
    [  # a trade training page on target superheat; the rest by hand from (3 WB - 80 - DB) / 2
        (64, 96, 8.0),
        (66, 90, 14.0),
        (67, 95, 13.0),
        (63, 95, 7.0),
        (65, 85, 15.0),
        (50, 55, 7.5),
        (64, 55, 28.5),
    ],
)
def test_target_superheat_is_the_published_formula(wet_bulb_f: float, outdoor_f: float, target_f: float) -> None:
    row = judge(reading(return_wb_f=wet_bulb_f, outdoor_db_f=outdoor_f))
    assert row["target_superheat_f"] == target_f
    assert row["target_source"] == "formula"


def test_formula_against_a_printed_chart_stays_within_its_stated_error() -> None:
    # the same page reads 13 from its chart at wet bulb 66, outdoor 90
    assert abs(pl.select(formula_target_f(pl.lit(66.0), pl.lit(90.0))).item() - 13) <= 2


@pytest.mark.parametrize(
    ("changes", "because"),
    [
        ({"return_wb_f": 60.0}, "target_low"),  # (180 - 80 - 95) / 2 = 2.5
        ({"outdoor_db_f": 54.9}, "outdoor_cold"),
        ({"outdoor_db_f": 115.1, "return_wb_f": 70.0}, "outdoor_hot"),
        ({"return_wb_f": None}, "no_wet_bulb"),
        ({"return_wb_f": 49.9, "outdoor_db_f": 56.0}, "wet_bulb_outside"),
        ({"return_wb_f": 76.1}, "wet_bulb_outside"),
        ({"mode": "heating"}, "not_cooling"),
        ({"mode": "off"}, "not_cooling"),
        ({"minutes_running": 14.0}, "just_started"),
        ({"suction_line_f": None}, "no_superheat"),
        ({"outdoor_db_f": None}, "no_outdoor"),
        ({"liquid_psig": 100.0}, "pressures_crossed"),
    ],
)
def test_a_fixed_orifice_is_not_tested_where_the_method_does_not_hold(changes: dict[str, Any], because: str) -> None:
    row = judge(reading(**changes))
    assert row["charge_verdict"] == "not_testable"
    assert because in row["not_testable_codes"].split("; ")
    assert row["leak_loss_f"] is None


@pytest.mark.parametrize(
    ("changes", "because"),
    [
        ({"equipment": "mini_split"}, "mini_split"),
        ({"refrigerant": "R-12"}, "no_saturation_table"),
        ({"refrigerant": None}, "no_refrigerant"),
        ({"metering": None}, "no_metering"),
    ],
)
def test_a_system_the_method_does_not_cover_is_not_tested(changes: dict[str, Any], because: str) -> None:
    row = judge(reading(), unit(**changes))
    assert row["charge_verdict"] == "not_testable"
    assert because in row["not_testable_codes"].split("; ")


@pytest.mark.parametrize(
    "changes",
    [
        {"outdoor_db_f": 55.0},
        {"outdoor_db_f": 115.0, "return_wb_f": 72.0},
        {"minutes_running": 15.0},
        {"minutes_running": None},
        {"return_wb_f": 50.0, "outdoor_db_f": 55.0},
        {"return_wb_f": 76.0},
    ],
)
def test_just_inside_the_limits_it_is_tested(changes: dict[str, Any]) -> None:
    assert judge(reading(**changes))["not_testable_codes"] is None


@pytest.mark.parametrize(
    ("superheat_f", "verdict", "borderline"),
    [  # target 10: bands +-5, edges inside; 5 to 7 is borderline
        (10.0, "within", False),
        (14.9, "within", False),
        (15.0, "within", True),
        (15.1, "low", True),
        (17.0, "low", True),
        (17.1, "low", False),
        (5.0, "within", True),
        (4.9, "high", True),
        (2.9, "high", False),
    ],
)
def test_bands_of_a_fixed_orifice(superheat_f: float, verdict: str, borderline: bool) -> None:
    row = judge(reading(superheat_f))
    assert (row["charge_verdict"], row["borderline"]) == (verdict, borderline)
    assert row["superheat_deviation_f"] == pytest.approx(superheat_f - 10.0, abs=1e-6)
    assert row["leak_loss_f"] == pytest.approx(superheat_f - 10.0, abs=1e-6)


@pytest.mark.parametrize(
    ("subcooling_f", "verdict", "borderline"),
    [
        (10.0, "within", False),
        (7.0, "within", True),
        (6.9, "low", True),
        (6.0, "low", True),
        (5.9, "low", False),
        (13.0, "within", True),
        (13.1, "high", True),
        (14.1, "high", False),
    ],
)
def test_bands_of_an_expansion_valve(subcooling_f: float, verdict: str, borderline: bool) -> None:
    row = judge(reading(11.0, subcooling_f), TXV)
    assert (row["charge_verdict"], row["borderline"]) == (verdict, borderline)
    assert row["target_superheat_f"] is None
    assert row["leak_loss_f"] == pytest.approx(10.0 - subcooling_f, abs=1e-6)


def test_each_metering_device_is_judged_by_its_own_target_only() -> None:
    orifice, valve = judge(reading(10, 0)), judge(reading(40, 10), TXV)
    assert (orifice["charge_verdict"], orifice["subcooling_deviation_f"]) == ("within", None)
    assert (valve["charge_verdict"], valve["superheat_deviation_f"]) == ("within", None)


def test_a_blank_target_subcooling_is_ten_and_said_so() -> None:
    plate, default = judge(reading(), TXV), judge(reading(), unit(metering="eev"))
    assert (default["target_subcooling_f"], default["target_source"]) == (10.0, "default")
    assert plate["target_source"] == "data_plate"
    assert default["deviation_sd_f"] > plate["deviation_sd_f"]
    assert (
        judge(reading(), unit(metering="eev"), settings=Charge(default_target_subcooling_f=8))["target_subcooling_f"]
        == 8
    )


def test_humidity_gives_the_wet_bulb_where_only_that_was_read() -> None:
    # 80 degF at 50 % is 66.66 degF wet bulb at sea level and 65.88 at 5,000 ft (psychrolib 2.5.0)
    visit = reading(return_wb_f=None, return_db_f=80.0, return_rh_pct=50.0)
    low, high = judge(visit), judge(visit | {"altitude_ft": 5000.0})
    assert (low["return_wb_f"], low["wet_bulb_source"]) == (pytest.approx(66.66, abs=0.01), "humidity")
    assert high["return_wb_f"] == pytest.approx(65.88, abs=0.01)
    assert low["target_superheat_f"] == pytest.approx((3 * 66.66 - 175) / 2, abs=0.02)


def test_recorded_values_stand_in_for_missing_readings_only() -> None:
    visit = reading(None, None, recorded_superheat_f=18.0, recorded_subcooling_f=9.0, recorded_split_f=17.0)
    visit |= {"supply_db_f": None}
    row = judge(visit)
    assert (row["superheat_f"], row["superheat_source"], row["charge_verdict"]) == (18.0, "recorded", "low")
    assert (row["subcooling_f"], row["temperature_split_f"]) == (9.0, 17.0)
    both = judge(reading(10.0, recorded_superheat_f=18.0))
    assert both["superheat_f"] == pytest.approx(10.0)
    assert both["suspect"] == "recorded superheat differs from the readings"
    assert judge(reading(10.0, recorded_superheat_f=11.5))["suspect"] is None
    split = judge(reading(10.0, recorded_split_f=28.0))
    assert split["suspect"] == "recorded split differs from the readings"
    assert split["temperature_split_f"] == pytest.approx(reading()["return_db_f"] - reading()["supply_db_f"])


def test_recorded_and_read_may_lie_as_far_apart_as_both_err() -> None:
    """Two independent values of standard deviation s differ by s times the root of two; 2.58 of these hold 99 %."""
    row = judge(reading(10.0, 9.0))
    assert row["superheat_apart_f"] == pytest.approx(2.58 * 2**0.5 * row["superheat_sd_f"])
    assert row["subcooling_apart_f"] == pytest.approx(2.58 * 2**0.5 * row["subcooling_sd_f"])
    limit = row["superheat_apart_f"]
    assert judge(reading(10.0, recorded_superheat_f=10.0 + limit - 0.05))["suspect"] is None
    assert judge(reading(10.0, recorded_superheat_f=10.0 + limit + 0.05))["suspect"] is not None


@pytest.mark.parametrize(
    ("field", "wider"),
    [
        ("suction_psig", ("suction_saturation_sd_f", "superheat_sd_f", "deviation_sd_f")),
        ("suction_line_f", ("superheat_sd_f", "deviation_sd_f")),
        ("outdoor_db_f", ("deviation_sd_f",)),
        ("return_wb_f", ("deviation_sd_f",)),
        ("liquid_psig", ("liquid_saturation_sd_f", "subcooling_sd_f")),
        ("liquid_line_f", ("subcooling_sd_f",)),
        ("supply_db_f", ("split_sd_f",)),
    ],
)
def test_what_only_a_note_told_errs_more(field: str, wider: tuple[str, ...]) -> None:
    typed, told = judge(reading(17.0, 9.0)), judge(reading(17.0, 9.0, from_notes=[field]))
    for name in wider:
        assert told[name] > typed[name] + 0.02, name
    for name in ("superheat_f", "subcooling_f", "charge_verdict"):
        assert told[name] == typed[name]
    if "deviation_sd_f" in wider:
        assert 0.5 < told["p_charge_low"] < typed["p_charge_low"]


def test_a_superheat_told_in_a_note_errs_more_than_one_of_a_meter() -> None:
    visit = reading(None, None, recorded_superheat_f=18.0, recorded_subcooling_f=9.0, recorded_split_f=17.0)
    visit["supply_db_f"] = None
    fields = ["recorded_superheat_f", "recorded_subcooling_f", "recorded_split_f"]
    typed, told = judge(visit), judge(visit | {"from_notes": fields})
    for name in ("superheat_sd_f", "subcooling_sd_f", "split_sd_f"):
        assert told[name] == pytest.approx((typed[name] ** 2 + 2.0**2) ** 0.5)
    # where the readings are typed, a recorded value from a note changes nothing in their error
    assert judge(reading(10.0, from_notes=fields))["superheat_sd_f"] == judge(reading(10.0))["superheat_sd_f"]


def test_a_recorded_target_stands_in_for_a_missing_wet_bulb() -> None:
    row = judge(reading(20.0, return_wb_f=None, recorded_target_superheat_f=12.0))
    assert (row["target_superheat_f"], row["target_source"], row["charge_verdict"]) == (12.0, "recorded", "low")


def test_the_units_own_chart_replaces_the_formula() -> None:
    # an invented chart: bilinear between (64, 90) 10, (64, 100) 6, (66, 90) 14, (66, 100) 10; centre = 10
    chart = pl.DataFrame(
        {
            "unit_id": ["U1"] * 4,
            "model": [None] * 4,
            "return_wb_f": [64.0, 64.0, 66.0, 66.0],
            "outdoor_db_f": [90.0, 100.0, 90.0, 100.0],
            "target_superheat_f": [10.0, 6.0, 14.0, 10.0],
        },
        schema_overrides={"model": pl.String},
    )
    row = judge(reading(return_wb_f=65.0, outdoor_db_f=95.0), charts=chart)
    assert (row["target_superheat_f"], row["target_source"]) == (pytest.approx(10.0), "chart")
    outside = judge(reading(return_wb_f=67.0), charts=chart)
    assert outside["not_testable_codes"] == "outside_chart"
    assert (
        judge(reading(), unit(unit_id="U2") | {"unit_id": "U1"}, charts=chart.with_columns(unit_id=pl.lit("U9")))[
            "target_source"
        ]
        == "formula"
    )


@pytest.mark.parametrize(
    ("changes", "mode", "source"),
    [
        ({"mode": None}, "cooling", "air_temperatures"),
        (
            {"mode": None, "supply_db_f": 100.0, "return_db_f": 70.0, "outdoor_db_f": 40.0},
            "heating",
            "air_temperatures",
        ),
        ({"mode": None, "supply_db_f": None}, "cooling", "air_temperatures"),  # nobody heats at 95 degF
        ({"mode": None, "supply_db_f": None, "outdoor_db_f": 60.0}, None, "unknown"),
        ({"mode": None, "supply_db_f": 100.0, "return_db_f": 70.0}, None, "unknown"),  # the thermometers contradict
        ({"mode": "heating"}, "heating", "written"),
    ],
)
def test_a_blank_mode_is_decided_from_the_air(changes: dict[str, Any], mode: str | None, source: str) -> None:
    row = judge(reading(**changes))
    assert (row["mode"], row["mode_source"]) == (mode, source)
    if mode != "cooling":
        assert row["charge_verdict"] == "not_testable"


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({}, "high"),  # split 18.5
        ({"supply_db_f": None}, "airflow_first"),
        ({"supply_db_f": None, "static_in_wc": 0.5}, "high"),
        ({"supply_db_f": None, "static_in_wc": 1.0}, "airflow_first"),
        ({"supply_db_f": None, "airflow_cfm": 1200.0}, "high"),
        ({"supply_db_f": 53.0, "airflow_cfm": 1200.0}, "high"),  # measured airflow outweighs a split of 25
        ({"supply_db_f": 53.0}, "airflow_first"),
        ({"airflow_cfm": 850.0}, "airflow_first"),  # 283 cfm per ton, RA3.2 asks for over 300
        ({"observations": "iced_coil"}, "airflow_first"),
        ({"observations": "vibration; dirty_filter", "airflow_cfm": 1200.0}, "airflow_first"),
    ],
)
def test_high_needs_evidence_of_airflow(changes: dict[str, Any], verdict: str) -> None:
    assert judge(reading(2.0, 16.0, **changes))["charge_verdict"] == verdict
    assert judge(reading(10.0, 16.0, **changes), TXV)["charge_verdict"] == verdict


def test_much_subcooling_with_a_starved_coil_is_never_high() -> None:
    assert judge(reading(40.0, 18.0), TXV)["charge_verdict"] == "airflow_first"
    assert judge(reading(2.0, 3.0))["charge_verdict"] == "airflow_first"


def test_a_superheat_no_humidity_could_explain_is_low_without_a_wet_bulb() -> None:
    # the dampest air at 78 degF (wet bulb 76 at most) gives (228 - 80 - 95) / 2 = 26.5; 45 is 13.5 over its band
    beyond, inside = judge(reading(45.0, return_wb_f=None)), judge(reading(32.0, return_wb_f=None))
    assert (beyond["charge_verdict"], beyond["verdict_basis"]) == ("low", "beyond_any_humidity")
    assert beyond["target_superheat_f"] is None
    assert inside["charge_verdict"] == "not_testable"


@pytest.mark.parametrize(
    ("superheat_f", "danger"), [(0.0, True), (-4.0, True), (3.0, True), (3.1, False), (10.0, False)]
)
def test_superheat_near_nothing_is_a_danger_whatever_the_target(superheat_f: float, danger: bool) -> None:
    assert judge(reading(superheat_f, return_wb_f=None))["flood_back"] is danger
    assert judge(reading(superheat_f), TXV)["flood_back"] is danger
    assert judge(reading(superheat_f, mode="heating"))["flood_back"] is False


def test_altitude_of_the_visit_comes_before_the_settings() -> None:
    visit = reading(altitude_ft=5000.0, atmosphere=12.2268)
    assert judge(visit, altitude_ft=0.0)["superheat_f"] == pytest.approx(10.0, abs=0.01)
    assert judge(visit | {"altitude_ft": None}, altitude_ft=5000.0)["superheat_f"] == pytest.approx(10.0, abs=0.01)
    # sea-level air at 5,000 ft makes superheat 1.1 degF too small on R-410A (118 psig: 39.84 against 38.75)
    assert judge(visit | {"altitude_ft": None})["superheat_f"] == pytest.approx(8.9, abs=0.15)


def test_a_reading_that_is_no_number_counts_as_missing() -> None:
    row = judge(reading(suction_line_f=float("nan")))
    assert (row["superheat_f"], row["charge_verdict"]) == (None, "not_testable")


def test_a_visit_without_readings_gives_no_row_and_one_with_a_stranger_unit_keeps_its() -> None:
    blank = {"unit_id": "U1", "visit_id": "V0", "visit_date": dt.date(2024, 5, 1), "herm_uf": 40.0}
    visits, units = frames([blank, reading(), reading(unit_id="U7")])
    found = charge_readings(visits, units)
    assert found["unit_id"].to_list() == ["U1", "U7"]
    assert found["not_testable_codes"][1] == "no_refrigerant; no_metering"


def test_frames_without_optional_columns_and_empty_frames_are_fine() -> None:
    visits = pl.DataFrame(
        {"unit_id": ["U1"], "visit_id": ["V1"], "visit_date": [dt.date(2024, 6, 1)], "suction_psig": [118.0]}
    )
    units = pl.DataFrame({"unit_id": ["U1"], "refrigerant": ["R410A"]})
    row = charge_readings(visits, units).row(0, named=True)
    # 118 psig on R-410A is 39.84 degF (CoolProp 8.0.0)
    assert row["suction_saturation_f"] == pytest.approx(39.84, abs=0.01)
    assert dict(charge_readings(visits.clear(), units).schema) == dict(CHARGE_READINGS_SCHEMA)


states = st.fixed_dictionaries(
    {
        "refrigerant": st.sampled_from(["R-22", "R-32", "R-410A", "R-407C", "R-454B"]),
        "evaporating_f": st.floats(20, 55),
        "condensing_f": st.floats(80, 135),
        "superheat_f": st.floats(-5, 60),
        "subcooling_f": st.floats(-5, 40),
        "altitude_ft": st.floats(0, 9000),
    }
)


@settings(deadline=None, max_examples=60)
@given(state=states)
def test_state_to_pressures_to_superheat_is_exact(state: dict[str, Any]) -> None:
    air = 14.696 * (1 - 6.8754e-6 * state["altitude_ft"]) ** 5.2559  # standard atmosphere
    name, evaporating, condensing = state["refrigerant"], state["evaporating_f"], state["condensing_f"]
    visit = {
        "unit_id": "U1", "visit_id": "V1", "visit_date": dt.date(2024, 6, 1), "altitude_ft": state["altitude_ft"],
        "suction_psig": float(dew_psia(name, evaporating)) - air,
        "liquid_psig": float(bubble_psia(name, condensing)) - air,
        "suction_line_f": evaporating + state["superheat_f"],
        "liquid_line_f": condensing - state["subcooling_f"],
    }  # fmt: skip
    row = judge(visit, unit(refrigerant=name))
    assert row["superheat_f"] == pytest.approx(state["superheat_f"], abs=0.01)
    assert row["subcooling_f"] == pytest.approx(state["subcooling_f"], abs=0.01)


def test_verdicts_follow_the_bands_and_do_not_depend_on_row_order() -> None:
    visits = [
        reading(sh, sc, visit_id=f"V{k}", visit_date=dt.date(2024, 6, 1) + dt.timedelta(days=k), unit_id=f"U{k % 3}")
        for k, (sh, sc) in enumerate((sh, sc) for sh in range(-4, 40, 4) for sc in (2, 10, 18))
    ]
    units = [
        unit(unit_id="U0"),
        unit(unit_id="U1", metering="txv"),
        unit(unit_id="U2", metering="eev", target_subcooling_f=8.0),
    ]
    found = charge_readings(*frames(visits, units))
    assert_frame_equal(charge_readings(*frames(visits[::-1], units[::-1])), found)
    loss, orifice = pl.col("leak_loss_f").round(2), pl.col("target_superheat_f").is_not_null()
    band = pl.when(orifice).then(5.0).otherwise(3.0)
    expected = (
        pl.when(loss > band).then(pl.lit("low")).when(loss < -band).then(pl.lit("high")).otherwise(pl.lit("within"))
    )
    pairs = found.select(pl.col("charge_verdict").replace("airflow_first", "high"), expected=expected)
    assert pairs["charge_verdict"].to_list() == pairs["expected"].to_list()
