"""The forecast in two steps: ``fit`` learns from finished seasons, ``apply`` says what is ahead."""

from __future__ import annotations

import dataclasses
import datetime as dt
import zlib
from dataclasses import dataclass

import polars as pl

from pipeline.config import Settings
from pipeline.forecast.causes import cause_shares, prevention_share
from pipeline.forecast.flagging import add_flags
from pipeline.forecast.history import History
from pipeline.forecast.params import Params
from pipeline.forecast.reasons import reasons
from pipeline.forecast.seasons import last_finished_end, season
from pipeline.forecast.sections_apply import apply_sections
from pipeline.forecast.sections_fit import fit_sections
from pipeline.forecast.sections_score import learn_recalibration
from pipeline.forecast.units_apply import unit_odds
from pipeline.forecast.units_fit import fit_units

MOST_FITTED_UNITS = 20_000
"""Beyond that many units more of them teach nothing that a digest's pick of them does not."""

UNIT_FORECAST_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "as_of": pl.Date,
        "season_start": pl.Date,
        "season_end": pl.Date,
        "last_visit_on": pl.Date,
        "p_failure": pl.Float64,
        "p_low": pl.Float64,
        "p_high": pl.Float64,
        "prevention_share": pl.Float64,
        "net_saving": pl.Float64,
        "worth_a_stop": pl.Boolean,
        "first_in_line": pl.Boolean,
        "flagged": pl.Boolean,
        "leading_reason": pl.String,
        "reasons": pl.String,
        "cause_shares": pl.String,
        "basis": pl.String,
    }
)


@dataclass(frozen=True)
class Forecasts:
    """``sections`` (``SECTION_FORECAST_SCHEMA``) and ``units`` (``UNIT_FORECAST_SCHEMA``), sorted by key."""

    sections: pl.DataFrame
    units: pl.DataFrame


def fit(history: History, as_of: dt.date, settings: Settings, degree_days: pl.DataFrame | None = None) -> Params:
    """Return what the fleet teaches, from rows dated up to the end of the last finished season.

    Parameters
    ----------
    history
        All frames; row order does not matter.
    as_of
        The day of the forecast; only which season was the last to finish depends on it.
    degree_days
        Heat of past seasons (``HEAT_SCHEMA``), if the shop keeps it; of no other season is it looked at.
    """
    start, end = settings.season.start, settings.season.end
    through = last_finished_end(as_of, end)
    known = fitting_sample(history.tidy().through(through))
    sections = fit_sections(known, through)
    recalibration, pairs = learn_recalibration(known, sections, through, start, end)
    sections = dataclasses.replace(sections, recalibration=recalibration, recalibration_pairs=pairs)
    units = fit_units(known, sections, through, start, end, settings.units.unseen_months, degree_days)
    return Params(through.isoformat(), sections, units)


def apply(history: History, params: Params, as_of: dt.date, settings: Settings) -> Forecasts:
    """Return the forecasts of every active unit and its rated capacitor sections in service.

    A unit's row depends on its own rows and on ``params`` alone, but for flags and for which of its hazards
    stand above the fleet. Nothing dated after ``as_of`` is looked at.
    """
    start, end = settings.season.start, settings.season.end
    ahead = season(as_of, start, end)
    known = active(history.tidy().through(as_of))
    sections = apply_sections(known, params.sections, as_of, ahead)
    if known.units.is_empty():
        return Forecasts(sections, pl.DataFrame(schema=UNIT_FORECAST_SCHEMA))
    odds = unit_odds(known, params, as_of, ahead, start, end)
    units = odds.features.frame.select("unit_id", "last_visit_on").with_columns(
        pl.lit(as_of).alias("as_of"),
        pl.lit(ahead.start).alias("season_start"),
        pl.lit(ahead.end).alias("season_end"),
        pl.Series("p_failure", odds.p),
        pl.Series("p_low", odds.low),
        pl.Series("p_high", odds.high),
        pl.Series("cause_shares", cause_shares(odds.hazards, params.units.base_causes)),
        pl.Series("prevention_share", prevention_share(odds.hazards, settings.flagging)),
        pl.lit(params.units.mode).alias("basis"),
    )
    told = units.join(
        reasons(known, odds.features, odds.hazards, sections), on="unit_id", how="left", maintain_order="left"
    )
    flagged = add_flags(told, settings, as_of)
    return Forecasts(sections, flagged.select(UNIT_FORECAST_SCHEMA.names()).cast(UNIT_FORECAST_SCHEMA))


def fitting_sample(history: History) -> History:
    """Return the history of at most ``MOST_FITTED_UNITS`` units, picked by a fixed digest of unit_id."""
    names = history.units["unit_id"].to_list()
    if len(names) <= MOST_FITTED_UNITS:
        return history
    chosen = sorted(names, key=lambda name: (zlib.crc32(name.encode()), name))[:MOST_FITTED_UNITS]
    return of_units(history, history.units.filter(pl.col("unit_id").is_in(chosen)))


def active(history: History) -> History:
    """Return the history of the units that are not retired by its last day."""
    return of_units(history, history.units.filter(pl.col("retired_on").is_null()))


def of_units(history: History, units: pl.DataFrame) -> History:
    """Return what is recorded of ``units``, a part of the history's own."""
    keys = units.select("unit_id")
    kept = {
        name: getattr(history, name).join(keys, on="unit_id", how="semi", maintain_order="left")
        for name in ("series", "cap_readings", "charge", "visits", "parts")
    }
    return History(**kept, units=units)
