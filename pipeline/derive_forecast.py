"""The forecast inside the store: learn from finished seasons once, hold the past against it, apply it to the fleet."""

from __future__ import annotations

import datetime as dt
import hashlib
from contextlib import suppress

import duckdb
import polars as pl

from pipeline.config import Settings
from pipeline.derive_notes import parts_told, visits_told
from pipeline.fleet_facts import keep_fact
from pipeline.forecast.backtest import backtest, guard, record_json
from pipeline.forecast.history import VISIT_COLUMNS, History
from pipeline.forecast.model import apply, fit
from pipeline.forecast.params import Params
from pipeline.forecast.seasons import last_finished_end
from pipeline.store.derived import replace_keys, replace_rows
from pipeline.store.history import unit_batches, units_of
from pipeline.store.query import query
from pipeline.workmate import Each, alone

FITTED = "fitted"
"""Name under which the parameters in use are kept, the guard's tempering included."""

RECORD = "record"
MOST_BACKTESTED = 6_000
"""Units in the look back; a larger fleet is sampled by a digest of the unit id, so that a run stays short."""


def forecast(
    con: duckdb.DuckDBPyConnection,
    as_of: dt.date,
    settings: Settings,
    *,
    degree_days: pl.DataFrame | None = None,
    anew: bool = False,
    each: Each = alone,
) -> None:
    """Write the forecasts of every active unit as of ``as_of``, and how earlier seasons' forecasts would have done.

    What the fleet teaches is learned from rows up to the end of the last finished season, and learned again only where
    those rows, the program, a setting or ``degree_days`` have changed (``anew``): an increment moves no other unit's
    odds.
    """
    history = fleet_history(con, as_of)
    params = _learned(con, history, as_of, settings, degree_days, anew=anew, each=each)
    found = apply(history, params, as_of, settings)
    replace_rows(con, "section_forecast", found.sections, None)
    replace_rows(con, "unit_forecast", found.units, None)
    replace_keys(
        con, "risk_history", found.units.select("unit_id", "as_of", "p_failure", "flagged"), ["unit_id", "as_of"]
    )


def fleet_history(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> History:
    """Return what the forecast reads of the whole fleet: derived rows whole, of the visits only the columns it uses."""
    visits = [visits_told(con, batch, as_of).select(list(VISIT_COLUMNS)) for batch in unit_batches(con, None)]
    return History(
        series=query(con, "core.capacitor_series"),
        cap_readings=query(con, "core.capacitor_readings"),
        charge=query(con, "core.charge_readings"),
        visits=pl.concat(visits) if visits else pl.DataFrame(schema=dict(VISIT_COLUMNS)),
        parts=parts_told(con, None, as_of).select("unit_id", "visit_id", "visit_date", "part"),
        units=units_of(con, None, as_of).filter(pl.col("visits_stored") > 0),
    )


def _learned(
    con: duckdb.DuckDBPyConnection,
    history: History,
    as_of: dt.date,
    settings: Settings,
    degree_days: pl.DataFrame | None,
    *,
    anew: bool,
    each: Each,
) -> Params:
    """Return the parameters kept from an earlier run where nothing they rest on has changed, else learn them."""
    through = last_finished_end(as_of, settings.season.end)
    changed = keep_fact(con, "forecast_past", _digest(history, through))
    kept = query(con, "core.forecast_params").filter((pl.col("name") == FITTED) & (pl.col("fitted_through") == through))
    if not (anew or changed or kept.is_empty()):
        with suppress(ValueError):  # what an earlier program wrote is learned anew
            return Params.from_json(kept["params"].item())
    looked_back = backtest(_sampled(history), as_of, settings, degree_days, each=each)
    params = guard(fit(history, as_of, settings, degree_days), looked_back.record)
    rows = [(FITTED, params.to_json()), (RECORD, record_json(looked_back.record))]
    texts = pl.DataFrame([{"name": name, "fitted_through": through, "params": text} for name, text in rows])
    replace_keys(con, "forecast_params", texts, ["name", "fitted_through"])
    replace_rows(con, "backtest", looked_back.units, None)
    replace_rows(con, "backtest_readings", looked_back.readings, None)
    return params


def _digest(history: History, through: dt.date) -> pl.DataFrame:
    """Return a digest of what was known on ``through``; the same rows in any order give the same."""
    past = history.tidy().through(through)
    frames = {name: getattr(past, name) for name in ("series", "cap_readings", "charge", "visits", "parts", "units")}
    sums = [(name, str(frame.hash_rows().sort().hash().sum()), frame.height) for name, frame in frames.items()]
    return pl.DataFrame([(str(through), "", 0), *sums], schema=["what", "digest", "rows"], orient="row")


def _sampled(history: History) -> History:
    ids = history.units["unit_id"]
    if ids.len() <= MOST_BACKTESTED:
        return history
    ordered = sorted(ids.to_list(), key=lambda unit: hashlib.sha256(unit.encode()).digest())
    chosen = pl.DataFrame({"unit_id": ordered[:MOST_BACKTESTED]})
    frames = {name: getattr(history, name) for name in ("series", "cap_readings", "charge", "visits", "parts", "units")}
    return History(**{name: frame.join(chosen, on="unit_id", how="semi") for name, frame in frames.items()})
