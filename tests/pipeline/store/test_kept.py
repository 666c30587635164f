"""A copy before each run that changes the store, the newest three, and the way back."""

from __future__ import annotations

import datetime as dt
import shutil

import pytest

from pipeline.errors import StoreError, UsageError
from pipeline.store.connect import open_store
from pipeline.store.kept import KEPT, bring_back, keep_copy, list_copies
from pipeline.store.query import query

NOON = dt.datetime(2025, 3, 1, 12, 0)


def later(n: int) -> dt.datetime:
    return NOON + dt.timedelta(minutes=n)


def put(path, value: str) -> None:
    with open_store(path) as con:
        con.execute("insert into core.settings values (?, null)", [value])


def keys(path) -> list[str]:
    with open_store(path, read_only=True) as con:
        return query(con, "core.settings")["key"].sort().to_list()


def test_nothing_is_kept_before_the_first_run(path):
    assert keep_copy(path, NOON) is None
    assert list_copies(path) == []


def test_newest_copies_are_kept(path):
    for n in range(KEPT + 2):
        put(path, str(n))
        keep_copy(path, later(n))
    assert [copy.kept_at for copy in list_copies(path)] == [later(n) for n in range(KEPT + 1, 1, -1)]


def test_store_that_did_not_change_is_not_copied_again(path):
    put(path, "a")
    first = keep_copy(path, NOON)
    assert keep_copy(path, later(1)) == first
    assert len(list_copies(path)) == 1


def test_copy_comes_back_and_so_does_what_it_replaced(path):
    put(path, "a")
    keep_copy(path, NOON)
    put(path, "b")
    bring_back(path, list_copies(path)[0].name, later(1))
    assert keys(path) == ["a"]
    bring_back(path, list_copies(path)[0].name, later(2))
    assert keys(path) == ["a", "b"]


def test_log_of_a_killed_run_goes_into_the_copy(path, tmp_path):
    put(path, "a")
    with open_store(path) as con:
        con.execute("insert into core.settings values ('logged', null)")
        left = [tmp_path / name for name in ("left", "left.wal")]
        shutil.copy2(path, left[0])
        shutil.copy2(path.with_name("shop.duckdb.wal"), left[1])
    left[0].replace(path)
    left[1].replace(path.with_name("shop.duckdb.wal"))
    keep_copy(path, NOON)
    bring_back(path, list_copies(path)[0].name, later(1))
    assert keys(path) == ["a", "logged"]


def test_copy_that_does_not_exist_is_refused(path):
    put(path, "a")
    with pytest.raises(UsageError, match="no kept copy"):
        bring_back(path, "../shop.duckdb", NOON)


def test_damaged_copy_is_refused_and_the_store_stays(path):
    put(path, "a")
    copy = keep_copy(path, NOON)
    assert copy is not None
    (path.parent / ".kept" / copy.name).write_bytes(b"no store" * 1000)
    with pytest.raises(StoreError, match="damaged"):
        bring_back(path, copy.name, later(1))
    assert keys(path) == ["a"]


def test_store_in_use_is_neither_copied_nor_replaced(path):
    put(path, "a")
    copy = keep_copy(path, NOON)
    put(path, "b")
    assert copy is not None
    with open_store(path):
        with pytest.raises(StoreError, match="in use"):
            keep_copy(path, later(1))
        with pytest.raises(StoreError, match="in use"):
            bring_back(path, copy.name, later(1))
