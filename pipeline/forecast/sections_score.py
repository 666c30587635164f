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
from pipeline.forecast.sections_inputs import COPIED_WITHIN_PCT, KEY, section_rows, years
from pipeline.forecast.sections_noise import bias_of, noise_of, reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import predict

SEASONS_TO_LEARN_FROM = 2
"""Finished seasons whose odds are held against what came, to mend later odds (engineering choice)."""


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
    rows = current_rows(section_rows(history.through(cutoff), params.age_at_first_visit_years, stand_ins=False))
    found = (
        _next(history, params.noise, cutoff, until)
        .join(
            # a guessed rating may be wrong, and then the reading's own drift is no outcome of the true one
            rows.series.filter(~pl.col("guessed_rating")).select("row", *KEY, "tolerance_pct"),
            on=KEY,
            how="inner",
        )
        .sort("row")
    )
    if found.is_empty():
        return found.select("unit_id", "section", "visit_date", "drift_pct").with_columns(
            p_below=pl.lit(0.0), below=pl.lit(False), place=pl.lit(0.0)
        )
    rows = only_rows(rows, found["row"])
    below = predict(
        reading_arrays(rows, params.noise),
        default_paths(),
        rows.series["section"].to_list(),
        weights_of(params),
        found["x_year"].to_numpy()[:, None],
        np.column_stack([-found["tolerance_pct"].to_numpy(), found["y"].to_numpy()]),
        extra_var=found["noise_pct"].to_numpy() ** 2,
    )[2][:, 0]
    return found.select(
        "unit_id",
        "section",
        "visit_date",
        drift_pct=pl.col("y"),
        p_below=pl.Series(recalibrate(below[:, 0], params)),
        below=pl.col("y") < -pl.col("tolerance_pct"),
        place=pl.Series(below[:, 1]),
    )


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
    found = [next_readings(history, params, s.decision_day, s.end) for s in seasons if s.decision_day > first]
    pairs = sum(one.height for one in found)
    if pairs < int(p["least_pairs"]):
        return (0.0, 1.0), pairs
    both = pl.concat(found)
    sds = (float(p["intercept_sd"]), float(p["slope_sd"]))
    return calibration(both["p_below"].to_numpy(), both["below"].to_numpy(), sds), pairs
