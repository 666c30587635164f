"""Work that a visit shows and nobody was asked to pay for: what shows it, and what is not missing a price."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from pipeline.warranty.claims import CLAIMS_SCHEMA
from pipeline.warranty.unbilled import not_billed
from tests.builders import make_frame, make_parts
from tests.pipeline.warranty.test_cases import TOLD

ON = dt.date(2025, 7, 4)
PLACE = {"source_file": pl.String, "source_line": pl.Int64}
PRICED = {"unit_id": "elsewhere", "visit_id": "E", "visit_date": ON, "part": "contactor", "price": 180.0}
"""So that the export has prices at all."""


def unbilled(
    parts: list[dict[str, Any]] | None = None,
    visit: dict[str, Any] | None = None,
    claims: list[dict[str, Any]] | None = None,
    told: list[dict[str, Any]] | None = None,
    priced: bool = True,
) -> list[tuple[str, float | None, str]]:
    rows = [
        {"unit_id": "U", "visit_id": "V", "visit_date": ON, "row_n": 1, "quantity": 1.0, **row} for row in parts or []
    ]
    seen = {"unit_id": "U", "visit_id": "V", "visit_date": ON, "source_file": "v.csv", "source_line": 9}
    found = not_billed(
        make_frame("visits", [{**seen, **(visit or {})}], PLACE),
        make_parts([*rows, *([PRICED] if priced else [])]).with_columns(
            source_file=pl.lit("p.csv"), source_line=pl.lit(3, pl.Int64)
        ),
        pl.DataFrame(claims or [], schema=CLAIMS_SCHEMA),
        pl.DataFrame(told or [], schema=TOLD),
    )
    return found.select("item", "quantity", "shown_by").rows()


def claim(state: str) -> dict[str, Any]:
    return {"unit_id": "U", "visit_id": "V", "part": "contactor", "row_n": 1, "state": state}


def test_a_part_without_a_price_and_without_a_claim():
    assert unbilled([{"part": "contactor"}]) == [("contactor", 1.0, "a row of parts without a price")]
    assert unbilled([{"part": "contactor", "price": 0.0}]) == [("contactor", 1.0, "a row of parts without a price")]
    assert unbilled([{"part": "contactor", "price": 0.01}]) == []


def test_a_claim_pays_for_it_unless_it_was_denied_or_lapsed():
    for state in ("to_file", "filed", "credited"):
        assert unbilled([{"part": "contactor"}], claims=[claim(state)]) == []
    for state in ("denied", "lapsed"):
        assert len(unbilled([{"part": "contactor"}], claims=[claim(state)])) == 1


def test_refrigerant_by_weight_without_a_row_of_parts():
    told = [("refrigerant", 18.0, "refrigerant added on the visit, no row of parts")]
    assert unbilled(visit={"refrigerant_added_oz": 18.0}) == told
    assert unbilled(visit={"refrigerant_added_oz": 0.0}) == []
    assert unbilled([{"part": "refrigerant", "price": 90.0}], {"refrigerant_added_oz": 18.0}) == []


def test_the_reading_of_a_new_capacitor_without_a_row_of_parts():
    told = [("run_capacitor", 1.0, "a reading of a new capacitor, no row of parts")]
    assert unbilled(visit={"herm_uf_after": 40.1, "fan_uf_after": 5.0}) == told
    assert unbilled([{"part": "run_capacitor", "price": 190.0}], {"herm_uf_after": 40.1}) == []


def test_what_only_a_note_tells_counts_once():
    note = {"unit_id": "U", "visit_id": "V", "item": "refrigerant", "quantity": 18.0, "snippet": "added 18 oz"}
    assert unbilled(told=[note]) == [("refrigerant", 18.0, "told in the note only")]
    assert len(unbilled(visit={"refrigerant_added_oz": 18.0}, told=[note])) == 1
    assert unbilled([{"part": "refrigerant", "price": 9.0}], told=[note]) == []


def test_what_goes_in_at_an_install_is_in_its_price():
    assert unbilled([{"part": "line_set"}], {"visit_type": "install", "refrigerant_added_oz": 40.0}) == []


def test_an_export_without_prices_says_nothing():
    assert unbilled([{"part": "contactor"}], priced=False) == []
    assert unbilled(visit={"refrigerant_added_oz": 18.0}, priced=False) == []


def test_a_part_of_a_visit_that_is_not_on_file_is_not_called_unbilled():
    assert unbilled([{"part": "contactor", "visit_id": "unknown"}]) == []
