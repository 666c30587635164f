"""Unit-years under care and the failures that count in them."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.forecast.failures import failures

DAYS_PER_YEAR = 365.25
AGE_BANDS = (0, 5, 10, 15, 20)
"""Years of age at which the fleet's rate by age takes its steps (engineering choice)."""


def exposure(units: pl.DataFrame, as_of: dt.date, unseen_months: int) -> pl.DataFrame:
    """Return from when until when each unit was under care.

    Parameters
    ----------
    units : DataFrame
        unit_id, first_visit_on, last_visit_on, retired_on; units without a stored visit have no exposure.
    as_of : date
        Nothing is known later.
    unseen_months : int
        Exposure ends so long after the last visit.

    Returns
    -------
    DataFrame
        unit_id, from_on, until_on, years [year]; one row per unit with a visit. From the first stored visit to the
        earliest of retired_on, as_of and last visit plus ``unseen_months``; never negative: a unit retired before its
        first visit has none.
    """
    last = pl.min_horizontal("retired_on", pl.lit(as_of), pl.col("last_visit_on").dt.offset_by(f"{unseen_months}mo"))
    return (
        units.filter(pl.col("first_visit_on").is_not_null())
        .select("unit_id", from_on="first_visit_on", until_on=pl.max_horizontal(last, "first_visit_on"))
        .with_columns(years=(pl.col("until_on") - pl.col("from_on")).dt.total_days() / DAYS_PER_YEAR)
    )


def counted_failures(visits: pl.DataFrame, exposed: pl.DataFrame) -> pl.DataFrame:
    """Return the failures after a unit's first visit and within its exposure.

    Parameters
    ----------
    visits : DataFrame
        unit_id, visit_id, visit_date, visit_type, cause.
    exposed : DataFrame
        ``exposure``.

    Returns
    -------
    DataFrame
        unit_id, visit_date, visit_id, cause; two calls within 14 days for the same cause are one (contract).
    """
    return (
        failures(visits)
        .join(exposed.select("unit_id", "from_on", "until_on"), on="unit_id", how="inner")
        .filter((pl.col("visit_date") > pl.col("from_on")) & (pl.col("visit_date") <= pl.col("until_on")))
        .drop("from_on", "until_on")
    )


def expected_at_age(exposed: pl.DataFrame, failed: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    """Return what the fleet's rates at each unit's ages would give in its exposure.

    Parameters
    ----------
    exposed, failed : DataFrame
        ``exposure`` and ``counted_failures``.
    units : DataFrame
        unit_id, installed_on, manufactured_on: age counts from the earlier known; units without either share a rate.

    Returns
    -------
    DataFrame
        unit_id, expected [failures].

    Notes
    -----
    Indirect standardisation by age in the bands ``AGE_BANDS``.
    """
    born = units.select("unit_id", born=pl.coalesce("installed_on", "manufactured_on"))
    spans = exposed.join(born, on="unit_id", how="left").with_columns(
        entry=_age("from_on"), exit=_age("from_on") + pl.col("years"), band=pl.lit(list(range(len(AGE_BANDS) + 1)))
    )
    long = spans.explode("band").with_columns(years_in=_years_in_band())
    happened = (
        failed.join(born, on="unit_id", how="left")
        .with_columns(age=_age("visit_date"))
        .select(band=_band("age"))
        .group_by("band")
        .len("failures")
    )
    rates = (
        long.group_by("band")
        .agg(pl.col("years_in").sum())
        .join(happened, on="band", how="left")
        .select("band", rate=pl.when(pl.col("years_in") > 0).then(pl.col("failures").fill_null(0) / pl.col("years_in")))
    )
    return (
        long.join(rates, on="band", how="left")
        .group_by("unit_id")
        .agg(expected=(pl.col("years_in") * pl.col("rate").fill_null(0.0)).sum())
        .sort("unit_id")
    )


def _age(column: str) -> pl.Expr:
    years = (pl.col(column) - pl.col("born")).dt.total_days() / DAYS_PER_YEAR
    return pl.when(pl.col("born").is_not_null()).then(pl.max_horizontal(years, 0.0))


def _band(column: str) -> pl.Expr:
    """The age band, 0 for an age not known."""
    reached = pl.sum_horizontal((pl.col(column) >= start).cast(pl.Int64) for start in AGE_BANDS)
    return pl.when(pl.col(column).is_null()).then(0).otherwise(reached).cast(pl.Int64)


def _years_in_band() -> pl.Expr:
    edges = [0.0, *(float(start) for start in AGE_BANDS), 1e6]
    band = pl.col("band")
    low = band.replace_strict(dict(enumerate(edges[:-1])), return_dtype=pl.Float64)
    high = band.replace_strict(dict(enumerate(edges[1:])), return_dtype=pl.Float64)
    inside = pl.max_horizontal(pl.min_horizontal(pl.col("exit"), high) - pl.max_horizontal(pl.col("entry"), low), 0.0)
    unknown = pl.col("born").is_null()
    return pl.when(unknown & (band == 0)).then(pl.col("years")).when(unknown | (band == 0)).then(0.0).otherwise(inside)
