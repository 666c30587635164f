"""A small importer for files written as rows."""

from __future__ import annotations

import datetime as dt
from typing import Any

import duckdb
import polars as pl

from pipeline.fields import fields_for_file
from pipeline.store import load, records
from pipeline.store.load import MergeResult

NOW = dt.datetime(2025, 3, 1, 12, 0)
TYPES = {"number": pl.Float64, "rating": pl.Float64, "integer": pl.Int64, "date": pl.Date}
Row = dict[str, Any]


def frame_of(table: str, rows: list[Row], file: str = "a.csv") -> pl.DataFrame:
    """Return ``rows`` as check hands them on; ``_rejected`` names refused fields, ``_file`` and ``_line`` the place."""
    fields = fields_for_file(table)
    names = list(dict.fromkeys(name for row in rows for name in row if not name.startswith("_")))
    schema = {name: TYPES.get(fields[name].kind, pl.String) if name in fields else pl.Int64 for name in names}
    frame = pl.DataFrame([{name: row.get(name) for name in names} for row in rows], schema=schema)
    return frame.with_columns(
        pl.Series("source_file", [row.get("_file", file) for row in rows], dtype=pl.String),
        pl.Series("source_line", [row.get("_line", n) for n, row in enumerate(rows, 2)], dtype=pl.Int64),
        pl.Series("rejected_fields", [row.get("_rejected", []) for row in rows], dtype=pl.List(pl.String)),
    )


def import_rows(
    con: duckdb.DuckDBPyConnection, table: str, rows: list[Row], file: str = "a.csv", *, now: dt.datetime = NOW
) -> MergeResult:
    """Stage and merge ``rows`` as one file and record its import; inside a transaction begun by ``load.begin``."""
    import_id = records.next_import_id(con)
    staged = load.stage(con, table, frame_of(table, rows, file), import_id)
    merged = load.merge(con, staged, file=file, now=now)
    records.record_import(
        con,
        records.Import(
            import_id=import_id,
            file=file,
            table_name=table,
            sha256=f"{file} {import_id}",
            mapping_digest="m",
            encoding="utf-8",
            encoding_confidence=1.0,
            delimiter=",",
            rows_read=len(rows),
            rows_stored=merged.stored,
            rows_unchanged=merged.unchanged,
            rows_rejected=0,
            rows_skipped=0,
            values_rejected=0,
            imported_at=now,
        ),
    )
    return merged
