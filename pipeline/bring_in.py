"""Files into the store: which are new, staging, the gate, the merge in the order of their paths."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import duckdb
import polars as pl

from pipeline.checks.check import Account
from pipeline.checks.suite import gate
from pipeline.errors import FileRefused
from pipeline.ingest import mapping_file
from pipeline.ingest.decode import digest as content_digest
from pipeline.ingest.decode import read_bytes
from pipeline.ingest.discover import Found
from pipeline.ingest.mapping_file import Entry, MappingFile
from pipeline.intake import Intake, Refused, Taken
from pipeline.progress import Progress, Say, refuse, tell
from pipeline.store import load, records
from pipeline.store.connect import open_store
from pipeline.store.derived import append_rows
from pipeline.store.unit_moves import settle_moves
from pipeline.store.zero_cells import keep_blanked, settle_zeros
from pipeline.workmate import Each, alone


def new_files(
    store: Path, mapping: MappingFile, found: list[tuple[int, Found]], progress: Progress
) -> list[tuple[int, Found]]:
    """Return the files whose content was not imported under the same mapping entry before."""
    if not store.exists():
        return found
    new = []
    with open_store(store, read_only=True) as con:
        for place, item in found:
            entry = mapping.entry_for(item.name)
            if entry is not None and _is_known(con, item, entry):
                progress.repeats.append(item.name)
            else:
                new.append((place, item))
    return new


def _is_known(con: duckdb.DuckDBPyConnection, item: Found, entry: Entry) -> bool:
    try:
        content = read_bytes(item.path, item.name)
    except FileRefused:
        return False
    return records.already_imported(con, content_digest(content), mapping_file.entry_digest(entry))


def stage_all(
    con: duckdb.DuckDBPyConnection,
    intake: Intake,
    found: Sequence[tuple[int, Found]],
    progress: Progress,
    say: Say,
    each: Each = alone,
) -> None:
    """Take every file, say what was refused or not used, and put the checked rows of the others into staging."""
    next_id = records.next_import_id(con)
    for item in intake.take(found, each):
        if isinstance(item, Refused):
            refuse(item, progress, say)
            continue
        tell(item, say)
        import_id = next_id + len(progress.staged)
        staged = tuple(load.stage(con, one.table, one.frame, import_id) for one in item.staged_checks)
        progress.staged.append((item, staged))


def gate_all(con: duckdb.DuckDBPyConnection, intake: Intake, progress: Progress) -> None:
    """Hold what is staged against the suite, once per table.

    Raises
    ------
    PipelineError
        If a staged row breaks a rule that the row rules should have caught.
    """
    pairs = [(item, staged) for item, several in progress.staged for staged in several]
    for table in dict.fromkeys(staged.table for _, staged in pairs):
        own = [(item, staged) for item, staged in pairs if staged.table == table]
        columns = list(dict.fromkeys(name for _, staged in own for name in staged.columns))
        result = gate(con, table, columns, intake.latest)
        result.raise_if_failed(", ".join(item.file for item, _ in own[:3]))
        records.record_expectations(con, result.expectations, table, [staged.import_id for _, staged in own])


def merge_all(con: duckdb.DuckDBPyConnection, progress: Progress, now: dt.datetime) -> None:
    """Merge the staged files in the order of their paths and record each with its account, findings and suspects."""
    for item, several in sorted(progress.staged, key=lambda pair: (pair[0].place, pair[1][0].import_id)):
        staged = several[0]
        account = _merge(con, item, several, now)
        account.assert_balanced()
        records.record_import(
            con,
            records.Import(
                import_id=staged.import_id,
                file=item.file,
                table_name=staged.table,
                sha256=item.raw.sha256,
                mapping_digest=item.digest,
                encoding=item.raw.encoding,
                encoding_confidence=item.raw.encoding_confidence,
                delimiter=item.raw.delimiter,
                imported_at=now,
                rows_read=account.rows_read,
                rows_stored=account.rows_stored,
                rows_unchanged=account.rows_unchanged,
                rows_rejected=account.rows_rejected,
                rows_skipped=account.rows_skipped,
                values_rejected=account.values_rejected,
            ),
        )
        for (table,), found in item.findings.group_by("table", maintain_order=True):
            records.record_findings(con, found, staged.import_id, table=str(table), file=item.file, shared=item.shared)
        if staged.table == "visits":
            records.record_suspects(con, item.checked.suspects, staged.import_id, staged.columns)
        append_rows(
            con,
            "rejected_records",
            item.records.select(
                "source_file",
                "source_line",
                "cells",
                "raw",
                import_id=pl.lit(staged.import_id, dtype=pl.Int64),
                header=pl.lit(pl.Series([list(item.raw.header)], dtype=pl.List(pl.String))).first(),
            ),
        )
        progress.accounts.append((item.file, account))


def _merge(con: duckdb.DuckDBPyConnection, item: Taken, several: Sequence[load.Staged], now: dt.datetime) -> Account:
    """Merge what one file says, a table at a time, and return where its records went."""
    keep_blanked(con, several[0], item.blanked)
    if item.shared is None:
        merged = load.merge(con, several[0], file=item.file, now=now)
        return item.account(merged.stored, merged.unchanged)
    moved = {}
    for staged in several:
        lines = load.merge(con, staged, file=item.file, now=now, tell_lines=True).lines
        if lines is not None:
            moved[staged.table] = lines
    load.resolve_records(con, several[0], item.shared, file=item.file, source_file=item.raw.name, now=now)
    return item.account_of_lines(moved)


def settle_all(con: duckdb.DuckDBPyConnection, say: Say) -> pl.Series:
    """Put units, sites and fillers of capacitor columns together again after the last merge; return the units."""
    moved = settle_moves(con)
    if moved.units:
        say(
            f"{moved.units} units known by serial or address alone are named with an id of their own: their "
            f"{moved.visits} visits went there. [units-named]"
        )
    return pl.concat([load.settle(con).cast(pl.String), settle_zeros(con)])
