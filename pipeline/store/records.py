"""What a run leaves in writing: imports, rejects, checks, suspects, settings, runs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

import sql
from pipeline.errors import PipelineError
from pipeline.findings import FINDING_SCHEMA
from pipeline.store.frames import registered
from pipeline.store.migrate import one, stored


@dataclass(frozen=True)
class Import:
    """One imported file and where its records went."""

    import_id: int
    file: str
    table_name: str
    sha256: str
    mapping_digest: str
    encoding: str
    encoding_confidence: float | None
    delimiter: str
    rows_read: int
    rows_stored: int
    rows_unchanged: int
    rows_rejected: int
    rows_skipped: int
    values_rejected: int
    imported_at: dt.datetime


def next_import_id(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number the next import gets."""
    return int(one(con, "select coalesce(max(import_id), 0) + 1 from imports"))


def already_imported(con: duckdb.DuckDBPyConnection, sha256: str, mapping_digest: str) -> bool:
    """Return whether a file of this content was imported under this mapping entry before."""
    found = one(con, "select count(*) from imports where sha256 = ? and mapping_digest = ?", [sha256, mapping_digest])
    return bool(found)


def record_import(con: duckdb.DuckDBPyConnection, entry: Import) -> None:
    """Keep one row of ``imports``.

    Raises
    ------
    PipelineError
        If the counts do not add up: a fault of this program, never of the file.
    """
    accounted = entry.rows_stored + entry.rows_unchanged + entry.rows_rejected + entry.rows_skipped
    if accounted != entry.rows_read:
        raise PipelineError(
            f"{entry.file}: {entry.rows_read} records read but {accounted} accounted for; nothing was changed"
        )
    con.execute(sql.statement("load/import.sql"), vars(entry))


def record_findings(
    con: duckdb.DuckDBPyConnection,
    findings: pl.DataFrame,
    import_id: int,
    *,
    table: str,
    file: str,
    shared: pl.DataFrame | None = None,
) -> int:
    """Add the refusals of one file to ``rejects``, each entry once; its rows are still staged.

    Parameters
    ----------
    findings
        ``FINDING_SCHEMA``; a further column ``record_digest`` (a digest of the record as read) lets a bad record be
        known again in a later export, where its line has moved.
    table, file
        What the file is and its name; a finding whose ``source_file`` is another came back from the reject list.
    shared
        ``source_line`` of each record and ``row_line``, the line of its row, where they are not the same for all. A
        record of several units has a row for each; ``unit_id`` of a finding then says which.

    Returns
    -------
    int
        How many entries are new.
    """
    if findings.is_empty():
        return 0
    if "record_digest" not in findings.columns:
        findings = findings.with_columns(pl.lit(None, pl.String).alias("record_digest"))
    before = int(one(con, "select count(*) from rejects"))
    unit = "unit_id" if "unit_id" in findings.columns else pl.lit(None, pl.String).alias("unit_id")
    found = findings.select(*FINDING_SCHEMA, "record_digest", unit).with_row_index("n")
    if shared is None:
        found = found.with_columns(row_line="source_line")
    else:
        found = found.join(shared, on="source_line", how="left", maintain_order="left")
    with registered(con, "found", found):
        text = sql.render("load/findings.sql.j2", table=stored(table), several=shared is not None)
        con.execute(text, {"import_id": import_id, "table_name": table, "file": file})
    return int(one(con, "select count(*) from rejects")) - before


def record_expectations(
    con: duckdb.DuckDBPyConnection, results: pl.DataFrame, table: str, imports: Sequence[int]
) -> None:
    """Keep what the gate found in the staged rows of ``imports``: ``pipeline.checks.suite.RESULT_SCHEMA``."""
    rows = results.select(
        pl.lit(max(imports)).alias("import_id"),
        pl.lit(min(imports)).alias("first_import_id"),
        pl.lit(table).alias("table_name"),
        "expectation",
        "column",
        "success",
        "unexpected_count",
        "element_count",
    )
    with registered(con, "results", rows):
        con.execute("insert into core.expectation_results by name select * from results")


def record_suspects(
    con: duckdb.DuckDBPyConnection, suspects: pl.DataFrame, import_id: int, fields: Sequence[str]
) -> None:
    """Replace what was held against ``fields`` of the staged visits of one file by ``suspects``.

    Parameters
    ----------
    suspects
        visit_id, unit_id, field, reason, message.
    fields
        Fields the file has; what was held against others stays.
    """
    con.execute(sql.statement("load/suspects_out.sql"), {"import_id": import_id, "fields": list(fields)})
    with registered(con, "suspects", suspects):
        con.execute(sql.statement("load/suspects.sql"))


def record_settings(con: duckdb.DuckDBPyConnection, settings: Mapping[str, object]) -> None:
    """Keep the settings that views need, flat (``costs.stop``), as text."""
    con.execute("delete from core.settings")
    rows = pl.DataFrame({"key": list(settings), "value": [str(v) for v in settings.values()]}, schema=_SETTINGS)
    with registered(con, "chosen", rows):
        con.execute("insert into core.settings by name select * from chosen")


_SETTINGS = {"key": pl.String, "value": pl.String}


def record_run(con: duckdb.DuckDBPyConnection, run: Mapping[str, object]) -> int:
    """Keep one row of ``core.runs`` and return its number; keys are its columns without ``run_id``."""
    run_id = int(one(con, "select coalesce(max(run_id), 0) + 1 from core.runs"))
    rows = pl.DataFrame([{"run_id": run_id, **run}])
    with registered(con, "this_run", rows):
        con.execute("insert into core.runs by name select * from this_run")
    return run_id


def written_by(con: duckdb.DuckDBPyConnection) -> str | None:
    """Return the version of the program that worked out what is stored, or None before the first run."""
    found: str | None = one(con, "select arg_max(program_version, run_id) from core.runs")
    return found


def last_as_of(con: duckdb.DuckDBPyConnection) -> dt.date | None:
    """Return the as-of of the last run, or None before the first."""
    found: dt.date | None = one(con, "select arg_max(as_of, run_id) from core.runs")
    return found
