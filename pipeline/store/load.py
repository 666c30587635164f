"""Clean rows of one file into staging, and from there into the store by their natural key.

All of a run happens in one transaction (``begin`` … ``finish``), so that either everything of it is seen or nothing:
every file is staged, the gate looks at the staged rows of each table, the files are merged in order, and ``settle``
puts units and sites together again. The steps are SQL templates whose names come from the registry; no value of a file
becomes part of a statement.
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
from pipeline.store.migrate import COUNTED, one, stored


@dataclass(frozen=True)
class Staged:
    """The rows of one file as they wait in ``staging.<table>`` under their import number."""

    table: str
    import_id: int
    columns: tuple[str, ...]
    rows: int


@dataclass(frozen=True)
class MergeResult:
    """What one file did to the store.

    ``stored`` rows were new or changed something, ``unchanged`` rows changed nothing, ``corrections`` counts fields;
    ``lines`` are those of the stored rows, where they were asked for.
    """

    stored: int
    unchanged: int
    corrections: int
    lines: pl.Series | None = None


def begin(con: duckdb.DuckDBPyConnection) -> None:
    """Open the run's one transaction and its empty staging tables."""
    con.begin()
    con.execute(sql.render("load/begin.sql.j2", tables=[stored(name) for name in registry()]))


def stage(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame, import_id: int) -> Staged:
    """Put the clean rows of one file into ``staging.<table>``, beside those of the run's other files.

    Parameters
    ----------
    table
        One of the six tables.
    frame
        Typed fields (own and guests), ``source_file``, ``source_line``, ``rejected_fields`` and, for parts, ``row_n``;
        one row per key. Further columns are left out, missing ones are null.
    import_id
        Number of the import: ``next_import_id`` for the run's first file, counted up from there.

    Returns
    -------
    Staged
        Which fields the rows carry.
    """
    entry = stored(table)
    if "rejected_fields" not in frame.columns:
        frame = frame.with_columns(pl.lit([], dtype=pl.List(pl.String)).alias("rejected_fields"))
    columns = [column for column in entry.columns if column.name in frame.columns]
    wanted = frame.select(
        *(c.name for c in columns), "source_file", "source_line", pl.col("rejected_fields").fill_null([])
    )
    with registered(con, "staged_frame", wanted):
        con.execute(sql.render("load/stage.sql.j2", table=entry, columns=columns), {"import_id": import_id})
    return Staged(table, import_id, tuple(c.name for c in columns), frame.height)


def merge(
    con: duckdb.DuckDBPyConnection, staged: Staged, *, file: str, now: dt.datetime, tell_lines: bool = False
) -> MergeResult:
    """Merge the staged rows of one file into the store by the table's natural key; files in the order of their paths.

    A column the file lacks stays as it is, a blank cell in a column it has clears the field, a rejected value leaves
    the stored one; each changed field is kept in ``corrections``. Rejects that the file puts right are closed.

    Parameters
    ----------
    file
        Name of the imported file; rows that name another ``source_file`` came back from the reject list.
    now
        When the import happens.
    tell_lines
        Whether the lines of the rows that were new or changed something are wanted.

    Raises
    ------
    PipelineError
        If a key would be stored twice: a fault of this program.
    """
    entry = stored(staged.table)
    required = [*registry()[staged.table].required, *COUNTED.values()]
    given = [name for name in staged.columns if name not in entry.key]
    this = {"import_id": staged.import_id}
    rejected = {row[0] for row in con.execute(sql.render("load/rejected_fields.sql.j2", table=entry), this).fetchall()}
    con.execute(sql.render("load/match.sql.j2", table=entry, required=required), this)
    matched = int(one(con, "select count(*) from merge_match"))
    names = {"table": entry, "given": given, "rejected": rejected}
    changed = 0
    if matched:
        con.execute(sql.render("load/changed.sql.j2", **names))
        changed = int(one(con, "select count(*) from merge_changed"))
    key = {"units": "unit_id", "sites": "site_id"}.get(entry.name, "visit_id, unit_id")
    con.execute(sql.render("load/touch.sql.j2", table=entry.name, key=key, matched=matched > 0), this)
    if "site_id" in staged.columns:
        con.execute(sql.render("load/touch_sites.sql.j2", table=entry.name, changed=changed > 0), this)
    corrections = 0
    if changed:
        before = int(one(con, "select count(*) from corrections"))
        con.execute(sql.render("load/corrections.sql.j2", **names), this)
        corrections = int(one(con, "select count(*) from corrections")) - before
        con.execute(sql.render("load/replace.sql.j2", table=entry))
        con.execute(sql.render("load/insert_changed.sql.j2", table=entry), this)
    if matched < staged.rows:
        text = sql.render("load/insert_new.sql.j2", table=entry, present=staged.columns, matched=matched > 0)
        con.execute(text, this)
    lines = None
    if tell_lines:
        text = sql.render("load/moved_lines.sql.j2", table=entry.name, matched=matched > 0, changed=changed > 0)
        lines = to_frame(con, text, this).get_column("source_line")
    if one(con, sql.render("load/uniqueness.sql.j2", table=entry), this):
        raise PipelineError(f"{file}: a key of {entry.name} would have been stored twice; nothing was changed")
    if one(con, "select count(*) from rejects where resolved_at is null"):
        values = {**this, "now": now, "given": [*given, *entry.key]}
        con.execute(sql.render("load/resolve_key.sql.j2", table=entry), values)
        place = {"file": file, "matched": matched}
        con.execute(sql.render("load/resolve_place.sql.j2", table=entry), {**values, **place})
    stored_rows = staged.rows - matched + changed
    return MergeResult(stored_rows, staged.rows - stored_rows, corrections, lines)


def resolve_records(
    con: duckdb.DuckDBPyConnection,
    staged: Staged,
    shared: pl.DataFrame,
    *,
    file: str,
    source_file: str,
    now: dt.datetime,
) -> None:
    """Close the rejects of records that came back well and share their row with another record.

    Parameters
    ----------
    shared
        ``source_line`` of each record and ``row_line``, the line its row was staged under.
    file, source_file
        The imported file, and the one its rows name: they differ where a reject list came back.
    """
    if not one(con, "select count(*) from rejects where resolved_at is null"):
        return
    with registered(con, "shared_rows", shared.filter(pl.col("source_line") != pl.col("row_line"))):
        values = {"import_id": staged.import_id, "file": file, "source_file": source_file, "now": now}
        con.execute(sql.statement("load/resolve_records.sql"), values)


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
    said = _told_anywhere(con, list(sites))
    names = {"told": [name for name in said if name != "site_id"], "visits_speak": bool(said)}
    con.execute(sql.render("load/sites.sql.j2", fields=site_fields, **names))
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


def _told(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> list[str]:
    """Return which of ``names`` any visit of the touched units says something in."""
    (row,) = con.execute(sql.render("load/told.sql.j2", table="visits", names=list(names))).fetchall()
    return [name for name, count in zip(names, row, strict=True) if count]


def _told_anywhere(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> list[str]:
    """Return which of ``names`` any visit at all says something in: a site's visits are not only the touched units'."""
    (row,) = con.execute(sql.render("load/told_anywhere.sql.j2", table="visits", names=list(names))).fetchall()
    return [name for name, count in zip(names, row, strict=True) if count]
