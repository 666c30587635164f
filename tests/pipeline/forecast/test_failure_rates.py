"""Rates by group: hand-counted fleets, sums that agree, spellings, and what is said of a group."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.forecast.exposure import counted_failures, exposure
from pipeline.forecast.failure_rates import contributions, failure_rates
from pipeline.forecast.service import parts_in_service
from tests.builders import make_frame, make_parts

AS_OF = dt.date(2026, 3, 14)
SEEN = {"first_visit_on": pl.Date, "last_visit_on": pl.Date, "visits_stored": pl.Int64}
FIRST, END = dt.date(2020, 1, 1), dt.date(2025, 12, 31)
YEARS = (END - FIRST).days / 365.25


def fleet(
    makes: dict[str, tuple[int, int]], parts: list[dict[str, Any]] | None = None, **unit: Any
) -> dict[str, pl.DataFrame]:
    """Makes to (units, failures): every unit six years under care, the failures one to a unit."""
    units, visits = [], []
    for make, (many, failures) in makes.items():
        for n in range(many):
            unit_id = f"{make}{n}"
            units.append(
                {
                    "unit_id": unit_id,
                    "site_id": "S",
                    "make": make,
                    "installed_on": dt.date(2018, 1, 1),
                    "first_visit_on": FIRST,
                    "last_visit_on": END,
                    "retired_on": END,
                    **unit,
                }
            )
            visits.append({"unit_id": unit_id, "visit_id": "first", "visit_date": FIRST, "visit_type": "maintenance"})
            if n < failures:
                visits.append(
                    {
                        "unit_id": unit_id,
                        "visit_id": "call",
                        "visit_date": dt.date(2023, 7, 1),
                        "visit_type": "no_cooling",
                        "cause": "contactor",
                    }
                )
    return {
        "visits": make_frame("visits", visits),
        "parts": make_parts(parts or []),
        "units": make_frame("units", units, SEEN),
        "sites": make_frame("sites", [{"site_id": "S", "agreement": "yes"}]),
    }


def fleet_rates(frames: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Return the rates of all groups, put together as ``derive_rates`` does."""
    exposed = exposure(frames["units"], AS_OF, 36)
    failed = counted_failures(frames["visits"], exposed)
    service = parts_in_service(frames["parts"], exposed, failed)
    return failure_rates(contributions(frames["units"], frames["sites"], service, exposed, failed), exposed, failed)


def rates(frames: dict[str, pl.DataFrame], group_by: str = "make") -> dict[str, dict[str, Any]]:
    found = fleet_rates(frames)
    return {row["group_value"]: row for row in found.filter(pl.col("group_by") == group_by).iter_rows(named=True)}


def test_a_rate_is_failures_over_unit_years():
    """7 in 30 x 6 years: 100 x 7 / 179.98 = 3.89; Garwood's limits for 7 are 2.8144 and 14.4227."""
    row = rates(fleet({"Halden": (30, 7), "Brisco": (30, 6)}))["Halden"]
    assert row["unit_years"] == pytest.approx(30 * YEARS)
    assert row["failures"] == 7
    assert row["rate_per_100_unit_years"] == pytest.approx(700 / (30 * YEARS))
    assert row["rate_low"] == pytest.approx(281.44 / (30 * YEARS), rel=1e-4)
    assert row["rate_high"] == pytest.approx(1442.27 / (30 * YEARS), rel=1e-4)
    assert row["expected_failures"] == pytest.approx(6.5)
    assert row["sentence"] == "7 in 180 unit-years; the fleet's rate would give 6.5; too few to say"


def test_every_grouping_of_units_sums_to_the_fleet():
    found = fleet_rates(fleet({"Halden": (30, 7), "Brisco": (10, 3)}))
    sums = (
        found.filter(pl.col("group_by") != "component")
        .group_by("group_by")
        .agg(pl.col("unit_years").sum(), pl.col("failures").sum())
    )
    assert sums["failures"].to_list() == [10] * 6
    assert sums["unit_years"].to_list() == pytest.approx([40 * YEARS] * 6)


