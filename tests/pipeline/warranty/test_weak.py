"""Weak parts to test before their coverage lapses: what counts as a sign, of which part, and what is never claimed."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.config import Warranty
from pipeline.enrich.open_findings import OPEN_FINDINGS_SCHEMA
from pipeline.warranty.book import warranty_book
from tests.builders import make_frame, make_parts
from tests.pipeline.warranty.test_cases import READINGS, SECTIONS, TOLD

AS_OF = dt.date(2026, 3, 14)
SEASON_END = dt.date(2026, 9, 30)
PLACE = {"source_file": pl.String, "source_line": pl.Int64}
SEEN_ON = dt.date(2025, 6, 1)


def to_test(
    findings: list[dict[str, Any]] | None = None,
    visits: list[dict[str, Any]] | None = None,
    parts: list[dict[str, Any]] | None = None,
    unit: dict[str, Any] | None = None,
    settings: Warranty | None = None,
    sections: list[dict[str, Any]] | None = None,
) -> list[dict[str, Any]]:
    """A unit whose ten years end on 1 July 2026, inside the season."""
    register = {
        "unit_id": "U",
        "site_id": "S",
        "serial": "00123",
        "make": "Norvane",
        "installed_on": dt.date(2016, 7, 1),
        "parts_warranty_years": 10.0,
        "compressor_rla_amps": 14.0,
        "fan_fla_amps": 1.0,
        **(unit or {}),
    }
    seen = [
        {"unit_id": "U", "visit_id": "V", "visit_date": SEEN_ON, "source_file": "v.csv", "source_line": 7, **row}
        for row in visits or [{}]
    ]
    found = [
        {"unit_id": "U", "visit_id": "V", "found_on": SEEN_ON, "evidence": "seen", **row} for row in findings or []
    ]
    claims = warranty_book(
        visits=make_frame("visits", seen, PLACE),
        parts=make_parts(
            [{"unit_id": "U", "visit_id": "P", "visit_date": SEEN_ON, **row} for row in parts or []]
        ).with_columns(source_file=pl.lit("p.csv"), source_line=pl.lit(2, pl.Int64)),
        units=make_frame("units", [register]),
        sites=make_frame("sites", []),
        readings=pl.DataFrame(schema=READINGS),
        sections=pl.DataFrame(sections or [], schema=SECTIONS),
        findings=pl.DataFrame(found, schema=dict(OPEN_FINDINGS_SCHEMA)),
        told=pl.DataFrame(schema=TOLD),
        settings=settings or Warranty(),
        as_of=AS_OF,
        season_end=SEASON_END,
    ).claims
    return claims.filter(pl.col("state") == "test_before_lapse").to_dicts()


def test_an_open_finding_on_a_covered_part_is_to_be_tested_with_its_place():
    [row] = to_test([{"finding": "pitted_contactor", "evidence": "pitted contactor seen"}])
    assert row["part"] == "contactor"
    assert row["covered_until"] == row["deadline"] == dt.date(2026, 7, 1)
    assert row["evidence"].startswith("pitted contactor seen on 2025-06-01, still open; file only with contacts burnt")
    assert (row["source_file"], row["source_line"]) == ("v.csv", 7)
    assert row["amount"] is None  # no contactor was ever fitted, so its cost is not known: never guessed


def test_the_amount_is_what_such_a_part_cost_the_shop_never_its_price():
    fitted = [{"part": "contactor", "cost": cost, "price": 200.0, "unit_id": "elsewhere"} for cost in (18.0, 22.0)]
    [row] = to_test([{"finding": "pitted_contactor"}], parts=fitted, settings=Warranty(handling_allowance=5))
    assert row["amount"] == 25.0


@pytest.mark.parametrize(
    "changes",
    [
        {"findings": [{"finding": "pitted_contactor", "resolved_on": dt.date(2025, 7, 1)}]},
        {"findings": [{"finding": "dirty_coil"}]},
        {"findings": [{"finding": "pitted_contactor"}], "unit": {"parts_warranty_years": None}},
        {"findings": [{"finding": "pitted_contactor"}], "unit": {"parts_warranty_years": 9.0}},  # ended in 2025
        {"findings": [{"finding": "pitted_contactor"}], "unit": {"parts_warranty_years": 12.0}},  # time enough
        {"findings": [{"finding": "pitted_contactor"}], "unit": {"retired_on": dt.date(2026, 1, 1)}},
        {"findings": [{"finding": "pitted_contactor"}], "settings": Warranty(not_covered="contactor")},
        # the part seen is no longer the one in place
        {
            "findings": [{"finding": "pitted_contactor"}],
            "parts": [{"part": "contactor", "visit_date": dt.date(2025, 8, 1)}],
        },
    ],
)
def test_what_is_mended_uncovered_gone_or_not_due_is_not_listed(changes: dict[str, Any]) -> None:
    assert to_test(**changes) == []


def test_the_compressor_has_its_own_term_and_else_that_of_the_parts():
    assert to_test([{"finding": "noisy_compressor"}])[0]["cover_basis"] == "unit's compressor term"
    assert to_test([{"finding": "noisy_compressor"}], unit={"compressor_warranty_years": 12.0}) == []
    [row] = to_test(
        [{"finding": "noisy_compressor"}], unit={"compressor_warranty_years": 10.0, "parts_warranty_years": 5.0}
    )
    assert row["covered_until"] == dt.date(2026, 7, 1)


@pytest.mark.parametrize(
    ("location", "part", "missing"),
    [
        ("A-coil, bottom row", "evaporator_coil", None),
        ("condenser coil U-bend", "condenser_coil", None),
        ("flare at the line set", "refrigerant_leak", "where the leak is"),
        (None, "refrigerant_leak", "where the leak is"),
    ],
)
def test_a_leak_is_a_coils_only_where_the_search_says_so(location: str | None, part: str, missing: str | None) -> None:
    [row] = to_test([{"finding": "leak_found"}, {"finding": "topped_up_without_repair"}], [{"leak_location": location}])
    assert (row["part"], row["missing"]) == (part, missing)
    assert "the leak located, and in a part that the term covers" in row["evidence"]


@pytest.mark.parametrize(
    ("amps", "listed"),
    [
        ([14.1], True),
        ([14.0], False),  # on the plate is not over it
        ([15.0, 13.0], False),  # the newest reading counts
        ([13.0, 15.0], True),
        ([150.0], False),  # ten times the plate is a slip of the pen
    ],
)
def test_amps_over_the_plate_on_the_newest_reading(amps: list[float], listed: bool) -> None:
    visits = [
        {"visit_id": f"V{n}", "visit_date": dt.date(2024 + n, 6, 1), "compressor_amps": value}
        for n, value in enumerate(amps)
    ]
    rows = to_test(visits=visits)
    assert bool(rows) == listed
    if listed:
        assert (
            f"{amps[-1]} A on {2023 + len(amps)}-06-01, the plate's rated load amps are 14.0 A" in rows[0]["evidence"]
        )
        assert "with voltage, coils and charge in order" in rows[0]["evidence"]


def test_amps_read_before_the_motor_was_replaced_are_of_the_old_one():
    visit = [{"condenser_fan_amps": 1.4}]
    assert [row["part"] for row in to_test(visits=visit)] == ["condenser_fan_motor"]
    assert to_test(visits=visit, parts=[{"part": "condenser_fan_motor"}]) == []  # fitted on that very visit


def test_two_signs_of_one_part_are_one_line_the_heavier():
    rows = to_test([{"finding": "noisy_compressor"}], [{"compressor_amps": 17.0}])
    assert len(rows) == 1
    assert "17.0 A" in rows[0]["evidence"]


def test_a_predicted_part_is_asked_to_be_tested_not_claimed():
    section = {
        "unit_id": "U",
        "section": "herm",
        "season_end": SEASON_END,
        "drift_pct": -4.0,
        "p_out_by_season_end": 0.5,
        "already_out": False,
        "last_reading_on": SEEN_ON,
    }
    [row] = to_test(sections=[section])
    assert row["state"] == "test_before_lapse"
    assert "file only with a bench reading outside the label tolerance, or a failed section" in row["evidence"]
