"""Unit-years under care and the failures that count in them."""

from __future__ import annotations

import datetime as dt
import itertools

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
    spans = (
        exposed.join(born, on="unit_id", how="left")
        .with_columns(entry=_age("from_on"))
        .with_columns(leave=pl.col("entry") + pl.col("years"))
        .with_columns(_years_in_bands())
    )
    happened = dict(
        failed.join(born, on="unit_id", how="left")
        .with_columns(age=_age("visit_date"))
        .select(band=_band("age"))
        .group_by("band")
        .len()
        .iter_rows()
    )
    due = []
    for band in range(len(AGE_BANDS) + 1):
        years = spans[f"band_{band}"]
        due.append(pl.col(f"band_{band}") * (happened.get(band, 0) / years.sum() if years.sum() > 0 else 0.0))
    return spans.select("unit_id", expected=pl.sum_horizontal(due)).sort("unit_id")


def _age(column: str) -> pl.Expr:
    years = (pl.col(column) - pl.col("born")).dt.total_days() / DAYS_PER_YEAR
    return pl.when(pl.col("born").is_not_null()).then(pl.max_horizontal(years, 0.0))


def _band(column: str) -> pl.Expr:
    """The age band, 0 for an age not known."""
    reached = pl.sum_horizontal((pl.col(column) >= start).cast(pl.Int64) for start in AGE_BANDS)
    return pl.when(pl.col(column).is_null()).then(0).otherwise(reached).cast(pl.Int64)


def _years_in_bands() -> list[pl.Expr]:
    """The years in each age band, 0 for an age not known."""
    edges = [*(float(start) for start in AGE_BANDS), 1e6]
    inside = [
        pl.max_horizontal(
            pl.min_horizontal("leave", pl.lit(high)) - pl.max_horizontal("entry", pl.lit(low)), pl.lit(0.0)
        )
        for low, high in itertools.pairwise(edges)
    ]
    known = pl.col("born").is_not_null()
    return [
        pl.when(known).then(0.0).otherwise("years").alias("band_0"),
        *(pl.when(known).then(years).otherwise(0.0).alias(f"band_{n}") for n, years in enumerate(inside, start=1)),
    ]
