"""What speaks for and against a slow leak, as log likelihoods of each leak rate: readings, top-ups, searches."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.limits import Limits

Floats = NDArray[np.float64]
RATES_PCT = np.concatenate([[0.0], np.geomspace(1.0, 60.0, 30)])
"""Leak rates weighed against each other, percent of the charge a year; the first is no leak at all."""
RATE_SPREAD = 0.9
"""Standard deviation of the logarithm of the leaking systems' rate: common practice, no source."""
VISIT_SD_F = 1.0
START_SD_F = 2.5
UNKNOWN_START_SD_F = 3.0
"""How far off the deviation may be for other reasons at a visit, after a top-up, and where no start is known."""
STEEPNESS = ((0.35, 0.15), (0.65, 0.2), (1.0, 0.4), (1.5, 0.25))
"""How steep the readings of one system are against the usual degF per percent, and how often; the first stands for a
leak that began late in the stretch, so that its mean drift is a third of what the leak does now: engineering guess."""
HIDDEN_SHARE = 0.1
"""Leaks that the readings do not show yet, because they began after most of them: engineering guess."""
GAUGED_SHARE = 0.5
UNGAUGED_SHARE = 0.2
NOTICE_PCT = 10.0
NOTICE_SPREAD_PCT = 3.0
"""Visits with the gauges on, and others, that end in a top-up once so much is lost; how sharp that line is: a guess."""
TOP_UP_SD_PCT = 6.0
CARELESS_SHARE = 0.2
CARELESS_FIRST_SHARE = 0.35
CARELESS_MEAN_PCT = 12.0
"""Top-ups bring back what was lost within this. A share of them had nothing to do with a loss, and more of the first
ones on a charge that nobody had shown to be right: 34 % of 4,000 Californian systems were low (Home Energy, 2002)."""
ONSETS = (1.0, 0.4, 0.15)
FIRST_ONSET_ODDS = (1 / 3, 1 / 3, 1 / 3)
LATER_ONSET_ODDS = (0.7, 0.2, 0.1)
"""Shares of the time before a top-up during which it may have been leaking, and how often: before a first one nobody
saw it begin; later it may have been mended and have begun anew, or grown."""
TOP_UP_ODDS = 6.0
FIRST_TOP_UP_ODDS = 2.5
SEARCH_ODDS = {"yes": 10.0, "suspected": 2.0, "no": 0.5}
OIL_ODDS = 2.5
"""What each top-up, leak search and oil stain adds to the odds of a leak. A leak found counts 10 and not more: many are
mended on the spot and the ticket says nothing of it. Common practice, no source."""
SHARE_WEIGHT = 100.0
ROUNDS = 12
"""How many units the shipped share of leaking systems counts for, and rounds until the fleet's own share settles."""
MENDED_SHARE = 0.08
SILENT_SHARE = 0.02
"""Leaks mended with no word of it, where one was found and nothing was added since, and elsewhere: a guess."""
YEAR = 365.25
LONGEST_YEARS = 10.0
"""Longest stretch between two openings of a circuit that is weighed, years (engineering choice)."""


def posterior(log_likelihood: Floats, informed: NDArray[np.bool_], mended: NDArray[np.bool_], known: Limits) -> Floats:
    """Return the probability of each rate, units x rates.

    Parameters
    ----------
    log_likelihood : array, units x rates
        Everything known of each unit.
    informed : array of bool
        Units of which anything is known; the share that leaks is learned from these, and counts as
        ``SHARE_WEIGHT`` units of the shipped share beside them.
    mended : array of bool
        Units whose leak was found and that needed no refrigerant since.
    """
    shape = np.exp(-0.5 * (np.log(RATES_PCT[1:] / known.leak_rate_median_pct) / RATE_SPREAD) ** 2)
    shape /= shape.sum()
    relative = np.exp(np.clip(log_likelihood[:, 1:] - log_likelihood[:, :1], -50.0, 50.0)) * shape
    odds, share = relative.sum(axis=1), known.leaking_share
    for _ in range(ROUNDS):
        p = share * odds / (share * odds + 1.0 - share)
        share = (SHARE_WEIGHT * known.leaking_share + p[informed].sum()) / (SHARE_WEIGHT + informed.sum())
    p = share * odds / (share * odds + 1.0 - share) * (1.0 - np.where(mended, MENDED_SHARE, SILENT_SHARE))
    return np.column_stack([1.0 - p, p[:, None] * relative / odds[:, None]])


def drift_evidence(
    readings: pl.DataFrame, top_ups: pl.DataFrame, known: Limits, units: int
) -> tuple[Floats, NDArray[np.int64]]:
    """Return the log likelihood of each rate from the readings between additions, and how many readings there are.

    The unknown start of each stretch is averaged out, which leaves a parabola in the rate.
    """
    usable = readings.filter(pl.col("leak_loss_f").is_finite() & pl.col("suspect").is_null())
    used = np.bincount(usable["row"].to_numpy(), minlength=units)
    if usable.is_empty():
        return np.zeros((units, RATES_PCT.size)), used
    joined = _since_addition(usable, top_ups)
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
    shown = np.logaddexp.reduce(fits, axis=0)
    return _with_hidden(shown), used


