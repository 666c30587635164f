"""A store in a temporary shop folder."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline.store import load
from pipeline.store.connect import open_store
from pipeline.store.load import MergeResult
from tests.pipeline.store.importer import Row, import_rows


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shop" / "shop.duckdb"


@pytest.fixture(scope="session")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty store, made once: making one takes longer than most tests."""
    made = tmp_path_factory.mktemp("fresh") / "shop.duckdb"
    with open_store(made, threads=1):
        pass
    return made


@pytest.fixture
def con(path: Path, fresh: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    path.parent.mkdir()
    shutil.copy2(fresh, path)
    with open_store(path, threads=1) as connection:
        yield connection


@pytest.fixture
def run(con: duckdb.DuckDBPyConnection) -> Callable[..., list[MergeResult]]:
    """Return a function that imports (table, rows, file) triples as one finished run."""

    def do(*files: tuple[str, list[Row], str]) -> list[MergeResult]:
        load.begin(con)
        results = [import_rows(con, *file) for file in files]
        load.settle(con)
        load.finish(con)
        return results

    return do
