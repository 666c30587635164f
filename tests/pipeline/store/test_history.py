"""Whole units come out in order, up to as-of, with long readings and parts in their place."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.store import history
from pipeline.store.query import query

DAYS = {n: dt.date(2024, n, 1) for n in range(1, 13)}


def visit(n: int, unit: str = "U1", **fields: Any) -> dict[str, Any]:
    return {"visit_id": f"V{n}", "unit_id": unit, "visit_date": DAYS[n], **fields}


def reading(n: int, measure: str, value: str, **more: Any) -> dict[str, Any]:
    return {"visit_id": f"V{n}", "measure": measure, "value": value, **more}


def test_visits_are_sorted_and_end_at_as_of(con, run):
    run(("visits", [visit(5), visit(3, "U2"), visit(2), visit(9)], "a.csv"))
    found = history.visits_of(con, None, DAYS[5])
    assert found.select("unit_id", "visit_id").rows() == [("U1", "V2"), ("U1", "V5"), ("U2", "V3")]
    only = history.visits_of(con, pl.Series(["U2", "unknown"]), DAYS[5], ["unit_id", "mode"])
    assert only.select("unit_id", "mode").rows() == [("U2", None)]


def test_long_reading_fills_a_blank_and_yields_to_the_visits_own(con, run):
    run(
        ("visits", [visit(1, herm_uf=39.0, fan_uf=None), visit(2, herm_uf=None)], "a.csv"),
        (
            "readings",
            [reading(1, "herm_uf", "11"), reading(1, "fan_uf", "4.9"), reading(2, "suction_psig", "n/a")],
            "b.csv",
        ),
    )
    found = history.visits_of(con, pl.Series(["U1"]), DAYS[12])
    assert found.select("herm_uf", "fan_uf", "suction_psig").rows() == [(39.0, 4.9, None), (None, None, None)]


def test_reading_that_names_its_unit_counts_before_one_that_does_not(con, run):
    run(
        ("visits", [visit(1)], "a.csv"),
        ("readings", [reading(1, "herm_uf", "1"), reading(1, "herm_uf", "2", unit_id="U1")], "b.csv"),
    )
    assert history.visits_of(con, None, DAYS[12])["herm_uf"].to_list() == [2.0]


def test_row_without_a_unit_belongs_to_a_tickets_only_unit(con, run):
    part = {"visit_id": "V1", "part": "contactor", "row_n": 1}
    run(("visits", [visit(1)], "a.csv"), ("parts", [part], "b.csv"))
    assert history.parts_of(con, None, DAYS[12]).select("unit_id", "visit_date").rows() == [("U1", DAYS[1])]
    assert query(con, "waiting_rows").is_empty()
    run(("visits", [visit(1, "U2")], "c.csv"))
    assert history.parts_of(con, None, DAYS[12]).is_empty()
    assert query(con, "waiting_rows").select("table_name", "waiting_for").rows() == [("parts", "unit")]


@pytest.mark.parametrize("first", ["parts", "visits"])
def test_part_waits_for_its_visit_and_joins_when_it_comes(con, run, first):
    files = {
        "parts": ("parts", [{"visit_id": "V1", "part": "contactor", "row_n": 1, "unit_id": None}], "p.csv"),
        "visits": ("visits", [visit(1)], "v.csv"),
    }
    run(files.pop(first))
    waiting = query(con, "waiting_rows").select("table_name", "visit_id", "unit_id", "source_file", "source_line")
    assert waiting.rows() == ([("parts", "V1", None, "p.csv", 2)] if first == "parts" else [])
    run(*files.values())
    assert query(con, "waiting_rows").is_empty()
    assert history.parts_of(con, pl.Series(["U1"]), DAYS[12]).height == 1
    assert history.parts_of(con, pl.Series(["U1"]), dt.date(2023, 1, 1)).is_empty()


def test_row_that_names_a_unit_the_ticket_has_not_waits(con, run):
    run(
        ("visits", [visit(1)], "a.csv"),
        ("recommendations", [{"visit_id": "V1", "unit_id": "U9", "item": "x"}], "b.csv"),
    )
    assert query(con, "waiting_rows").select("unit_id", "waiting_for").rows() == [("U9", "unit")]
    assert history.recommendations_of(con, None, DAYS[12]).is_empty()


def test_units_carry_first_and_last_visit_up_to_as_of(con, run):
    run(("visits", [visit(2), visit(5), visit(9)], "a.csv"), ("units", [{"unit_id": "U2", "make": "m"}], "b.csv"))
    names = ("unit_id", "first_visit_on", "last_visit_on", "visits_stored")
    found = history.units_of(con, None, DAYS[6]).select(names).rows()
    assert found == [("U1", DAYS[2], DAYS[5], 2), ("U2", None, None, 0)]


def test_batches_hold_every_unit_once(con, run):
    run(("visits", [visit(1, f"U{n}") for n in range(7)], "a.csv"))
    batches = list(history.unit_batches(con, None, size=3))
    assert [b.len() for b in batches] == [3, 3, 1]
    assert pl.concat(batches).to_list() == [f"U{n}" for n in range(7)]
    assert [b.to_list() for b in history.unit_batches(con, pl.Series(["b", "a", "b"]))] == [["a", "b"]]
    assert list(history.unit_batches(con, pl.Series([], dtype=pl.String))) == []