def unnoticed_evidence(visits: pl.DataFrame, top_ups: pl.DataFrame, units: int) -> Floats:
    """Return the log likelihood of each rate from the visits that added nothing.

    Parameters
    ----------
    visits : pl.DataFrame
        Visits without those on the day of an addition; gauged says whether charge readings were taken.
    """
    out = np.zeros((units, RATES_PCT.size))
    if visits.is_empty():
        return out
    start = pl.coalesce("started_on", "reset_on", pl.col("visit_date").min().over("unit_id"))
    years = _since_addition(visits, top_ups).select(
        "row",
        years=((pl.col("visit_date") - start).dt.total_days() / YEAR).clip(0.0, LONGEST_YEARS),
        share=pl.when("gauged").then(GAUGED_SHARE).otherwise(UNGAUGED_SHARE),
    )
    lost = years["years"].to_numpy()[:, None] * RATES_PCT
    noticed = years["share"].to_numpy()[:, None] / (1.0 + np.exp(-(lost - NOTICE_PCT) / NOTICE_SPREAD_PCT))
    np.add.at(out, years["row"].to_numpy(), np.log1p(-noticed))
    return _with_hidden(out)


def top_up_evidence(top_ups: pl.DataFrame, units: int) -> Floats:
    """Return the log likelihood of each rate from what the top-ups brought back."""
    out = np.zeros((units, RATES_PCT.size))
    if top_ups.is_empty():
        return out
    from_start = (pl.col("visit_date") - pl.col("since")).dt.total_days()
    days = pl.coalesce(pl.col("days_since_addition"), from_start)
    years = (days / YEAR).clip(0.1, LONGEST_YEARS)
    first = pl.col("nth") == 0
    unknown_start = first & pl.col("reset_on").is_null() & pl.col("installed_on").is_null()
    sized = top_ups.select(
        "row",
        first=first,
        share=100.0 * pl.col("net_oz") / pl.col("charge_oz"),
        years=pl.when(unknown_start).then(years.clip(1.0)).otherwise(years),
        unproved=first & pl.col("reset_on").is_null(),
    )
    share, time = (sized[c].to_numpy()[:, None] for c in ("share", "years"))
    unproved = sized["unproved"].to_numpy()[:, None]
    sd = TOP_UP_SD_PCT + 0.3 * share
    is_first = sized["first"].to_numpy()[:, None]
    fits = np.zeros((len(sized), RATES_PCT.size))
    for onset, odds, later_odds in zip(ONSETS, FIRST_ONSET_ODDS, LATER_ONSET_ODDS, strict=True):
        fit = np.exp(-0.5 * ((share - RATES_PCT * time * onset) / sd) ** 2) / (sd * (2 * np.pi) ** 0.5)
        fits += np.where(is_first, odds, later_odds) * fit
    careless = np.exp(-share / CARELESS_MEAN_PCT) / CARELESS_MEAN_PCT
    careless_share = np.where(unproved, CARELESS_FIRST_SHARE, CARELESS_SHARE)
    evidence = np.log((1.0 - careless_share) * fits + careless_share * careless)
    evidence[:, 1:] += np.log(np.where(unproved, FIRST_TOP_UP_ODDS, TOP_UP_ODDS))
    np.add.at(out, sized["row"].to_numpy(), evidence)
    return out


def search_evidence(visits: pl.DataFrame, units: int) -> Floats:
    """Return the log odds that leak searches and oil stains add to every rate but none."""
    odds = pl.col("leak_found").replace_strict(SEARCH_ODDS, default=1.0, return_dtype=pl.Float64).fill_null(1.0)
    oil = pl.when(pl.col("observations").str.contains("oil_stain", literal=True)).then(OIL_ODDS).otherwise(1.0)
    told = visits.select("row", log_odds=(odds * oil).log())
    found: Floats = np.bincount(told["row"].to_numpy(), told["log_odds"].to_numpy(), minlength=units).astype(np.float64)
    return found


def _with_hidden(shown: Floats) -> Floats:
    """Return the likelihood where a share of the leaks shows no more than none does."""
    found: Floats = np.logaddexp(np.log(1.0 - HIDDEN_SHARE) + shown, np.log(HIDDEN_SHARE) + shown[:, :1])
    return found


def _since_addition(rows: pl.DataFrame, top_ups: pl.DataFrame) -> pl.DataFrame:
    """Join the last addition before each row (``started_on``); readings are as found, before an addition."""
    additions = top_ups.select("unit_id", started_on="visit_date").sort("started_on")
    before = (pl.col("visit_date") - pl.duration(days=1)).alias("day_before")
    return (
        rows.with_columns(before)
        .sort("day_before")
        .join_asof(additions, left_on="day_before", right_on="started_on", by="unit_id", check_sortedness=False)
    )
