"""Which makes and sizes of capacitor age faster in this fleet: drift per year, drawn towards the mean of all."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

Array = npt.NDArray[np.float64]

QUALITY_SCHEMA = pl.Schema(
    {
        "group_by": pl.String,
        "part_make": pl.String,
        "section": pl.String,
        "rated_uf": pl.Float64,
        "series": pl.Int64,
        "readings": pl.Int64,
        "years": pl.Float64,
        "drift_pct_per_year": pl.Float64,
        "drift_low": pl.Float64,
        "drift_high": pl.Float64,
        "fleet_pct_per_year": pl.Float64,
        "faster": pl.Boolean,
        "sentence": pl.String,
    }
)
"""One row per make (``group_by`` make) and per make, section and rating (``make and rating``). Drift in % of the
rating a year, drawn to the mean of the fleet, with 95 % limits; ``faster`` where they exclude it on the bad side."""

FACTORY = "as the unit came"
"""Make of a capacitor that was never seen replaced."""
LEAST_YEARS = 0.5
"""Readings of a series must lie so far apart (engineering choice)."""
DAYS_PER_YEAR = 365.25
MIDDLE_DAY = 18_000
"""Dates are counted from here (2019), so that sums of squares lose no digits."""
NOISE_PCT = 1.7
PSEUDO_PAIRS = 30.0
"""Noise of a bench reading that is assumed, as if seen in so many pairs (engineering guess)."""


def part_quality(slopes: pl.DataFrame) -> pl.DataFrame:
    """Return how fast capacitors drift by make, and by make, section and rating.

    Parameters
    ----------
    slopes : DataFrame
        ``drift_slopes``.

    Returns
    -------
    DataFrame
        ``QUALITY_SCHEMA``, fastest first within group_by.

    Notes
    -----
    A straight line with intercept per series; its slope has the variance of the readings' noise over the spread of
    their dates. Slopes of a group scatter about the group's, groups about the fleet's: both spreads by moments
    (DerSimonian & Laird, Controlled Clinical Trials 7, 1986), each group then drawn towards the fleet's mean by its
    share of the two.
    """
    if slopes.height < 2:
        return pl.DataFrame(schema=QUALITY_SCHEMA)
    by_make = _pooled(slopes, ["part_make"], "make")
    by_size = _pooled(slopes, ["part_make", "section", "rated_uf"], "make and rating")
    return pl.concat([by_make, by_size]).sort("group_by", "drift_pct_per_year", "part_make", "section", "rated_uf")


def drift_slopes(readings: pl.DataFrame, series: pl.DataFrame) -> pl.DataFrame:
    """Return one row per series read often enough: unit_id, section, series, part_make, rated_uf, n, years, slope.

    ``slope`` is in % of the rating a year, ``error`` its variance.

    Parameters
    ----------
    readings : DataFrame
        ``core.capacitor_readings``; used are bench readings, not suspect, inside half to one and a half of the rating.
    series : DataFrame
        ``core.capacitor_series``: unit_id, section, series, part_make, start_kind.
    """
    key = ["unit_id", "section", "series"]
    x, y, n = pl.col("x"), pl.col("drift_pct"), pl.len()
    fits = (
        readings.filter(pl.col("suspect").is_null() & (pl.col("method") == "bench") & (pl.col("drift_pct").abs() < 50))
        .with_columns(x=(pl.col("visit_date").dt.epoch("d") - MIDDLE_DAY) / DAYS_PER_YEAR)
        .group_by(key)
        .agg(
            n=n,
            years=x.max() - x.min(),
            sxx=(x * x).sum() - x.sum() ** 2 / n,
            sxy=(x * y).sum() - x.sum() * y.sum() / n,
            syy=(y * y).sum() - y.sum() ** 2 / n,
            rated_uf=pl.col("rated_uf").last(),
        )
        .filter((pl.col("n") >= 2) & (pl.col("years") >= LEAST_YEARS))
        .with_columns(slope=pl.col("sxy") / pl.col("sxx"))
        .with_columns(left=pl.col("syy") - pl.col("slope") ** 2 * pl.col("sxx"))
        .join(series.select(*key, "part_make", "start_kind").unique(key), on=key, how="left")
    )
    free = float((fits["n"] - 2).sum())
    left = float(fits["left"].clip(lower_bound=0.0).sum())
    noise = (PSEUDO_PAIRS * NOISE_PCT**2 + left) / (PSEUDO_PAIRS + free)
    original = pl.col("start_kind").is_in(["installed", "unknown"]) & pl.col("part_make").is_null()
    make = pl.when(original).then(pl.lit(FACTORY)).otherwise(pl.col("part_make").fill_null("make not known"))
    return fits.with_columns(part_make=make, error=noise / pl.col("sxx")).sort(key)


def _pooled(slopes: pl.DataFrame, key: list[str], name: str) -> pl.DataFrame:
    slope, error = slopes["slope"].to_numpy(), slopes["error"].to_numpy()
    groups = slopes.select(key).unique(maintain_order=True).with_row_index("group")
    place = slopes.join(groups, on=key, how="left", nulls_equal=True, maintain_order="left")["group"].to_numpy()
    count = groups.height
    within = _spread_within(slope, error, place, count)
    weight = 1 / (error + within)
    total = np.bincount(place, weight, count)
    mean, variance = np.bincount(place, weight * slope, count) / total, 1 / total
    between, fleet, fleet_variance = _spread_between(mean, variance)
    share = between / (between + variance)
    drawn = share * mean + (1 - share) * fleet
    doubt = np.sqrt(share * variance + (1 - share) ** 2 * fleet_variance)
    sums = slopes.group_by(key).agg(
        series=pl.len().cast(pl.Int64), readings=pl.col("n").sum().cast(pl.Int64), years=pl.col("years").sum()
    )
    found = groups.with_columns(
        drift_pct_per_year=pl.Series(drawn),
        drift_low=pl.Series(drawn - 1.96 * doubt),
        drift_high=pl.Series(drawn + 1.96 * doubt),
        fleet_pct_per_year=pl.lit(fleet),
        group_by=pl.lit(name),
    ).join(sums, on=key, how="left", nulls_equal=True)
    absent = [
        pl.lit(None, QUALITY_SCHEMA[column]).alias(column) for column in ("section", "rated_uf") if column not in key
    ]
    faster = pl.col("drift_high") < pl.col("fleet_pct_per_year")
    return (
        found.with_columns(*absent, faster=faster)
        .with_columns(
            sentence=pl.format(
                "{} series over {} years: {} % a year, the fleet {} %{}",
                "series",
                pl.col("years").round(0).cast(pl.Int64),
                pl.col("drift_pct_per_year").round(2),
                pl.col("fleet_pct_per_year").round(2),
                pl.when("faster").then(pl.lit("; ages faster")).otherwise(pl.lit("")),
            )
        )
        .select(list(QUALITY_SCHEMA))
        .cast(QUALITY_SCHEMA)
    )


def _spread_within(slope: Array, error: Array, place: npt.NDArray[np.int64], count: int) -> float:
    """Return the variance between the slopes of one group beyond their errors."""
    weight = 1 / error
    total = np.bincount(place, weight, count)
    mean = np.bincount(place, weight * slope, count) / total
    excess = (weight * (slope - mean[place]) ** 2).sum() - (slope.size - count)
    scale = weight.sum() - (np.bincount(place, weight**2, count) / total).sum()
    return float(max(excess / scale, 0.0)) if scale > 0 else 0.0


def _spread_between(mean: Array, variance: Array) -> tuple[float, float, float]:
    """Return the variance between groups, the fleet's mean and its variance."""
    weight = 1 / variance
    middle = (weight * mean).sum() / weight.sum()
    scale = weight.sum() - (weight**2).sum() / weight.sum()
    excess = (weight * (mean - middle) ** 2).sum() - (mean.size - 1)
    between = float(max(excess / scale, 0.0)) if scale > 0 else 0.0
    final = 1 / (variance + between)
    return between, float((final * mean).sum() / final.sum()), float(1 / final.sum())
