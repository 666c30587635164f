"""From frames to the arrays of the drift model: one row per capacitor series, its readings and its origin."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.history import History
from pipeline.forecast.priors import priors
from pipeline.forecast.seasons import DAYS_PER_YEAR

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

EPOCH = dt.date(2000, 1, 1)
KEY = ["unit_id", "section", "series"]
COPIED_WITHIN_PCT = 0.005
GUESSED_SOURCE = "nearest_size"
"""The rated_source of a rating that is only the preferred size nearest to a reading."""
FORECAST_SECTIONS = ("herm", "fan")
"""Sections whose state feeds the unit's forecast; a unit without a rating is given both, unread."""


def year_of(day: dt.date) -> float:
    """Return the date in years since the epoch of the model."""
    return (day - EPOCH).days / DAYS_PER_YEAR


def years(column: str) -> pl.Expr:
    """Return a date column in years since the epoch of the model."""
    return (pl.col(column) - pl.lit(EPOCH)).dt.total_days() / DAYS_PER_YEAR


@dataclass(frozen=True, eq=False)
class SectionRows:
    """Series and their usable readings as known on a day, before noise and bias are known.

    ``series``: unit_id, section, series, tolerance_pct, guessed_rating, current, listed (false = an unread
    stand-in for a section whose rating nobody knows), origin_year, span_years (0 = known), known_origin,
    n, last_year, last_reading_on, last_drift_pct, open_pct (null unless the newest reading found it open or
    dead); sorted by key. ``readings``: row (position in
    ``series``), x_year, drift_pct, method, technician, suspect, scheduled, age_years; by row and date.
    """

    series: pl.DataFrame
    readings: pl.DataFrame


def median_age_at_first_visit(units: pl.DataFrame) -> float:
    """Return the median age [years] at which units come under care; a guess where no install date is known."""
    ages = units.select(age=years("first_visit_on") - years("installed_on")).filter(pl.col("age") >= 0)["age"]
    n, guess, weight = len(ages), float(priors()["drift"]["age_at_first_visit_years"]), 10.0
    median = ages.median()
    if not isinstance(median, float):
        return guess
    return (n * median + weight * guess) / (n + weight)


def section_rows(history: History, age_at_first_visit: float, *, stand_ins: bool) -> SectionRows:
    """Return the series and readings of ``history``, which must already end on the day in question.

    Parameters
    ----------
    history
        Tidy frames, cut at the day.
    age_at_first_visit
        Age [years] taken where no origin is known.
    stand_ins
        Whether to add an unread series for hermetic and fan sections of units that list none.
    """
    p = priors()["drift"]
    units = history.units.select(
        "unit_id", "first_visit_on", "installed_on", "manufactured_on", "cap_herm_uf", "cap_fan_uf"
    )
    series = history.series.with_columns(listed=pl.lit(True))
    if stand_ins:
        series = pl.concat([series, _stand_ins(units, series)], how="diagonal_relaxed")
    readings = _usable_readings(history, float(p["event_beyond_pct"]))
    spans = readings.group_by(KEY).agg(first_year=pl.col("x_year").min())
    first_visit = pl.coalesce(years("first_visit_on"), "first_year", pl.lit(0.0))
    recorded = pl.col("start_kind").is_in(["fitted", "inferred"]) & pl.col("started_on").is_not_null()
    tolerance = pl.when(pl.col("tolerance_pct") > 0).then(pl.col("tolerance_pct"))
    keyed = (
        series.join(units, on="unit_id", how="inner")
        .join(spans, on=KEY, how="left")
        .with_columns(
            tolerance_pct=tolerance.fill_null(p["default_tolerance_pct"]),
            guessed_rating=(pl.col("rated_source") == GUESSED_SOURCE).fill_null(False),
            current=pl.col("ended_on").is_null(),
            known_origin=recorded,
            first_visit_year=first_visit,
            origin_year=pl.coalesce(
                years("started_on"),
                years("installed_on"),
                years("manufactured_on") + 0.5,
                first_visit - age_at_first_visit,
            ),
            dated=pl.any_horizontal(pl.col(c).is_not_null() for c in ("started_on", "installed_on", "manufactured_on")),
        )
        .with_columns(origin_year=pl.min_horizontal("origin_year", "first_year"))
        .with_columns(
            span_years=pl.when("known_origin")
            .then(0.0)
            .otherwise(
                pl.max_horizontal(pl.min_horizontal("first_visit_year", "first_year") - pl.col("origin_year"), 0.0)
            )
        )
        .with_columns(known_origin=pl.col("known_origin") | (pl.col("span_years") < 0.25))
        .sort(KEY)
        .with_row_index("row")
        .with_columns(pl.col("row").cast(pl.Int64))
    )
    kept = (
        readings.join(keyed.select("row", *KEY, "origin_year"), on=KEY, how="inner")
        .with_columns(age_years=pl.col("x_year") - pl.col("origin_year"))
        .sort("row", "x_year", "method")
        .group_by("row", maintain_order=True)
        .tail(int(p["last_readings"]))
        .sort("row", "x_year", "method")
    )
    facts = kept.group_by("row", maintain_order=True).agg(
        n=pl.len().cast(pl.Int64),
        last_year=pl.col("x_year").last(),
        last_reading_on=pl.col("visit_date").last(),
        last_drift_pct=pl.col("drift_pct").last(),
    )
    opens = _opens(history, float(p["event_beyond_pct"]))
    columns = [
        *("row", *KEY, "rated_uf", "tolerance_pct", "guessed_rating", "current", "listed", "known_origin", "dated"),
        *("origin_year", "span_years", "n", "last_year", "last_reading_on", "last_drift_pct", "open_pct"),
    ]
    full = (
        keyed.join(facts, on="row", how="left", maintain_order="left")
        .join(opens, on=KEY, how="left", maintain_order="left")
        .with_columns(
            pl.col("n").fill_null(0),
            open_pct=pl.when((pl.col("open_on") >= pl.col("last_reading_on")).fill_null(True)).then("open_pct"),
        )
    )
    return SectionRows(full.select(columns), kept)


