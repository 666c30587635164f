"""The shop's own fan tables: read between points, never beyond them, and never for a speed that nobody named."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.enrich.blower_tables import BLOWERS_SCHEMA, add_table_airflow, parse_blowers
from pipeline.enrich.charge import charge_readings
from pipeline.errors import UsageError
from tests.charge_states import frames, reading, unit

HEADER = "unit_id,model,speed,static_in_wc,airflow_cfm\n"
MODEL = "".join(
    f",AH-36,{speed},{static},{cfm}\n"
    for speed, points in {"low": ((0.1, 1100), (0.5, 900)), "high": ((0.1, 1400), (0.5, 1200))}.items()
    for static, cfm in points
)


def airflow(text: str, *rows: tuple[str, str | None, str | None, float | None]) -> list[float | None]:
    """Return the airflow of rows of unit_id, model, indoor_model, static."""
    schema = {"unit_id": pl.String, "model": pl.String, "indoor_model": pl.String, "static_in_wc": pl.Float64}
    frame = pl.DataFrame(list(rows), schema=schema, orient="row")
    return add_table_airflow(frame, parse_blowers(HEADER + text))["table_airflow_cfm"].to_list()


def test_a_curve_is_read_between_its_points_and_not_beyond() -> None:
    one_speed = ",AH-36,high,0.1,1400\n,AH-36,high,0.5,1200\n"
    at = [("U", None, "AH-36", static) for static in (0.1, 0.3, 0.5, 0.6, None)]
    assert airflow(one_speed, *at) == [1400.0, pytest.approx(1300.0), 1200.0, None, None]


def test_of_several_speeds_the_named_one_counts_else_none() -> None:
    rows = [("U1", None, "AH-36", 0.3), ("U2", None, "AH-36", 0.3)]
    assert airflow(MODEL, *rows) == [None, None]
    assert airflow(MODEL + "U1,,low,,\n", *rows) == [pytest.approx(1000.0), None]


def test_the_units_own_curve_beats_the_indoor_models_and_this_the_outdoor_models() -> None:
    outdoor, indoor = ",OD-9,,0.1,800\n,OD-9,,0.9,800\n", ",AH-36,,0.1,900\n,AH-36,,0.9,900\n"
    own = "U1,,,0.1,1000\nU1,,,0.9,1000\n"
    rows = [("U1", "OD-9", "AH-36", 0.5), ("U2", "OD-9", "AH-36", 0.5), ("U3", "OD-9", None, 0.5)]
    assert airflow(outdoor + indoor + own, *rows) == [1000.0, 900.0, 800.0]


def test_capacity_takes_the_table_where_nothing_was_measured_and_airflow_is_not_shown_by_it() -> None:
    table = parse_blowers(HEADER + "U1,,,0.1,1200\nU1,,,0.9,1200\n")
    # 80/67 into 60/58 at 1,200 cfm: 31.45 - 25.15 Btu/lb by the psychrometric chart, 4.5 x cfm x 6.3 = 34,000 Btu/h
    air = {"return_db_f": 80.0, "return_wb_f": 67.0, "supply_db_f": 60.0, "supply_wb_f": 58.0}
    visits, units = frames(reading(**air, static_in_wc=0.5, airflow_cfm=None), unit())
    row = charge_readings(visits, units, blowers=table).row(0, named=True)
    assert row["capacity_btuh"] == pytest.approx(34_000, rel=0.03)
    assert "measured airflow" not in (row["airflow_because"] or "")
    visits, units = frames(reading(**air, static_in_wc=0.5, airflow_cfm=600.0), unit())
    half = charge_readings(visits, units, blowers=table).row(0, named=True)
    assert half["capacity_btuh"] == pytest.approx(row["capacity_btuh"] / 2)
    assert charge_readings(*frames(reading(**air, static_in_wc=0.5), unit()))["capacity_btuh"].item() is None


def test_an_empty_table_is_no_airflow() -> None:
    assert airflow("", ("U", "M", "I", 0.5)) == [None]
    assert dict(parse_blowers("\ufeff" + HEADER).schema) == dict(BLOWERS_SCHEMA)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("unit_id,model,speed,static_in_wc\n", r"blowers.csv, line 1: the column 'airflow_cfm' is missing"),
        (HEADER + ",,low,0.5,900\n", r"blowers.csv, line 2: neither unit_id nor model"),
        (HEADER + ",M,low,0.5,many\n", r"blowers.csv, line 2, airflow_cfm: 'many' is not a number"),
        (HEADER + ",M,low,-0.5,900\n", r"blowers.csv, line 2, static_in_wc: '-0.5' is not a number of 0 or more"),
        (HEADER + ",M,low,0.5,\n", r"blowers.csv, line 2, airflow_cfm: the point is not complete"),
        (HEADER + ",M,low,,\n", r"the point is not complete"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_with_its_place(text: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        parse_blowers(text)
