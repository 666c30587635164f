"""Refused records as a CSV the owner can correct and import again, and that file recognised when it comes back."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.formulas import guard, unguard
from pipeline.checks.rules import CONFLICTING_ROWS
from pipeline.findings import FINDING_SCHEMA

if TYPE_CHECKING:
    from pipeline.ingest.read import RawTable

EXTRA = ("source_file", "source_line", "column", "value", "rule", "advice")
"""The last columns of a rejected file, which say what each record resolves."""

BYTE_ORDER_MARK = "\ufeff"
"""Put in front where the text is not plain ASCII: without it spreadsheets read UTF-8 as a legacy encoding."""

RECORD_SCHEMA: dict[str, pl.DataType] = {
    "source_file": pl.String(),
    "source_line": pl.Int64(),
    "cells": pl.List(pl.String),
    "raw": pl.String(),
    "record_digest": pl.String(),
}
"""One refused record as read: its cells, or the raw line where its width is wrong (then cells are null), and the
digest of its text, by which it is known again where its line has moved."""

BETWEEN_CELLS = "\x1f"


@dataclass(frozen=True)
class Resolving:
    """A rejected file that came back, taken apart.

    Attributes
    ----------
    pieces
        The records as if read again from the file and line they came from, one table per such file, so that mapping,
        parsing, checks and store treat them as that file's. Records without a readable place stay under the name of
        the rejected file itself.
    places
        source_file, source_line, rule, value of every record that resolves something, as the file says; so
        that two imports of one file name can be told apart.
    """

    pieces: tuple[RawTable, ...]
    places: pl.DataFrame


def malformed_findings(raw: RawTable) -> pl.DataFrame:
    """Return one finding per record of ``raw`` that is no row at all; its value is the raw line.

    The reader's message begins with the place, which a finding carries in columns of its own.
    """
    place = pl.format("{} line {}: ", pl.lit(raw.name), "source_line")
    return raw.malformed.select(
        pl.lit(raw.name).alias("source_file"),
        "source_line",
        pl.lit("row").alias("scope"),
        pl.lit(None, pl.String).alias("field"),
        pl.lit(None, pl.String).alias("header"),
        pl.col("raw").alias("value"),
        "rule",
        pl.col("message").str.strip_prefix(place).alias("message"),
        "advice",
    ).cast(FINDING_SCHEMA)  # type: ignore[arg-type]


def as_written(findings: pl.DataFrame, raw: RawTable) -> pl.DataFrame:
    """Return the findings with each cell's value as the shop typed it, where a check saw it converted."""
    cell = pl.col("field").is_not_null() & pl.col("header").is_in(list(raw.header))
    told = findings.with_row_index("_n").filter(cell & (pl.col("source_file") == raw.name))
    told = told.filter(pl.col("rule") != CONFLICTING_ROWS.slug)
    lines = raw.cells.unique("source_line", keep="first")
    texts = [
        told.filter(header=header)
        .join(lines, on="source_line", how="inner")
        .select("_n", pl.col(f"c{raw.header.index(header)}").fill_null("").alias("_text"))
        for header in told["header"].unique(maintain_order=True)
    ]
    if not texts:
        return findings
    typed = findings.with_row_index("_n").join(pl.concat(texts), on="_n", how="left", maintain_order="left")
    return typed.with_columns(pl.coalesce("_text", "value").alias("value")).select(findings.columns)


def rejected_records(raw: RawTable, findings: pl.DataFrame) -> pl.DataFrame:
    """Return the records of ``raw`` that a finding is about, exactly as read (``RECORD_SCHEMA``), in file order."""
    lines = findings.filter(pl.col("source_file") == raw.name).select("source_line").unique()
    names = [name for name in raw.cells.columns if name != "source_line"]
    shaped = raw.cells.select(
        pl.lit(raw.name).alias("source_file"),
        "source_line",
        pl.concat_list(pl.col(names).fill_null("")).alias("cells"),
        pl.lit(None, pl.String).alias("raw"),
    )
    broken = raw.malformed.select(
        pl.lit(raw.name).alias("source_file"),
        "source_line",
        pl.lit(None, pl.List(pl.String)).alias("cells"),
        "raw",
    )
    both = pl.concat([shaped, broken], how="vertical_relaxed").sort("source_line", maintain_order=True)
    refused = both.join(lines, on="source_line", how="semi", maintain_order="left")
    text = pl.coalesce("raw", pl.col("cells").list.join(BETWEEN_CELLS).str.strip_chars_end(BETWEEN_CELLS))
    digests = [hashlib.sha256(record.encode()).hexdigest() for record in refused.select(text).to_series()]
    return refused.with_columns(pl.Series("record_digest", digests, pl.String)).select(list(RECORD_SCHEMA))


