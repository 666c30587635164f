"""From what is stored to what is known: the touched units' derived rows are rewritten, in the run's transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import polars as pl

from pipeline.config import Settings
from pipeline.derive_charge import write_charge, write_findings
from pipeline.derive_notes import parts_told, units_told, visits_told, write_notes
from pipeline.enrich.capacitor_facts import capacitor_facts
from pipeline.enrich.capacitor_ratings import model_ratings
from pipeline.enrich.capacitors import capacitor_history
from pipeline.enrich.copied_ratings import COPIED, copying
from pipeline.enrich.digits import digit_preference
from pipeline.enrich.suspects import capacitor_suspects
from pipeline.enrich.technicians import MONTHS, VISIT_COLUMNS, technician_quality
from pipeline.fleet_facts import keep_fact
from pipeline.store.derived import replace_rows
from pipeline.store.history import of_units, unit_batches, visits_of
from pipeline.store.query import query


@dataclass(frozen=True)
class Scope:
    """What a run has to compute again: these units, or all where ``units`` is None."""

    units: pl.Series | None
    as_of: dt.date


def enrich(
    con: duckdb.DuckDBPyConnection,
    scope: Scope,
    settings: Settings,
    charts: pl.DataFrame | None = None,
    blowers: pl.DataFrame | None = None,
) -> None:
    """Rewrite what notes tell, capacitor series and readings, charge readings and suspects of the units in scope.

    Whole units are read, a batch at a time, so that memory stays flat however large the shop is. Where what the whole
    fleet teaches has changed (the ratings of a model, a technician's habit), the units it bears on come into scope, so
    that increments end where one import of everything does.
    """
    write_notes(con, scope.units, scope.as_of, settings)
    _capacitors(con, scope, settings)
    write_charge(con, scope.units, scope.as_of, settings, charts, blowers)
    write_findings(con, scope.as_of, settings)
    _technicians(con, scope.as_of)


def _capacitors(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Settings) -> None:
    """Write series and readings, then hold against them what ratings, volts and habits say, and write those again."""
    models = model_ratings(units_told(con, None, scope.as_of))
    units = None if keep_fact(con, "model_ratings", models) else scope.units
    for batch in unit_batches(con, units):
        _write_capacitors(con, batch, of_units(con, "int_row_suspects", batch), models, scope.as_of, settings)
    readings = query(con, "core.capacitor_readings")
    copiers = copying(readings)
    habits = copiers.filter("copies")
    if keep_fact(con, "copied_ratings", habits) and units is not None:
        theirs = readings.filter(pl.col("technician").is_in(habits["technician"].implode()))["unit_id"]
        units = pl.concat([units, theirs, _held(con)]).unique().sort()
    for batch in unit_batches(con, units):
        visits = visits_told(con, batch, scope.as_of)
        found = capacitor_suspects(of_units(con, "core.capacitor_readings", batch), visits, copiers)
        before = of_units(con, "core.capacitor_suspects", batch)
        replace_rows(con, "capacitor_suspects", found, batch)
        again = pl.concat([found["unit_id"], before["unit_id"]]).unique().sort()
        doubts = pl.concat([of_units(con, "int_row_suspects", again).select(found.columns), found])
        _write_capacitors(con, again, doubts, models, scope.as_of, settings)


def _technicians(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> None:
    """Write how complete and how believable each technician's readings of the last ``MONTHS`` are."""
    since = pl.lit(as_of).dt.offset_by(f"-{MONTHS}mo")
    recent = visits_of(con, None, as_of, VISIT_COLUMNS).filter(pl.col("visit_date") > since)
    quality = technician_quality(recent, query(con, "suspects"), digit_preference(recent))
    replace_rows(con, "technician_quality", quality, None)


def _write_capacitors(
    con: duckdb.DuckDBPyConnection,
    units: pl.Series,
    doubts: pl.DataFrame,
    models: pl.DataFrame,
    as_of: dt.date,
    settings: Settings,
) -> None:
    series, readings = capacitor_history(
        visits_told(con, units, as_of),
        parts_told(con, units, as_of),
        units_told(con, units, as_of),
        models,
        doubts,
        capacitor_facts(),
        frequency_hz=settings.shop.line_frequency_hz,
    )
    replace_rows(con, "capacitor_series", series, units)
    replace_rows(con, "capacitor_readings", readings, units)


def _held(con: duckdb.DuckDBPyConnection) -> pl.Series:
    """Return the units of which a reading was held against its technician's habit before."""
    return query(con, "core.capacitor_suspects").filter(pl.col("reason") == COPIED)["unit_id"]


def view_settings(settings: Settings) -> Mapping[str, object]:
    """Return the settings flat (``costs.stop``), as the views read them."""
    return {
        f"{section}.{key}": value
        for section, values in settings.model_dump(mode="json", exclude={"plan", "technicians"}).items()
        for key, value in values.items()
        if not isinstance(value, (dict, list))
    }
