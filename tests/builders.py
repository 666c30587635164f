"""Small frames under the registry's names for tests: one row from keyword arguments."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipeline.checks.registry import POLARS_TYPES
from pipeline.fields import registry


def make_frame(
    table: str, rows: list[dict[str, Any]], extra: Mapping[str, type[pl.DataType]] | None = None
) -> pl.DataFrame:
    """Return ``rows`` as a frame with every field of ``table``, null where not given."""
    schema = {f.name: POLARS_TYPES[f.kind] for f in registry()[table].fields.values()}
    return pl.DataFrame(rows, schema=schema | dict(extra or {}))


def make_parts(rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Return parts with unit and visit date resolved, numbered in the order given."""
    frame = make_frame("parts", rows, {"visit_date": pl.Date})
    return frame.with_columns(row_n=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
