"""Seasons by date, and how failures spread over a year."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.forecast.seasons import (
    Season,
    default_profile,
    finished_seasons,
    last_finished_end,
    learn_profile,
    season,
    shaped_profile,
    share_between,
)

DAYS = st.dates(dt.date(1995, 1, 1), dt.date(2060, 12, 31))


@pytest.mark.parametrize(
    ("as_of", "start", "end", "first", "last"),
    [
        ("2026-02-01", "05-01", "09-30", "2026-05-01", "2026-09-30"),
        ("2026-07-04", "05-01", "09-30", "2026-05-01", "2026-09-30"),
        ("2026-10-01", "05-01", "09-30", "2027-05-01", "2027-09-30"),
        ("2026-01-15", "11-15", "02-29", "2025-11-15", "2026-02-28"),
        ("2027-03-01", "11-15", "02-29", "2027-11-15", "2028-02-29"),
    ],
)
def test_season_in_question(as_of: str, start: str, end: str, first: str, last: str) -> None:
    """The next season to end after the day, over the new year and in leap years too."""
    expected = Season(dt.date.fromisoformat(first), dt.date.fromisoformat(last))
    assert season(dt.date.fromisoformat(as_of), start, end) == expected


@given(DAYS)
def test_season_ends_after_the_day_and_the_one_before_does_not(day: dt.date) -> None:
    """The finished past and the season in question meet without a gap."""
    ahead = season(day)
    assert ahead.end > day >= last_finished_end(day)
    assert season(last_finished_end(day)) == ahead


def test_finished_seasons_need_their_eve_on_record() -> None:
    """Records from 2 May 2023 on hold no eve of 2023; the season of 2025 is not over on 29 September."""
    found = finished_seasons(dt.date(2023, 5, 2), dt.date(2025, 9, 29))
    assert [s.start.year for s in found] == [2024]
    assert [s.start.year for s in finished_seasons(dt.date(2023, 4, 30), dt.date(2025, 9, 30))] == [2023, 2024, 2025]


def test_decision_day_is_the_first_of_february_before_the_season() -> None:
    """Also where the season starts in January or in November."""
    assert season(dt.date(2026, 3, 1)).decision_day == dt.date(2026, 2, 1)
    assert season(dt.date(2026, 1, 1), "01-15", "03-31").decision_day == dt.date(2025, 2, 1)
    assert season(dt.date(2026, 3, 1), "11-01", "02-28").decision_day == dt.date(2026, 2, 1)


def test_default_profile_sums_to_one_with_its_share_in_season() -> None:
    """92 % inside 1 May to 30 September, the middle of July above the ends."""
    profile = default_profile("05-01", "09-30", 0.92)
    assert profile.sum() == pytest.approx(1.0)
    assert share_between(profile, dt.date(2026, 5, 1), dt.date(2026, 9, 30)) == pytest.approx(0.92)
    assert share_between(profile, dt.date(2026, 7, 15), dt.date(2026, 7, 15)) > 1.8 * share_between(
        profile, dt.date(2026, 5, 1), dt.date(2026, 5, 1)
    )


def test_share_between_spans_the_new_year() -> None:
    """The days of one year and of the next add up; a whole year is 1."""
    profile = np.full(366, 1 / 366)
    assert share_between(profile, dt.date(2025, 12, 31), dt.date(2026, 1, 1)) == pytest.approx(2 / 366)
    assert share_between(profile, dt.date(2026, 3, 1), dt.date(2027, 2, 28)) == pytest.approx(365 / 366)
    assert share_between(profile, dt.date(2026, 3, 2), dt.date(2026, 3, 1)) == 0.0


def test_profile_leans_to_the_shops_own_months() -> None:
    """None on record: the default. 4,000 calls, all in August: nearly all of the weight there."""
    default = default_profile("05-01", "09-30", 0.92)
    assert learn_profile(default, np.zeros(12), 40.0) == pytest.approx([1.0] * 12)
    august = np.zeros(12)
    august[7] = 4000
    shaped = shaped_profile(default, learn_profile(default, august, 40.0))
    assert shaped.sum() == pytest.approx(1.0)
    assert share_between(shaped, dt.date(2026, 8, 1), dt.date(2026, 8, 31)) > 0.98
