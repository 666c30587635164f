"""What the whole fleet teaches, by digest, so that a run sees when it has changed."""

from __future__ import annotations

import hashlib

import duckdb
import polars as pl

from pipeline.store.derived import replace_keys
from pipeline.store.query import query


def keep_fact(con: duckdb.DuckDBPyConnection, name: str, fact: pl.DataFrame) -> bool:
    """Keep the digest of ``fact`` and return whether it differs from the one kept; the first differs."""
    digest = hashlib.sha256(fact.write_json().encode()).hexdigest()
    kept = dict(query(con, "core.fleet_facts").iter_rows())
    replace_keys(con, "fleet_facts", pl.DataFrame([{"name": name, "digest": digest}]), ["name"])
    return kept.get(name) != digest
