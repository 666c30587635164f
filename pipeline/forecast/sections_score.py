"""Past drift forecasts against the next scheduled reading of the same part."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from pipeline.forecast.history import History
from pipeline.forecast.params import NoiseParams, SectionParams
from pipeline.forecast.priors import priors
from pipeline.forecast.scores import calibration
from pipeline.forecast.seasons import finished_seasons
from pipeline.forecast.sections_apply import current_rows, only_rows, recalibrate
from pipeline.forecast.sections_fit import weights_of
from pipeline.forecast.sections_inputs import COPIED_WITHIN_PCT, KEY, Floats, section_rows, years
from pipeline.forecast.sections_noise import bias_of, noise_of, reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import predict

SEASONS_TO_LEARN_FROM = 2
NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()
"""Errors of a reading, in sds, and what each stands for (Gauss-Hermite)."""


def next_readings(history: History, params: SectionParams, cutoff: dt.date, until: dt.date) -> pl.DataFrame:
    """Return how the next scheduled reading of each part in service turned out.

    Parameters
    ----------
    history
        Tidy frames that reach past ``cutoff``.
    params
        The drift model; fitted on rows up to ``cutoff`` where the record is to be honest.

    Returns
    -------
    pl.DataFrame
        unit_id, section, visit_date, drift_pct (bias taken off), p_below (odds given beforehand that the
        reading falls below the lower tolerance, its noise included), below, place (odds given to a lower
        reading than the one found; 0.05 to 0.95 is inside the 90 % interval).
    """
    found, below = _odds_beforehand(history, params, cutoff, until)
    if found.is_empty():
        return found.select("unit_id", "section", "visit_date", "drift_pct").with_columns(
            p_below=pl.lit(0.0), below=pl.lit(False), place=pl.lit(0.0)
        )
    return found.select(
        "unit_id",
        "section",
        "visit_date",
        "drift_pct",
        "below",
        p_below=pl.Series(recalibrate(below[:, :-1], params) @ NODE_WEIGHTS),
        place=pl.Series(below[:, -1]),
    )


def _odds_beforehand(
    history: History, params: SectionParams, cutoff: dt.date, until: dt.date
) -> tuple[pl.DataFrame, Floats]:
    """Return the readings found, and by row the true drift's odds of lying below each node, then the reading's place.

    A reading falls below the tolerance where the true drift lies below the tolerance less the reading's error, which
    ``NODES`` stand for; so the odds that are mended are those of the true drift, not the duller ones of a reading.
    """
    rows = current_rows(section_rows(history.through(cutoff), params.age_at_first_visit_years, stand_ins=False))
    # a guessed rating may be wrong, and then the reading's own drift is no outcome of the true one
    sure = rows.series.filter(~pl.col("guessed_rating"))
    found = (
        _next(history, params.noise, cutoff, until)
        .join(sure.select("row", *KEY, "tolerance_pct"), on=KEY, how="inner")
        .sort("row")
        .with_columns(drift_pct=pl.col("y"), below=pl.col("y") < -pl.col("tolerance_pct"))
    )
    if found.is_empty():
        return found, np.zeros((0, len(NODES) + 1))
    rows = only_rows(rows, found["row"])
    noise = found["noise_pct"].to_numpy()[:, None]
    limits = np.hstack([-found["tolerance_pct"].to_numpy()[:, None] - noise * NODES, found["y"].to_numpy()[:, None]])
    none = np.zeros((found.height, len(NODES)))
    below = predict(
        reading_arrays(rows, params.noise),
        default_paths(),
        rows.series["section"].to_list(),
        weights_of(params),
        found["x_year"].to_numpy()[:, None],
        limits,
        extra_var=np.hstack([none, noise**2]),
    )[2]
    return found, below[:, 0]


def _next(history: History, noise: NoiseParams, cutoff: dt.date, until: dt.date) -> pl.DataFrame:
    usable = (
        (pl.col("visit_date") > cutoff)
        & (pl.col("visit_date") <= until)
        & pl.col("scheduled").fill_null(False)
        & pl.col("suspect").is_null()
        & pl.col("drift_pct").is_finite()
        & (pl.col("drift_pct").abs() < float(priors()["drift"]["event_beyond_pct"]))
        & (pl.col("drift_pct").abs() >= COPIED_WITHIN_PCT)
    )
    return (
        history.cap_readings.filter(usable)
        .with_columns(y=pl.col("drift_pct") - bias_of(noise), noise_pct=noise_of(noise), x_year=years("visit_date"))
        .group_by(KEY, maintain_order=True)
        .first()
    )


def learn_recalibration(
    history: History, params: SectionParams, through: dt.date, start: str, end: str
) -> tuple[tuple[float, float], int]:
    """Return intercept and slope that would have mended the last two springs' odds, and the number of pairs."""
    p = priors()["drift"]["recalibration"]
    first = history.visits["visit_date"].min()
    if not isinstance(first, dt.date):
        return (0.0, 1.0), 0
    seasons = finished_seasons(first, through, start, end)[-SEASONS_TO_LEARN_FROM:]
    found = [_odds_beforehand(history, params, s.decision_day, s.end) for s in seasons if s.decision_day > first]
    pairs = sum(readings.height for readings, _ in found)
    if pairs < int(p["least_pairs"]):
        return (0.0, 1.0), pairs
    odds = np.concatenate([below[:, :-1] for _, below in found])
    fell = np.concatenate([readings["below"].to_numpy() for readings, _ in found])
    sds = (float(p["intercept_sd"]), float(p["slope_sd"]))
    return calibration(odds, fell, sds, NODE_WEIGHTS), pairs
