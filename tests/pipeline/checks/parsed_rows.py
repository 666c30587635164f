"""Builds what parse hands to the checks, from plain rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline.checks.registry import LATEST_DATE, POLARS_TYPES
from pipeline.fields import fields_for_file
from pipeline.findings import empty_findings

TODAY = dt.date(2025, 3, 1)


@dataclass(frozen=True)
class Rows:
    """Stands for ``pipeline.ingest.parse.Parsed``."""

    table: str
    frame: pl.DataFrame
    columns: tuple[str, ...]
    findings: pl.DataFrame = field(default_factory=empty_findings)
    headers: Mapping[str, str] = field(default_factory=dict)


def typed(rows: Sequence[Mapping[str, object]], table: str = "visits") -> pl.DataFrame:
    """Return the rows as a frame with the registry's dtypes."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    fields = fields_for_file(table)
    dtypes = {n: pl.Date if n == LATEST_DATE else POLARS_TYPES[fields[n].kind] for n in names}
    return pl.DataFrame([dict(row) for row in rows], schema=dtypes)


def parsed(rows: Sequence[Mapping[str, object]], table: str = "visits", *, first_line: int = 2) -> Rows:
    """Return the rows as parse hands them on: one per line of ``jobs.csv``, below a header."""
    frame = typed(rows, table)
    columns = tuple(frame.columns)
    frame = frame.with_columns(
        pl.lit("jobs.csv").alias("source_file"),
        pl.int_range(first_line, first_line + frame.height, dtype=pl.Int64).alias("source_line"),
        pl.lit([], pl.List(pl.String)).alias("rejected_fields"),
    )
    return Rows(table, frame, columns)


def visit(n: int, **changes: object) -> dict[str, object]:
    """Return a plain cooling visit to unit U1."""
    row: dict[str, object] = {"visit_id": f"V{n}", "unit_id": "U1", "visit_date": dt.date(2024, 5, 1)}
    return row | changes
