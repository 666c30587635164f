"""Files into the store: which are new, staging, the gate, the merge in the order of their paths."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path

import duckdb
import polars as pl

from pipeline.checks.suite import gate
from pipeline.errors import FileRefused
from pipeline.ingest import mapping_file
from pipeline.ingest.decode import digest as content_digest
from pipeline.ingest.decode import read_bytes
from pipeline.ingest.discover import Found
from pipeline.ingest.mapping_file import Entry, MappingFile
from pipeline.intake import Intake, Refused
from pipeline.progress import Progress, Say, refuse, tell
from pipeline.store import load, records
from pipeline.store.connect import open_store
from pipeline.store.derived import append_rows


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
    found: Iterable[tuple[int, Found]],
    progress: Progress,
    say: Say,
) -> None:
    next_id = records.next_import_id(con)
    for item in intake.take(found):
        if isinstance(item, Refused):
            refuse(item, progress, say)
            continue
        tell(item, say)
        staged = load.stage(con, item.checked.table, item.checked.frame, next_id + len(progress.staged))
        progress.staged.append((item, staged))


def gate_all(con: duckdb.DuckDBPyConnection, intake: Intake, progress: Progress) -> None:
    for table in dict.fromkeys(staged.table for _, staged in progress.staged):
        own = [(item, staged) for item, staged in progress.staged if staged.table == table]
        columns = list(dict.fromkeys(name for _, staged in own for name in staged.columns))
        result = gate(con, table, columns, intake.latest)
        result.raise_if_failed(", ".join(item.file for item, _ in own[:3]))
        records.record_expectations(con, result.expectations, table, [staged.import_id for _, staged in own])


def merge_all(con: duckdb.DuckDBPyConnection, progress: Progress, now: dt.datetime) -> None:
    for item, staged in sorted(progress.staged, key=lambda pair: (pair[0].place, pair[1].import_id)):
        merged = load.merge(con, staged, file=item.file, now=now)
        account = item.account(merged.stored, merged.unchanged)
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
        records.record_findings(con, item.findings, staged.import_id, table=staged.table, file=item.file)
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