def render_records(header: Sequence[str], records: pl.DataFrame, findings: pl.DataFrame) -> str:
    """Return the text of a rejected file: the shop's own header, each record once, then what is wrong with it.

    Parameters
    ----------
    header
        The source file's header cells as read.
    records
        ``RECORD_SCHEMA``; a record without a finding is left out.
    findings
        Open findings on these records; several on one are joined by ``; ``. Where both frames carry ``import_id``,
        two imports of one file name are kept apart.

    Returns
    -------
    str
        Comma-separated text with line feeds, to be written as UTF-8 unchanged; empty if no record is left.
    """
    place = place_of(records)
    why = reasons(findings, place)
    rows = records.join(why, on=place, how="inner", maintain_order="left")
    if rows.is_empty():
        return ""
    cells = [pl.col("cells").list.get(n, null_on_oob=True).alias(f"c{n}") for n in range(len(header))]
    table = rows.select(
        *cells,
        "source_file",
        pl.col("source_line").cast(pl.String),
        "column",
        pl.coalesce("raw", "value").alias("value"),
        "rule",
        "advice",
    )
    top = pl.DataFrame([[*header, *EXTRA]], schema=table.schema, orient="row")
    body = pl.concat([top, table]).with_columns(guard(pl.all()))
    text = body.with_columns(pl.when(pl.all() != "").then(pl.all())).write_csv(include_header=False)
    return text if text.isascii() else BYTE_ORDER_MARK + text


def place_of(frame: pl.DataFrame) -> list[str]:
    """Return the columns that say where a record or finding comes from, import_id among them if it is there."""
    return [name for name in ("import_id", "source_file", "source_line") if name in frame.columns]


def reasons(findings: pl.DataFrame, place: Sequence[str]) -> pl.DataFrame:
    """Return one row per place: column, value, rule and advice of its findings, each joined in one fixed order,
    the same advice once."""
    ordered = findings.sort(*place, "rule", "field", "value", nulls_last=True)
    joined = [
        pl.col(name).fill_null("").str.join("; ").alias(alias)
        for name, alias in (("header", "column"), ("value", "value"), ("rule", "rule"))
    ]
    advice = pl.col("advice").fill_null("").unique(maintain_order=True).str.join("; ")
    return ordered.group_by(place, maintain_order=True).agg(*joined, advice)


def recognise(raw: RawTable) -> Resolving | None:
    """Return what a rejected file resolves, or null for any other file; its name plays no part.

    A spreadsheet may have re-encoded or re-delimited it, or added empty columns at its end. A record whose own cells
    are all empty still carries only its raw line: nobody has corrected it, and it stays refused for the same reason.

    Parameters
    ----------
    raw
        Any file as read.
    """
    header = [name.strip() for name in raw.header]
    while header and not header[-1]:
        header.pop()
    width = len(header) - len(EXTRA)
    if width < 1 or tuple(name.lower() for name in header[width:]) != EXTRA:
        return None
    names = [name for name in raw.cells.columns if name != "source_line"]
    file, line, _, value, rule, advice = (pl.col(names[width + n]) for n in range(len(EXTRA)))
    place = line.str.extract(r"^\s*(\d+)(?:[.,]0*)?\s*$").cast(pl.Int64, strict=False)
    found = place.is_not_null() & (file.str.strip_chars() != "").fill_null(False)
    own = names[:width]
    rows = raw.cells.with_columns(unguard(pl.col(names))).with_columns(
        pl.when(found).then(file.str.strip_chars()).otherwise(pl.lit(raw.name)).alias("_file"),
        pl.when(found).then(place).otherwise("source_line").alias("source_line"),
        found.alias("_found"),
        pl.all_horizontal(pl.col(own).fill_null("").str.strip_chars() == "", value != "").alias("_raw"),
    )
    broken = rows.filter("_raw").select(
        "_file",
        "source_line",
        rule.fill_null("").alias("rule"),
        value.alias("raw"),
        advice.fill_null("").alias("advice"),
    )
    head = pl.DataFrame({"name": raw.header[:width]}).select(unguard(pl.col("name")))["name"]
    pieces = []
    for name in rows["_file"].unique(maintain_order=True):
        pieces.append(
            replace(
                raw,
                name=name,
                header=tuple(head),
                cells=rows.filter((pl.col("_file") == name) & ~pl.col("_raw")).select(*own, "source_line"),
                malformed=_still_broken(broken.filter(pl.col("_file") == name), raw),
                skipped=raw.skipped.clear(),
            )
        )
    if not raw.malformed.is_empty():
        nothing = raw.cells.select(*own, "source_line").clear()
        pieces.append(replace(raw, header=tuple(head), cells=nothing, skipped=raw.skipped.clear()))
    places = rows.filter("_found").select(
        pl.col("_file").alias("source_file"),
        "source_line",
        rule.fill_null("").alias("rule"),
        value.fill_null("").alias("value"),
    )
    return Resolving(tuple(pieces), places.unique(maintain_order=True))


def with_record_digest(findings: pl.DataFrame, records: pl.DataFrame) -> pl.DataFrame:
    """Return the findings with ``record_digest`` of the record each is about; row count and order kept."""
    known = records.select("source_file", "source_line", "record_digest").unique(["source_file", "source_line"])
    return findings.join(known, on=["source_file", "source_line"], how="left", maintain_order="left")


def _still_broken(records: pl.DataFrame, raw: RawTable) -> pl.DataFrame:
    message = pl.lit("the record still has more cells than the header; the row was not stored")
    return records.select(
        *(pl.col(name) if name in records.columns else message.alias(name) for name in raw.malformed.columns)
    ).cast(dict(raw.malformed.schema))  # type: ignore[arg-type]