def test_a_value_that_is_not_known_is_a_group_that_is_not_compared():
    row = rates(fleet({"Halden": (30, 7)}), "model")["not known"]
    assert (row["failures"], row["p_higher"], row["higher"]) == (7, None, False)


def test_spellings_are_one_group():
    frames = fleet({"Norvane": (5, 1), " norvane": (2, 1), "NORVANE ": (2, 0), "Halden": (3, 1)})
    assert {name: row["units"] for name, row in rates(frames).items()} == {"Norvane": 9, "Halden": 3}


def test_a_make_that_fails_three_times_as_often_is_higher_and_the_others_are_not():
    found = rates(fleet({"Halden": (60, 40), **{f"M{n}": (60, 12) for n in range(10)}}))
    assert [name for name, row in found.items() if row["higher"]] == ["Halden"]
    assert "by more than luck" in found["Halden"]["sentence"]
    assert found["Halden"]["shrunk_rate"] < found["Halden"]["rate_per_100_unit_years"]


def test_a_make_that_is_only_older_is_not_higher():
    """Old units fail at 60 %, young ones at 15 %, whatever the make; Halden's are old."""
    young = fleet({f"M{n}": (60, 9) for n in range(6)}, installed_on=dt.date(2017, 1, 1))
    old = fleet({"Halden": (60, 36), "Brisco": (60, 36)}, installed_on=dt.date(1996, 1, 1))
    frames = {name: pl.concat([young[name], old[name]]).unique(maintain_order=True) for name in young}
    found = rates(frames)
    assert found["Halden"]["rate_low"] > 100 * found["Halden"]["expected_failures"] / found["Halden"]["unit_years"]
    assert not found["Halden"]["higher"]
    assert "luck or age" in found["Halden"]["sentence"]


def test_a_component_has_the_exposure_of_the_fleet_and_is_compared_with_nothing():
    row = rates(fleet({"Halden": (30, 7), "Brisco": (10, 3)}), "component")["contactor"]
    assert row["failures"] == 10
    assert row["unit_years"] == pytest.approx(40 * YEARS)
    assert (row["expected_failures"], row["higher"]) == (None, False)


def test_a_part_make_has_the_years_its_parts_served_and_the_calls_put_down_to_them():
    """Fitted 2022-01-01, failed 2023-07-01, taken out that day: 546 days with one call; then the next make."""
    fitted = [
        {
            "unit_id": "Halden0",
            "visit_id": "a",
            "visit_date": dt.date(2022, 1, 1),
            "part": "contactor",
            "part_make": "Zeb",
        },
        {
            "unit_id": "Halden0",
            "visit_id": "call",
            "visit_date": dt.date(2023, 7, 1),
            "part": "contactor",
            "part_make": "Orr",
        },
    ]
    found = rates(fleet({"Halden": (2, 2)}, fitted), "part_make")
    assert found["Zeb"]["unit_years"] == pytest.approx(546 / 365.25)
    assert found["Zeb"]["failures"] == 1
    assert found["Orr"]["unit_years"] == pytest.approx((END - dt.date(2023, 7, 1)).days / 365.25)
    assert found["Orr"]["failures"] == 0


def test_two_singles_of_one_make_count_their_years_once():
    fitted = [
        {
            "unit_id": "Halden0",
            "visit_id": "a",
            "visit_date": dt.date(2024, 12, 31),
            "part": "run_capacitor",
            "part_make": "Zeb",
            f"cap_{section}_uf": 5.0,
        }
        for section in ("herm", "fan")
    ]
    assert rates(fleet({"Halden": (2, 0)}, fitted), "part_make")["Zeb"]["unit_years"] == pytest.approx(365 / 365.25)


def test_a_group_without_exposure_has_no_rate():
    row = rates(fleet({"Halden": (2, 0)}, retired_on=dt.date(2019, 1, 1)))["Halden"]
    assert (row["unit_years"], row["rate_per_100_unit_years"], row["rate_high"], row["shrunk_rate"]) == (
        0,
        None,
        None,
        None,
    )
    assert "no rate" in row["sentence"]


def test_an_empty_store_gives_an_empty_table():
    assert rates(fleet({})) == {}
