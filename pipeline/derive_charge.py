"""Charge readings, ledger, leak trend and open findings of the store, from the history that enrich reads."""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from pipeline.config import Settings
from pipeline.derive_notes import parts_told, visits_told
from pipeline.enrich.charge import charge_readings, fleet_faults
from pipeline.enrich.expected import LEVELS_SCHEMA
from pipeline.enrich.fault_signs import fault_sign_table
from pipeline.enrich.finding_kinds import History
from pipeline.enrich.fleet_levels import fleet_levels
from pipeline.enrich.leak_trend import charge_trend
from pipeline.enrich.ledger import refrigerant_ledger, refrigerant_use
from pipeline.enrich.not_testable import reason_table
from pipeline.enrich.open_findings import open_findings
from pipeline.enrich.suspects import charge_suspects
from pipeline.fleet_facts import keep_fact
from pipeline.forecast.seasons import last_finished_end
from pipeline.store.derived import replace_rows
from pipeline.store.history import of_units, recommendations_of, unit_batches, units_of
from pipeline.store.query import query


def write_charge(
    con: duckdb.DuckDBPyConnection,
    units: pl.Series | None,
    as_of: dt.date,
    settings: Settings,
    charts: pl.DataFrame | None,
    blowers: pl.DataFrame | None,
) -> None:
    """Rewrite charge readings and their suspects of ``units`` (all where None), then judge faults against the fleet.

    What is usual for an equipment class is learned from rows up to the end of the last finished season, so that an
    increment changes nothing for other units; where it has changed all the same, every unit is judged again.
    """
    no_levels = pl.DataFrame(schema=dict(LEVELS_SCHEMA))
    for batch in unit_batches(con, units):
        rows = charge_readings(
            visits_told(con, batch, as_of),
            units_of(con, batch, as_of),
            altitude_ft=settings.shop.altitude_ft,
            settings=settings.charge,
            charts=charts,
            blowers=blowers,
            levels=no_levels,
        )
        replace_rows(con, "charge_readings", rows, batch)
        replace_rows(con, "charge_suspects", charge_suspects(rows), batch)
    through = last_finished_end(as_of, settings.season.end)
    known = query(con, "class_level_readings")
    levels = fleet_levels(known.filter(pl.col("visit_date") <= through))
    if levels.is_empty():  # a shop in its first season: what is usual moves with each import, but it is known
        levels = fleet_levels(known)
    again = None if keep_fact(con, "charge_levels", levels) else units
    for batch in unit_batches(con, again):
        judged = fleet_faults(of_units(con, "core.charge_readings", batch), levels=levels)
        replace_rows(con, "charge_readings", judged, batch)


def write_findings(con: duckdb.DuckDBPyConnection, as_of: dt.date, settings: Settings) -> None:
    """Rewrite ledger, charge trend and open findings of every unit; they all move with ``as_of``."""
    replace_rows(con, "fault_signs", fault_sign_table(), None)
    replace_rows(con, "not_testable_reasons", reason_table(), None)
    use = []
    for batch in unit_batches(con, None):
        visits, parts, units = (read(con, batch, as_of) for read in (visits_told, parts_told, units_of))
        charge = of_units(con, "core.charge_readings", batch)
        ledger = refrigerant_ledger(visits, parts, units, settings=settings.charge)
        history = History(
            visits=visits,
            parts=parts,
            recommendations=recommendations_of(con, batch, as_of),
            capacitor_series=of_units(con, "core.capacitor_series", batch),
            capacitor_readings=of_units(con, "core.capacitor_readings", batch),
            charge_readings=charge,
            ledger=ledger,
        )
        replace_rows(con, "refrigerant_ledger", ledger, batch)
        replace_rows(con, "charge_trend", charge_trend(charge, ledger, visits, parts, units, as_of=as_of), batch)
        replace_rows(con, "open_findings", open_findings(history, as_of=as_of), batch)
        use.append(ledger)
    if use:
        replace_rows(con, "refrigerant_use", refrigerant_use(pl.concat(use)), None)
