"""Whether a unit is losing charge, and how fast: from drifting readings, from top-ups and from what a search found."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import polars as pl

from pipeline.enrich.leak_evidence import (
    RATES_PCT,
    drift_evidence,
    posterior,
    search_evidence,
    top_up_evidence,
    unnoticed_evidence,
)
from pipeline.enrich.ledger import opened_circuits
from pipeline.enrich.limits import Limits, limits

CHARGE_TREND_SCHEMA: Mapping[str, pl.DataType] = {
    "unit_id": pl.String(),
    "refrigerant_added_oz_12_months": pl.Float64(),
    "leak_rate_pct_per_year": pl.Float64(),
    "leak_rate_low_pct": pl.Float64(),
    "leak_rate_high_pct": pl.Float64(),
    "p_leaking": pl.Float64(),
    "charge_loss_suspected": pl.Boolean(),
    "leak_rate_rolling_pct": pl.Float64(),
    "leak_rate_annualized_pct": pl.Float64(),
    "readings_used": pl.Int64(),
    "top_ups": pl.Int64(),
    "last_top_up_on": pl.Date(),
    "because": pl.String(),
}
"""One row per unit."""

UNITS_AT_ONCE = 50_000
NOTHING = "no testable charge reading, top-up or leak search"


def charge_trend(
    readings: pl.DataFrame,
    ledger: pl.DataFrame,
    visits: pl.DataFrame,
    parts: pl.DataFrame,
    units: pl.DataFrame,
    *,
    as_of: dt.date,
) -> pl.DataFrame:
    """Return the odds that each unit is losing charge, and its rate with a 90 % interval.

    Parameters
    ----------
    readings : pl.DataFrame
        ``charge_readings`` of the units: unit_id, visit_date, metering, leak_loss_f, deviation_sd_f, suspect.
    ledger : pl.DataFrame
        ``refrigerant_ledger`` of the units.
    visits, parts : pl.DataFrame
        For leak searches, oil stains, first visits and opened circuits.
    units : pl.DataFrame
        unit_id, factory_charge_oz, nominal_tons, installed_on; one row comes back for each.
    as_of : date
        Later rows are left out; end of the twelve months.

    Returns
    -------
    pl.DataFrame
        ``CHARGE_TREND_SCHEMA``, sorted by unit_id. Rate and odds are null where nothing speaks either way, and because
        says so. refrigerant_added_oz_12_months is everything added in the last 365 days.

    Notes
    -----
    Only what came after the circuit was last opened counts: it was evacuated and charged anew. Between two additions
    the deviation towards low charge starts near 0 and grows in step with the loss; what a top-up brings back is what
    was lost since the last one; gauges put on and nothing added says that little was lost. Rates from 0 to 60 % a year
    are weighed by all of it. How many systems leak before any reading is learned from the units given, starting at
    15 %; the rate shown is the mean over all rates, no leak included. The low end of the interval is the 5 % point over
    all rates, 0 where a leak is not sure; the high end is the 95 % point of what it loses if it does leak, so that
    the interval also holds for a leak that no reading shows yet.
    """
    known = limits()
    base = _base(visits, parts, units, as_of, known)
    readings, ledger, visits = (f.filter(pl.col("visit_date") <= as_of) for f in (readings, ledger, visits))
    batches = []
    for start in range(0, max(base.height, 1), UNITS_AT_ONCE):
        some = base.slice(start, UNITS_AT_ONCE)
        own = [f.join(some.select("unit_id"), on="unit_id", how="semi") for f in (readings, ledger, visits)]
        batches.append(_trend(some, own[0], own[1], own[2], known))
    found = pl.concat(batches)
    year = ledger.filter(pl.col("visit_date") > as_of - dt.timedelta(days=365))
    added = year.group_by("unit_id").agg(refrigerant_added_oz_12_months=pl.col("added_oz").sum())
    leaks = ledger.filter(pl.col("kind") == "top_up").sort("visit_date").group_by("unit_id", maintain_order=True)
    last = leaks.agg(
        pl.col("leak_rate_rolling_pct", "leak_rate_annualized_pct").last(), last_top_up_on=pl.col("visit_date").last()
    )
    out = (
        found.join(added, on="unit_id", how="left")
        .join(last, on="unit_id", how="left")
        .with_columns(
            pl.col("refrigerant_added_oz_12_months").fill_null(0.0),
            charge_loss_suspected=pl.col("p_leaking") >= known.leak_suspected_p,
        )
    )
    return out.select(*(pl.col(n).cast(t) for n, t in CHARGE_TREND_SCHEMA.items())).sort("unit_id")


def _base(
    visits: pl.DataFrame, parts: pl.DataFrame, units: pl.DataFrame, as_of: dt.date, known: Limits
) -> pl.DataFrame:
    """Return per unit: when its circuit was last opened, since when it is known, and its full charge."""
    upto = pl.col("visit_date") <= as_of
    opened = opened_circuits(visits.filter(upto), parts.filter(upto))
    reset = opened.group_by("unit_id").agg(reset_on=pl.col("visit_date").max())
    first = visits.filter(upto).group_by("unit_id").agg(first_on=pl.col("visit_date").min())
    charge = pl.when(pl.col("factory_charge_oz") > 0).then(pl.col("factory_charge_oz"))
    by_size = pl.col("nominal_tons").fill_null(3.0) * known.charge_oz_per_ton
    return (
        units.select("unit_id", "installed_on", charge_oz=charge.fill_null(by_size))
        .unique("unit_id")
        .join(reset, on="unit_id", how="left")
        .join(first, on="unit_id", how="left")
        .with_columns(since=pl.coalesce("reset_on", "installed_on", "first_on"))
        .sort("unit_id")
    )


def _trend(
    base: pl.DataFrame, readings: pl.DataFrame, ledger: pl.DataFrame, visits: pl.DataFrame, known: Limits
) -> pl.DataFrame:
    base = base.with_row_index("row")
    after = pl.col("visit_date") > pl.coalesce("reset_on", pl.date(1, 1, 1))
    top_ups = ledger.filter(pl.col("kind") == "top_up").join(base, on="unit_id").filter(after)
    top_ups = top_ups.sort("unit_id", "visit_date").with_columns(nth=pl.int_range(pl.len()).over("unit_id"))
    drift, used = drift_evidence(readings.join(base, on="unit_id").filter(after), top_ups, known, base.height)
    seen = visits.join(base, on="unit_id").filter(after)
    search = search_evidence(seen, base.height)
    gauged = readings.select("unit_id", "visit_date").unique().with_columns(gauged=True)
    dry = (
        seen.join(ledger, on=["unit_id", "visit_date"], how="anti")
        .join(gauged, on=["unit_id", "visit_date"], how="left")
        .with_columns(pl.col("gauged").fill_null(False))
    )
    fit = drift + top_up_evidence(top_ups, base.height) + unnoticed_evidence(dry, top_ups, base.height)
    fit[:, 1:] += search[:, None]
    counts = np.bincount(top_ups["row"].to_numpy(), minlength=base.height)
    informed = (used > 0) | (counts > 0) | (search != 0)
    signs = _signs(base, seen, readings.join(base, on="unit_id").filter(after), top_ups)
    p = posterior(fit, informed, signs["mended"].to_numpy(), known)
    below = np.cumsum(p, axis=1)
    if_leaking = (below - p[:, :1]) / np.maximum(1.0 - p[:, :1], 1e-12)
    columns = {
        "leak_rate_pct_per_year": p @ RATES_PCT,
        "leak_rate_low_pct": RATES_PCT[(below >= 0.05).argmax(axis=1)],
        "leak_rate_high_pct": RATES_PCT[(if_leaking >= 0.95).argmax(axis=1)],
        "p_leaking": 1.0 - p[:, 0],
    }
    return (
        base.with_columns(readings_used=pl.Series(used), top_ups=pl.Series(counts), _known=pl.Series(informed))
        .with_columns(pl.when("_known").then(pl.Series(v)).alias(n) for n, v in columns.items())
        .with_columns(because=pl.when("_known").then(signs["because"]).otherwise(pl.lit(NOTHING)))
    )


def _signs(base: pl.DataFrame, seen: pl.DataFrame, readings: pl.DataFrame, top_ups: pl.DataFrame) -> pl.DataFrame:
    """Return because, what speaks either way, and mended, a leak found and nothing added since; rows as ``base``."""
    newest = pl.col("visit_date").max()
    oil = pl.col("observations").str.contains("oil_stain", literal=True)
    searched = seen.filter(pl.col("leak_found").is_not_null()).sort("visit_date").group_by("row")
    usable = readings.filter(pl.col("leak_loss_f").is_finite() & pl.col("suspect").is_null()).sort("visit_date")
    told = (
        base.select("row", "reset_on")
        .join(top_ups.group_by("row").agg(added=pl.len(), added_on=newest), on="row", how="left")
        .join(searched.agg(pl.col("leak_found").last(), searched_on=newest), on="row", how="left")
        .join(seen.filter(oil).group_by("row").agg(oil_on=newest), on="row", how="left")
        .join(usable.group_by("row").agg(read=pl.len(), loss=pl.col("leak_loss_f").last()), on="row", how="left")
        .sort("row")
    )
    towards = pl.when(pl.col("loss") > 0).then(pl.lit("towards low charge")).otherwise(pl.lit("towards full charge"))
    last = pl.format(", the last {} degF {}", pl.col("loss").abs().round(1), towards)
    one = pl.col("added") == 1
    parts = [
        pl.when(one).then(pl.format("1 top-up on {}", "added_on")),
        pl.when(~one).then(pl.format("{} top-ups, the last on {}", "added", "added_on")),
        pl.when(pl.col("leak_found") == "yes").then(pl.format("leak found on {}", "searched_on")),
        pl.when(pl.col("leak_found") == "suspected").then(pl.format("leak suspected on {}", "searched_on")),
        pl.when(pl.col("leak_found") == "no").then(pl.format("a search on {} found none", "searched_on")),
        pl.format("oil stain seen on {}", "oil_on"),
        pl.when(pl.col("read") == 1).then(pl.format("1 charge reading{}", last)),
        pl.when(pl.col("read") > 1).then(pl.format("{} charge readings{}", "read", last)),
        pl.format("circuit last opened on {}", "reset_on"),
    ]
    untouched = pl.col("added_on").is_null() | (pl.col("added_on") <= pl.col("searched_on"))
    return told.select(
        because=pl.concat_str(parts, separator="; ", ignore_nulls=True),
        mended=((pl.col("leak_found") == "yes") & untouched).fill_null(False),
    )
