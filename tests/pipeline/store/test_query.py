"""Page queries, tables and views by their names."""

from __future__ import annotations

import polars as pl
import pytest

import sql
from pipeline.store.query import batches, query


def test_table_or_view_comes_whole(con):
    con.execute("insert into core.settings values ('a', '1'), ('b', '2')")
    assert query(con, "core.settings").sort("key").rows() == [("a", "1"), ("b", "2")]
    assert query(con, "waiting_rows").is_empty()


def test_page_query_comes_with_its_values_bound(con, monkeypatch):
    monkeypatch.setattr(sql, "exists", lambda path: path == "pages/one.sql")
    monkeypatch.setattr(sql, "statement", lambda _: "select $unit_id as unit_id, $n + 1 as n")
    assert query(con, "one", {"unit_id": "'; drop table visits; --", "n": 1}).rows() == [
        ("'; drop table visits; --", 2)
    ]


@pytest.mark.parametrize("name", ["no_such_view", "visits; drop table visits", "core.no_such_table"])
def test_name_of_nothing_is_refused(con, name):
    with pytest.raises(KeyError):
        query(con, name)


def test_batches_hold_every_row_once(con):
    con.execute("insert into core.settings select i::varchar, null from range(5000) t(i)")
    parts = list(batches(con, "core.settings", rows=2048))
    assert len(parts) > 1
    assert pl.concat(parts)["key"].n_unique() == 5000


@pytest.mark.parametrize("name", ["a b'; drop", 'a"', "a)", "a;", "a\n"])
def test_name_that_could_end_a_quoted_name_is_refused(name):
    with pytest.raises(ValueError, match="not a plain name"):
        sql.render("load/all.sql.j2", schema="main", table=name)
