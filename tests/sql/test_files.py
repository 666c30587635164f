"""Every SQL file says what it makes, and the finished-store checks find what they are for."""

from __future__ import annotations

import re
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import pytest

import sql
from pipeline.errors import PipelineError
from pipeline.store.connect import open_store
from pipeline.store.verify import offences, verify

FOLDERS = ("schema", "load", "marts", "pages", "checks", "checks/staged")
KEYWORDS = (
    r"\b(SELECT|FROM|WHERE|JOIN|GROUP BY|ORDER BY|INSERT|DELETE|CREATE|WITH|CASE|WHEN|UNION|LEFT|INNER|AND|OR|ON)\b"
)


def files() -> list[tuple[str, Traversable]]:
    return [(folder, file) for folder in FOLDERS for file in sql.files(folder, ".sql", ".sql.j2")]


def ids(entry: object) -> str:
    return entry.name if hasattr(entry, "name") else str(entry)


@pytest.mark.parametrize(("folder", "file"), files(), ids=ids)
def test_file_opens_with_its_name_and_grain_or_source(folder, file):
    text = file.read_text("utf-8")
    comment = "\n".join(line for line in text.splitlines() if line.startswith("--"))
    name = re.sub(r"^\d{4}_|\.sql(\.j2)?$", "", file.name)
    assert text.startswith(f"-- {name}: ")
    assert re.search(r"grain|source|key", comment) or folder == "load"


@pytest.mark.parametrize(("folder", "file"), files(), ids=ids)
def test_keywords_are_lower_case(folder, file):
    code = "\n".join(line.split("--")[0] for line in file.read_text("utf-8").splitlines())
    assert re.findall(KEYWORDS, code) == []


@pytest.mark.parametrize("file", sql.files("marts", ".sql"), ids=ids)
def test_mart_makes_one_view_of_its_own_name(file):
    made = re.findall(r"create (?:or replace )?view ([a-z_.]+)", file.read_text("utf-8"))
    assert made == [file.name.removesuffix(".sql")]


def test_every_sql_file_is_package_data():
    root = Path(str(resources.files("sql")))
    found = {path for path in root.rglob("*") if path.is_file() and path.suffix in {".sql", ".j2"}}
    assert found == {root / folder / file.name for folder, file in files()}


# One row each that a working load never leaves behind.
SPOILED = {
    "import_accounts_balance": None,  # the table itself refuses it: see below
    "visits_key_unique": "insert into imported.visits by name select 'V' as visit_id, 'U' as unit_id, "
    "date '2024-01-01' as visit_date, 'a' as source_file, 2 as source_line, 1 as import_id from range(2)",
    "units_key_unique": "insert into units by name select 'U' as unit_id from range(2)",
    "sites_key_unique": "insert into sites by name select 'S' as site_id from range(2)",
    "parts_key_unique": "insert into imported.parts by name select 'V' as visit_id, 'contactor' as part, 1 as row_n, "
    "'a' as source_file, 2 as source_line, 1 as import_id from range(2)",
    "recommendations_key_unique": "insert into imported.recommendations by name select 'V' as visit_id, 'x' as item, "
    "'a' as source_file, 2 as source_line, 1 as import_id from range(2)",
    "readings_key_unique": "insert into imported.readings by name select 'V' as visit_id, 'herm_uf' as measure, "
    "'1' as \"value\", 'a' as source_file, 2 as source_line, 1 as import_id from range(2)",
    "visits_have_a_unit": "insert into imported.visits by name select 'V' as visit_id, 'U' as unit_id, "
    "date '2024-01-01' as visit_date, 'a' as source_file, 2 as source_line, 1 as import_id",
    "units_have_their_site": "insert into imported.sites by name select 'S' as site_id, 'a' as source_file, "
    "2 as source_line, 1 as import_id; insert into units by name select 'U' as unit_id, 'S' as site_id",
    "derived_units_are_stored": "insert into core.capacitor_series by name "
    "select 'gone' as unit_id, 'herm' as section, 1 as series",
    "probabilities_in_bounds": "insert into core.unit_forecast by name "
    "select 'U' as unit_id, 0.2 as p_failure, 0.3 as p_low, 0.4 as p_high",
}


@pytest.fixture(scope="module")
def con(tmp_path_factory):
    with open_store(tmp_path_factory.mktemp("shop") / "shop.duckdb", threads=1) as connection:
        yield connection


def test_empty_store_passes_every_check(con):
    assert offences(con) == []


@pytest.mark.parametrize("check", [name for name, text in SPOILED.items() if text])
def test_check_finds_what_it_is_for(con, check):
    con.begin()
    con.execute(SPOILED[check])
    assert check in {offence.check for offence in offences(con)}
    with pytest.raises(PipelineError, match="fails its own check"):
        verify(con)
    con.rollback()


def test_accounts_that_do_not_balance_are_refused_by_the_table_itself(con):
    with pytest.raises(Exception, match="CHECK constraint"):
        con.execute(
            "insert into imports by name select 1 as import_id, 'a' as file, 'visits' as table_name, 's' as sha256, "
            "'m' as mapping_digest, 3 as rows_read, 1 as rows_stored, 0 as rows_unchanged, 0 as rows_rejected, "
            "0 as rows_skipped, 0 as values_rejected, timestamp '2025-01-01' as imported_at"
        )


def test_every_check_of_the_store_has_a_row_it_must_find():
    assert {file.name.removesuffix(".sql") for file in sql.files("checks", ".sql")} <= SPOILED.keys()
