"""Frames to and from the connection, through Arrow."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import duckdb
import polars as pl


@contextmanager
def registered(con: duckdb.DuckDBPyConnection, name: str, frame: pl.DataFrame) -> Iterator[None]:
    """Let statements read ``frame`` under ``name`` for as long as the block lasts."""
    con.register(name, frame.to_arrow(compat_level=pl.CompatLevel.oldest()))
    try:
        yield
    finally:
        con.unregister(name)


def to_frame(
    con: duckdb.DuckDBPyConnection, text: str, values: dict[str, Any] | list[Any] | None = None
) -> pl.DataFrame:
    """Return the whole result of one select, with ``values`` bound."""
    frame = pl.from_arrow(con.sql(text, params=values).to_arrow_table())
    assert isinstance(frame, pl.DataFrame)
    return frame
