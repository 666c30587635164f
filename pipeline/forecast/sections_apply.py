"""From the drift model to one row per capacitor section: state, odds of being out of tolerance, crossing dates."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
from scipy.special import expit, logit

from pipeline.forecast.history import History
from pipeline.forecast.params import SectionParams
from pipeline.forecast.seasons import DAYS_PER_YEAR, Season
from pipeline.forecast.sections_fit import weights_of
from pipeline.forecast.sections_inputs import EPOCH, Floats, SectionRows, section_rows, year_of
from pipeline.forecast.sections_noise import reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import predict

SECTION_FORECAST_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "section": pl.String,
        "season_start": pl.Date,
        "season_end": pl.Date,
        "as_of": pl.Date,
        "series": pl.Int64,
        "tolerance_pct": pl.Float64,
        "drift_pct": pl.Float64,
        "drift_sd_pct": pl.Float64,
        "drift_pct_per_year": pl.Float64,
        "drift_at_season_end_pct": pl.Float64,
        "drift_at_season_end_sd_pct": pl.Float64,
        "p_out_now": pl.Float64,
        "p_out_by_season_start": pl.Float64,
        "p_out_by_season_end": pl.Float64,
        "p_open_by_season_end": pl.Float64,
        "out_of_tolerance_on": pl.Date,
        "out_earliest": pl.Date,
        "out_latest": pl.Date,
        "already_out": pl.Boolean,
        "basis": pl.String,
        "rating_guessed": pl.Boolean,
        "readings": pl.Int64,
        "last_reading_on": pl.Date,
        "last_drift_pct": pl.Float64,
    }
)

HORIZONS_YEARS = np.array([0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9, 10, 11.5, 13, 15], dtype=np.float64)
QUANTILES = {"out_of_tolerance_on": 0.5, "out_earliest": 0.05, "out_latest": 0.95}
SURELY_IN = 0.10
"""A part whose odds of being out already are below this is dated as one that is in tolerance now."""
SMALLEST, LARGEST = 1e-4, 1 - 1e-4
"""No forecast says never or surely."""


def current_rows(rows: SectionRows) -> SectionRows:
    """Return only the series in service, the newest of each section, positions renumbered."""
    newest = rows.series.filter("current").group_by("unit_id", "section", maintain_order=True).last()
    return only_rows(rows, newest["row"].sort())


def only_rows(rows: SectionRows, chosen: pl.Series) -> SectionRows:
    """Return only the series at the positions ``chosen`` (rising, each once), positions renumbered."""
    kept = pl.DataFrame({"old": chosen}).with_row_index("row").with_columns(pl.col("row").cast(pl.Int64))
    series = kept.join(rows.series.rename({"row": "old"}), on="old", how="left", maintain_order="left").drop("old")
    readings = (
        rows.readings.rename({"row": "old"})
        .join(kept, on="old", how="inner")
        .drop("old")
        .sort("row", "x_year", "method")
    )
    return SectionRows(series, readings)


def recalibrate(p: Floats, params: SectionParams) -> Floats:
    """Return the odds corrected by the shop's own record of earlier forecasts."""
    intercept, slope = params.recalibration
    clipped = np.clip(p, SMALLEST, LARGEST)
    if (intercept, slope) == (0.0, 1.0):
        return clipped
    return np.asarray(np.clip(expit(intercept + slope * logit(clipped)), SMALLEST, LARGEST))


