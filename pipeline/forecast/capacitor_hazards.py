"""How often capacitor sections go out of tolerance by age in service."""

from __future__ import annotations

import polars as pl

from pipeline.forecast.poisson_rates import garwood

HAZARD_SCHEMA = pl.Schema(
    {
        "section": pl.String,
        "age_from": pl.Float64,
        "age_to": pl.Float64,
        "section_years": pl.Float64,
        "went_out": pl.Int64,
        "per_100_section_years": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
    }
)
"""One row per section and band of age in service. Limits hold 95 %; null without section-years."""

BANDS = (0.0, 2.0, 4.0, 6.0, 9.0, 12.0, 16.0, 25.0)
"""Years in service at which a band begins and the last ends (engineering choice)."""
DAYS_PER_YEAR = 365.25


def section_lives(series: pl.DataFrame, readings: pl.DataFrame, failed: pl.DataFrame) -> pl.DataFrame:
    """Return the sections of known start: key, entry and leave [year], event (the day it was out, or null).

    Parameters
    ----------
    series, readings : DataFrame
        ``core.capacitor_series`` and ``core.capacitor_readings``; only series whose start is known have an age.
    failed : DataFrame
        ``counted_failures``: a series that ended on a call for the capacitor failed, with a reading or without.

    Notes
    -----
    A section is watched from its first reading (or from the day it was fitted) to the first that was out, else to its
    last reading. When it went out lies between two readings; the later one is taken, so rates are a little late.
    """
    key = ["unit_id", "section", "series"]
    read = readings.filter(pl.col("suspect").is_null() & pl.col("drift_pct").is_not_null())
    seen = read.group_by(key).agg(
        first=pl.col("visit_date").min(),
        last=pl.col("visit_date").max(),
        out=pl.col("visit_date").filter(pl.col("out_of_tolerance") & (pl.col("drift_pct") < 0)).min(),
    )
    calls = failed.filter(pl.col("cause") == "run_capacitor").select("unit_id", ended_on="visit_date", called=True)
    return (
        series.filter(pl.col("started_on").is_not_null())
        .select(*key, "started_on", "start_kind", "ended_on")
        .join(seen, on=key, how="inner")
        .join(calls.unique(), on=["unit_id", "ended_on"], how="left")
        .with_columns(
            event=pl.coalesce("out", pl.when("called").then("ended_on")),
            sight=pl.when(pl.col("start_kind") == "fitted").then("started_on").otherwise("first"),
        )
        .with_columns(end=pl.coalesce("event", "last"))
        .with_columns(
            entry=(pl.col("sight") - pl.col("started_on")).dt.total_days() / DAYS_PER_YEAR,
            leave=(pl.col("end") - pl.col("started_on")).dt.total_days() / DAYS_PER_YEAR,
        )
        .filter((pl.col("entry") >= 0) & (pl.col("leave") >= pl.col("entry")))
    )


def capacitor_hazards(lives: pl.DataFrame) -> pl.DataFrame:
    """Return ``HAZARD_SCHEMA`` from ``section_lives``: how often sections went out, or failed, by years in service."""
    bands = pl.DataFrame({"age_from": BANDS[:-1], "age_to": BANDS[1:]})
    inside = pl.min_horizontal("leave", "age_to") - pl.max_horizontal("entry", "age_from")
    here = (
        pl.col("event").is_not_null() & (pl.col("leave") >= pl.col("age_from")) & (pl.col("leave") < pl.col("age_to"))
    )
    counted = (
        lives.join(bands, how="cross")
        .group_by("section", "age_from", "age_to")
        .agg(section_years=inside.clip(lower_bound=0.0).sum(), went_out=here.sum().cast(pl.Int64))
        .sort("section", "age_from")
    )
    count, years = (counted[name].cast(pl.Float64).to_numpy() for name in ("went_out", "section_years"))
    low, high = garwood(count, years)
    return (
        counted.with_columns(
            per_100_section_years=pl.when(pl.col("section_years") > 0).then(
                100 * pl.col("went_out") / pl.col("section_years")
            ),
            low=pl.Series(100 * low, dtype=pl.Float64),
            high=pl.Series(100 * high, dtype=pl.Float64),
        )
        .select(list(HAZARD_SCHEMA))
        .cast(HAZARD_SCHEMA)
        .fill_nan(None)
    )
