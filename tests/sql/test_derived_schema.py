"""The tables that Python fills are declared with exactly the columns that Python gives them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.enrich.capacitors import CAPACITOR_READINGS_SCHEMA, CAPACITOR_SERIES_SCHEMA
from pipeline.enrich.charge import CHARGE_READINGS_SCHEMA
from pipeline.enrich.leak_trend import CHARGE_TREND_SCHEMA
from pipeline.enrich.ledger import LEDGER_SCHEMA, USE_SCHEMA
from pipeline.enrich.open_findings import OPEN_FINDINGS_SCHEMA
from pipeline.forecast.backtest import BACKTEST_SCHEMA, READINGS_SCHEMA
from pipeline.forecast.model import UNIT_FORECAST_SCHEMA
from pipeline.forecast.sections_apply import SECTION_FORECAST_SCHEMA
from pipeline.plan.places import PLACES_SCHEMA
from pipeline.store.migrate import migrate

DECLARED: Mapping[str, Mapping[str, Any]] = {
    "capacitor_series": CAPACITOR_SERIES_SCHEMA,
    "capacitor_readings": CAPACITOR_READINGS_SCHEMA,
    "charge_readings": CHARGE_READINGS_SCHEMA,
    "charge_trend": CHARGE_TREND_SCHEMA,
    "refrigerant_ledger": LEDGER_SCHEMA,
    "refrigerant_use": USE_SCHEMA,
    "open_findings": OPEN_FINDINGS_SCHEMA,
    "section_forecast": SECTION_FORECAST_SCHEMA,
    "unit_forecast": UNIT_FORECAST_SCHEMA,
    "backtest": BACKTEST_SCHEMA,
    "backtest_readings": READINGS_SCHEMA,
    "site_places": PLACES_SCHEMA,
}
SQL_TYPES = {"String": "VARCHAR", "Float64": "DOUBLE", "Int64": "BIGINT", "Boolean": "BOOLEAN", "Date": "DATE"}


@pytest.mark.parametrize("table", DECLARED)
def test_the_stored_columns_are_the_frames(table: str) -> None:
    con = duckdb.connect(":memory:")
    migrate(con, "in memory")
    rows = con.execute(
        "select column_name, data_type from duckdb_columns() where schema_name = 'core' and table_name = ?", [table]
    ).fetchall()
    schema = pl.Schema(DECLARED[table])
    assert dict(rows) == {name: SQL_TYPES[str(kind)] for name, kind in schema.items()}