def apply_sections(history: History, params: SectionParams, as_of: dt.date, season: Season) -> pl.DataFrame:
    """Return one row per rated section in service (``SECTION_FORECAST_SCHEMA``), sorted by unit and section.

    Parameters
    ----------
    history
        Tidy frames, cut at ``as_of``.
    """
    rows = current_rows(section_rows(history, params.age_at_first_visit_years, stand_ins=False))
    series = rows.series
    now = year_of(as_of)
    dates = np.array([max(now, year_of(season.start)), max(now, year_of(season.end))])
    times = np.concatenate([now + HORIZONS_YEARS, dates])
    limits = -series["tolerance_pct"].to_numpy()[:, None]
    readings = reading_arrays(rows, params.noise)
    names = series["section"].to_list()
    mean, sd, below = predict(readings, default_paths(), names, weights_of(params), times, limits)
    set_open(series, mean, sd, below)
    out = np.maximum.accumulate(recalibrate(below[:, :-2, 0], params), axis=1)
    at_dates = np.maximum(recalibrate(below[:, -2:, 0], params), out[:, :1])
    at_dates = np.maximum.accumulate(at_dates, axis=1)
    now_out = out[:, :1]
    dated = np.where(now_out < SURELY_IN, (out - now_out) / (1 - now_out), out)
    crossing = {name: _crossing(np.clip(dated, SMALLEST, LARGEST), q, as_of) for name, q in QUANTILES.items()}
    span = (season.end - as_of).days / DAYS_PER_YEAR
    has_readings = (pl.col("n") > 0) | pl.col("open_pct").is_not_null()
    return series.select(
        "unit_id",
        "section",
        pl.lit(season.start).alias("season_start"),
        pl.lit(season.end).alias("season_end"),
        pl.lit(as_of).alias("as_of"),
        "series",
        "tolerance_pct",
        pl.Series("drift_pct", mean[:, 0]),
        pl.Series("drift_sd_pct", sd[:, 0]),
        pl.Series("drift_pct_per_year", mean[:, 4] - mean[:, 0]),
        pl.Series("drift_at_season_end_pct", mean[:, -1]),
        pl.Series("drift_at_season_end_sd_pct", sd[:, -1]),
        pl.Series("p_out_now", out[:, 0]),
        pl.Series("p_out_by_season_start", at_dates[:, 0]),
        pl.Series("p_out_by_season_end", at_dates[:, 1]),
        pl.lit(float(-np.expm1(-params.open_rate_per_year * span))).alias("p_open_by_season_end"),
        *(pl.Series(name, days, dtype=pl.Date) for name, days in crossing.items()),
        pl.Series("already_out", out[:, 0] >= 0.5),
        pl.when(has_readings)
        .then(pl.lit("readings"))
        .when("dated")
        .then(pl.lit("age"))
        .otherwise(pl.lit("fleet"))
        .alias("basis"),
        pl.col("guessed_rating").alias("rating_guessed"),
        pl.col("n").alias("readings"),
        "last_reading_on",
        "last_drift_pct",
    ).cast(SECTION_FORECAST_SCHEMA)


def set_open(series: pl.DataFrame, mean: Floats, sd: Floats, below: Floats) -> None:
    """Write into the forecasts of sections last found open or dead that they are out, and by how much."""
    found = series["open_pct"].fill_null(0.0).to_numpy()
    rows = np.flatnonzero(found < 0)
    mean[rows], sd[rows], below[rows] = found[rows, None], 1.0, 1.0


def _crossing(out: Floats, quantile: float, as_of: dt.date) -> list[dt.date | None]:
    """Return the day on which the odds reach ``quantile``: as-of where they have, null beyond the last horizon."""
    reached = out >= quantile
    never = ~reached[:, -1]
    after = np.argmax(reached, axis=1)
    before = np.maximum(after - 1, 0)
    row = np.arange(len(out))
    high, low = logit(out[row, after]), logit(out[row, before])
    share = np.where(after > 0, (logit(quantile) - low) / np.maximum(high - low, 1e-9), 0.0)
    ahead = HORIZONS_YEARS[before] + np.clip(share, 0, 1) * (HORIZONS_YEARS[after] - HORIZONS_YEARS[before])
    days = np.rint((year_of(as_of) + ahead) * DAYS_PER_YEAR).astype(np.int64)
    return [None if gone else EPOCH + dt.timedelta(days=int(d)) for gone, d in zip(never, days, strict=True)]
