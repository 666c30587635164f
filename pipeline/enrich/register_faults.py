"""Dates, serials and claims of the register that contradict each other, each with its place."""

from __future__ import annotations

import polars as pl

FAULTS_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "fault": pl.String,
        "message": pl.String,
        "source_file": pl.String,
        "source_line": pl.Int64,
    }
)
"""One row per contradiction. The rows stay as they are; rates and claims leave out what they cannot use."""

FIRST_VISIT_SLACK_DAYS = 45
"""An install dated so shortly after the first visit is a late entry: quote or start-up visit (engineering choice)."""


def register_faults(units: pl.DataFrame, visits: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """Return what does not add up in the register and the parts.

    Parameters
    ----------
    units : DataFrame
        unit_id, serial, installed_on, registered_on, retired_on, first_visit_on, last_visit_on, place in its file.
    visits : DataFrame
        unit_id, visit_id, visit_date, place in its file.
    parts : DataFrame
        unit_id, visit_id, visit_date, claim_status, claim_amount, claimed_on, place in its file.

    Returns
    -------
    DataFrame
        ``FAULTS_SCHEMA``, sorted by fault, unit_id, visit_id. The faults: ``install_after_first_visit``,
        ``retired_then_visited``, ``registered_before_install``, ``serial_used_twice``, ``claim_without_status``,
        ``claimed_before_visit``.
    """
    found = [
        _of_units(
            units.filter(pl.col("installed_on") > pl.col("first_visit_on").dt.offset_by(f"{FIRST_VISIT_SLACK_DAYS}d")),
            "install_after_first_visit",
            pl.format("installed on {}, but visited on {} already", "installed_on", "first_visit_on"),
        ),
        _of_units(
            units.filter(pl.col("registered_on") < pl.col("installed_on")),
            "registered_before_install",
            pl.format("registered on {}, before the install on {}", "registered_on", "installed_on"),
        ),
        _retired_then_visited(units, visits),
        _serials_twice(units),
        _of_parts(
            parts.filter(pl.col("claim_amount").is_not_null() & pl.col("claim_status").is_null()),
            "claim_without_status",
            pl.format("a claim amount of {} without a state of the claim", pl.col("claim_amount").round(2)),
        ),
        _of_parts(
            parts.filter(pl.col("claimed_on") < pl.col("visit_date")),
            "claimed_before_visit",
            pl.format("claimed on {}, before the visit on {}", "claimed_on", "visit_date"),
        ),
    ]
    return pl.concat(found).sort("fault", "unit_id", "visit_id", "source_line")


def _retired_then_visited(units: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    gone = units.filter(pl.col("last_visit_on") > pl.col("retired_on")).select("unit_id", "retired_on")
    late = (
        visits.join(gone, on="unit_id", how="inner")
        .filter(pl.col("visit_date") > pl.col("retired_on"))
        .sort("unit_id", "visit_date", "visit_id")
        .unique("unit_id", keep="first", maintain_order=True)
    )
    text = pl.format("retired on {}, but visited on {}: no exposure is counted after it", "retired_on", "visit_date")
    return _row(late, "retired_then_visited", text, pl.col("visit_id"))


def _serials_twice(units: pl.DataFrame) -> pl.DataFrame:
    key = pl.col("serial").str.strip_chars().str.to_uppercase()
    maker = pl.col("make").str.strip_chars().str.to_lowercase()
    shared = (
        units.with_columns(key=key.replace("", None), maker=maker)
        .filter(pl.col("key").is_not_null())
        .with_columns(
            many=pl.len().over("key", "maker"),
            first=pl.col("unit_id").min().over("key", "maker"),
            last=pl.col("unit_id").max().over("key", "maker"),
        )
        .filter(pl.col("many") > 1)
    )
    other = pl.when(pl.col("unit_id") == pl.col("first")).then("last").otherwise("first")
    return _of_units(shared, "serial_used_twice", pl.format("the serial also stands on unit {}", other))


def _of_units(rows: pl.DataFrame, fault: str, message: pl.Expr) -> pl.DataFrame:
    return _row(rows, fault, message, pl.lit(None, pl.String))


def _of_parts(rows: pl.DataFrame, fault: str, message: pl.Expr) -> pl.DataFrame:
    return _row(rows, fault, message, pl.col("visit_id"))


def _row(rows: pl.DataFrame, fault: str, message: pl.Expr, visit_id: pl.Expr) -> pl.DataFrame:
    return rows.select(
        "unit_id",
        visit_id=visit_id,
        fault=pl.lit(fault),
        message=message,
        source_file="source_file",
        source_line="source_line",
    ).cast(FAULTS_SCHEMA)
