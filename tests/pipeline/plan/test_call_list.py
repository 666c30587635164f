"""Whom to call: status, sentence and weeks, by hand."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.plan.call_list import WHY, call_list
from pipeline.plan.frames import LEFT_OUT_SCHEMA, ROUTE_STOPS_SCHEMA

PLACES = {"unit_id": pl.String, "lat": pl.Float64, "lon": pl.Float64}
MONDAY = dt.date(2026, 3, 16)


def stop(unit: str, date: dt.date = MONDAY, status: str = "to_book", reasons: str = "", value: float = 1.0) -> dict:
    return {"unit_id": unit, "technician": "Ida", "date": date, "status": status, "reasons": reasons, "value": value}


def calls(stops=(), left=(), places=(), said=()):
    return call_list(
        pl.DataFrame(list(stops), schema=ROUTE_STOPS_SCHEMA),
        pl.DataFrame(list(left), schema=LEFT_OUT_SCHEMA | {"reasons": pl.String()}),
        pl.DataFrame(list(places), schema=PLACES, orient="row"),
        pl.DataFrame(list(said), schema={"unit_id": pl.String, "status": pl.String}, orient="row"),
    )


def test_who_is_called_first_and_what_came_back():
    found = calls(
        [stop("A", value=5.0), stop("B", status="booked"), stop("C", value=9.0), stop("D")],
        left=[{"unit_id": "E", "why": "the customer declined the visit", "value": 3.0, "reasons": ""}],
        said=[("D", "no_answer"), ("E", "declined")],
    )
    assert found.select("unit_id", "status").rows() == [
        ("C", "to_book"),
        ("A", "to_book"),
        ("D", "no_answer"),
        ("B", "booked"),
        ("E", "declined"),
    ]


@pytest.mark.parametrize(
    ("reasons", "key"),
    [
        ("run_capacitor: hermetic section read 34.6 of 40 uF", "run_capacitor"),
        ("refrigerant_leak: superheat over target; agreement visit of this spring", "refrigerant_leak"),
        ("agreement visit of this spring, none on record", "agreement"),
        ("pitted contactor found on 2025-04-02, not put right", "contactor"),
        ("measure again: herm section never read", "measure"),
        ("<script>", "other"),
        ("", "other"),
    ],
)
def test_one_honest_sentence(reasons, key):
    assert calls([stop("A", reasons=reasons)])["why"].item() == WHY[key] + "."


def test_weeks_in_which_a_truck_is_near():
    next_week, far_week = MONDAY + dt.timedelta(days=8), MONDAY + dt.timedelta(days=15)
    found = calls(
        [stop("A"), stop("B", next_week), stop("C", far_week)],
        left=[{"unit_id": "L", "why": "no room", "value": 1.0, "reasons": ""}],
        # B is a mile from L, A two; C a degree (69 miles) away
        places=[("A", 27.50, -91.40), ("B", 27.515, -91.40), ("C", 28.5, -91.40), ("L", 27.53, -91.40)],
    )
    assert dict(found.select("unit_id", "near").iter_rows())["L"] == "week of 2026-03-16, week of 2026-03-23"
    # its own week stands first
    assert dict(found.select("unit_id", "near").iter_rows())["B"].startswith("week of 2026-03-23, week of 2026-03-16")


def test_a_unit_without_a_place_and_no_round_at_all():
    found = calls(left=[{"unit_id": "L", "why": "no place", "value": None, "reasons": None}])
    assert found.select("unit_id", "status", "near").rows() == [("L", "to_book", "")]
