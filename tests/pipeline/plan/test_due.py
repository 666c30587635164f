"""Who is due and why, one source of work at a time, by hand."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.config import Costs, Plan, Settings
from pipeline.plan.due import DUE_SCHEMA, due_units, warm_from
from tests.small_shop import AS_OF, SEASON, known

FIRST, LAST = AS_OF + dt.timedelta(days=1), SEASON - dt.timedelta(days=1)
WARM = dt.date(2026, 4, 15)


def due(warm: dt.date | None = None, booked: list[str] | None = None, last: dt.date = LAST, **frames: Any):
    """Return what is due of the small shop with nothing flagged and nobody under agreement but what is given."""
    shop = known()
    quiet = {
        "risk": shop.risk.with_columns(flagged=pl.lit(False)),
        "sites": shop.sites.with_columns(agreement=pl.lit("no")),
    }
    promised = pl.DataFrame({"unit_id": booked or []}, schema={"unit_id": pl.String})
    return due_units(known(**(quiet | frames)), Settings(plan=Plan()), FIRST, last, warm, promised)


def frame(name: str, *rows: dict[str, Any]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema=getattr(known(), name).schema)


def one(found: pl.DataFrame) -> dict[str, Any]:
    assert found.schema == DUE_SCHEMA
    [row] = found.rows(named=True)
    return row


def finding(what: str, on: dt.date = dt.date(2025, 6, 1), decision: str | None = None) -> pl.DataFrame:
    return frame("findings", {"unit_id": "U1", "finding": what, "found_on": on, "decision": decision})


def test_nothing_flagged_found_owed_or_booked_is_nobody_due() -> None:
    assert due().is_empty()


def test_a_flagged_unit_is_due_for_its_leading_cause_and_its_expected_cost() -> None:
    """0.30 x 0.8 x (720 + 60 + 40) = 196.80; a capacitor takes 45 minutes."""
    shop = known()
    found = one(due(risk=shop.risk.with_columns(flagged=pl.col("unit_id") == "U1")))
    assert (found["unit_id"], found["work"], found["service_minutes"]) == ("U1", "capacitor", 45.0)
    assert Costs().emergency_call == 720
    assert found["value"] == pytest.approx(196.80)
    assert not found["required"]


def test_an_agreement_visit_is_obligatory_up_to_the_season_and_by_value_in_earlier_weeks() -> None:
    agreed = known().sites.with_columns(agreement=pl.when(pl.col("site_id") == "S2").then(pl.lit("yes")))
    assert one(due(sites=agreed))["required"]
    early = one(due(sites=agreed, last=SEASON - dt.timedelta(days=14)))
    assert (early["required"], early["value"]) == (False, pytest.approx(162.30))


@pytest.mark.parametrize(
    ("what", "work"), [("weak_fan_section", "capacitor"), ("leak_found", "repair"), ("something_else", "look")]
)
def test_an_open_finding_is_due_with_its_work(what: str, work: str) -> None:
    found = one(due(findings=finding(what)))
    assert (found["work"], found["earliest"]) == (work, None)
    assert "found on 2025-06-01, not put right" in found["reasons"]


def test_a_charge_is_checked_on_days_warm_enough_or_as_well_as_the_weather_allows() -> None:
    assert one(due(WARM, findings=finding("charge_low")))["earliest"] == WARM
    assert one(due(WARM, findings=finding("charge_low"), last=WARM - dt.timedelta(days=1)))["earliest"] is None
    assert one(due(WARM, findings=finding("weak_fan_section")))["earliest"] is None


def test_an_old_finding_needs_a_decision_and_a_declined_one_is_left_alone() -> None:
    old = dt.date(2023, 6, 1)
    assert due(findings=finding("leak_found", old)).is_empty()
    assert (
        "customer said waiting for part" in one(due(findings=finding("leak_found", old, "waiting_for_part")))["reasons"]
    )
    assert due(findings=finding("leak_found", decision="declined")).is_empty()


def test_an_old_finding_is_put_right_on_the_way_where_something_else_is_due() -> None:
    found = one(due(findings=finding("leak_found", dt.date(2023, 6, 1)), booked=["U1"]))
    assert found["work"] == "repair"
    assert found["service_minutes"] == 75.0


def test_a_warranty_is_tested_before_it_lapses_and_its_amount_counts() -> None:
    row = {"unit_id": "U4", "part": "compressor", "section": None, "state": "test_before_lapse", "amount": 400.0}
    found = one(due(warranty=frame("warranty", row | {"deadline": dt.date(2026, 4, 20)})))
    # 0.10 x 0.3 x 820 = 24.60, and the 400 that would lapse
    assert (found["work"], found["latest"]) == ("warranty_test", dt.date(2026, 4, 20))
    assert found["value"] == pytest.approx(424.60)
    assert due(warranty=frame("warranty", row | {"deadline": AS_OF})).is_empty()
    assert due(warranty=frame("warranty", row | {"deadline": dt.date(2026, 4, 20), "state": "to_file"})).is_empty()


@pytest.mark.parametrize(
    ("changed", "again"),
    [
        ({}, True),
        ({"basis": "readings", "last_reading_on": dt.date(2025, 9, 1)}, False),  # fresh and known well
        ({"basis": "readings", "last_reading_on": dt.date(2023, 1, 1)}, True),  # old
        ({"basis": "readings", "last_reading_on": dt.date(2025, 9, 1), "drift_sd_pct": 6.0}, True),  # not known well
        ({"p_out_by_season_end": 0.2}, False),  # thin, and no danger
    ],
)
def test_thin_data_with_a_high_risk_are_measured_again(changed: dict[str, Any], again: bool) -> None:
    row = {
        "unit_id": "U1",
        "section": "fan",
        "p_out_by_season_end": 0.5,
        "basis": "age",
        "drift_sd_pct": 3.0,
        "last_reading_on": None,
    }
    found = due(sections=frame("sections", row | changed))
    assert found["work"].to_list() == (["re_measure"] if again else [])


def test_several_works_on_one_unit_take_the_longest_and_a_quarter_of_an_hour_for_each_further() -> None:
    row = {"unit_id": "U1", "part": "compressor", "section": None, "state": "test_before_lapse", "amount": 1.0}
    found = one(
        due(findings=finding("leak_found"), warranty=frame("warranty", row | {"deadline": dt.date(2026, 4, 20)}))
    )
    assert (found["work"], found["service_minutes"]) == ("repair; warranty_test", 90.0)


def test_a_unit_that_is_not_in_care_is_never_due() -> None:
    gone = {"unit_id": "U9", "finding": "leak_found", "found_on": dt.date(2025, 6, 1), "decision": None}
    assert due(findings=frame("findings", gone), booked=["U9"]).is_empty()


def test_the_warm_days_are_learned_from_the_shops_own_readings() -> None:
    """Half months from 1 January on: 10 readings each, cold before the half month of 1 April, warm from then on."""
    days = [SEASON - dt.timedelta(days=365 + back) for back in range(120) for _ in range(2)]
    visits = pl.DataFrame(
        {"visit_date": days, "outdoor_db_f": [75.0 if day >= dt.date(2025, 4, 1) else 50.0 for day in days]}
    )
    learned = warm_from(visits, SEASON, "")
    assert learned is not None
    assert abs((learned - dt.date(2026, 4, 1)).days) <= 15
    assert warm_from(visits, SEASON, "04-10") == dt.date(2026, 4, 10)
    assert warm_from(visits.clear(), SEASON, "") is None
