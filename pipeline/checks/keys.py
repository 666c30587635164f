"""Rows of one file that share a key: exact repeats are counted once, contradictions are refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.checks.rules import CONFLICTING_ROWS
from pipeline.fields import fields_for_file, registry

ROW_N = "row_n"
LINES_NAMED = 5
"""A message names at most this many other lines."""


def number_parts(frame: pl.DataFrame, stored: pl.DataFrame | None = None) -> pl.DataFrame:
    """Return rows of ``parts`` with ``row_n``, which makes two capacitors of one visit two parts.

    Parameters
    ----------
    frame
        Rows of one file with visit_id, part, source_file, source_line, and unit_id where the file has it.
    stored
        Parts already stored from the source file (visit_id, unit_id, part, row_n, source_file, source_line), given
        where rejected rows come back corrected: a row stored before keeps its number, a new one goes last.

    Returns
    -------
    polars.DataFrame
        ``frame`` with row_n Int64; row count and order kept.
    """
    key = [name for name in ("visit_id", "unit_id", "part") if name in frame.columns]
    order = pl.struct("source_line", "_order")
    rows = frame.with_row_index("_order").with_columns(pl.lit(None, pl.Int64).alias("_kept"), pl.lit(0).alias("_taken"))
    if stored is not None and not stored.is_empty():
        at = [*key, "source_file", "source_line"]
        kept = stored.select(*at, pl.col(ROW_N).alias("_kept_n")).unique(at)
        taken = stored.group_by(key).agg(pl.col(ROW_N).max().alias("_taken_n"))
        rows = (
            rows.join(kept, on=at, how="left", nulls_equal=True, maintain_order="left")
            .join(taken, on=key, how="left", nulls_equal=True, maintain_order="left")
            .with_columns(pl.col("_kept_n").alias("_kept"), pl.col("_taken_n").fill_null(0).alias("_taken"))
        )
    new = pl.when(pl.col("_kept").is_null()).then(order)
    rank = new.rank("ordinal").over(key).cast(pl.Int64)
    return rows.with_columns(pl.coalesce("_kept", pl.col("_taken") + rank).cast(pl.Int64).alias(ROW_N)).select(
        *frame.columns, ROW_N
    )


def find_shared_keys(
    frame: pl.DataFrame, table: str, columns: Sequence[str], headers: Mapping[str, str]
) -> pl.DataFrame:
    """Return the rows whose key another row of the file also has, and what that means for each.

    Parameters
    ----------
    frame
        Rows of one file with ``_row`` (unique), source_file, source_line, rejected_fields and the mapped fields.
    columns
        Mapped fields, compared between the rows of one key.
    headers
        Header of each field as the shop typed it.

    Returns
    -------
    polars.DataFrame
        ``_row``, ``outcome`` (``first``, ``repeat`` or ``conflict``), ``key`` (text), ``field`` (the one that differs,
        null if several do), ``message`` (null unless conflict). Only rows that share their key.
    """
    key = [name for name in registry()[table].key if name in frame.columns]
    shared = frame.filter(pl.len().over(key) > 1)
    said = [name for name in columns if name in frame.columns and name not in key]
    refused = pl.col("rejected_fields").list.sort().list.join(",").alias("_refused")
    shared = shared.with_columns(
        refused,
        pl.concat_str([pl.col(name).cast(pl.String).fill_null("") for name in key], separator=" / ").alias("key"),
    )
    differs = [
        pl.when(pl.col(name).n_unique() > 1).then(pl.lit(name)).alias(f"_differs_{name}")
        for name in [*said, "_refused"]
    ]
    groups = shared.group_by(key).agg(
        pl.col("_row").sort_by("source_line", "_row").first().alias("_first"),
        pl.col("source_line").unique().sort().alias("_lines"),
        *differs,
    )
    names = pl.concat_list([f"_differs_{name}" for name in [*said, "_refused"]]).list.drop_nulls()
    groups = groups.select(*key, "_first", "_lines", names.alias("_differing"))
    outcome = (
        pl.when(pl.col("_differing").list.len() > 0)
        .then(pl.lit("conflict"))
        .when(pl.col("_row") == pl.col("_first"))
        .then(pl.lit("first"))
        .otherwise(pl.lit("repeat"))
    )
    joined = shared.join(groups, on=key, how="left", nulls_equal=True).with_columns(outcome.alias("outcome"))
    fields = pl.col("_differing").list.set_difference(pl.lit(["_refused"]))
    return joined.select(
        "_row",
        "source_line",
        "outcome",
        "key",
        pl.when(fields.list.len() == 1).then(fields.list.first()).alias("field"),
        pl.when(pl.col("outcome") == "conflict").then(_conflict_message(table, key, said, headers)).alias("message"),
    )


def _conflict_message(table: str, key: Sequence[str], said: Sequence[str], headers: Mapping[str, str]) -> pl.Expr:
    fields = fields_for_file(table)
    typed = {name: f'"{headers.get(name, fields[name].label)}"' for name in said if name in fields}
    others = pl.col("_lines").list.set_difference(pl.concat_list("source_line"))
    more = pl.when(others.list.len() > LINES_NAMED).then(pl.lit(" and more")).otherwise(pl.lit(""))
    place = (
        pl.when(others.list.len() == 0)
        .then(pl.lit("another record"))
        .when(others.list.len() == 1)
        .then(pl.format("line {}", others.list.first()))
        .otherwise(
            pl.concat_str(
                pl.lit("lines "),
                others.list.sort().list.head(LINES_NAMED).cast(pl.List(pl.String)).list.join(", "),
                more,
            )
        )
    )
    differing = (
        pl.col("_differing")
        .list.eval(pl.element().replace({**typed, "_refused": "unreadable value"}))
        .list.head(LINES_NAMED)
        .list.join(", ")
    )
    text = CONFLICTING_ROWS.message
    labels = " and ".join(fields[name].label for name in key if name in fields)
    before, rest = text.replace("{key}", labels).split("{place}")
    middle, after = rest.split("{differing}")
    return pl.concat_str(pl.lit(before), place, pl.lit(middle), differing, pl.lit(after))
