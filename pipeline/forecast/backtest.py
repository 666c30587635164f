"""Every past season forecast again from what was known then, and held against what happened."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from dataclasses import dataclass
from functools import partial

import polars as pl

from pipeline.config import Settings
from pipeline.forecast.causes import cause_shares, prevention_share
from pipeline.forecast.failures import outcomes
from pipeline.forecast.flagging import add_flags
from pipeline.forecast.history import History
from pipeline.forecast.model import active, fit
from pipeline.forecast.params import Params
from pipeline.forecast.priors import priors
from pipeline.forecast.record import Record, summarise
from pipeline.forecast.seasons import Season, finished_seasons
from pipeline.forecast.sections_score import next_readings
from pipeline.forecast.units_apply import unit_odds
from pipeline.workmate import Each, alone

MOST_SEASONS = 6
"""Past springs that are looked back on: older ones say little of today's shop (engineering choice)."""

BACKTEST_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "season": pl.String,
        "as_of": pl.Date,
        "asked": pl.String,
        "season_start": pl.Date,
        "season_end": pl.Date,
        "p_failure": pl.Float64,
        "p_low": pl.Float64,
        "p_high": pl.Float64,
        "flagged": pl.Boolean,
        "last_reading_out": pl.Boolean,
        "failed": pl.Boolean,
        "failed_on": pl.Date,
        "failed_cause": pl.String,
        "cause_shares": pl.String,
        "basis": pl.String,
    }
)
READINGS_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "section": pl.String,
        "season": pl.String,
        "as_of": pl.Date,
        "asked": pl.String,
        "visit_date": pl.Date,
        "drift_pct": pl.Float64,
        "p_below": pl.Float64,
        "below": pl.Boolean,
        "place": pl.Float64,
    }
)


@dataclass(frozen=True)
class Backtest:
    """Rows per past season, day and unit (``BACKTEST_SCHEMA``), section readings against their odds, and the record."""

    units: pl.DataFrame
    readings: pl.DataFrame
    record: Record


def season_name(one: Season) -> str:
    """Return the season's year, or both where it wraps the new year.

    Examples
    --------
    >>> season_name(Season(dt.date(2025, 11, 1), dt.date(2026, 2, 28)))
    '2025-26'
    """
    return str(one.start.year) if one.start.year == one.end.year else f"{one.start.year}-{one.end.year % 100:02d}"


def backtest(
    history: History,
    as_of: dt.date,
    settings: Settings,
    degree_days: pl.DataFrame | None = None,
    *,
    each: Each = alone,
) -> Backtest:
    """Return how the forecast would have done in every past season but the first.

    Each season is forecast twice: on 1 February, when the spring is planned, and on the season's eve. The
    parameters are fitted anew on rows up to the end of the season before; the fit and the forecast see
    nothing later. ``each`` has the seasons looked back on, one by one.
    """
    tidy = history.tidy().through(as_of)
    first = tidy.visits["visit_date"].min()
    start, end = settings.season.start, settings.season.end
    seasons = finished_seasons(first, as_of, start, end) if isinstance(first, dt.date) else []
    past = each(partial(_season, tidy, settings, degree_days), seasons[1:][-MOST_SEASONS:])
    units = [frame for told, _ in past for frame in told]
    readings = [frame for _, read in past for frame in read]
    rows = (
        pl.concat([f.select(BACKTEST_SCHEMA.names()).cast(BACKTEST_SCHEMA) for f in units])
        if units
        else (pl.DataFrame(schema=BACKTEST_SCHEMA))
    )
    read = (
        pl.concat([f.select(READINGS_SCHEMA.names()).cast(READINGS_SCHEMA) for f in readings])
        if readings
        else (pl.DataFrame(schema=READINGS_SCHEMA))
    )
    return Backtest(rows, read, summarise(rows, read))


