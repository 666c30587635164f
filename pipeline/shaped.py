"""Checks of files whose records are not rows of one table: invoice lines, tickets with columns for several units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import polars as pl

from pipeline.checks.check import Checked
from pipeline.checks.rejects import as_written
from pipeline.ingest.line_folding import Folded
from pipeline.ingest.parse import Parsed
from pipeline.ingest.read import RawTable
from pipeline.ingest.several_units import SeveralUnits, as_in_file, true_line
from pipeline.ingest.zero_filled import blank_zeros

Check = Callable[[Parsed, RawTable | None], Checked]


@dataclass(frozen=True)
class Shaped:
    """One file after its checks; attributes as those of ``intake.Taken``, findings without record_digest.

    ``findings`` has two columns more: ``table``, and the ``unit_id`` of a value refused on a record of several units.
    """

    parsed: Parsed
    checked: Checked
    findings: pl.DataFrame
    parts: Checked | None
    shared: pl.DataFrame | None
    blanked: pl.DataFrame


def check_plain(raw: RawTable, parsed: Parsed, check: Check) -> Shaped:
    """Check a file with a row per record."""
    parsed, blanked = blank_zeros(parsed)
    checked = check(parsed, raw)
    return Shaped(parsed, checked, _of(checked), None, None, blanked)


def check_several(raw: RawTable, several: SeveralUnits, parsed: Parsed, check: Check) -> Shaped:
    """Check a file with a row per unit of each record; lines and headers are the file's own afterwards."""
    parsed, blanked = blank_zeros(parsed)
    units = "unit_id" if "unit_id" in parsed.frame.columns else None
    of_row = parsed.frame.select(
        "source_line", pl.col(units).alias("unit_id") if units else pl.lit(None, pl.String).alias("unit_id")
    ).unique("source_line", keep="first")
    checked = check(parsed, None)
    told = checked.findings.join(of_row, on="source_line", how="left", maintain_order="left")
    findings = as_in_file(told, several)
    findings = as_written(findings.drop("unit_id"), raw).with_columns(findings["unit_id"])
    lines = true_line(pl.col("source_line"))
    shared = raw.cells.select("source_line", row_line="source_line").unique(maintain_order=True)
    found = replace(
        checked,
        frame=checked.frame.with_columns(lines),
        repeated=checked.repeated.with_columns(lines),
        findings=findings.drop("unit_id"),
    )
    of_table = findings.with_columns(table=pl.lit(checked.table)).select(*found.findings.columns, "table", "unit_id")
    return Shaped(parsed, found, _whole(of_table), None, shared, blanked)


def check_lines(raw: RawTable, seen: RawTable, folded: Folded, check: Check) -> Shaped:
    """Check visits and parts of an export of invoice lines; a line whose visit is refused is refused with it."""
    visits, blanked = blank_zeros(folded.visits)
    checked = check(visits, seen)
    refused = checked.findings.filter(pl.col("scope") == "row")
    others = folded.records.filter(pl.col("source_line") != pl.col("visit_line"))
    kept = checked.frame.select(visit_line="source_line")
    with_visit = (
        refused.join(kept, left_on="source_line", right_on="visit_line", how="anti")
        .join(others.rename({"source_line": "_line"}), left_on="source_line", right_on="visit_line", how="inner")
        .with_columns(source_line="_line")
        .select(refused.columns)
    )
    found = pl.concat([checked.findings, with_visit])
    checked = replace(checked, findings=found)
    lost = found.filter(pl.col("scope") == "row").get_column("source_line").implode()
    left = ~pl.col("source_line").is_in(lost)
    parts = check(replace(folded.parts, frame=folded.parts.frame.filter(left)), raw)
    rows = folded.records.rename({"visit_line": "row_line"})
    return Shaped(visits, checked, _whole(pl.concat([_of(checked), _of(parts)])), parts, rows, blanked)


def _of(checked: Checked) -> pl.DataFrame:
    return checked.findings.with_columns(table=pl.lit(checked.table), unit_id=pl.lit(None, pl.String))


def _whole(findings: pl.DataFrame) -> pl.DataFrame:
    """Return the findings with scope ``row`` on records that are refused, so that values count on stored ones only."""
    lost = findings.filter(pl.col("scope") == "row").get_column("source_line").implode()
    scope = pl.when(pl.col("source_line").is_in(lost)).then(pl.lit("row")).otherwise("scope")
    return findings.with_columns(scope=scope).sort("source_line", maintain_order=True)
