"""Whether a unit is losing charge, and how fast: from drifting readings, from top-ups and from what a search found."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.ledger import opened_circuits
from pipeline.enrich.limits import Limits, limits

Floats = NDArray[np.float64]
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

RATES_PCT = np.concatenate([[0.0], np.geomspace(1.0, 60.0, 30)])
"""Leak rates weighed against each other, percent of the charge a year; the first is no leak at all."""
RATE_SPREAD = 0.9
"""Standard deviation of the logarithm of the leaking systems' rate: common practice, no source."""
VISIT_SD_F = 1.5
START_SD_F = 2.5
UNKNOWN_START_SD_F = 4.0
"""How far off the deviation may be for other reasons at a visit, after a top-up, and where no start is known."""
STEEPNESS = ((0.65, 0.25), (1.0, 0.5), (1.5, 0.25))
"""How steep the readings of one system are against the usual degF per percent, and how often: engineering guess."""
TOP_UP_SD_PCT = 6.0
CARELESS_SHARE = 0.2
CARELESS_MEAN_PCT = 12.0
"""Top-ups bring back what was lost within this; a share of them had nothing to do with a loss."""
ONSETS = (1.0, 0.4, 0.15)
"""Shares of the time before a first top-up during which it may have been leaking: nobody saw it begin."""
TOP_UP_ODDS = 4.0
SEARCH_ODDS = {"yes": 30.0, "suspected": 4.0, "no": 0.5}
OIL_ODDS = 2.5
"""What each top-up, leak search and oil stain adds to the odds of a leak: common practice, no source."""
YEAR = 365.25
LONGEST_YEARS = 10.0
UNITS_AT_ONCE = 50_000


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
    was lost since the last one. Rates from 0 to 60 % a year are weighed by both, with 15 % of systems leaking before
    any reading, and the rate shown is the mean over all of them, no leak included.
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
    drift, used = _drift_evidence(readings.join(base, on="unit_id").filter(after), top_ups, known, base.height)
    search = _search_evidence(visits.join(base, on="unit_id").filter(after), base.height)
    log_p = _log_prior(known) + drift + _top_up_evidence(top_ups, base.height)
    log_p[:, 1:] += search[:, None]
    p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    counts = np.bincount(top_ups["row"].to_numpy(), minlength=base.height)
    nothing = pl.Series((used == 0) & (counts == 0) & (search == 0))
    below = np.cumsum(p, axis=1)
    columns = {
        "leak_rate_pct_per_year": p @ RATES_PCT,
        "leak_rate_low_pct": RATES_PCT[(below >= 0.05).argmax(axis=1)],
        "leak_rate_high_pct": RATES_PCT[(below >= 0.95).argmax(axis=1)],
        "p_leaking": 1.0 - p[:, 0],
    }
    since = pl.when(pl.col("since").is_null()).then(pl.lit("")).otherwise(pl.format(" since {}", pl.col("since")))
    told = pl.format("{} charge readings, {} top-ups{}", "readings_used", "top_ups", since)
    return (
        base.with_columns(readings_used=pl.Series(used), top_ups=pl.Series(counts), _nothing=nothing)
        .with_columns(pl.when(~pl.col("_nothing")).then(pl.Series(v)).alias(n) for n, v in columns.items())
        .with_columns(
            because=pl.when("_nothing")
            .then(pl.lit("no testable charge reading, top-up or leak search"))
            .otherwise(told)
        )
    )


def _log_prior(known: Limits) -> Floats:
    shape = np.exp(-0.5 * (np.log(RATES_PCT[1:] / known.leak_rate_median_pct) / RATE_SPREAD) ** 2)
    found: Floats = np.log(np.concatenate([[1.0 - known.leaking_share], known.leaking_share * shape / shape.sum()]))
    return found


