"""Cooling seasons by date: the one in question, the past ones, and how a year's failures spread over its days."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Days = npt.NDArray[np.float64]

DAYS_PER_YEAR = 365.25
LEAP_YEAR = 2024
DAYS_IN_PROFILE = 366
MONTHS = 12


@dataclass(frozen=True, order=True)
class Season:
    """First and last day of one cooling season, both inclusive."""

    start: dt.date
    end: dt.date

    @property
    def eve(self) -> dt.date:
        """The day before the season starts."""
        return self.start - dt.timedelta(days=1)

    @property
    def decision_day(self) -> dt.date:
        """The last 1 February before the season starts, when spring tune-ups are planned."""
        day = dt.date(self.start.year, 2, 1)
        return day if day < self.start else dt.date(self.start.year - 1, 2, 1)

    @property
    def middle(self) -> dt.date:
        """The day halfway through."""
        return self.start + (self.end - self.start) / 2


def season(as_of: dt.date, start: str = "05-01", end: str = "09-30") -> Season:
    """Return the season in question: the next one to end after ``as_of``.

    Parameters
    ----------
    as_of
        The date the forecast is made.
    start, end
        Month and day; where the end comes before the start the season wraps the new year.

    Examples
    --------
    >>> season(dt.date(2026, 9, 30)).start
    datetime.date(2027, 5, 1)
    >>> season(dt.date(2026, 9, 29)).start
    datetime.date(2026, 5, 1)
    >>> season(dt.date(2026, 1, 10), "11-01", "02-28")
    Season(start=datetime.date(2025, 11, 1), end=datetime.date(2026, 2, 28))
    """
    for year in itertools.count(as_of.year):
        last = _day(year, end)
        if last > as_of:
            break
    wraps = end < start
    return Season(_day(last.year - 1 if wraps else last.year, start), last)


def finished_seasons(since: dt.date, as_of: dt.date, start: str = "05-01", end: str = "09-30") -> list[Season]:
    """Return the seasons that ended on or before ``as_of`` and whose eve is not before ``since``, oldest first."""
    found: list[Season] = []
    day = since
    while True:
        one = season(day, start, end)
        if one.end > as_of:
            return found
        if one.eve >= since:
            found.append(one)
        day = one.end


def last_finished_end(as_of: dt.date, end: str = "09-30") -> dt.date:
    """Return the last day of the newest season that ended on or before ``as_of``."""
    return max(_day(year, end) for year in (as_of.year - 1, as_of.year) if _day(year, end) <= as_of)


def default_profile(start: str, end: str, share_in_season: float) -> Days:
    """Return the default share of a year's failures on each day of a leap year (sums to 1).

    In the season a half sine on a level floor, outside it a constant: an engineering guess that the
    shop's own calls overrule.
    """
    first, last = (_day(LEAP_YEAR, text).timetuple().tm_yday - 1 for text in (start, end))
    length = (last - first) % DAYS_IN_PROFILE + 1
    inside = (np.arange(length) + first) % DAYS_IN_PROFILE
    profile = np.zeros(DAYS_IN_PROFILE)
    outside = DAYS_IN_PROFILE - length
    profile[:] = (1 - share_in_season) / outside if outside else 0.0
    bump = 1 + np.sin(np.pi * (np.arange(length) + 0.5) / length)
    profile[inside] = (share_in_season if outside else 1.0) * bump / bump.sum()
    return profile


def learn_profile(default: Days, month_counts: Days, pseudo_failures: float) -> tuple[float, ...]:
    """Return twelve monthly factors on ``default`` that lean towards the shop's own failures by month."""
    expected = month_shares(default)
    total = month_counts.sum() + pseudo_failures
    posterior = (month_counts + pseudo_failures * expected) / total
    return tuple(float(v) for v in posterior / np.maximum(expected, 1e-12))


def month_shares(profile: Days) -> Days:
    """Return the share of each calendar month."""
    return np.bincount(_month_of_day(), weights=profile, minlength=MONTHS).astype(np.float64)


def share_between(profile: Days, first: dt.date, last: dt.date) -> float:
    """Return the share of a year's failures from ``first`` to ``last``, both inclusive; may exceed 1 over years."""
    if last < first:
        return 0.0
    running = np.concatenate([[0.0], np.cumsum(profile)])
    whole = last.year - first.year
    return float(running[_slot(last) + 1] - running[_slot(first)] + whole * running[-1])


def shaped_profile(default: Days, factors: Iterable[float]) -> Days:
    """Return ``default`` with the monthly ``factors`` applied, summing to 1 again."""
    shaped = default * np.asarray(tuple(factors))[_month_of_day()]
    return np.asarray(shaped / shaped.sum())


def _slot(day: dt.date) -> int:
    return dt.date(LEAP_YEAR, day.month, day.day).timetuple().tm_yday - 1


def _month_of_day() -> npt.NDArray[np.int64]:
    first = dt.date(LEAP_YEAR, 1, 1)
    return np.array([(first + dt.timedelta(days=i)).month - 1 for i in range(DAYS_IN_PROFILE)])


def _day(year: int, month_day: str) -> dt.date:
    month, day = (int(part) for part in month_day.split("-"))
    try:
        return dt.date(year, month, day)
    except ValueError:
        # 29 February outside a leap year
        return dt.date(year, month, day - 1)
