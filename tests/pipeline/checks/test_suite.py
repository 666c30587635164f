"""The gate agrees with the row rules, on the load's own connection, and touches nothing else."""

from __future__ import annotations

import datetime as dt
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.checks import suite
from pipeline.checks.check import check
from pipeline.checks.rules import WET_OVER_DRY_F
from pipeline.errors import PipelineError
from pipeline.fields import Field, fields_for_file, registry
from pipeline.store import load
from pipeline.store.connect import open_store
from tests.pipeline.checks.parsed_rows import Rows
from tests.pipeline.store.importer import frame_of

LATEST = dt.date(2025, 3, 1)
DAY = dt.date(2024, 5, 1)
VISIT = {"visit_id": "V", "unit_id": "U", "visit_date": DAY}


@pytest.fixture(scope="module")
def con(tmp_path_factory: pytest.TempPathFactory) -> Iterator[duckdb.DuckDBPyConnection]:
    with open_store(tmp_path_factory.mktemp("shop") / "shop.duckdb", threads=1) as connection:
        yield connection


@pytest.fixture
def begun(con: duckdb.DuckDBPyConnection) -> Iterator[duckdb.DuckDBPyConnection]:
    load.begin(con)
    yield con
    con.rollback()


def good(field: Field) -> Any:
    """Return a value on the edge of what the registry allows."""
    if field.kind == "date":
        return DAY
    if field.kind == "words":
        return "; ".join(field.allowed[:2])
    if field.kind == "word":
        return field.allowed[-1]
    if field.is_numeric:
        return field.high if field.high is not None else 1.0
    return "x"


def bad(field: Field) -> Any:
    """Return a value just outside, or None where nothing is."""
    if field.kind in ("word", "words"):
        return "no_such_word"
    if field.kind == "date" and field.low is not None:
        return field.low - dt.timedelta(days=1)
    if field.is_numeric and field.low is not None:
        return field.low - 0.001
    return None


def full_row(table: str) -> dict[str, Any]:
    row = {name: good(field) for name, field in fields_for_file(table).items()}
    wet = {"return_wb_f": 70.0, "return_db_f": 70.0, "supply_wb_f": 60.0, "supply_db_f": 60.0}
    return {**row, **{name: value for name, value in wet.items() if name in row}}


def staged(con: duckdb.DuckDBPyConnection, table: str, *rows: dict[str, Any]) -> suite.GateResult:
    at = load.stage(con, table, frame_of(table, list(rows)), 1)
    return suite.gate(con, table, at.columns, LATEST)


def failures(result: suite.GateResult) -> set[tuple[str, str | None]]:
    return set(result.expectations.filter(~pl.col("success")).select("expectation", "column").rows())


@pytest.mark.parametrize("table", list(registry()))
def test_values_on_the_edge_pass(begun, table):
    row = full_row(table)
    if table == "parts":
        row["row_n"] = 1
    result = staged(begun, table, row)
    assert result.success
    assert failures(result) == set()
    assert result.expectations.height > len(registry()[table].required)


@pytest.mark.parametrize("table", list(registry()))
def test_every_limit_of_the_registry_is_held(begun, table):
    fields = fields_for_file(table)
    row = {name: bad(field) or good(field) for name, field in fields.items() if name not in registry()[table].required}
    key = {name: good(fields[name]) for name in registry()[table].required}
    result = staged(begun, table, {**row, **key})
    found = {column for _, column in failures(result)}
    wanted = {n for n in row if bad(fields[n]) is not None and fields[n].kind != "words"}
    assert found - {None} == wanted
    assert not result.success or not wanted


@pytest.mark.parametrize(
    ("change", "failed"),
    [
        ({"visit_date": LATEST + dt.timedelta(days=1)}, ("expect_column_values_to_be_between", "visit_date")),
        ({"visit_id": None}, ("expect_column_values_to_not_be_null", "visit_id")),
        ({"unit_id": "  "}, ("required_blank", None)),
        ({"observations": "vibration; no_such_word"}, ("words_unknown", None)),
        ({"invoice_total": float("nan")}, ("not_finite", None)),
        ({"return_wb_f": 72.01, "return_db_f": 70.0}, ("wet_bulb_over_dry_bulb", None)),
    ],
)
def test_row_rule_that_slipped_through_is_caught(begun, change, failed):
    result = staged(begun, "visits", {**VISIT, **change})
    assert failed in failures(result)
    with pytest.raises(PipelineError, match="nothing of this run was stored"):
        result.raise_if_failed("a.csv")


def test_wet_bulb_as_far_over_as_two_thermometers_disagree_passes(begun):
    assert staged(begun, "visits", {**VISIT, "return_db_f": 70.0, "return_wb_f": 70.0 + WET_OVER_DRY_F}).success


def test_key_twice_in_one_file_fails_and_in_two_files_passes(begun):
    for import_id in (1, 2):
        at = load.stage(begun, "visits", frame_of("visits", [VISIT]), import_id)
    assert suite.gate(begun, "visits", at.columns, LATEST).success
    load.stage(begun, "visits", frame_of("visits", [VISIT]), 2)
    assert failures(suite.gate(begun, "visits", at.columns, LATEST)) == {("key_shared", None)}


def test_gate_agrees_with_the_row_rules(begun):
    """What check keeps passes; the same rows unchecked fail."""
    base = {"unit_id": "U", "visit_date": DAY, "return_wb_f": 60.0, "return_db_f": 70.0}
    rows = [
        {**base, "visit_id": "V1"},
        {**base, "visit_id": "V2", "return_wb_f": 75.0},
        {**base, "visit_id": "V3", "visit_date": dt.date(2062, 1, 1)},
        {**base, "visit_id": None},
        {**base, "visit_id": "V5"},
        {**base, "visit_id": "V5", "return_db_f": 71.0},
    ]
    frame = frame_of("visits", rows)
    columns = tuple(name for name in frame.columns if name in fields_for_file("visits"))
    kept = check(Rows("visits", frame, columns), as_of=None, today=LATEST)
    assert kept.frame["visit_id"].to_list() == ["V1", "V2"]
    at = load.stage(begun, "visits", kept.frame, 1)
    assert suite.gate(begun, "visits", at.columns, LATEST).success
    load.stage(begun, "visits", frame, 2)
    assert failures(suite.gate(begun, "visits", at.columns, LATEST)) == {
        ("expect_column_values_to_not_be_null", "visit_id"),
        ("expect_column_values_to_be_between", "visit_date"),
        ("key_shared", None),
        ("wet_bulb_over_dry_bulb", None),
    }


def test_gate_sees_uncommitted_rows_and_leaves_the_transaction_open(con):
    load.begin(con)
    at = load.stage(con, "sites", frame_of("sites", [{"site_id": "S1"}]), 1)
    result = suite.gate(con, "sites", at.columns)
    assert result.expectations["element_count"].drop_nulls().to_list() == [1]
    con.rollback()
    assert con.execute("select count(*) from duckdb_tables() where schema_name = 'staging'").fetchall() == [(0,)]


def test_gate_reaches_for_no_network_and_says_nothing(begun, monkeypatch, capfd):
    def refuse(*_: object) -> None:
        raise AssertionError("the gate reached for the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert not staged(begun, "sites", {"site_id": None}).success
    assert capfd.readouterr() == ("", "")


def test_library_is_not_loaded_until_a_gate_is_due():
    text = "import sys, pipeline.checks.suite; sys.exit('great_expectations' in sys.modules)"
    root = Path(__file__).parents[3]
    assert subprocess.run([sys.executable, "-c", text], cwd=root, check=False).returncode == 0
