"""What notes tell, mined once per run and stored; visits and parts of the store with their blanks filled from it."""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

import sql
from pipeline.config import Settings
from pipeline.enrich.notes import (
    NOTE_READINGS_SCHEMA,
    add_parts_from_notes,
    add_told_ratings,
    add_used,
    fill_from_notes,
    mine,
)
from pipeline.store.derived import replace_rows
from pipeline.store.frames import registered, to_frame
from pipeline.store.history import of_units, parts_of, unit_batches, units_of, visits_of
from pipeline.store.query import query

TABLE = "note_readings"


def write_notes(con: duckdb.DuckDBPyConnection, units: pl.Series | None, as_of: dt.date, settings: Settings) -> None:
    """Rewrite what the notes of the units tell (all where None); nothing is told where the setting is off.

    A ticket is read whole: units that share one with those in scope are read again with them.
    """
    for batch in unit_batches(con, units):
        wanted = _on_same_tickets(con, batch)
        if not settings.notes.mine:
            replace_rows(con, TABLE, pl.DataFrame(schema={**NOTE_READINGS_SCHEMA, "used": pl.Boolean}), wanted)
            continue
        visits = visits_of(con, wanted, as_of)
        register = units_of(con, wanted, as_of).select("unit_id", "refrigerant", "unit_location")
        mined = mine(visits.join(register, on="unit_id", how="left", maintain_order="left"))
        replace_rows(con, TABLE, add_used(mined, visits, parts_of(con, wanted, as_of)), wanted)


def visits_told(con: duckdb.DuckDBPyConnection, units: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return ``visits_of`` with blanks filled from the notes, and ``from_notes``, the fields so filled."""
    return fill_from_notes(visits_of(con, units, as_of), _mined(con, units))


def parts_told(con: duckdb.DuckDBPyConnection, units: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return ``parts_of`` and the capacitors that notes alone tell of."""
    return add_parts_from_notes(parts_of(con, units, as_of), _mined(con, units))


def units_told(con: duckdb.DuckDBPyConnection, units: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return ``units_of`` with the capacitor labels that notes tell."""
    return add_told_ratings(units_of(con, units, as_of), _mined(con, units))


def _mined(con: duckdb.DuckDBPyConnection, units: pl.Series | None) -> pl.DataFrame:
    mined = query(con, f"core.{TABLE}") if units is None else of_units(con, f"core.{TABLE}", units)
    return mined.sort("unit_id", "visit_id", "field", "value", "value_text")


def _on_same_tickets(con: duckdb.DuckDBPyConnection, units: pl.Series) -> pl.Series:
    with registered(con, "wanted", units.cast(pl.String).unique().to_frame("unit_id")):
        shared = to_frame(con, sql.statement("load/on_same_tickets.sql")).get_column("unit_id")
    return pl.concat([units.cast(pl.String), shared]).unique().sort()
