"""Are failures rising? Failures by season against unit-years, and against the heat where it is known."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy import special

from pipeline.forecast.exposure import DAYS_PER_YEAR
from pipeline.forecast.poisson_rates import garwood
from pipeline.forecast.seasons import finished_seasons

Array = npt.NDArray[np.float64]

TREND_SCHEMA = pl.Schema(
    {
        "season_start": pl.Date,
        "season_end": pl.Date,
        "units": pl.Int64,
        "unit_years": pl.Float64,
        "failures": pl.Int64,
        "rate_per_100_unit_years": pl.Float64,
        "rate_low": pl.Float64,
        "rate_high": pl.Float64,
        "ratio_to_before": pl.Float64,
        "ratio_low": pl.Float64,
        "ratio_high": pl.Float64,
        "cooling_degree_days": pl.Float64,
    }
)
"""One row per finished season. Rates are per 100 unit-years within the season; the ratio is to the season before."""


CHANGE_SCHEMA = pl.Schema(
    {"factor": pl.Float64, "factor_low": pl.Float64, "factor_high": pl.Float64, "at_same_heat": pl.Boolean}
)
"""One row at most: the factor a year with 95 % limits, and whether the heat of the seasons was taken off."""


def season_trend(
    exposed: pl.DataFrame,
    failed: pl.DataFrame,
    as_of: dt.date,
    start: str,
    end: str,
    degree_days: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Return failures and unit-years of every finished season.

    Parameters
    ----------
    exposed, failed : DataFrame
        ``exposure`` and ``counted_failures``.
    as_of : date
    start, end : str
        Month and day of the season.
    degree_days : DataFrame, optional
        season (year it starts in), cooling_degree_days.

    Notes
    -----
    Limits of a ratio of two Poisson rates: exact, by the binomial of the later count given both (Przyborowski &
    Wilenski 1940; Clopper & Pearson 1934).
    """
    first = exposed["from_on"].min()
    if not isinstance(first, dt.date):
        return pl.DataFrame(schema=TREND_SCHEMA)
    rows = []
    for one in finished_seasons(first - dt.timedelta(days=1), as_of, start, end):
        low = pl.max_horizontal("from_on", pl.lit(one.start))
        high = pl.min_horizontal("until_on", pl.lit(one.end))
        days = exposed.select(days=(high - low).dt.total_days()).filter(pl.col("days") > 0)["days"]
        hits = failed.filter(pl.col("visit_date").is_between(one.start, one.end)).height
        rows.append(
            {
                "season_start": one.start,
                "season_end": one.end,
                "units": days.len(),
                "unit_years": float(days.sum()) / DAYS_PER_YEAR,
                "failures": hits,
            }
        )
    seasons = pl.DataFrame(rows, schema={k: TREND_SCHEMA[k] for k in list(TREND_SCHEMA)[:5]}).filter(
        pl.col("unit_years") > 0
    )
    return _with_heat(_with_ratios(seasons), degree_days).select(list(TREND_SCHEMA)).cast(TREND_SCHEMA).fill_nan(None)


def _with_ratios(seasons: pl.DataFrame) -> pl.DataFrame:
    count, years = (seasons[name].cast(pl.Float64).to_numpy() for name in ("failures", "unit_years"))
    low, high = garwood(count, years)
    ratio, least, most = (np.full(count.size, np.nan) for _ in range(3))
    for n in range(1, count.size):
        ratio[n], least[n], most[n] = rate_ratio(count[n], years[n], count[n - 1], years[n - 1])
    return seasons.with_columns(
        rate_per_100_unit_years=100 * pl.col("failures") / pl.col("unit_years"),
        rate_low=pl.Series(100 * low),
        rate_high=pl.Series(100 * high),
        ratio_to_before=pl.Series(ratio),
        ratio_low=pl.Series(least),
        ratio_high=pl.Series(most),
    )


def rate_ratio(count: float, years: float, count_before: float, years_before: float) -> tuple[float, float, float]:
    """Return the ratio of two Poisson rates with exact 95 % limits; not a number where it has none."""
    total = count + count_before
    if total == 0:
        return float("nan"), float("nan"), float("nan")
    low = special.betaincinv(count, count_before + 1, 0.025) if count > 0 else 0.0
    high = special.betaincinv(count + 1, count_before, 0.975) if count_before > 0 else 1.0
    scale = years_before / years
    to_ratio = [share / (1 - share) * scale if share < 1 else float("inf") for share in (count / total, low, high)]
    return tuple(value if np.isfinite(value) else float("nan") for value in to_ratio)  # type: ignore[return-value]


def _with_heat(seasons: pl.DataFrame, degree_days: pl.DataFrame | None) -> pl.DataFrame:
    if degree_days is None:
        return seasons.with_columns(cooling_degree_days=pl.lit(None, pl.Float64))
    heat = degree_days.select(
        season=pl.col("season").cast(pl.Int32), cooling_degree_days=pl.col("cooling_degree_days").cast(pl.Float64)
    ).unique("season", keep="last")
    return (
        seasons.with_columns(season=pl.col("season_start").dt.year())
        .join(heat, on="season", how="left")
        .sort("season_start")
    )


def yearly_change(seasons: pl.DataFrame) -> pl.DataFrame:
    """Return ``CHANGE_SCHEMA``: by what factor the rate changes a year; at the same heat where that is known.

    Poisson regression on the season's number, and on the cooling degree days where every season has them, with the
    limits widened where the counts scatter more than Poisson's law (quasi-likelihood; McCullagh & Nelder, Generalized
    Linear Models, 1989). No row with fewer than three seasons, or than five failures.
    """
    if seasons.height < 3 or seasons["failures"].sum() < 5:
        return pl.DataFrame(schema=CHANGE_SCHEMA)
    count, years = seasons["failures"].cast(pl.Float64).to_numpy(), seasons["unit_years"].to_numpy()
    columns = [np.ones(count.size), np.arange(count.size) - (count.size - 1) / 2]
    heat = seasons["cooling_degree_days"]
    if heat.is_not_null().all() and seasons.height >= 4 and heat.n_unique() > 1:
        values = heat.to_numpy()
        columns.append((values - values.mean()) / values.std())
    design = np.column_stack(columns)
    beta = np.zeros(design.shape[1])
    beta[0] = np.log(count.sum() / years.sum())
    for _ in range(50):
        mu = years * np.exp(design @ beta)
        step = np.linalg.lstsq(design.T @ (design * mu[:, None]), design.T @ (count - mu), rcond=None)[0]
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-10:
            break
    mu = years * np.exp(design @ beta)
    free = count.size - design.shape[1]
    scatter = max(1.0, float((((count - mu) ** 2) / mu).sum()) / free) if free > 0 else 1.0
    error = float(np.sqrt(scatter * np.linalg.pinv(design.T @ (design * mu[:, None]))[1, 1]))
    wide = float(special.stdtrit(free, 0.975)) if scatter > 1 else 1.96
    factor, low, high = (float(np.exp(beta[1] + side * wide * error)) for side in (0, -1, 1))
    row = {"factor": factor, "factor_low": low, "factor_high": high, "at_same_heat": design.shape[1] > 2}
    return pl.DataFrame([row], schema=CHANGE_SCHEMA)
