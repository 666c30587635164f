"""Published small tables in ``tests/data``, each with its source in its first lines."""

from __future__ import annotations

from pathlib import Path

import polars as pl

DATA = Path(__file__).parents[2] / "data"


def table(name: str) -> pl.DataFrame:
    """Return ``tests/data/<name>.csv``."""
    return pl.read_csv(DATA / f"{name}.csv", comment_prefix="#")