def _season(
    tidy: History, settings: Settings, degree_days: pl.DataFrame | None, one: Season
) -> tuple[list[pl.DataFrame], list[pl.DataFrame]]:
    """Return odds of units and of readings, on the decision day and on the eve of one season."""
    units, readings = [], []
    params = fit(tidy, one.eve, settings, degree_days)
    for asked, day in (("decision_day", one.decision_day), ("eve", one.eve)):
        units.append(_units(tidy, params, one, day, asked, settings))
        readings.append(
            next_readings(tidy, params.sections, day, one.end).with_columns(
                season=pl.lit(season_name(one)), as_of=pl.lit(day), asked=pl.lit(asked)
            )
        )
    return units, readings


def guard(params: Params, record: Record) -> Params:
    """Return ``params``, or with odds tempered by the record where the record is a bad one.

    The tempering is the intercept and slope that would have mended the earlier seasons' odds: a model that
    told nothing is drawn in to the shop's own rate. It is used only where the record speaks clearly against
    the model, for outcomes are left out where the shop acted first, which by itself lowers what is seen.
    """
    if not record.bad or params.units.mode != "fitted":
        return params
    units = dataclasses.replace(params.units, mode="fallback", temper=record.temper)
    return dataclasses.replace(params, units=units)


def _units(tidy: History, params: Params, one: Season, day: dt.date, asked: str, settings: Settings) -> pl.DataFrame:
    known = active(tidy.through(day))
    in_care = known.units.filter(pl.col("last_visit_on").dt.offset_by(f"{settings.units.unseen_months}mo") >= day)
    known = dataclasses.replace(known, units=in_care)
    if in_care.is_empty():
        return pl.DataFrame(schema=BACKTEST_SCHEMA)
    odds = unit_odds(known, params, day, one, settings.season.start, settings.season.end)
    happened = outcomes(tidy.visits, tidy.parts, tidy.units, day, one.end)
    first = pl.col("changed_on").is_null() | (pl.col("failed_on") <= pl.col("changed_on"))
    failed = (
        pl.when(pl.col("failed_on").is_not_null() & first).then(True).when(pl.col("changed_on").is_null()).then(False)
    )
    rows = odds.features.frame.select("unit_id", "last_visit_on").with_columns(
        p_failure=pl.Series(odds.p),
        p_low=pl.Series(odds.low),
        p_high=pl.Series(odds.high),
        cause_shares=pl.Series(cause_shares(odds.hazards, params.units.base_causes)),
        prevention_share=pl.Series(prevention_share(odds.hazards, settings.flagging)),
        season=pl.lit(season_name(one)),
        as_of=pl.lit(day),
        asked=pl.lit(asked),
        season_start=pl.lit(one.start),
        season_end=pl.lit(one.end),
        basis=pl.lit(params.units.mode),
    )
    return (
        add_flags(rows, settings, day)
        .join(_last_out(known), on="unit_id", how="left", maintain_order="left")
        .join(happened, on="unit_id", how="left", maintain_order="left")
        .with_columns(pl.col("last_reading_out").fill_null(False), failed=failed)
    )


def _last_out(known: History) -> pl.DataFrame:
    """Units whose last reading of a part in service was below its tolerance: the rule of thumb to beat."""
    in_service = known.series.filter(pl.col("ended_on").is_null()).select(
        "unit_id", "section", "series", "tolerance_pct"
    )
    default = float(priors()["drift"]["default_tolerance_pct"])
    return (
        known.cap_readings.filter(pl.col("drift_pct").is_not_null())
        .join(in_service, on=["unit_id", "section", "series"], how="inner")
        .sort("unit_id", "section", "visit_date", "visit_id")
        .group_by("unit_id", "section", maintain_order=True)
        .last()
        .group_by("unit_id")
        .agg(last_reading_out=(pl.col("drift_pct") < -pl.col("tolerance_pct").fill_null(default)).any())
    )


def record_json(record: Record) -> str:
    """Return the record as JSON text."""
    return json.dumps(dataclasses.asdict(record), sort_keys=True)
