"""What the store costs, as ratios to a bare insert of the same rows; ``-s`` shows them."""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.checks import suite
from pipeline.fields import registry
from pipeline.store import load
from pipeline.store.connect import open_store
from pipeline.store.frames import registered

pytestmark = pytest.mark.benchmark
NOW = dt.datetime(2025, 3, 1)
ROWS, MONTH = 300_000, 20_000


def visits(first: int, rows: int, bump: float = 0.0) -> pl.DataFrame:
    """Return rows of a visits file with every field filled, five visits to a unit."""
    n = pl.int_range(first, first + rows, eager=True).alias("n").to_frame()
    made = []
    for name, field in registry()["visits"].fields.items():
        if field.kind == "number":
            low, high = field.low or 0.0, field.high or 100.0
            value = (pl.col("n") * 7919 % 1000) / 1000 * (high - low) * 0.9 + low + bump  # type: ignore[operator]
        elif field.kind == "date":
            value = pl.date(2015, 1, 1) + pl.duration(days=pl.col("n") % 3000)
        elif field.kind in ("word", "words"):
            value = pl.lit(field.allowed[0])
        else:
            value = pl.format("{}", pl.col("n") // (1 if name == "visit_id" else 5))
        made.append(value.alias(name))
    frame = n.select(made).with_columns(return_wb_f=pl.lit(60.0), supply_wb_f=pl.lit(50.0))
    frame = frame.with_columns(return_db_f=pl.lit(75.0), supply_db_f=pl.lit(55.0))
    return frame.with_columns(source_file=pl.lit("a.csv"), source_line=pl.int_range(2, rows + 2))


def seconds(what: object, *given: object, **named: object) -> float:
    began = time.perf_counter()
    what(*given, **named)  # type: ignore[operator]
    return time.perf_counter() - began


def bring(con: duckdb.DuckDBPyConnection, frame: pl.DataFrame, import_id: int) -> dict[str, float]:
    load.begin(con)
    took = {"stage": seconds(load.stage, con, "visits", frame, import_id)}
    staged = load.Staged(
        "visits", import_id, tuple(c for c in frame.columns if not c.startswith("source")), frame.height
    )
    took["gate"] = seconds(suite.gate, con, "visits", staged.columns)
    took["merge"] = seconds(load.merge, con, staged, file="a.csv", now=NOW)
    took["settle"] = seconds(load.settle, con)
    took["commit"] = seconds(load.finish, con)
    return took


def test_bulk_load_and_increment(tmp_path: Path) -> None:
    """A bulk load costs a few bare inserts; a month into a large store costs little whatever the store's size."""
    suite.warm_up().join()
    frame = visits(0, ROWS)
    with open_store(tmp_path / "bare.duckdb") as con, registered(con, "bare", frame):
        floor = seconds(con.execute, "create table bare_visits as select * from bare")
    with open_store(tmp_path / "shop.duckdb") as con:
        bulk = bring(con, frame, 1)
        month = bring(con, visits(ROWS, MONTH), 2)
        again = bring(con, visits(ROWS, MONTH, 0.5), 3)
    for label, took in (("bulk", bulk), ("new month", month), ("month corrected", again)):
        parts = ", ".join(f"{name} {value / floor:.2f}" for name, value in took.items())
        print(f"{label}: {sum(took.values()) / floor:.2f} x a bare insert of {ROWS} rows ({parts})")
    assert sum(bulk.values()) < 12 * floor
    assert sum(month.values()) < sum(bulk.values())
