"""Findings from weak section to swollen can: what stays open, what puts it right, and what the customer decided."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.enrich.charge import CHARGE_READINGS_SCHEMA, charge_readings
from pipeline.enrich.finding_kinds import History, kinds
from pipeline.enrich.ledger import LEDGER_SCHEMA, refrigerant_ledger
from pipeline.enrich.open_findings import OPEN_FINDINGS_SCHEMA, open_findings
from pipeline.fields import registry
from tests.builders import make_frame, make_parts
from tests.charge_states import reading, unit

AS_OF = dt.date(2025, 3, 1)
SERIES = {
    "unit_id": pl.String, "section": pl.String, "series": pl.Int64, "ended_on": pl.Date, "end_kind": pl.String,
}  # fmt: skip
CAPACITORS = {
    "unit_id": pl.String, "visit_id": pl.String, "visit_date": pl.Date, "section": pl.String, "series": pl.Int64,
    "rated_uf": pl.Float64, "rated_source": pl.String, "measured_uf": pl.Float64, "drift_pct": pl.Float64,
    "out_of_tolerance": pl.Boolean, "suspect": pl.String, "is_new_part": pl.Boolean,
}  # fmt: skip


def found(
    visits: list[dict[str, Any]] | None = None,
    *,
    parts: list[dict[str, Any]] | None = None,
    advice: list[dict[str, Any]] | None = None,
    series: list[dict[str, Any]] | None = None,
    capacitors: list[dict[str, Any]] | None = None,
    system: dict[str, Any] | None = None,
) -> list[dict[str, Any]]:
    """Return the findings of one unit; dates are given as years, 1 June of each."""
    of_unit = {"unit_id": "U1"}
    rows = make_frame("visits", [of_unit | dated(v) for v in visits or []])
    fitted = make_parts([of_unit | dated(p) for p in parts or []])
    owned = make_frame("units", [system or unit(factory_charge_oz=100.0)])
    said = make_frame("recommendations", [of_unit | dated(a) for a in advice or []], {"visit_date": pl.Date})
    history = History(
        visits=rows,
        parts=fitted,
        recommendations=said,
        capacitor_series=pl.DataFrame([of_unit | s for s in series or []], schema=SERIES),
        capacitor_readings=pl.DataFrame([of_unit | dated(c) for c in capacitors or []], schema=CAPACITORS),
        charge_readings=charge_readings(rows, owned),
        ledger=refrigerant_ledger(rows, fitted, owned),
    )
    return open_findings(history, as_of=AS_OF).rows(named=True)


def dated(row: dict[str, Any]) -> dict[str, Any]:
    year = row["year"]
    rest = {k: v for k, v in row.items() if k != "year"}
    return {"visit_id": f"V{year}", "visit_date": dt.date(year, 6, 1)} | rest


def weak(year: int, measured_uf: float = 34.6, **more: Any) -> dict[str, Any]:
    # a 40 uF hermetic section that reads 34.6 is 13.5 % low (common practice, no source)
    drift = 100 * (measured_uf / 40 - 1)
    base = {
        "year": year, "section": "herm", "series": 1, "rated_uf": 40.0, "measured_uf": measured_uf, "drift_pct": drift,
        "out_of_tolerance": abs(drift) > 6, "suspect": None, "is_new_part": False,
    }  # fmt: skip
    return base | more


def charge(year: int, superheat_f: float, subcooling_f: float = 10.0, **more: Any) -> dict[str, Any]:
    row = reading(superheat_f, subcooling_f, **more)
    return {"year": year} | {k: v for k, v in row.items() if k not in ("visit_id", "visit_date", "unit_id")}


def test_a_weak_section_is_open_once_from_its_first_reading() -> None:
    rows = found(capacitors=[weak(2023), weak(2024)])
    assert [(r["finding"], r["found_on"], r["resolved_on"]) for r in rows] == [
        ("weak_hermetic_section", dt.date(2023, 6, 1), None)
    ]
    assert rows[0]["evidence"] == "hermetic section 34.6 of 40.0 uF, -13.5 %"
    assert rows[0]["days_open"] == (AS_OF - dt.date(2023, 6, 1)).days


def test_a_new_part_ends_it_and_its_reading_verifies_the_repair() -> None:
    ended = [{"section": "herm", "series": 1, "ended_on": dt.date(2024, 6, 1), "end_kind": "fitted"}]
    plain = found(capacitors=[weak(2023)], series=ended)[0]
    assert (plain["resolved_on"], plain["resolved_by"], plain["verified"]) == (
        dt.date(2024, 6, 1), "run capacitor fitted", False,
    )  # fmt: skip
    new = weak(2024, 40.1, is_new_part=True, series=2)
    assert found(capacitors=[weak(2023), new], series=ended)[0]["verified"] is True


def test_what_is_put_right_on_the_visit_was_never_open() -> None:
    ended = [{"section": "herm", "series": 1, "ended_on": dt.date(2023, 6, 1), "end_kind": "fitted"}]
    assert found(capacitors=[weak(2023)], series=ended) == []
    assert (
        found([{"year": 2023, "observations": "swollen_capacitor"}], parts=[{"year": 2023, "part": "run_capacitor"}])
        == []
    )


def test_suspect_and_tolerable_and_new_parts_readings_are_no_findings() -> None:
    assert found(capacitors=[weak(2023, suspect="copied rating"), weak(2024, 39.0)]) == []
    assert found(capacitors=[weak(2023, is_new_part=True)]) == []


def test_an_observation_stays_open_until_its_part_is_fitted() -> None:
    seen = [
        {"year": 2022, "observations": "vibration; pitted_contactor"},
        {"year": 2023, "observations": "dirty_filter"},
    ]
    rows = {r["finding"]: r for r in found(seen, parts=[{"year": 2024, "part": "contactor"}])}
    assert rows["pitted_contactor"]["resolved_by"] == "contactor fitted"
    assert rows["pitted_contactor"]["days_open"] == 731  # 1 June 2022 to 1 June 2024
    assert rows["vibration"]["resolved_by"] == "not seen on a later visit"
    assert rows["dirty_filter"]["resolved_on"] is None


def test_found_again_after_the_repair_is_a_new_finding() -> None:
    seen = [{"year": y, "observations": "swollen_capacitor"} for y in (2020, 2021, 2023)]
    rows = found(seen, parts=[{"year": 2022, "part": "run_capacitor"}])
    assert [(r["found_on"].year, r["resolved_on"]) for r in rows] == [(2020, dt.date(2022, 6, 1)), (2023, None)]


@pytest.mark.parametrize("item", ["run_capacitor", "Replace run capacitor", "capacitor 40/5"])
def test_the_customers_decision_comes_with_the_finding(item: str) -> None:
    advice = [
        {"year": 2023, "item": item, "decision": "later"},
        {"year": 2024, "item": item, "decision": "declined", "decided_on": dt.date(2024, 6, 9)},
        {"year": 2024, "item": "new thermostat", "decision": "approved"},
    ]
    row = found(capacitors=[weak(2023)], advice=advice)[0]
    assert (row["decision"], row["decided_on"]) == ("declined", dt.date(2024, 6, 9))


def test_advice_given_before_the_finding_does_not_speak_of_it() -> None:
    advice = [{"year": 2021, "item": "run_capacitor", "decision": "declined"}]
    assert found(capacitors=[weak(2023)], advice=advice)[0]["decision"] is None


def test_low_charge_is_open_until_refrigerant_or_a_reading_within_and_a_reading_verifies() -> None:
    alone = {r["finding"]: r for r in found([charge(2022, 25.0, 4.0)])}
    assert alone["charge_low"]["resolved_on"] is None
    assert (
        alone["charge_low"]["evidence"] == "superheat 25.0 against a target of 10.0 degF: low charge or a restriction"
    )
    later = found(
        [charge(2022, 25.0, 4.0), {"year": 2023, "refrigerant_added_oz": 16.0}, charge(2023, 10.0, visit_id="V9")]
    )
    rows = {r["finding"]: r for r in later}
    assert (rows["charge_low"]["resolved_by"], rows["charge_low"]["verified"]) == ("refrigerant added", True)
    assert rows["topped_up_without_repair"]["resolved_on"] is None


def test_refrigerant_added_on_the_visit_leaves_a_top_up_without_repair() -> None:
    rows = {r["finding"]: r for r in found([charge(2022, 25.0, 4.0, refrigerant_added_oz=16.0)])}
    assert set(rows) == {"topped_up_without_repair"}
    mended = found(
        [charge(2022, 25.0, 4.0, refrigerant_added_oz=16.0, leak_found="yes")],
        parts=[{"year": 2023, "part": "evaporator_coil"}],
    )
    assert {r["finding"]: r["resolved_by"] for r in mended} == {
        "topped_up_without_repair": "evaporator coil fitted",
        "leak_found": "evaporator coil fitted",
    }


def test_charge_that_holds_for_a_year_closes_the_top_up() -> None:
    added = {"year": 2022, "refrigerant_added_oz": 16.0}
    held = found([added, charge(2023, 10.0)])[0]
    assert (held["resolved_on"], held["resolved_by"]) == (
        dt.date(2023, 6, 1), "charge within its band a year after the top-up",
    )  # fmt: skip
    again = found([added, {"year": 2023, "refrigerant_added_oz": 16.0}, charge(2023, 10.0, visit_id="V9")])
    assert [r["resolved_on"] for r in again] == [None]


def test_borderline_verdicts_are_no_findings() -> None:
    assert found([charge(2022, 16.0)]) == []


def test_flood_back_and_doubtful_airflow_are_found_and_end_with_a_later_reading() -> None:
    rows = {r["finding"]: r for r in found([charge(2022, 0.0, 10.0, static_in_wc=1.1), charge(2024, 10.0)])}
    assert rows["flood_back"]["resolved_by"] == "a later superheat is safe"
    assert rows["airflow_doubtful"]["resolved_by"] == "airflow shown to be in order"
    assert rows["airflow_doubtful"]["evidence"].startswith("static pressure high")


def test_nothing_after_as_of_counts() -> None:
    late = {"year": 2025, "observations": "swollen_capacitor"}
    part = {"year": 2025, "part": "run_capacitor"}
    rows = found([{"year": 2024, "observations": "swollen_capacitor"}, late], parts=[part])
    assert [(r["found_on"].year, r["resolved_on"]) for r in rows] == [(2024, None)]


def test_a_decision_of_a_later_day_is_not_known_yet() -> None:
    advice = [
        {"year": 2023, "item": "run_capacitor", "decision": "later", "decided_on": dt.date(2023, 6, 2)},
        {"year": 2024, "item": "run_capacitor", "decision": "declined", "decided_on": AS_OF + dt.timedelta(days=1)},
    ]
    row = found(capacitors=[weak(2023)], advice=advice)[0]
    assert (row["decision"], row["decided_on"]) == ("later", dt.date(2023, 6, 2))
    advice[1]["decided_on"] = AS_OF
    assert found(capacitors=[weak(2023)], advice=advice)[0]["decision"] == "declined"


def test_every_kind_names_registered_parts_and_observations() -> None:
    parts = set(registry()["parts"].fields["part"].allowed)
    seen = set(registry()["visits"].fields["observations"].allowed)
    for kind in kinds().values():
        assert set(kind.parts) <= parts
        assert kind.seen is None or kind.seen in seen


def test_empty_frames_give_the_declared_schema() -> None:
    history = History(
        visits=make_frame("visits", []), parts=make_parts([]),
        recommendations=make_frame("recommendations", [], {"visit_date": pl.Date}),
        capacitor_series=pl.DataFrame(schema=SERIES), capacitor_readings=pl.DataFrame(schema=CAPACITORS),
        charge_readings=pl.DataFrame(schema=dict(CHARGE_READINGS_SCHEMA)),
        ledger=pl.DataFrame(schema=dict(LEDGER_SCHEMA)),
    )  # fmt: skip
    assert dict(open_findings(history, as_of=AS_OF).schema) == dict(OPEN_FINDINGS_SCHEMA)
