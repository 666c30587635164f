"""Tables computed in Python: rows of the touched units go out, the new ones come in."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb
import polars as pl
from polars import selectors

import sql
from pipeline.store.frames import registered
from pipeline.store.migrate import Column

DIGITS = 10
"""Significant digits that are kept: sums over threads differ in the sixteenth, and the same files shall give the same
store and pages to the byte."""


def replace_rows(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame, unit_ids: pl.Series | None) -> None:
    """Replace the rows of ``unit_ids`` in ``core.<table>`` by ``frame``; all rows where ``unit_ids`` is None.

    Parameters
    ----------
    table
        A table of schema ``core``, without the schema.
    frame
        New rows; a column the table lacks is added to it, one the frame lacks is null.
    unit_ids
        Units the frame was computed for, those without a row in it included.
    """
    columns = _fit(con, table, frame)
    if unit_ids is None:
        con.execute(sql.render("load/derived_empty.sql.j2", table=table))
    else:
        with registered(con, "going", unit_ids.cast(pl.String).unique().to_frame("unit_id")):
            con.execute(sql.render("load/derived_out.sql.j2", table=table, key=["unit_id"]))
    _insert(con, table, frame, columns)


def replace_keys(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame, key: Sequence[str]) -> None:
    """Replace the rows of ``core.<table>`` that share ``key`` with a row of ``frame``; the others stay.

    For tables that grow from run to run, such as ``risk_history`` (key unit_id, as_of).
    """
    columns = _fit(con, table, frame)
    with registered(con, "going", frame.select(key).unique()):
        con.execute(sql.render("load/derived_out.sql.j2", table=table, key=list(key)))
    _insert(con, table, frame, columns)


def append_rows(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> None:
    """Add ``frame`` to ``core.<table>``; what is there stays."""
    _insert(con, table, frame, _fit(con, table, frame))


def _insert(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame, columns: list[str]) -> None:
    if frame.is_empty():
        return
    with registered(con, "coming", frame.with_columns(selectors.float().round_sig_figs(DIGITS))):
        con.execute(sql.render("load/derived_in.sql.j2", table=table, columns=columns))


def _fit(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> list[str]:
    """Add the columns of ``frame`` that the table lacks and return those to insert; one of nulls alone has no type."""
    present = {
        row[0]
        for row in con.execute(
            "select column_name from duckdb_columns() where schema_name = 'core' and table_name = ?", [table]
        ).fetchall()
    }
    if not present:
        raise ValueError(f"there is no table core.{table}: declare it in sql/schema")
    lacking = [name for name, kind in frame.schema.items() if name not in present and kind != pl.Null]
    if lacking:
        with registered(con, "coming", frame.select(lacking).clear()):
            types = con.execute("select column_name, column_type from (describe select * from coming)").fetchall()
        for name, kind in types:
            con.execute(sql.render("load/add_column.sql.j2", schema="core", table=table, column=Column(name, kind)))
    return [name for name in frame.columns if name in present or name in lacking]
