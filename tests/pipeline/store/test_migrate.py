"""The schema follows the registry, and views are made again where their text changed."""

from __future__ import annotations

import pytest

import sql
from pipeline.fields import fields_for_file, registry
from pipeline.store import migrate
from pipeline.store.connect import open_store
from pipeline.store.query import query

# Contract, section 5: columns promised beside the fields.
PROMISED = {
    "imports": "import_id file sha256 encoding delimiter rows_read rows_stored rows_unchanged rows_rejected "
    "rows_skipped values_rejected imported_at",
    "rejects": "import_id source_file source_line scope field value rule message resolved_at",
    "corrections": "table_name key field old_value new_value import_id",
}


@pytest.mark.parametrize("table", list(registry()))
def test_table_has_its_fields_and_where_they_came_from(con, table):
    columns = query(con, table).columns
    assert set(columns) >= {*registry()[table].fields, "source_file", "source_line", "import_id"}
    assert not (set(columns) & set(fields_for_file(table)) - set(registry()[table].fields))


@pytest.mark.parametrize("table", list(PROMISED))
def test_record_has_its_promised_columns(con, table):
    assert set(query(con, table).columns) >= set(PROMISED[table].split())


def test_store_without_a_newer_field_gains_it(path):
    with open_store(path) as con:
        con.execute("drop view if exists int_readings_placed")
        con.execute("alter table imported.visits drop column leak_location")
        con.execute("alter table main.units drop column retired_because")
    with open_store(path) as con:
        assert query(con, "visits").schema["leak_location"] == query(con, "visits").schema["notes"]
        assert "retired_because" in query(con, "units").columns


def test_views_are_made_once_and_again_when_their_text_changes(path, monkeypatch):
    made = []
    texts = migrate._view_texts()

    def spy(wanted: dict[str, str]) -> list[str]:
        made.append(len(wanted))
        return in_order(wanted)

    in_order = migrate.in_order
    monkeypatch.setattr(migrate, "in_order", spy)
    for _ in range(2):
        with open_store(path):
            pass
    assert len(made) == 1
    monkeypatch.setattr(migrate, "_view_texts", lambda: {**texts, "extra": "create view extra as select 1 as one"})
    with open_store(path) as con:
        assert query(con, "extra").rows() == [(1,)]


def test_view_whose_text_is_gone_is_gone(path, monkeypatch):
    texts = migrate._view_texts()
    monkeypatch.setattr(migrate, "_view_texts", lambda: {**texts, "extra": "create view extra as select 1 as one"})
    with open_store(path):
        pass
    monkeypatch.setattr(migrate, "_view_texts", lambda: texts)
    with open_store(path) as con, pytest.raises(KeyError):
        query(con, "extra")


def test_views_come_after_the_views_they_read():
    texts = {
        "a": "create view a as select * from b -- from c",
        "b": "create view b as select * from main.c join core.a on true",
        "c": "create view c as select 1",
    }
    assert migrate.in_order(texts) == ["c", "b", "a"]


def test_views_that_read_each_other_are_refused():
    with pytest.raises(ValueError, match="circle"):
        migrate.in_order({"a": "create view a as select * from b", "b": "create view b as select * from a"})


def test_every_schema_file_has_a_number_of_its_own():
    numbers = [file.name[:4] for file in sql.files("schema", ".sql", ".sql.j2")]
    assert len(numbers) == len(set(numbers))
