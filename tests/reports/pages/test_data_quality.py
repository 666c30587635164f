"""What the page says of each technician's readings: shares with intervals, a last digit only beyond chance."""

from __future__ import annotations

import polars as pl

from reports.format import NOT_KNOWN
from reports.pages.data_quality import _technicians
from tests.reports.fleet import Fleet

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
    assert busiest.cells == (NOT_KNOWN, NOT_KNOWN, "90 % of 60 (82 to 95)", NOT_KNOWN, NOT_KNOWN)


def test_a_last_digit_is_named_only_where_it_is_beyond_chance_for_all_technicians_of_the_table() -> None:
    told = [{"technician": f"T{n}", "digit_p_value": 0.004, "favourite_digit": 5} for n in range(3)]
    assert [row.digit for row in _technicians(asked(*told))] == [None] * 3
    assert [row.digit for row in _technicians(asked(told[0]))] == [5]
    assert [row.digit for row in _technicians(asked({"technician": "Ida"}))] == [None]
