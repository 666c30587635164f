"""Numbered schema files applied once, columns for new fields, and the views made again where their text changed."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Any

import duckdb

import sql
from pipeline.errors import StoreError
from pipeline.fields import Field, Table, fields_for_file, registry

READS = re.compile(r"\b(?:from|join)\s+(?:main\.)?([a-z_][a-z0-9_]*)\b(?!\.)")
NUMBERED = re.compile(r"(\d{4})_\w+\.sql(\.j2)?")
COUNTED = {"parts": "row_n"}
"""Key columns that no file carries: the n-th row of the same key within its file."""


@dataclass(frozen=True)
class Column:
    """One column as the schema templates see it."""

    name: str
    type: str
    required: bool = False


@dataclass(frozen=True)
class Stored:
    """One imported table: its own columns, and those of its guests after them."""

    name: str
    key: tuple[str, ...]
    own: tuple[Column, ...]
    columns: tuple[Column, ...]


def stored(table: str) -> Stored:
    """Return the columns under which rows of ``table`` are kept."""
    entry: Table = registry()[table]
    own = tuple(_column(field, field.required) for field in entry.fields.values())
    guests = tuple(_column(f, False) for name, f in fields_for_file(table).items() if name not in entry.fields)
    counted = (Column(COUNTED[table], "BIGINT", True),) if table in COUNTED else ()
    return Stored(table, entry.key, own + counted, own + counted + guests)


def migrate(con: duckdb.DuckDBPyConnection, shown: str) -> None:
    """Bring the store to this program's schema, in one transaction.

    Raises
    ------
    StoreError
        If the store was written by a newer program.
    """
    refuse_newer(con, shown)
    con.begin()
    try:
        done = _version(con)
        con.execute("create schema if not exists core")
        con.execute("create table if not exists core.schema_version (version integer not null, file varchar not null)")
        tables = [stored(name) for name in registry()]
        for file in sql.files("schema", ".sql", ".sql.j2"):
            number = _number(file.name)
            if number > done:
                path = f"schema/{file.name}"
                con.execute(sql.render(path, tables=tables) if file.name.endswith(".j2") else sql.statement(path))
                con.execute("insert into core.schema_version values (?, ?)", [number, file.name])
        _add_columns(con)
        _make_views(con)
        con.commit()
    except BaseException:
        con.rollback()
        raise


def refuse_newer(con: duckdb.DuckDBPyConnection, shown: str) -> None:
    """Raise ``StoreError`` if the store has a schema file this program does not know."""
    if _version(con) > max(_number(file.name) for file in sql.files("schema", ".sql", ".sql.j2")):
        raise newer(shown)


def newer(shown: str) -> StoreError:
    """Return the error for a store written by a newer program."""
    return StoreError(
        f"The store {shown} was written by a newer version of this program: update the program", slug="store-newer"
    )


def _column(field: Field, required: bool) -> Column:
    return Column(field.name, field.sql_type, required)


def _number(name: str) -> int:
    match = NUMBERED.fullmatch(name)
    if match is None:
        raise ValueError(f"sql/schema/{name} does not begin with a number of four digits")
    return int(match[1])


def _version(con: duckdb.DuckDBPyConnection) -> int:
    if not one(
        con, "select count(*) from duckdb_tables() where schema_name = 'core' and table_name = 'schema_version'"
    ):
        return 0
    return int(one(con, "select coalesce(max(version), 0) from core.schema_version"))


def _add_columns(con: duckdb.DuckDBPyConnection) -> None:
    """Add the columns of fields that the registry gained since the store was made."""
    rows = con.execute("select schema_name, table_name, column_name from duckdb_columns()").fetchall()
    present = {tuple(row) for row in rows}
    for name in registry():
        table = stored(name)
        places = [("imported", table.columns)] + ([("main", table.own)] if name in REBUILT else [])
        for schema, columns in places:
            for column in columns:
                if (schema, name, column.name) not in present:
                    con.execute(sql.render("load/add_column.sql.j2", schema=schema, table=name, column=column))


REBUILT = ("units", "sites")
"""Tables of ``main`` that are put together from several files; the others are views of the imported rows."""

ON_A_TICKET = ("parts", "recommendations", "readings")
"""Tables whose rows name a visit and may leave its unit out."""

SETTLED = {
    "visits": "settled_visits.sql.j2",
    "units": "settled_units.sql.j2",
    **dict.fromkeys(ON_A_TICKET, "settled_rows.sql.j2"),
}
"""Imported tables with a unit in them: each is read through a view that puts its rows under the unit they belong to."""


def _make_views(con: duckdb.DuckDBPyConnection) -> None:
    """Make every view again if the text of any has changed since they were made; the user's own views stay."""
    texts = _view_texts()
    digest = hashlib.sha256("\0".join(f"{name}\0{text}" for name, text in sorted(texts.items())).encode()).hexdigest()
    if one(con, "select count(*) from core.marts where digest = ?", [digest]):
        return
    for (name,) in con.execute("select view_name from core.marts").fetchall():
        if name not in texts:
            con.execute(sql.render("load/drop_view.sql.j2", view=name))
    con.execute("delete from core.marts")
    for name in in_order(texts):
        con.execute(texts[name])
        con.execute("insert into core.marts values (?, ?)", [name, digest])


def _view_texts() -> dict[str, str]:
    texts: dict[str, str] = {}
    for name in registry():
        if name not in REBUILT:
            texts[name] = sql.render("load/answer.sql.j2", table=stored(name))
    for name, template in SETTLED.items():
        texts[f"int_{name}"] = sql.render(f"load/{template}", table=stored(name))
    for name in ON_A_TICKET:
        texts[f"int_{name}_placed"] = sql.render("load/placed_rows.sql.j2", table=name)
    for file in sql.files("marts", ".sql"):
        texts[file.name.removesuffix(".sql")] = sql.statement(f"marts/{file.name}")
    return texts


def in_order(texts: dict[str, str]) -> list[str]:
    """Return the names of the views, each after those that its text reads.

    Raises
    ------
    ValueError
        If views read each other in a circle.
    """
    words = {name: set(READS.findall(_uncommented(text))) & texts.keys() - {name} for name, text in texts.items()}
    ordered: list[str] = []
    while len(ordered) < len(texts):
        ready = sorted(name for name in texts if name not in ordered and words[name] <= set(ordered))
        if not ready:
            raise ValueError(f"views read each other in a circle: {sorted(set(texts) - set(ordered))}")
        ordered.extend(ready)
    return ordered


def _uncommented(text: str) -> str:
    return re.sub(r"--[^\n]*", "", text)


def one(con: duckdb.DuckDBPyConnection, text: str, values: list[Any] | dict[str, Any] | None = None) -> Any:
    """Return the single value a statement gives."""
    rows = con.execute(text, values or []).fetchall()  # a half-read result would block the connection
    return rows[0][0] if rows else None
