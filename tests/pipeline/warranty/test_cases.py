"""The warranty book against 500 cases whose answers were derived by hand from the rule that stands beside each."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.config import MakeTerms, Warranty
from pipeline.enrich.open_findings import OPEN_FINDINGS_SCHEMA
from pipeline.warranty.book import warranty_book
from tests.builders import make_frame, make_parts

AS_OF = dt.date(2026, 3, 14)
CASES = Path(__file__).parents[2] / "data" / "warranty_cases.csv"
MAKE = "Norvane"
UNREGISTERED_5 = MakeTerms(
    registered_parts_years=12,
    unregistered_parts_years=5,
    registered_compressor_years=12,
    unregistered_compressor_years=5,
    registration_days=60,
)
SETTINGS = {
    "": Warranty(),
    "unregistered_5": Warranty(makes={MAKE: UNREGISTERED_5}),
    "transfer_ends": Warranty(on_change_of_owner="ends"),
    "transfer_unregistered": Warranty(unregistered_parts_years=5, on_change_of_owner="unregistered"),
    "own_term": Warranty(rest_of_original=False),
    "allowances": Warranty(labor_allowance=100, handling_allowance=5),
    "minimum_50": Warranty(minimum_claim=50),
}
Case = dict[str, str]
PART_FIELDS = {
    "on": "visit_date",
    "part": "part",
    "status": "claim_status",
    "cost": "cost",
    "price": "price",
    "years": "part_warranty_years",
    "claim_amount": "claim_amount",
    "claimed_on": "claimed_on",
}


def read_cases() -> list[Case]:
    with CASES.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def value(text: str, kind: str) -> Any:
    if not text:
        return None
    return dt.date.fromisoformat(text) if kind == "date" else float(text) if kind == "number" else text


def unit_of(case: Case) -> dict[str, Any]:
    return {
        "unit_id": case["case"],
        "site_id": case["case"],
        "make": f" {MAKE.lower()} ",
        "serial": case["case"],
        "installed_on": value(case["installed_on"], "date"),
        "registered": case["registered"] or None,
        "registered_on": value(case["registered_on"], "date"),
        "parts_warranty_years": value(case["parts_years"], "number"),
        "compressor_warranty_years": value(case["compressor_years"], "number"),
        "labor_warranty_years": value(case["labor_years"], "number"),
    }


def fitted(case: Case) -> list[tuple[dict[str, Any], str]]:
    rows = []
    for n in (1, 2, 3):
        if case[f"p{n}_on"]:
            row: dict[str, Any] = {"unit_id": case["case"], "visit_id": f"{case['case']}-{n}"}
            for name, field in PART_FIELDS.items():
                kind = (
                    "date"
                    if name in ("on", "claimed_on")
                    else "number"
                    if name in ("cost", "price", "years", "claim_amount")
                    else "text"
                )
                row[field] = value(case[f"p{n}_{name}"], kind)
            rows.append((row, case[f"p{n}_visit_type"] or "repair"))
    return rows


def book_of(cases: list[Case], settings: Warranty) -> pl.DataFrame:
    parts = [row for case in cases for row, _ in fitted(case)]
    # a capacitor elsewhere, so that the shop knows what one costs it
    dear = {
        "unit_id": "elsewhere",
        "visit_id": "e",
        "visit_date": dt.date(2020, 1, 1),
        "part": "run_capacitor",
        "cost": 14.0,
    }
    visits = [
        {"unit_id": row["unit_id"], "visit_id": row["visit_id"], "visit_date": row["visit_date"], "visit_type": kind}
        for case in cases
        for row, kind in fitted(case)
    ]
    sections = [
        {
            "unit_id": case["case"],
            "section": "herm",
            "season_end": dt.date(2026, 9, 30),
            "drift_pct": -4.0,
            "p_out_by_season_end": float(case["weak_p"]),
            "already_out": False,
            "last_reading_on": value(case["weak_read_on"], "date"),
        }
        for case in cases
        if case["weak_p"]
    ]
    return warranty_book(
        visits=make_frame("visits", visits, {"source_file": pl.String, "source_line": pl.Int64}),
        parts=make_parts([*parts, dear]).with_columns(source_file=pl.lit("parts.csv"), source_line=pl.lit(2, pl.Int64)),
        units=make_frame("units", [unit_of(case) for case in cases]),
        sites=make_frame(
            "sites", [{"site_id": case["case"], "owner_since": value(case["owner_since"], "date")} for case in cases]
        ),
        readings=pl.DataFrame(schema=READINGS),
        sections=pl.DataFrame(sections, schema=SECTIONS),
        findings=pl.DataFrame(schema=OPEN_FINDINGS_SCHEMA),
        told=pl.DataFrame(schema=TOLD),
        settings=settings,
        as_of=AS_OF,
        season_end=dt.date(2026, 9, 30),
    ).claims


READINGS = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "section": pl.String,
    "drift_pct": pl.Float64,
    "tolerance_pct": pl.Float64,
    "measured_uf": pl.Float64,
    "rated_uf": pl.Float64,
    "is_new_part": pl.Boolean,
}
SECTIONS = {
    "unit_id": pl.String,
    "section": pl.String,
    "season_end": pl.Date,
    "drift_pct": pl.Float64,
    "p_out_by_season_end": pl.Float64,
    "already_out": pl.Boolean,
    "last_reading_on": pl.Date,
}
TOLD = {"unit_id": pl.String, "visit_id": pl.String, "item": pl.String, "quantity": pl.Float64, "snippet": pl.String}


def answers(name: str) -> list[tuple[Case, dict[str, Any] | None]]:
    cases = [case for case in read_cases() if case["settings"] == name]
    found: dict[str, dict[str, Any]] = {}
    for row in book_of(cases, SETTINGS[name]).iter_rows(named=True):  # in order of dates: the last part answers
        found[row["unit_id"]] = row
    return [(case, found.get(case["case"])) for case in cases]


@pytest.mark.parametrize("name", SETTINGS)
def test_every_case_has_its_hand_derived_answer(name: str) -> None:
    wrong = []
    for case, row in answers(name):
        expected = {
            "state": case["expect_state"] or None,
            "covered_until": value(case["expect_covered_until"], "date"),
            "amount": value(case["expect_amount"], "number"),
            "deadline": value(case["expect_deadline"], "date"),
            "customer_paid": value(case["expect_customer_paid"], "number"),
        }
        got = {key: row[key] if row else None for key in expected}
        if expected["state"] is None:
            # nothing is listed; what the row says beside it is held only where the case says so
            expected["amount"] = got["amount"]
            if expected["covered_until"] is None:
                expected["covered_until"] = got["covered_until"]
        if got != expected:
            wrong.append((case["case"], case["rule"], expected, got))
    assert wrong == []


def test_there_are_500_cases_and_every_setting_is_used() -> None:
    cases = read_cases()
    assert len(cases) >= 500
    assert {case["settings"] for case in cases} == set(SETTINGS)
    assert all(case["rule"] for case in cases)
