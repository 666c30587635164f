"""The finding: one row per rejected row or value and reason, the form every stage hands its refusals on in."""

from __future__ import annotations

import polars as pl

FINDING_SCHEMA: dict[str, type[pl.DataType]] = {
    "source_file": pl.String,
    "source_line": pl.Int64,
    "scope": pl.String,
    "field": pl.String,
    "header": pl.String,
    "value": pl.String,
    "rule": pl.String,
    "message": pl.String,
    "advice": pl.String,
}
"""Columns in order. ``scope`` is ``row`` or ``value``; ``rule`` is a check's slug."""


def empty_findings() -> pl.DataFrame:
    """Return a frame of findings without rows."""
    return pl.DataFrame(schema=FINDING_SCHEMA)
