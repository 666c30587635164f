"""Unit-years and failures as the contract defines them, counted by hand."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.forecast.exposure import counted_failures, expected_at_age, exposure
from tests.builders import make_frame

AS_OF = dt.date(2026, 3, 14)
YEAR = 365.25
SEEN = {"first_visit_on": pl.Date, "last_visit_on": pl.Date, "visits_stored": pl.Int64}


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def units(*rows: dict[str, Any]) -> pl.DataFrame:
    return make_frame("units", [{"unit_id": "U", "visits_stored": 1, **row} for row in rows], SEEN)


def visit(on: str, kind: str = "no_cooling", cause: str | None = "contactor", unit: str = "U") -> dict[str, Any]:
    return {"unit_id": unit, "visit_id": on, "visit_date": day(on), "visit_type": kind, "cause": cause}


@pytest.mark.parametrize(
    ("first", "last", "retired", "until"),
    [
        ("2024-03-14", "2025-01-01", None, "2026-03-14"),  # as-of comes first
        ("2015-01-31", "2020-02-29", None, "2023-02-28"),  # 36 months after the last visit, to the month's end
        ("2015-01-31", "2025-02-01", "2021-06-01", "2021-06-01"),  # retired comes first, visited all the same
        ("2020-01-01", "2020-01-01", None, "2023-01-01"),  # one visit: 36 months
        ("2020-05-01", "2021-05-01", "2020-01-01", "2020-05-01"),  # retired before the first visit: none
    ],
)
def test_until_the_earliest(first, last, retired, until):
    row = {"first_visit_on": day(first), "last_visit_on": day(last), "retired_on": retired and day(retired)}
    found = exposure(units(row), AS_OF, 36).row(0, named=True)
    assert found["until_on"] == day(until)
    assert found["years"] == pytest.approx((day(until) - day(first)).days / YEAR)


def test_a_unit_without_a_visit_has_no_exposure():
    assert exposure(units({"first_visit_on": None, "visits_stored": 0}), AS_OF, 36).is_empty()


@given(st.dates(dt.date(2000, 1, 1), AS_OF), st.integers(0, 4000), st.none() | st.dates(dt.date(1990, 1, 1)))
def test_exposure_is_never_negative(first, span, retired):
    last = min(first + dt.timedelta(days=span), AS_OF)
    found = exposure(units({"first_visit_on": first, "last_visit_on": last, "retired_on": retired}), AS_OF, 36)
    assert found["years"][0] >= 0


def test_failures_after_the_first_visit_and_inside_the_exposure():
    visits = make_frame(
        "visits",
        [
            visit("2020-05-01"),  # the first visit itself
            visit("2020-06-01"),
            visit("2020-06-10"),  # within 14 days, same cause: the same failure
            visit("2020-06-12", cause="compressor"),  # another cause counts
            visit("2021-01-01", kind="repair"),  # no failure
            visit("2022-01-01"),  # after it was retired
        ],
    )
    register = units(
        {"first_visit_on": day("2020-05-01"), "last_visit_on": day("2022-01-01"), "retired_on": day("2021-12-31")}
    )
    found = counted_failures(visits, exposure(register, AS_OF, 36))
    assert found["visit_id"].to_list() == ["2020-06-01", "2020-06-12"]


def test_expected_at_age_adds_up_and_follows_the_ages():
    """Ten young and ten old units, one year each; two calls at the old: a young unit is due 0, an old one 0.2."""
    rows = [
        {
            "unit_id": f"{kind}{n}",
            "installed_on": day(born),
            "first_visit_on": day("2024-01-01"),
            "last_visit_on": day("2024-06-01"),
            "retired_on": day("2024-12-31"),
        }
        for kind, born in (("y", "2023-01-01"), ("o", "2000-01-01"))
        for n in range(10)
    ]
    register = units(*rows)
    exposed = exposure(register, AS_OF, 36)
    failed = counted_failures(
        make_frame("visits", [visit("2024-06-01", unit="o1"), visit("2024-06-01", unit="o2")]), exposed
    )
    due = dict(expected_at_age(exposed, failed, register).iter_rows())
    assert due["y0"] == 0
    assert due["o7"] == pytest.approx(0.2)
    assert sum(due.values()) == pytest.approx(2)


def test_units_of_no_known_age_share_their_own_rate():
    register = units(
        {"unit_id": "a", "first_visit_on": day("2024-01-01"), "last_visit_on": day("2024-12-31")},
        {"unit_id": "b", "first_visit_on": day("2024-01-01"), "last_visit_on": day("2024-12-31")},
    )
    exposed = exposure(register, AS_OF, 36)
    failed = counted_failures(make_frame("visits", [visit("2024-06-01", unit="a")]), exposed)
    due = dict(expected_at_age(exposed, failed, register).iter_rows())
    assert due == {"a": pytest.approx(0.5), "b": pytest.approx(0.5)}
