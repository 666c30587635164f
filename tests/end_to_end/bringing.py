"""Files brought in and enriched without forecast and pages, for tests that compare what two exports of a shop give."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.bring_in import gate_all, merge_all, settle_all, stage_all
from pipeline.config import Settings
from pipeline.derive import Scope, enrich
from pipeline.ingest import mapping_file
from pipeline.ingest.discover import discover
from pipeline.ingest.mapping_file import MappingFile
from pipeline.intake import Intake
from pipeline.progress import Progress
from pipeline.store import load, records
from pipeline.store.connect import open_store
from pipeline.store.query import query

TODAY = dt.date(2026, 3, 20)


@dataclass
class Brought:
    """What a shop's store holds after its files were brought in, and what was said."""

    tables: dict[str, pl.DataFrame]
    progress: Progress
    said: list[str] = field(default_factory=list)


def bring(
    shop: Path,
    *batches: Mapping[str, bytes | str],
    names: Sequence[str] = ("visits", "parts", "capacitor_readings", "core.capacitor_series", "rejects", "imports"),
    mapping: str = "",
) -> Brought:
    """Return the named tables after bringing in each batch of files by name, one after another."""
    shop.mkdir(parents=True, exist_ok=True)
    told: MappingFile = mapping_file.loads(mapping) if mapping else MappingFile()
    said: list[str] = []
    progress = Progress()
    for number, files in enumerate(batches):
        folder = shop / f"in{number}"
        folder.mkdir()
        for name, content in files.items():
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        with open_store(shop / "shop.duckdb") as con:
            progress = Progress()
            load.begin(con)
            intake = Intake(told, Settings(), None, TODAY, lambda wanted: load.stored_parts(con, wanted))
            stage_all(con, intake, list(enumerate(discover([folder], shop / "none"))), progress, said.append)
            gate_all(con, intake, progress)
            merge_all(con, progress, dt.datetime(2026, 3, 20))
            settle_all(con, said.append)
            records.record_settings(con, {})
            enrich(con, Scope(None, load.as_of(con, None, TODAY)), Settings())
            load.finish(con)
    with open_store(shop / "shop.duckdb", read_only=True) as con:
        return Brought({name: query(con, name) for name in names}, progress, said)
