"""The sample shop, run once for the tests that only look at it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.run import Summary, run
from pipeline.store.connect import open_store
from pipeline.store.query import query

SAMPLES = Path(__file__).parents[2] / "sample_exports"
TODAY = dt.date(2026, 3, 20)


def run_quietly(inputs: list[Path], shop: Path, **options: dt.date | None) -> Summary:
    """Run the main job with a fixed clock date and without messages."""
    return run(inputs, shop, as_of=options.get("as_of"), today=options.get("today") or TODAY, say=lambda _: None)


def ask(shop: Path, *names: str) -> dict[str, pl.DataFrame]:
    """Return tables and views of a shop's store by name."""
    with open_store(shop / "shop.duckdb", read_only=True) as con:
        return {name: query(con, name) for name in names}


@pytest.fixture(scope="session")
def sample_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the shop folder after one run on the sample exports."""
    shop = tmp_path_factory.mktemp("sample") / "shop"
    run_quietly([SAMPLES], shop)
    return shop


@pytest.fixture(scope="session")
def answers(sample_shop: Path) -> Callable[[str], pl.DataFrame]:
    """Return a reader of the sample shop's tables and views."""
    return lambda name: ask(sample_shop, name)[name]