def _drift_evidence(
    readings: pl.DataFrame, top_ups: pl.DataFrame, known: Limits, units: int
) -> tuple[Floats, NDArray[np.int64]]:
    """Return the log likelihood of each rate from the readings between additions, and how many readings there are.

    The unknown start of each stretch is averaged out, which leaves a parabola in the rate.
    """
    usable = readings.filter(pl.col("leak_loss_f").is_finite() & pl.col("suspect").is_null())
    used = np.bincount(usable["row"].to_numpy(), minlength=units)
    if usable.is_empty():
        return np.zeros((units, RATES_PCT.size)), used
    additions = top_ups.select("unit_id", started_on="visit_date").sort("started_on")
    before = (pl.col("visit_date") - pl.duration(days=1)).alias(
        "day_before"
    )  # readings are as found, before an addition
    joined = (
        usable.with_columns(before)
        .sort("day_before")
        .join_asof(additions, left_on="day_before", right_on="started_on", by="unit_id", check_sortedness=False)
    )
    known_start = pl.coalesce("started_on", "reset_on")
    start = pl.coalesce(known_start, pl.col("visit_date").min().over("unit_id"))
    per_pct = pl.when(pl.col("metering") == "fixed_orifice").then(known.superheat_per_charge_pct_f)
    slope = per_pct.otherwise(known.subcooling_per_charge_pct_f)
    start_sd = pl.when(known_start.is_null()).then(UNKNOWN_START_SD_F).otherwise(START_SD_F)
    w, y, t = pl.col("w"), pl.col("leak_loss_f").clip(-15.0, 40.0), pl.col("t")
    sums = (
        joined.with_columns(
            t=(pl.col("visit_date") - start).dt.total_days() / YEAR * slope,
            w=1.0 / (pl.col("deviation_sd_f").fill_null(3.0) ** 2 + VISIT_SD_F**2),
            stretch=start,
            start_weight=1.0 / start_sd**2,
        )
        .group_by("row", "stretch")
        .agg(
            w.sum().alias("sw"), (w * t).sum().alias("st"), (w * t * t).sum().alias("stt"), (w * y).sum().alias("sy"),
            (w * t * y).sum().alias("sty"), pl.col("start_weight").first(),
        )
        .with_columns(total=pl.col("sw") + pl.col("start_weight"))
        .select(
            "row",
            curve=pl.col("stt") - pl.col("st") ** 2 / pl.col("total"),
            pull=pl.col("sty") - pl.col("st") * pl.col("sy") / pl.col("total"),
        )
    )  # fmt: skip
    rows = sums["row"].to_numpy()
    curve, pull = (np.bincount(rows, sums[c].to_numpy(), minlength=units) for c in ("curve", "pull"))
    fits = [
        np.log(weight) + pull[:, None] * k * RATES_PCT - 0.5 * curve[:, None] * (k * RATES_PCT) ** 2
        for k, weight in STEEPNESS
    ]
    return np.logaddexp.reduce(fits, axis=0), used


def _top_up_evidence(top_ups: pl.DataFrame, units: int) -> Floats:
    """Return the log likelihood of each rate from what the top-ups brought back."""
    out = np.zeros((units, RATES_PCT.size))
    if top_ups.is_empty():
        return out
    from_start = (pl.col("visit_date") - pl.col("since")).dt.total_days()
    days = pl.coalesce(pl.col("days_since_addition"), from_start)
    years = (days / YEAR).clip(0.1, LONGEST_YEARS)
    first = (pl.col("nth") == 0) & pl.col("reset_on").is_null() & pl.col("installed_on").is_null()
    sized = top_ups.select(
        "row",
        "nth",
        share=100.0 * pl.col("net_oz") / pl.col("charge_oz"),
        years=pl.when(first).then(years.clip(1.0)).otherwise(years),
    )
    share, time = (sized[c].to_numpy()[:, None] for c in ("share", "years"))
    sd = TOP_UP_SD_PCT + 0.3 * share
    onsets = np.where(sized["nth"].to_numpy()[:, None] == 0, np.array(ONSETS), 1.0)
    by_onset = [np.exp(-0.5 * ((share - RATES_PCT * time * onsets[:, [k]]) / sd) ** 2) for k in range(len(ONSETS))]
    fits = np.mean(by_onset, axis=0) / (sd * (2 * np.pi) ** 0.5)
    careless = np.exp(-share / CARELESS_MEAN_PCT) / CARELESS_MEAN_PCT
    evidence = np.log((1.0 - CARELESS_SHARE) * fits + CARELESS_SHARE * careless)
    evidence[:, 1:] += np.log(TOP_UP_ODDS)
    np.add.at(out, sized["row"].to_numpy(), evidence)
    return out


def _search_evidence(visits: pl.DataFrame, units: int) -> Floats:
    odds = pl.col("leak_found").replace_strict(SEARCH_ODDS, default=1.0, return_dtype=pl.Float64).fill_null(1.0)
    oil = pl.when(pl.col("observations").str.contains("oil_stain", literal=True)).then(OIL_ODDS).otherwise(1.0)
    told = visits.select("row", log_odds=(odds * oil).log())
    found: Floats = np.bincount(told["row"].to_numpy(), told["log_odds"].to_numpy(), minlength=units).astype(np.float64)
    return found