def _usable_readings(history: History, event_beyond_pct: float) -> pl.DataFrame:
    """One reading per series, day and method; opens, and readings of doubtful owner at a replacement, left out."""
    suspect = pl.col("suspect").is_not_null()
    return (
        history.cap_readings.filter(
            pl.col("drift_pct").is_finite()
            & (pl.col("drift_pct").abs() < event_beyond_pct)
            & ~(pl.col("at_replacement").fill_null(False) & suspect)
        )
        .with_columns(suspect=suspect, method=pl.col("method").fill_null("bench"))
        # where a day has a reading nobody doubts, the doubted ones of that day are not needed
        .filter(~pl.col("suspect") | pl.col("suspect").all().over(*KEY, "visit_date"))
        .group_by(*KEY, "visit_date", "method")
        .agg(
            pl.col("drift_pct").median(),
            pl.col("technician").drop_nulls().min(),
            pl.col("suspect").all(),
            pl.col("scheduled").fill_null(False).any(),
        )
        .with_columns(x_year=years("visit_date"))
        .sort(*KEY, "visit_date", "method")
    )


def _opens(history: History, event_beyond_pct: float) -> pl.DataFrame:
    """The last reading of each series that was no drift but an open or dead section."""
    return (
        history.cap_readings.filter((pl.col("drift_pct") <= -event_beyond_pct) & pl.col("suspect").is_null())
        .sort(*KEY, "visit_date", "visit_id")
        .group_by(KEY, maintain_order=True)
        .agg(open_on=pl.col("visit_date").last(), open_pct=pl.col("drift_pct").last())
    )


def _stand_ins(units: pl.DataFrame, series: pl.DataFrame) -> pl.DataFrame:
    current = series.filter(pl.col("ended_on").is_null()).select("unit_id", "section")
    wanted = pl.concat(
        [
            units.filter((pl.col(f"cap_{s}_uf") > 0).fill_null(True)).select("unit_id", section=pl.lit(s))
            for s in FORECAST_SECTIONS
        ]
    )
    return wanted.join(current, on=["unit_id", "section"], how="anti").with_columns(
        series=pl.lit(0, dtype=pl.Int64), listed=pl.lit(False)
    )


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings as arrays, bias taken off: ``first[i]`` and ``count[i]`` say which belong to series i."""

    first: Index
    count: Index
    x_year: Floats
    y: Floats
    noise_var: Floats
    bad_odds: Floats
    origin_year: Floats
    span_years: Floats
    known_origin: npt.NDArray[np.bool_]
    start_var: Floats
    guessed_rating: npt.NDArray[np.bool_]
    rating_scale: Floats
    last_year: Floats
