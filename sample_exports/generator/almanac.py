"""Days as whole numbers since 1970-01-01, half-month steps, and the invented town's weather."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
from numpy.typing import NDArray

EPOCH = dt.date(1970, 1, 1)
YEAR_DAYS = 365.25
# Normal afternoon dry bulb by month, degF, and the share of a season's failures falling in each month (guesses).
NORMAL_HIGH_F = np.array([52, 57, 65, 74, 82, 89, 93, 92, 86, 75, 64, 54], dtype=float)
SEASON_SHARE = np.array([0, 0, 0.005, 0.03, 0.12, 0.22, 0.27, 0.22, 0.10, 0.015, 0, 0])


def day(date: dt.date) -> int:
    """Return the day number of ``date``."""
    return (date - EPOCH).days


def date_of(day_number: int) -> dt.date:
    """Return the date of a day number."""
    return EPOCH + dt.timedelta(int(day_number))


def season_year(day_number: int) -> int:
    """Return the year of the cooling season (May to September) that is the next to end on or after a day."""
    date = date_of(day_number)
    return date.year + (date.month > 9)


def steps(first: int, last: int) -> list[tuple[int, int]]:
    """Return the half-month steps [start, end) from ``first`` to ``last``, cut at both."""
    start, end = date_of(first), date_of(last)
    edges = [
        day(dt.date(year, month, dom))
        for year in range(start.year, end.year + 2)
        for month in range(1, 13)
        for dom in (1, 16)
    ]
    inner = sorted({first, last, *(edge for edge in edges if first < edge < last)})
    return list(itertools.pairwise(inner))


def month_of(day_number: int) -> int:
    """Return the month, 1 to 12."""
    return date_of(day_number).month


def weather(rng: np.random.Generator, first: int, last: int) -> NDArray[np.float64]:
    """Return the afternoon dry bulb of each day, both ends included, degF: normal, a slow swing, day-to-day noise."""
    days = np.arange(first, last + 1)
    dates = days.astype("datetime64[D]")
    month = dates.astype("datetime64[M]").astype(int) % 12
    into = (dates - dates.astype("datetime64[M]")).astype(int) / 31.0
    following = NORMAL_HIGH_F[(month + 1) % 12]
    before = NORMAL_HIGH_F[(month - 1) % 12]
    here = NORMAL_HIGH_F[month]
    normal = np.where(into < 0.5, before + (here - before) * (into + 0.5), here + (following - here) * (into - 0.5))
    year = dates.astype("datetime64[Y]").astype(int)
    swing = rng.normal(0.0, 1.6, year.max() - year.min() + 1)[year - year.min()]
    noise = rng.normal(0.0, 1.0, len(days))
    anomaly = np.empty(len(days))
    level = 0.0
    for i, shock in enumerate(noise):
        level = 0.75 * level + 3.2 * shock
        anomaly[i] = level
    return normal + swing + anomaly


def season_weight(first: int, last: int, temperatures: NDArray[np.float64], origin: int) -> float:
    """Return the share of a season's hazard in [first, last), larger in a hot spell (3 % per degF, a guess)."""
    month = month_of(first) - 1
    half = (last - first) / 30.4
    excess = float(temperatures[first - origin : last - origin].mean() - NORMAL_HIGH_F[month])
    return float(SEASON_SHARE[month] * half * np.exp(0.03 * excess))
