"""Trouble again soon after a visit: by technician and by component, at the fleet's rate for the same kind of jobs."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from pipeline.forecast.poisson_rates import garwood, shrink

CALLBACKS_SCHEMA = pl.Schema(
    {
        "group_by": pl.String,
        "group_value": pl.String,
        "within_days": pl.Int64,
        "jobs": pl.Int64,
        "back": pl.Int64,
        "per_100_jobs": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
        "expected": pl.Float64,
        "ratio": pl.Float64,
        "ratio_low": pl.Float64,
        "ratio_high": pl.Float64,
        "caution": pl.String,
    }
)
"""One row per technician or component and number of days. ``expected`` is what the fleet's share for the same kinds of
jobs would give; ``ratio`` is back over expected, drawn towards 1 where there are few jobs; limits hold 95 %."""

WINDOWS = (30, 90)
FEW_JOBS = 50
FEW_EXPECTED = 5.0
"""Below these a ratio says next to nothing of a person (engineering choice)."""
REPAIRS = ("no_cooling", "repair", "callback")


BACK_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "technician": pl.String,
        "visit_type": pl.String,
        "cause": pl.String,
        "back_on": pl.Date,
        "days": pl.Int64,
    }
)
"""One row per visit after which the unit was in trouble again within the longest window: the rows behind the counts."""


def came_back(jobs: pl.DataFrame) -> pl.DataFrame:
    """Return ``BACK_SCHEMA`` from ``followed``, sorted by visit_date, unit_id and visit_id."""
    found = jobs.filter(pl.col("next_bad") & (pl.col("gap") <= max(WINDOWS)))
    rows = found.with_columns(back_on="next_on", days="gap").select(list(BACK_SCHEMA)).cast(BACK_SCHEMA)
    return rows.sort("visit_date", "unit_id", "visit_id")


def callbacks(jobs: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Return how often a unit was in trouble again within 30 and 90 days of a visit.

    Parameters
    ----------
    jobs : DataFrame
        ``followed``, of the visits up to ``as_of``.
    as_of : date
        Jobs so late that the window is still open are left out.

    Returns
    -------
    DataFrame
        ``CALLBACKS_SCHEMA``, sorted by group_by, within_days and group_value. Technicians: all their visits.
        Components: the causes of repairs and no-cooling calls.

    Notes
    -----
    Back = the unit's next callback or no-cooling visit on a later day lies within the window; it counts against the
    last visit before it only. Expected: the fleet's share of each kind of job (visit type and cause), summed over the
    group's jobs (indirect standardisation). Who is sent to the hard jobs looks worse without it, and still may with it.
    """
    found = []
    for window in WINDOWS:
        followed = jobs.filter(pl.col("visit_date") <= as_of - dt.timedelta(days=window)).with_columns(
            back=(pl.col("next_bad") & (pl.col("gap") <= window)).fill_null(False).cast(pl.Int64)
        )
        expected = followed.with_columns(expected=pl.col("back").mean().over("visit_type", "cause"))
        repaired = expected.filter(pl.col("visit_type").is_in(REPAIRS) & pl.col("cause").is_not_null())
        by_type = repaired.with_columns(expected=pl.col("back").mean().over("visit_type"))
        found += [_grouped(expected, "technician", window), _grouped(by_type, "cause", window)]
    return pl.concat(found).sort("group_by", "within_days", "group_value")


def followed(visits: pl.DataFrame) -> pl.DataFrame:
    """Return the visits with the unit's next day of visits, whether it was in trouble then, and the days between.

    Parameters
    ----------
    visits : DataFrame
        unit_id, visit_id, visit_date, technician, visit_type, cause; in any order.

    Returns
    -------
    DataFrame
        These columns, next_on, next_bad and gap [day], null on the unit's last day; sorted by unit and date.
    """
    rows = visits.select("unit_id", "visit_id", "visit_date", "technician", "visit_type", "cause").sort(
        "unit_id", "visit_date", maintain_order=True
    )
    new_day = (pl.col("unit_id") != pl.col("unit_id").shift(1)) | (
        pl.col("visit_date") != pl.col("visit_date").shift(1)
    )
    numbered = rows.with_columns(
        day=new_day.fill_null(True).cum_sum() - 1,
        trouble=pl.col("visit_type").is_in(["callback", "no_cooling"]).fill_null(False),
    )
    same_unit = pl.col("unit_id") == pl.col("unit_id").shift(-1)
    days = (
        numbered.group_by("day", maintain_order=True)
        .agg(pl.col("unit_id", "visit_date").first(), pl.col("trouble").any())
        .select(
            next_on=pl.when(same_unit).then(pl.col("visit_date").shift(-1)),
            next_bad=pl.when(same_unit).then(pl.col("trouble").shift(-1)),
        )
    )
    # days are numbered as they come, so the number of a day is its row
    after = days[numbered["day"].to_numpy()] if numbered.height else days
    return (
        numbered.drop("day", "trouble")
        .hstack(after)
        .with_columns(gap=(pl.col("next_on") - pl.col("visit_date")).dt.total_days())
    )


def _grouped(jobs: pl.DataFrame, column: str, window: int) -> pl.DataFrame:
    known = jobs.filter(pl.col(column).is_not_null() & (pl.col(column).str.strip_chars() != ""))
    rows = (
        known.group_by(group_value=column)
        .agg(jobs=pl.len().cast(pl.Int64), back=pl.col("back").sum(), expected=pl.col("expected").sum())
        .sort("group_value")
    )
    count, many, due = (rows[name].cast(pl.Float64).to_numpy() for name in ("back", "jobs", "expected"))
    low, high = garwood(count, many)
    ratio, ratio_low, ratio_high = shrink(count, due) if rows.height else (np.empty(0),) * 3
    few = (pl.col("jobs") < FEW_JOBS) | (pl.col("expected") < FEW_EXPECTED)
    caution = (
        pl.when(few).then(pl.lit("too few jobs to say anything of a person"))
        if column == "technician"
        else pl.lit(None, pl.String)
    )
    return (
        rows.with_columns(
            group_by=pl.lit("component" if column == "cause" else column),
            within_days=pl.lit(window),
            per_100_jobs=100 * pl.col("back") / pl.col("jobs"),
            low=pl.Series(100 * low),
            high=pl.Series(np.minimum(100 * high, 100.0)),
            ratio=pl.Series(ratio),
            ratio_low=pl.Series(ratio_low),
            ratio_high=pl.Series(ratio_high),
            caution=caution,
        )
        .select(list(CALLBACKS_SCHEMA))
        .cast(CALLBACKS_SCHEMA)
        .fill_nan(None)
    )
