"""What the page says of each technician's readings: shares with intervals, a last digit only beyond chance."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.config import Settings
from pipeline.publish import publish
from reports.format import NOT_KNOWN
from reports.pages.data_quality import _of_one_cause, _technicians
from tests.reports.fleet import Fleet, small_fleet
from tests.reports.html import read_tables

ROW = {"visits": 90, "kind": "gauges", "count": 54, "of": 60, "share": 0.9, "share_low": 0.82, "share_high": 0.946}


def asked(*rows: dict[str, object]) -> pl.DataFrame:
    fleet = Fleet()
    for row in rows:
        fleet.add("core.technician_quality", **(ROW | row))
    return fleet.query("data_quality_technicians", {})


def test_shares_stand_in_their_columns_with_number_and_interval() -> None:
    nothing = {"count": 0, "of": 0, "share": None, "share_low": None, "share_high": None}
    frame = asked(
        {"technician": "Ida", "visits": 20}, {"technician": "Bo"}, {"technician": "Bo", "kind": "wet_bulb", **nothing}
    )
    busiest, other = _technicians(frame)
    assert (busiest.technician, busiest.visits, other.technician) == ("Bo", 90, "Ida")
    empty = (NOT_KNOWN, "")
    assert busiest.cells == (empty, empty, ("90\u00a0% of 60", "82 to 95"), empty, empty)


def test_a_last_digit_is_named_only_where_it_is_beyond_chance_for_all_technicians_of_the_table() -> None:
    told = [{"technician": f"T{n}", "digit_p_value": 0.004, "favourite_digit": 5} for n in range(3)]
    assert [row.digit for row in _technicians(asked(*told))] == [None] * 3
    assert [row.digit for row in _technicians(asked(told[0]))] == [5]
    assert [row.digit for row in _technicians(asked({"technician": "Ida"}))] == [None]


def test_two_values_refused_for_one_cause_are_one_line_and_another_row_is_not() -> None:
    fleet = Fleet()
    for field, line in (("return_db_f", 140), ("return_wb_f", 140), ("outdoor_db_f", 9)):
        fleet.add(
            "rejects",
            import_id=1,
            source_file="visits.csv",
            source_line=line,
            scope="value",
            field=field,
            rule="return-wet-bulb-over-dry-bulb",
            message="return wet bulb 74.7 degF is more than 2 degF over the dry bulb",
            advice="Correct the one that is wrong.",
        )
    both, other = sorted(_of_one_cause(fleet.query("data_quality_rejects", {})), key=lambda row: -row["example_line"])
    assert (both["of"], other["of"]) == ("return air and return wet bulb", "outdoor air")
    assert both["message"].startswith("return wet bulb 74.7\u00a0°F")
    assert both["still_open"] == 1  # rows with the fault, not values


def test_a_doubt_that_names_two_readings_is_told_once(tmp_path: Path) -> None:
    fleet = small_fleet(30, hostile=False)
    fleet.add(
        "core.suspects", unit_id="U-010", visit_id="T10-2", field="suction_psig", reason="liquid_not_over_suction"
    )
    publish(fleet.query, tmp_path, Settings())
    tables = read_tables(next((tmp_path / "dashboards").glob("*/data-quality.html")))
    [rows] = [table.rows for table in tables if table.under == "suspects"]
    assert ["Liquid pressure not over suction pressure", "liquid pressure, suction pressure", "1", "1"] in [
        list(row) for row in rows
    ]
