"""Zeros of filled capacitor columns: blank until something in the store says that the section was open."""

from __future__ import annotations

import duckdb
import polars as pl

import sql
from pipeline.store.derived import append_rows
from pipeline.store.frames import registered, to_frame
from pipeline.store.load import Staged
from pipeline.store.migrate import one

FIELDS = ("herm_uf", "fan_uf", "blower_uf")


def keep_blanked(con: duckdb.DuckDBPyConnection, staged: Staged, blanked: pl.DataFrame) -> None:
    """Remember which zeros of a file of visits were taken for blanks, in place of what earlier files left open.

    Called before the file is merged. A filler that the store has as a reading of 0 is staged as one.

    Parameters
    ----------
    blanked
        visit_id, unit_id, field.
    """
    if staged.table != "visits":
        return
    this = {"import_id": staged.import_id}
    if one(con, "select count(*) from core.zero_cells"):
        con.execute(sql.statement("load/zero_cells_out.sql"), {**this, "fields": list(staged.columns)})
    if blanked.is_empty():
        return
    with registered(con, "blanked", blanked):
        for field in FIELDS:
            if field in staged.columns:
                con.execute(sql.render("load/zero_cells_stage.sql.j2", field=field), this)
    append_rows(con, "zero_cells", blanked.unique())


def settle_zeros(con: duckdb.DuckDBPyConnection) -> pl.Series:
    """Make fillers readings of 0 where something says open, and blank where nothing does any more; return their units.

    The answer depends on what is stored, not on the order in which it came.
    """
    decided = pl.DataFrame()
    if one(con, "select count(*) from core.zero_cells"):
        decided = to_frame(con, sql.statement("load/zero_cells.sql"))
    if decided.is_empty():
        return pl.Series("unit_id", [], dtype=pl.String)
    with registered(con, "decided", decided):
        for field in FIELDS:
            con.execute(sql.render("load/zero_cells_in.sql.j2", field=field))
    return decided.get_column("at_unit_id").unique().sort()
