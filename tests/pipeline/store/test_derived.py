"""Derived rows are replaced for the units they were computed for, and for no others."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.store.derived import replace_keys, replace_rows
from pipeline.store.history import of_units
from pipeline.store.query import query

ROWS = pl.DataFrame(
    {"unit_id": ["U1", "U2", "U3"], "section": ["herm"] * 3, "series": [1, 1, 1], "rated_uf": [40.0] * 3}
)


def test_only_the_units_named_are_replaced(con):
    replace_rows(con, "capacitor_series", ROWS, None)
    changed = ROWS.head(1).with_columns(rated_uf=45.0)
    replace_rows(con, "capacitor_series", changed, pl.Series(["U1", "U2"]))
    assert query(con, "core.capacitor_series").select("unit_id", "rated_uf").sort("unit_id").rows() == [
        ("U1", 45.0),
        ("U3", 40.0),
    ]
    assert of_units(con, "core.capacitor_series", pl.Series(["U3", "U2"]))["unit_id"].to_list() == ["U3"]


def test_digits_that_the_order_of_a_sum_decides_are_not_kept(con):
    shares = [0.1, 0.2, 0.3]
    sums = [sum(shares), sum(reversed(shares))]
    assert sums[0] != sums[1]
    replace_rows(con, "capacitor_series", ROWS.head(2).with_columns(rated_uf=pl.Series(sums)), None)
    first, second = query(con, "core.capacitor_series")["rated_uf"]
    assert first == second == pytest.approx(sums[0], rel=1e-9)


def test_all_are_replaced_where_no_units_are_named(con):
    replace_rows(con, "capacitor_series", ROWS, None)
    replace_rows(con, "capacitor_series", ROWS.head(1), None)
    assert query(con, "core.capacitor_series").height == 1


def test_further_column_of_a_frame_is_added(con):
    replace_rows(con, "capacitor_series", ROWS, None)
    wider = ROWS.head(1).with_columns(
        note=pl.lit("x"), seen_on=dt.date(2024, 1, 1), names=pl.lit(["a"]), n=pl.lit(None)
    )
    replace_rows(con, "capacitor_series", wider, pl.Series(["U1"]))
    found = query(con, "core.capacitor_series").sort("unit_id")
    assert found["note"].to_list() == ["x", None, None]
    assert found.schema["seen_on"] == pl.Date


def test_history_grows_by_key(con):
    def risk(day: int, p: float) -> pl.DataFrame:
        return pl.DataFrame({"unit_id": ["U1"], "as_of": [dt.date(2024, 1, day)], "p_failure": [p], "flagged": [False]})

    for frame in (risk(1, 0.1), risk(2, 0.2), risk(2, 0.3)):
        replace_keys(con, "risk_history", frame, ["unit_id", "as_of"])
    assert query(con, "risk_history").sort("as_of")["p_failure"].to_list() == [0.1, 0.3]


def test_table_that_was_never_declared_is_refused(con):
    with pytest.raises(ValueError, match="declare it"):
        replace_rows(con, "no_such_table", ROWS, None)
