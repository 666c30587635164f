"""Whole history of the touched units, as frames, a batch of units at a time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any

import duckdb
import polars as pl

import sql
from pipeline.fields import registry
from pipeline.store.frames import registered, to_frame
from pipeline.store.migrate import stored

BATCH = 20_000
"""Units read at once: some 200,000 visits, so that memory stays flat however large the shop is."""


def unit_batches(con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None, size: int = BATCH) -> Iterator[pl.Series]:
    """Yield the unit ids, sorted, ``size`` at a time; all units of the store where ``unit_ids`` is None."""
    ids = _all_units(con) if unit_ids is None else unit_ids.cast(pl.String).unique().sort()
    for start in range(0, ids.len(), size):
        yield ids.slice(start, size)


def visits_of(
    con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None, as_of: dt.date, columns: Sequence[str] | None = None
) -> pl.DataFrame:
    """Return the visits of the units up to ``as_of``, blanks filled from the long readings.

    Parameters
    ----------
    unit_ids
        The units wanted; None is all of them.
    as_of
        Last date seen.
    columns
        Fields of visits wanted, all where not said; a whole fleet is read by the few columns needed.

    Returns
    -------
    pl.DataFrame
        Fields of visits, source_file, source_line, import_id; one row per visit and unit, sorted by unit_id,
        visit_date, visit_id. Where visit and long reading both say something, the visit's own value counts.
    """
    every = registry()["visits"].fields
    fields = {name: every[name] for name in columns or every}
    told = {row[0] for row in con.execute(sql.statement("load/history_measures.sql")).fetchall()}
    measures = [name for name, field in fields.items() if name in told and field.is_numeric]
    read = list(dict.fromkeys(["unit_id", "visit_date", "visit_id", *fields]))
    return _read(con, "visits", unit_ids, as_of, columns=list(fields), read=read, measures=measures)


def parts_of(con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return the parts fitted on visits of the units up to ``as_of``, with unit_id resolved and visit_date.

    A part belongs to the unit it names, else to the only unit of its ticket; others wait (view ``waiting_rows``).
    Sorted by unit_id, visit_date, visit_id, part, row_n.
    """
    return _placed(con, "parts", unit_ids, as_of)


def recommendations_of(con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return what was advised on visits of the units up to ``as_of``; resolved and sorted as parts are."""
    return _placed(con, "recommendations", unit_ids, as_of)


def units_of(con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    """Return the units with first_visit_on, last_visit_on and visits_stored up to ``as_of``, sorted by unit_id."""
    return _read(con, "units", unit_ids, as_of, columns=list(registry()["units"].fields))


def of_units(con: duckdb.DuckDBPyConnection, table: str, unit_ids: pl.Series) -> pl.DataFrame:
    """Return the rows of ``table`` (``core.suspects``) that are of the units, in no order."""
    with _wanted(con, unit_ids):
        return to_frame(con, sql.render("load/of_units.sql.j2", table=table))


def _placed(con: duckdb.DuckDBPyConnection, table: str, unit_ids: pl.Series | None, as_of: dt.date) -> pl.DataFrame:
    entry = stored(table)
    rest = [name for name in entry.key if name not in ("visit_id", "unit_id")]
    names = {"table": table, "columns": [c.name for c in entry.own], "rest": rest}
    return _read(con, "placed", unit_ids, as_of, **names)


def _read(
    con: duckdb.DuckDBPyConnection, what: str, unit_ids: pl.Series | None, as_of: dt.date, **names: Any
) -> pl.DataFrame:
    text = sql.render(f"load/history_{what}.sql.j2", some=unit_ids is not None, **names)
    with _wanted(con, unit_ids):
        return to_frame(con, text, {"as_of": as_of})


def _wanted(con: duckdb.DuckDBPyConnection, unit_ids: pl.Series | None) -> AbstractContextManager[None]:
    if unit_ids is None:
        return nullcontext()
    return registered(con, "wanted", unit_ids.cast(pl.String).unique().to_frame("unit_id"))


def _all_units(con: duckdb.DuckDBPyConnection) -> pl.Series:
    return to_frame(con, sql.statement("load/unit_ids.sql")).get_column("unit_id")
