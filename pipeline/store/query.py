"""A query of a page, or a table or view of the contract, by name, as a frame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import duckdb
import polars as pl

import sql
from pipeline.store.frames import to_frame
from pipeline.store.migrate import one


def query(con: duckdb.DuckDBPyConnection, name: str, params: Mapping[str, Any] | None = None) -> pl.DataFrame:
    """Return what ``sql/pages/<name>.sql`` selects, else all of the table or view ``name``.

    Parameters
    ----------
    name
        A page query, or a table or view of the store (``unit_risk``, ``core.runs``).
    params
        Values bound to the query's named parameters (``$unit_id``).

    Raises
    ------
    KeyError
        If there is neither a query nor a table nor a view of that name.
    """
    return to_frame(con, _text(con, name), dict(params) if params else None)


def batches(
    con: duckdb.DuckDBPyConnection, name: str, params: Mapping[str, Any] | None = None, rows: int = 100_000
) -> Iterator[pl.DataFrame]:
    """Yield the same a part at a time; no other statement may run on the connection meanwhile."""
    for batch in con.sql(_text(con, name), params=dict(params) if params else None).to_arrow_reader(rows):
        frame = pl.from_arrow(batch)
        assert isinstance(frame, pl.DataFrame)
        yield frame


def _text(con: duckdb.DuckDBPyConnection, name: str) -> str:
    path = f"pages/{name}.sql"
    if sql.exists(path):
        return sql.statement(path)
    schema, _, table = name.rpartition(".")
    known = "select count(*) from information_schema.tables where table_schema = ? and table_name = ?"
    if not one(con, known, [schema or "main", table]):
        raise KeyError(f"there is no query, table or view {name!r}")
    return sql.render("load/all.sql.j2", schema=schema or "main", table=table)
