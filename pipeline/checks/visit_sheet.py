"""The sheet of planned stops to fill in: its columns, and the ids it went out with, exact when it comes back."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.formulas import unguard

if TYPE_CHECKING:
    from pipeline.ingest.read import RawTable

KEYS = ("visit_id", "unit_id", "visit_date", "technician")
READINGS = (
    "visit_type",
    "cause",
    "observations",
    "minutes_running",
    "outdoor_db_f",
    "return_db_f",
    "return_wb_f",
    "supply_db_f",
    "suction_psig",
    "liquid_psig",
    "suction_line_f",
    "liquid_line_f",
    "herm_uf",
    "fan_uf",
    "blower_uf",
    "herm_uf_after",
    "fan_uf_after",
    "blower_uf_after",
    "refrigerant_added_oz",
    "refrigerant_recovered_oz",
    "leak_found",
    "leak_location",
    "notes",
)
"""Fields of ``visits`` that a filled-in sheet brings back."""


def planned_visit_id(date: pl.Expr, unit_id: pl.Expr) -> pl.Expr:
    """Return the id under which a planned stop is to come back; its first letter keeps it from being a formula."""
    return pl.format("R{}-{}", date.dt.strftime("%Y%m%d"), unit_id)


def as_planned(raw: RawTable) -> RawTable:
    """Return a sheet that came back with unit and technician as they are stored; any other file as it is.

    A row is one of the sheet's where its ticket is the planned one of its own unit, whatever columns were left out or
    added since; where tickets were numbered anew, all rows of a sheet that still has every column are. Only the
    apostrophe that was put before a formula sign goes, so that an id typed with one in another export stays exact.

    Parameters
    ----------
    raw
        Any file as read.
    """
    header = tuple(name.strip().lower() for name in raw.header)
    if header[: len(KEYS)] != KEYS:
        return raw
    visit, unit, _, technician = (f"c{n}" for n in range(len(KEYS)))
    bare = unguard(pl.col(unit).str.strip_chars())
    planned = pl.col(visit).str.strip_chars()
    its_own = planned.str.contains(r"^R\d{8}-") & (planned.str.slice(len("R20260101-")) == bare)
    ours = pl.lit(set(READINGS) <= set(header)) | its_own.fill_null(False)
    cells = raw.cells.with_columns(
        pl.when(ours).then(bare).otherwise(pl.col(unit)).alias(unit),
        pl.when(ours).then(unguard(pl.col(technician))).otherwise(pl.col(technician)).alias(technician),
    )
    return replace(raw, cells=cells)
