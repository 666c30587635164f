"""The tables that Python fills are declared with exactly the columns that Python gives them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.checks.check import SUSPECT_SCHEMA
from pipeline.enrich.capacitors import CAPACITOR_READINGS_SCHEMA, CAPACITOR_SERIES_SCHEMA
from pipeline.enrich.charge import CHARGE_READINGS_SCHEMA
from pipeline.enrich.fault_signs import SIGN_SCHEMA
from pipeline.enrich.leak_trend import CHARGE_TREND_SCHEMA
from pipeline.enrich.ledger import LEDGER_SCHEMA, USE_SCHEMA
from pipeline.enrich.not_testable import REASONS_SCHEMA
from pipeline.enrich.open_findings import OPEN_FINDINGS_SCHEMA
from pipeline.enrich.register_faults import FAULTS_SCHEMA
from pipeline.enrich.technicians import QUALITY_SCHEMA as TECHNICIANS_SCHEMA
from pipeline.forecast.backtest import BACKTEST_SCHEMA, READINGS_SCHEMA
from pipeline.forecast.callbacks import BACK_SCHEMA, CALLBACKS_SCHEMA
from pipeline.forecast.capacitor_hazards import HAZARD_SCHEMA
from pipeline.forecast.failure_rates import RATES_SCHEMA
from pipeline.forecast.gathered import GATHERED_SCHEMA
from pipeline.forecast.lifetimes import CURVE_SCHEMA, LIVES_SCHEMA
from pipeline.forecast.model import UNIT_FORECAST_SCHEMA
from pipeline.forecast.part_quality import QUALITY_SCHEMA
from pipeline.forecast.sections_apply import SECTION_FORECAST_SCHEMA
from pipeline.forecast.trends import CHANGE_SCHEMA, TREND_SCHEMA
from pipeline.ingest.zero_filled import BLANKED_SCHEMA
from pipeline.plan.call_list import CALL_LIST_SCHEMA
from pipeline.plan.frames import LEFT_OUT_SCHEMA, ROUTE_STOPS_SCHEMA
from pipeline.plan.places import PLACES_SCHEMA
from pipeline.plan.stock_rows import DAY_PARTS_SCHEMA, STOCK_LIST_SCHEMA
from pipeline.store.migrate import migrate
from pipeline.warranty.claims import CLAIMS_SCHEMA
from pipeline.warranty.terms import TERMS_SCHEMA
from pipeline.warranty.unbilled import UNBILLED_SCHEMA

DECLARED: Mapping[str, Mapping[str, Any]] = {
    "backtest": BACKTEST_SCHEMA,
    "backtest_readings": READINGS_SCHEMA,
    "call_list": CALL_LIST_SCHEMA,
    "callbacks": CALLBACKS_SCHEMA,
    "came_back": BACK_SCHEMA,
    "capacitor_hazards": HAZARD_SCHEMA,
    "capacitor_readings": CAPACITOR_READINGS_SCHEMA,
    "capacitor_series": CAPACITOR_SERIES_SCHEMA,
    "capacitor_suspects": SUSPECT_SCHEMA,
    "charge_readings": CHARGE_READINGS_SCHEMA,
    "charge_suspects": SUSPECT_SCHEMA,
    "charge_trend": CHARGE_TREND_SCHEMA,
    "day_parts": DAY_PARTS_SCHEMA,
    "failure_rates": RATES_SCHEMA,
    "fault_signs": SIGN_SCHEMA,
    "lifetimes": LIVES_SCHEMA,
    "not_billed": UNBILLED_SCHEMA,
    "not_testable_reasons": REASONS_SCHEMA,
    "open_findings": OPEN_FINDINGS_SCHEMA,
    "part_quality": QUALITY_SCHEMA,
    "plan_left_out": LEFT_OUT_SCHEMA,
    "refrigerant_ledger": LEDGER_SCHEMA,
    "refrigerant_use": USE_SCHEMA,
    "register_faults": FAULTS_SCHEMA,
    "repairs_gathered": GATHERED_SCHEMA,
    "route_stops": ROUTE_STOPS_SCHEMA,
    "season_trend": TREND_SCHEMA,
    "section_forecast": SECTION_FORECAST_SCHEMA,
    "site_places": PLACES_SCHEMA,
    "stock_list": STOCK_LIST_SCHEMA,
    "survival_curves": CURVE_SCHEMA,
    "suspects": SUSPECT_SCHEMA,
    "technician_quality": TECHNICIANS_SCHEMA,
    "unit_forecast": UNIT_FORECAST_SCHEMA,
    "warranty_claims": CLAIMS_SCHEMA,
    "warranty_terms": TERMS_SCHEMA,
    "yearly_change": CHANGE_SCHEMA,
    "zero_cells": BLANKED_SCHEMA,
}
SQL_TYPES = {"String": "VARCHAR", "Float64": "DOUBLE", "Int64": "BIGINT", "Boolean": "BOOLEAN", "Date": "DATE"}


@pytest.fixture(scope="module")
def stored() -> Mapping[str, Mapping[str, str]]:
    """Return column to type of every table of ``core`` in a fresh store."""
    con = duckdb.connect(":memory:")
    migrate(con, "in memory")
    tables: dict[str, dict[str, str]] = {}
    for table, column, kind in con.execute(
        "select table_name, column_name, data_type from duckdb_columns() where schema_name = 'core'"
    ).fetchall():
        tables.setdefault(table, {})[column] = kind
    return tables


@pytest.mark.parametrize("table", DECLARED)
def test_the_stored_columns_are_the_frames(stored: Mapping[str, Mapping[str, str]], table: str) -> None:
    schema = pl.Schema(DECLARED[table])
    assert stored[table] == {name: SQL_TYPES[str(kind)] for name, kind in schema.items()}
