"""Files as read, made from lists: header, rows of text, and nothing skipped or malformed."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.ingest.read import MALFORMED_SCHEMA, SKIPPED_SCHEMA, RawTable


def make_raw(header: Sequence[str], rows: Sequence[Sequence[str | None]] = (), *, name: str = "export.csv") -> RawTable:
    """Return the file whose header stands on line 1 and whose rows follow line by line."""
    cells = {f"c{i}": pl.Series([row[i] for row in rows], dtype=pl.String) for i in range(len(header))}
    lines = pl.Series(range(2, 2 + len(rows)), dtype=pl.Int64)
    return RawTable(
        name=name,
        sha256="0" * 64,
        encoding="utf-8",
        encoding_confidence=1.0,
        delimiter=",",
        quote='"',
        header=tuple(header),
        header_line=1,
        cells=pl.DataFrame(cells | {"source_line": lines}),
        skipped=pl.DataFrame(schema=SKIPPED_SCHEMA),
        malformed=pl.DataFrame(schema=MALFORMED_SCHEMA),
    )


def make_columns(columns: dict[str, Sequence[str | None]], *, name: str = "export.csv") -> RawTable:
    """Return the file with these columns of text."""
    return make_raw(list(columns), list(zip(*columns.values(), strict=True)), name=name)
