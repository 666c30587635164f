"""Clean rows of one file into staging, and from there into the store by their natural key.

All of a run happens in one transaction (``begin`` … ``con.commit()``), so that either everything of it is seen or nothing.
The steps are SQL templates whose names come from the registry; no value of a file becomes part of a statement.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

import sql
from pipeline.errors import PipelineError
from pipeline.fields import registry
from pipeline.store.frames import registered, to_frame
from pipeline.store.migrate import COUNTED, Stored, one, stored


@dataclass(frozen=True)
class Staged:
    """The rows of one file as they wait in schema ``staging``."""

    table: str
    name: str
    columns: tuple[str, ...]
    rows: int


@dataclass(frozen=True)
class MergeResult:
    """What one file did to the store.

    ``stored`` rows were new or changed something, ``unchanged`` rows changed nothing, ``corrections`` counts fields.
    """

    stored: int
    unchanged: int
    corrections: int


def begin(con: duckdb.DuckDBPyConnection) -> None:
    """Open the run's one transaction."""
    con.begin()
    con.execute(sql.statement("load/begin.sql"))


def stage(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> Staged:
    """Put the clean rows of one file into ``staging.<table>``.

    Parameters
    ----------
    table
        One of the six tables.
    frame
        Typed fields (own and guests), ``source_file``, ``source_line``, ``rejected_fields`` and, for parts, ``row_n``;
        one row per key. Further columns are left out. A key column that the file lacks is null.

    Returns
    -------
    Staged
        Where the rows are and which fields they carry.
    """
    entry = stored(table)
    lacking = [name for name in entry.key if name not in frame.columns]
    frame = frame.with_columns(pl.lit(None).alias(name) for name in lacking)
    if "rejected_fields" not in frame.columns:
        frame = frame.with_columns(pl.lit([], dtype=pl.List(pl.String)).alias("rejected_fields"))
    columns = [column for column in entry.columns if column.name in frame.columns]
    wanted = frame.select(*(c.name for c in columns), "source_file", "source_line", pl.col("rejected_fields").fill_null([]))
    with registered(con, "staged_frame", wanted):
        con.execute(sql.render("load/stage.sql.j2", table=entry, columns=columns))
    return Staged(table, f"staging.{table}", tuple(c.name for c in columns if c.name not in lacking), frame.height)


def merge(
    con: duckdb.DuckDBPyConnection,
    table: str,
    columns: Sequence[str],
    import_id: int,
    *,
    file: str,
    now: dt.datetime,
) -> MergeResult:
    """Merge the staged rows into the store by the table's natural key.

    A column the file lacks stays as it is, a blank cell in a column it has clears the field, a rejected value leaves
    the stored one; each changed field is kept in ``corrections``. Rejects that the file puts right are closed.

    Parameters
    ----------
    columns
        Fields the file has (``Staged.columns`` or ``Checked.columns``).
    import_id
        Number of the import, from ``next_import_id``.
    file
        Name of the imported file; rows that name another ``source_file`` came back from the reject list.
    now
        When the import happens.

    Raises
    ------
    PipelineError
        If a key would be stored twice: a fault of this program.
    """
    entry = stored(table)
    required = [*registry()[table].required, *COUNTED.values()]
    present = _staged_columns(con, table)
    given = [c.name for c in entry.columns if c.name in set(columns) & present and c.name not in entry.key]
    rejected = {row[0] for row in con.execute(sql.render("load/rejected_fields.sql.j2", table=entry)).fetchall()}
    con.execute(sql.render("load/match.sql.j2", table=entry, required=required))
    staged = int(one(con, sql.render("load/count_staged.sql.j2", table=entry)))
    matched = int(one(con, "select count(*) from merge_match"))
    names = {"table": entry, "given": given, "rejected": rejected}
    con.execute(sql.render("load/changed.sql.j2", **names))
    changed = int(one(con, "select count(*) from merge_changed"))
    _touch(con, entry, given, changed)
    corrections = 0
    if changed:
        before = int(one(con, "select count(*) from corrections"))
        con.execute(sql.render("load/corrections.sql.j2", **names), {"import_id": import_id})
        corrections = int(one(con, "select count(*) from corrections")) - before
        con.execute(sql.render("load/replace.sql.j2", table=entry))
        con.execute(sql.render("load/insert_changed.sql.j2", table=entry), {"import_id": import_id})
    if matched < staged:
        ordered = [c.name for c in entry.columns if c.name in present]
        text = sql.render("load/insert_new.sql.j2", table=entry, present=ordered, matched=matched > 0)
        con.execute(text, {"import_id": import_id})
    if one(con, sql.render("load/uniqueness.sql.j2", table=entry, required=required)):
        raise PipelineError(f"{file}: a key of {table} would have been stored twice; nothing was changed")
    text = sql.render("load/resolve.sql.j2", table=entry)
    con.execute(text, {"now": now, "file": file, "given": [*given, *entry.key]})
    stored_rows = staged - matched + changed
    return MergeResult(stored=stored_rows, unchanged=staged - stored_rows, corrections=corrections)


def touched_units(con: duckdb.DuckDBPyConnection) -> pl.Series:
    """Return the units whose answers this run may have changed, sorted."""
    found = to_frame(con, "select distinct unit_id from staging.touched_units order by unit_id")
    return found.get_column("unit_id")


def settle(con: duckdb.DuckDBPyConnection) -> pl.Series:
    """Put ``units`` and ``sites`` together again for all that the run touched, after its last merge.

    Returns
    -------
    pl.Series
        The touched units, sorted; enrich reads their whole history.
    """
    visits, units, sites = (registry()[name].fields for name in ("visits", "units", "sites"))
    site_fields = [name for name in sites if name != "site_id"]
    guests = [name for name in (*units, *site_fields) if name not in visits]
    told = _told(con, guests)
    named = sql.render("load/sites_touched.sql.j2", visits_name="site_id" in told)
    con.execute(named)
    con.execute(sql.statement("load/units_out.sql"))
    con.execute(sql.render("load/units.sql.j2", told=told, units=list(units), sites=site_fields))
    con.execute(named)
    con.execute(sql.statement("load/sites_out.sql"))
    con.execute(sql.render("load/sites.sql.j2", told=_told_anywhere(con, site_fields), fields=site_fields))
    return touched_units(con)


def finish(con: duckdb.DuckDBPyConnection) -> None:
    """Empty staging and make everything of the run visible at once."""
    con.execute(sql.render("load/finish.sql.j2", tables=list(registry())))
    con.commit()
    con.execute("checkpoint")


def as_of(con: duckdb.DuckDBPyConnection, wanted: dt.date | None, today: dt.date) -> dt.date:
    """Return the as-of date: the one wanted, else the newest visit not after today, else today."""
    if wanted is not None:
        return wanted
    newest: dt.date | None = one(con, "select max(visit_date) from visits where visit_date <= ?", [today])
    return newest or today


def stored_parts(con: duckdb.DuckDBPyConnection, source_files: Sequence[str]) -> pl.DataFrame:
    """Return the keys and lines of parts stored from ``source_files``, for rows that come back corrected."""
    return to_frame(
        con,
        sql.statement("load/stored_parts.sql"),
        {"files": list(source_files)},
    )


def _touch(con: duckdb.DuckDBPyConnection, entry: Stored, given: Sequence[str], changed: int) -> None:
    con.execute(sql.render("load/touch.sql.j2", table=entry.name))
    if entry.name == "sites" or "site_id" in given:
        con.execute(sql.render("load/touch_sites.sql.j2", table=entry.name, changed=changed > 0))


def _staged_columns(con: duckdb.DuckDBPyConnection, table: str) -> set[str]:
    rows = con.execute(
        "select column_name from duckdb_columns() where schema_name = 'staging' and table_name = ?", [table]
    ).fetchall()
    return {row[0] for row in rows}


def _told(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> list[str]:
    """Return which of ``names`` any visit of the touched units says something in."""
    (row,) = con.execute(sql.render("load/told.sql.j2", table="visits", names=list(names))).fetchall()
    return [name for name, count in zip(names, row, strict=True) if count]


def _told_anywhere(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> list[str]:
    """Return which of ``names`` any visit at all says something in: a site's visits are not only the touched units'."""
    (row,) = con.execute(sql.render("load/told_anywhere.sql.j2", table="visits", names=list(names))).fetchall()
    return [name for name, count in zip(names, row, strict=True) if count]
