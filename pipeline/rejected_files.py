"""The folder of rejected rows: one file per source with what is still open, never over one that the user has edited."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import duckdb
import polars as pl

from pipeline.checks.reject_files import decide_write, rejected_name
from pipeline.checks.rejects import render_records
from pipeline.errors import StoreError
from pipeline.store.derived import replace_rows
from pipeline.store.query import query

FOLDER = "rejected"
WRITTEN = pl.Schema({"source_file": pl.String, "name": pl.String, "digest": pl.String})


def write_rejected(con: duckdb.DuckDBPyConnection, shop: Path) -> list[str]:
    """Write what is open in ``rejects`` into ``shop/rejected`` and return the names of the files the user still edits.

    To be called inside the run's transaction: what was written is remembered there.

    Raises
    ------
    StoreError
        If the folder cannot be written.
    """
    folder = shop / FOLDER
    known = query(con, "core.rejected_files")
    written = {(row["source_file"], row["name"]): row["digest"] for row in known.iter_rows(named=True)}
    kept: list[str] = []
    left: list[dict[str, str]] = []
    try:
        on_disk = {file.name: _digest(file.read_bytes()) for file in sorted(folder.glob("*.csv"))}
        for source, text in _open(con, {row[0] for row in written}):
            ours = {name: digest for (file, name), digest in written.items() if file == source}
            digest = _digest(text.encode()) if text else None
            decision = decide_write(rejected_name(source), digest, on_disk, ours)
            for name in decision.remove:
                (folder / name).unlink(missing_ok=True)
                on_disk.pop(name, None)
            if decision.write is not None and digest is not None:
                folder.mkdir(parents=True, exist_ok=True)
                (folder / decision.write).write_bytes(text.encode())
                on_disk[decision.write] = digest
            kept += decision.keep
            left += [
                {"source_file": source, "name": name, "digest": there}
                for name, there in on_disk.items()
                if there == digest or there == ours.get(name)
            ]
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StoreError(f"the folder {FOLDER} cannot be written ({reason}): free it and run again") from error
    replace_rows(con, "rejected_files", pl.DataFrame(left, schema=WRITTEN), None)
    return kept


def _open(con: duckdb.DuckDBPyConnection, written: set[str]) -> Iterator[tuple[str, str]]:
    """Yield each list that has open rejects, or had some, by source file, and its text (empty: nothing is left).

    A source whose header line changed between two imports has a list under each.
    """
    findings = query(con, "rejected_open")
    lists: dict[str, str] = dict.fromkeys(sorted(written), "")
    headers: dict[str, int] = {}
    grouped = query(con, "rejected_records_open").group_by("source_file", "header", maintain_order=True)
    for (source, header), rows in grouped:
        headers[str(source)] = headers.get(str(source), 0) + 1
        label = str(source) if headers[str(source)] == 1 else f"{source} (header {headers[str(source)]})"
        own = findings.filter(pl.col("source_file") == source)
        lists[label] = render_records([str(cell) for cell in header], rows.drop("header"), own)
    yield from lists.items()


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
