"""Trouble again after a visit, counted by hand; case mix; the trend of seasons; the heat file."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.forecast.callbacks import callbacks, followed
from pipeline.forecast.degree_days import parse_degree_days
from pipeline.forecast.trends import CHANGE_SCHEMA, rate_ratio, season_trend, yearly_change
from tests.builders import make_frame

AS_OF = dt.date(2026, 3, 14)


def visit(
    on: str, who: str = "Tess", kind: str = "repair", unit: str = "U", cause: str | None = "contactor"
) -> dict[str, Any]:
    return {
        "unit_id": unit,
        "visit_id": f"{unit}{on}{who}",
        "visit_date": dt.date.fromisoformat(on),
        "technician": who,
        "visit_type": kind,
        "cause": cause,
    }


def found(rows: list[dict[str, Any]], who: str, days: int) -> dict[str, Any]:
    frame = callbacks(followed(make_frame("visits", rows)), AS_OF)
    return frame.row(by_predicate=(pl.col("group_value") == who) & (pl.col("within_days") == days), named=True)


def test_back_within_30_and_90_days_counts_against_the_last_visit_before():
    rows = [
        visit("2025-05-01"),
        visit("2025-05-31", "Rolf", "callback"),  # 30 days later: back for Tess
        visit("2025-08-15", "Tess", "no_cooling"),  # 76 days after Rolf's
    ]
    assert [(found(rows, "Tess", d)["jobs"], found(rows, "Tess", d)["back"]) for d in (30, 90)] == [(2, 1), (2, 1)]
    assert [found(rows, "Rolf", d)["back"] for d in (30, 90)] == [0, 1]


def test_a_tune_up_in_between_takes_the_blame_and_the_same_day_is_none():
    rows = [
        visit("2025-05-01"),
        visit("2025-05-01", "Rolf", "no_cooling"),
        visit("2025-05-10", "Rolf", "maintenance"),
        visit("2025-05-20", "Una", "callback"),
    ]
    assert found(rows, "Tess", 30)["back"] == 0
    assert found(rows, "Rolf", 30)["back"] == 1


def test_a_window_still_open_is_left_out():
    rows = [visit("2026-02-13"), visit("2026-02-12", unit="W")]
    assert found(rows, "Tess", 30)["jobs"] == 1


def test_the_expected_share_is_that_of_the_same_kind_of_job():
    """Repairs come back in half the cases, tune-ups never: who does the repairs is due 2 of 4, the other none."""
    rows = []
    for n in range(4):
        rows.append(visit("2025-05-01", "Hard", "repair", f"r{n}"))
        rows.append(visit("2025-05-01", "Easy", "maintenance", f"m{n}", None))
        if n % 2:
            rows.append(visit("2025-05-09", "Third", "callback", f"r{n}"))
    assert (found(rows, "Hard", 30)["expected"], found(rows, "Easy", 30)["expected"]) == (2.0, 0.0)
    assert found(rows, "Hard", 30)["ratio"] == pytest.approx(1.0, abs=0.3)
    assert "too few" in found(rows, "Hard", 30)["caution"]


def test_a_ratio_of_rates_has_the_exact_limits():
    """20 in 100 against 10 in 100: 2.0; binomial limits of 20 of 30 are 0.4719 and 0.8271 (Clopper & Pearson)."""
    ratio, low, high = rate_ratio(20, 100, 10, 100)
    assert ratio == pytest.approx(2.0)
    assert low == pytest.approx(0.4719 / 0.5281, rel=1e-3)
    assert high == pytest.approx(0.8271 / 0.1729, rel=1e-3)


def season_frames(counts: list[int], units: int = 100) -> tuple[pl.DataFrame, pl.DataFrame]:
    exposed = pl.DataFrame(
        {
            "unit_id": [str(n) for n in range(units)],
            "from_on": [dt.date(2019, 12, 31)] * units,
            "until_on": [AS_OF] * units,
        }
    )
    calls = [
        {"unit_id": str(n), "visit_id": str(n), "visit_date": dt.date(2020 + year, 7, 1), "cause": None}
        for year, count in enumerate(counts)
        for n in range(count)
    ]
    schema = {"unit_id": pl.String, "visit_id": pl.String, "visit_date": pl.Date, "cause": pl.String}
    return exposed, pl.DataFrame(calls, schema=schema)


def test_a_season_counts_its_own_days_and_calls():
    """1 May to 30 September is 152 days from first to last: 100 units, 41.6 unit-years."""
    trend = season_trend(*season_frames([4, 8]), AS_OF, "05-01", "09-30")
    row = trend.row(0, named=True)
    assert trend.height == 6
    assert (row["season_start"], row["failures"], row["units"]) == (dt.date(2020, 5, 1), 4, 100)
    assert row["unit_years"] == pytest.approx(100 * 152 / 365.25)
    assert trend["ratio_to_before"][1] == pytest.approx(2.0)
    assert trend["ratio_to_before"][2] == 0


def test_a_yearly_doubling_is_a_factor_of_two():
    change = yearly_change(season_trend(*season_frames([2, 4, 8, 16, 32, 64]), AS_OF, "05-01", "09-30")).row(
        0, named=True
    )
    assert change["factor"] == pytest.approx(2.0, rel=0.01)
    assert change["factor_low"] > 1.5
    assert not change["at_same_heat"]


def test_the_heat_takes_a_hot_year_off():
    """Calls follow the heat alone: with it there is no trend left, without it there seems to be one."""
    heat = pl.DataFrame({"season": range(2020, 2026), "cooling_degree_days": [1000.0, 1100, 1200, 1300, 1400, 1500]})
    heat = heat.with_columns(pl.Series("cooling_degree_days", [1000.0, 1300, 1000, 1500, 1300, 1600]))
    counts = [10, 20, 10, 30, 20, 36]
    frames = season_frames(counts)
    with_heat = yearly_change(season_trend(*frames, AS_OF, "05-01", "09-30", heat)).row(0, named=True)
    without = yearly_change(season_trend(*frames, AS_OF, "05-01", "09-30")).row(0, named=True)
    assert with_heat["at_same_heat"]
    assert with_heat["factor"] == pytest.approx(1.0, abs=0.06)
    assert without["factor"] > 1.15


def test_too_little_gives_no_trend():
    assert yearly_change(season_trend(*season_frames([1]), dt.date(2021, 1, 1), "05-01", "09-30")).is_empty()
    assert (
        yearly_change(pl.DataFrame(schema=season_trend(*season_frames([1]), AS_OF, "05-01", "09-30").schema)).schema
        == CHANGE_SCHEMA
    )


def test_the_heat_file_is_read_and_its_faults_are_named():
    assert parse_degree_days("season,cooling_degree_days\n2024,1890.5\n").rows() == [(2024, 1890.5)]
    with pytest.raises(UsageError, match="line 1: the column 'cooling_degree_days' is missing"):
        parse_degree_days("season,heat\n2024,1\n")
    with pytest.raises(UsageError, match="line 2, cooling_degree_days: 'hot' is not a number"):
        parse_degree_days("season,cooling_degree_days\n2024,hot\n")
    with pytest.raises(UsageError, match=r"line 2, season: '2024\.5' is not a year"):
        parse_degree_days("season,cooling_degree_days\n2024.5,1890\n")
