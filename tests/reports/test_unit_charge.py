"""What a unit's page says of its charge: answers, signs, what is missing, trend and findings."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from reports.charge_words import age, next_reading, outside, rate, rate_briefly
from reports.unit_charge import charge_care

READING: dict[str, Any] = {
    "visit_id": "V1",
    "visit_date": dt.date(2025, 7, 1),
    "charge_verdict": "low",
    "p_charge_low": 0.85,
    "p_charge_high": 0.0,
    "airflow": "shown",
    "airflow_because": "static pressure",
    "likely_fault": "undercharge",
    "p_fault": 0.72,
    "runner_up": "liquid_line_restriction",
    "expected_from": "own history",
    "next_reading": "condenser_leaving_f",
    "flood_back": False,
    "charge_level_low_pct": 70.0,
    "charge_level_high_pct": 90.0,
    "not_testable_because": None,
    "capacity_btuh": None,
    "sensible_share": None,
    "airflow_cfm": None,
    "table_airflow_cfm": None,
    "superheat_f": 25.0,
    "subcooling_f": 4.0,
}


def sign(reading: str, off: float | None, says: str | None) -> dict[str, Any]:
    sd = None if off is None else 2.0
    row = {"visit_id": "V1", "reading": reading, "off_f": off, "off_sd_f": sd, "table_says": says}
    return row | {"likely_fault": "undercharge"}


def care(*charge: dict[str, Any], **rows: Any) -> Any:
    empty: dict[str, Any] = dict.fromkeys(("unit_fault_signs", "unit_charge_trend", "unit_ledger", "unit_findings"), ())
    return charge_care(charge, empty | rows)


def test_verdict_fault_and_odds_are_said_with_the_cautions() -> None:
    found = care(READING, unit_fault_signs=(sign("superheat_off_f", 12.0, "rises"),))
    said = " ".join(found.answers)
    assert "Low charge or a restriction (outside its band: about 8 in 10)" in said
    assert "Likeliest cause: low charge, about 7 in 10, by its own earlier visits." in said
    assert "Most easily mistaken for a restriction in the liquid line or metering device." in said
    assert "70 to 90 % of the plate's; no amount to weigh in" in said
    assert found.first_step.startswith("Search for the leak first")
    assert found.read_next == "condenser leaving air"
    assert any("certified" in caution for caution in found.cautions)
    for forbidden in ("add refrigerant to", "remove refrigerant"):
        assert forbidden not in said


def test_cautions_already_on_the_page_are_not_said_twice() -> None:
    rows = {"unit_fault_signs": (sign("superheat_off_f", 12.0, "rises"),)}
    all_said = care(READING, **rows).cautions
    empty: dict[str, Any] = dict.fromkeys(("unit_charge_trend", "unit_ledger", "unit_findings"), ())
    assert charge_care((READING,), empty | rows, said=all_said).cautions == ()


@pytest.mark.parametrize(
    ("off", "says", "fits"),
    [
        (6.0, "rises", "fits"),
        (-6.0, "rises", "speaks against"),
        (1.0, "rises", "too small to tell"),
        (1.0, "rises or stays", "fits"),
        (6.0, None, "–"),
        (None, "rises", "–"),
    ],
)
def test_a_sign_fits_or_speaks_against(off: float | None, says: str | None, fits: str) -> None:
    [shown] = care(READING, unit_fault_signs=(sign("superheat_off_f", off, says),)).signs
    assert shown.fits == fits


def test_a_reading_without_a_target_is_not_called_unread() -> None:
    signs = (sign("superheat_off_f", None, "rises"), sign("discharge_line_off_f", None, "rises"))
    assert [s.off for s in care(READING, unit_fault_signs=signs).signs] == ["no target", "not read"]


def test_what_kept_the_newest_visit_from_being_judged_is_said() -> None:
    blind = READING | {
        "visit_id": "V2",
        "visit_date": dt.date(2025, 9, 1),
        "charge_verdict": "not_testable",
        "not_testable_because": "no wet bulb or humidity",
        "likely_fault": None,
        "next_reading": "return_wb_f",
    }
    found = care(READING, blind, unit_fault_signs=(sign("superheat_off_f", 12.0, "rises"),))
    assert found.missing == "The newest visit, 1 Sep 2025, could not be judged: no wet bulb or humidity."
    assert found.read_next == "return wet bulb"


def test_trend_and_ledger_speak_of_the_federal_rule() -> None:
    trend = {
        "p_leaking": 0.9,
        "charge_loss_suspected": True,
        "leak_rate_pct_per_year": 12.4,
        "leak_rate_low_pct": 0.0,
        "leak_rate_high_pct": 19.6,
        "refrigerant_added_oz_12_months": 8.0,
        "because": "1 top-up on 2025-06-01",
    }
    entry = {"kind": "top_up", "federal_threshold": "no federal leak-rate threshold applies to this unit"}
    found = care(unit_charge_trend=(trend,), unit_ledger=(entry,))
    said = " ".join(found.trend)
    assert found.suspected
    assert "about 9 in 10" in said
    assert "1 top-up on 1 Jun 2025." in said
    assert "about 12\u00a0% of its charge a year, between nothing and 20\u00a0%" in said
    assert "No federal leak-rate threshold applies to this unit." in said
    assert rate(trend | {"p_leaking": 0.02}) == "none that readings or top-ups show"
    assert rate_briefly(trend) == ("about 12\u00a0% a year", "nothing to 20\u00a0%")


def test_what_the_coil_takes_from_the_air_names_where_the_airflow_comes_from() -> None:
    rows = {"unit_fault_signs": (sign("superheat_off_f", 12.0, "rises"),)}
    by_table = READING | {"capacity_btuh": 31_240.0, "sensible_share": 0.74, "table_airflow_cfm": 1054.0}
    said = care(by_table, **rows).answers[-1]
    assert said == (
        "Taken from the air: about 31,200 Btu/h, 74 % of it sensible, at 1,054 cfm by your fan table at the static "
        "pressure read."
    )
    assert "at 900 cfm measured" in care(by_table | {"airflow_cfm": 900.0}, **rows).answers[-1]


def test_nothing_on_file_is_said_so() -> None:
    found = care()
    assert found.answers == ()
    assert found.trend[0].startswith("Whether it is losing charge cannot be said")
    assert found.cautions == ()


def test_decisions_and_proof_of_findings_are_words() -> None:
    row = {
        "finding": "weak_fan_section",
        "found_on": dt.date(2025, 1, 1),
        "evidence": "fan section 4.4 of 5.0 uF, -12.0 %",
        "decision": "declined",
        "decided_on": dt.date(2025, 1, 3),
        "days_open": 400,
        "resolved_on": None,
        "verified": None,
    }
    closed = row | {"resolved_on": dt.date(2025, 6, 1), "verified": False, "decision": None}
    found = care(unit_findings=(row, closed))
    assert found.open_findings[0]["said"] == "declined by the customer, 3 Jan 2025"
    assert found.open_findings[0]["shown"] == "fan section 4.4 of 5.0 µF, −12.0 %"
    assert found.closed_findings[0]["proof"] == "no later reading shows it"
    assert found.closed_findings[0]["said"] == "no decision on file"


@pytest.mark.parametrize(
    ("verdict", "low", "high", "said"),
    [
        ("low", 0.62, 0.0, "outside its band: about 6 in 10"),
        ("within", 0.1, 0.1, "outside it after all: about 2 in 10"),
        ("airflow_first", 0.0, 0.97, "outside its band: more than 9 in 10"),
        ("not_testable", None, None, None),
        ("low", None, None, None),
    ],
)
def test_the_odds_of_a_verdict(verdict: str, low: float | None, high: float | None, said: str | None) -> None:
    assert outside({"charge_verdict": verdict, "p_charge_low": low, "p_charge_high": high}) == said


def test_words_for_ages_and_readings() -> None:
    assert [age(d) for d in (1, 59, 60, 400, 731)] == ["1 day", "59 days", "2 months", "13 months", "2 years"]
    assert next_reading("static_in_wc and airflow_cfm") == "external static pressure and measured airflow"
    assert next_reading(None) is None
