"""Parsed rows in, rows to be stored out; every refusal is a finding and every row is accounted for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.keys import find_shared_keys, number_parts
from pipeline.checks.registry import LATEST_DATE, Check, cause, checks_for, padded, shown
from pipeline.checks.rejects import as_written
from pipeline.checks.rules import CONFLICTING_ROWS, REQUIRED_MISSING
from pipeline.fields import fields_for_file, registry
from pipeline.findings import FINDING_SCHEMA, empty_findings

if TYPE_CHECKING:
    from pipeline.ingest.parse import Parsed
    from pipeline.ingest.read import RawTable

SUSPECT_SCHEMA: dict[str, type[pl.DataType]] = {
    "visit_id": pl.String,
    "unit_id": pl.String,
    "field": pl.String,
    "reason": pl.String,
    "message": pl.String,
}
"""One row per reading that is possible but not believable, and reason; stored as core.suspects."""


@dataclass(frozen=True)
class Checked:
    """Rows of one file after the checks.

    Attributes
    ----------
    table
        The table the rows are of.
    columns
        Mapped fields: what the file had, and so what an import may change.
    frame
        Rows to be stored, as Parsed's, with ``row_n`` for parts; sorted by source_line.
    findings
        All refusals of the file so far, parse's included.
    repeated
        Exact repeats of a row in ``frame`` (source_file, source_line); they count as unchanged.
    suspects
        Readings of ``frame`` marked as not believable.
    rows_rejected
        Rows of Parsed refused whole.
    """

    table: str
    columns: tuple[str, ...]
    frame: pl.DataFrame
    findings: pl.DataFrame
    repeated: pl.DataFrame
    suspects: pl.DataFrame
    rows_rejected: int


@dataclass(frozen=True)
class Account:
    """Where every record of one imported file went."""

    rows_read: int
    rows_stored: int
    rows_unchanged: int
    rows_rejected: int
    rows_skipped: int
    values_rejected: int = field(default=0)

    def assert_balanced(self) -> None:
        """Raise unless every record read is stored, unchanged, rejected or skipped.

        Raises
        ------
        AssertionError
            If a record is missing or counted twice: a fault of this program, never of the file.
        """
        counts = (self.rows_stored, self.rows_unchanged, self.rows_rejected, self.rows_skipped)
        total = sum(counts)
        if total != self.rows_read or min(counts) < 0:
            raise AssertionError(f"{self} does not add up: {total} records accounted for, {self.rows_read} read")


def check(
    parsed: Parsed,
    *,
    as_of: dt.date | None,
    today: dt.date,
    raw: RawTable | None = None,
    stored_parts: pl.DataFrame | None = None,
) -> Checked:
    """Return the rows to be stored, with values that fail emptied and rows that fail taken out.

    Parameters
    ----------
    parsed
        Typed rows of one file: mapped fields, source_file, source_line, rejected_fields (List[String]).
    as_of, today
        A visit dated after the later of the two is refused.
    raw
        The file as read, so that findings carry each value as the shop typed it.
    stored_parts
        For rows of parts that come back corrected; see ``number_parts``.

    Returns
    -------
    Checked
        ``frame`` + ``repeated`` + ``rows_rejected`` are all rows of ``parsed``, whatever their order.

    Raises
    ------
    AssertionError
        If a row would be lost or counted twice: a fault of this program.
    """
    table, heads = parsed.table, parsed.headers
    checks = [c for c in checks_for(table) if set(c.blames) <= set(parsed.frame.columns)]
    rows = parsed.frame.sort("source_line", maintain_order=True).with_row_index("_row")
    rows = rows.with_columns(pl.lit(max(today, as_of or today)).alias(LATEST_DATE))
    needed = frozenset().union(*(c.needs for c in checks), registry()[table].required)
    rows = padded(rows, table, needed)
    flags = rows.select("_row", *(c.caught.fill_null(False).alias(c.slug) for c in checks))

    value_checks = [c for c in checks if c.severity == "reject_value"]
    row_checks = [c for c in checks if c.severity == "reject_row"]
    found = [_missing(rows, table, parsed.findings, heads)]
    found += [_hits(rows, flags, c, heads, "value") for c in value_checks]
    found += [_hits(rows, flags, c, heads, "row") for c in row_checks]
    broken = flags.filter(pl.any_horizontal(pl.lit(False), *(c.slug for c in row_checks))).select("_row")
    bad = pl.concat([_unusable(rows, table), broken]).unique()

    emptied = _emptied(rows, flags, value_checks)
    left = emptied.join(bad, on="_row", how="anti", maintain_order="left")
    if table == "parts":
        left = number_parts(left, stored_parts)
    shared = find_shared_keys(left, table, parsed.columns, heads)
    conflicts = shared.filter(pl.col("outcome") == "conflict")
    repeats = shared.filter(pl.col("outcome") == "repeat")
    found.append(_conflicts(left, conflicts, heads))
    kept = left.join(conflicts, on="_row", how="anti", maintain_order="left").join(
        repeats, on="_row", how="anti", maintain_order="left"
    )
    rejected = pl.concat([bad, conflicts.select("_row")])
    if kept.height + repeats.height + rejected.height != parsed.frame.height:
        counts = f"{kept.height} kept, {repeats.height} repeated, {rejected.height} rejected"
        raise AssertionError(f"{counts} of {parsed.frame.height} rows")

    findings = _whole_rows(pl.concat([parsed.findings, *found]), rows.join(rejected, on="_row", how="semi"))
    extra = [name for name in ("row_n",) if name in kept.columns]
    return Checked(
        table=table,
        columns=parsed.columns,
        frame=kept.select(*parsed.frame.columns, *extra),
        findings=findings if raw is None else as_written(findings, raw),
        repeated=left.join(repeats, on="_row", how="semi", maintain_order="left").select("source_file", "source_line"),
        suspects=_suspects(kept, flags, [c for c in checks if c.severity == "suspect"]),
        rows_rejected=rejected.height,
    )


def _is_missing(name: str) -> pl.Expr:
    return pl.col(name).is_null() | (pl.col(name).cast(pl.String).str.strip_chars() == "")


def _unusable(rows: pl.DataFrame, table: str) -> pl.DataFrame:
    return rows.filter(pl.any_horizontal(_is_missing(name) for name in registry()[table].required)).select("_row")


def _missing(rows: pl.DataFrame, table: str, known: pl.DataFrame, headers: Mapping[str, str]) -> pl.DataFrame:
    """Findings for empty required fields that parse has not already said why they are empty."""
    fields = fields_for_file(table)
    parts = []
    for name in registry()[table].required:
        told = known.filter(pl.col("field") == name).select("source_file", "source_line").unique()
        hit = rows.filter(_is_missing(name)).join(told, on=["source_file", "source_line"], how="anti")
        header = headers.get(name, fields[name].label)
        rule, text = (
            REQUIRED_MISSING,
            pl.lit(f'column "{header}": {REQUIRED_MISSING.message}'),
        )
        parts.append(_findings(hit, "row", name, header, pl.lit(""), rule.slug, text, rule.advice))
    return pl.concat([empty_findings(), *parts])


def _hits(rows: pl.DataFrame, flags: pl.DataFrame, rule: Check, headers: Mapping[str, str], scope: str) -> pl.DataFrame:
    """Findings of one check, one per blamed field."""
    hit = rows.filter(flags[rule.slug])
    if hit.is_empty():
        return empty_findings()
    fields = fields_for_file(rule.tables[0])
    parts = []
    for name in rule.blames:
        header = headers.get(name, fields[name].label)
        text = pl.concat_str(pl.lit(f'column "{header}": '), cause(rule))
        parts.append(_findings(hit, scope, name, header, shown(name), rule.slug, text, rule.advice))
    return pl.concat(parts)


def _conflicts(rows: pl.DataFrame, conflicts: pl.DataFrame, headers: Mapping[str, str]) -> pl.DataFrame:
    hit = rows.select("_row", "source_file").join(conflicts, on="_row", how="inner", maintain_order="left")
    found = _findings(
        hit, "row", None, None, pl.col("key"), CONFLICTING_ROWS.slug, pl.col("message"), CONFLICTING_ROWS.advice
    )
    heads = pl.col("field").replace_strict(dict(headers), default=None, return_dtype=pl.String)
    return found.with_columns(hit["field"]).with_columns(heads.alias("header")).select(list(FINDING_SCHEMA))


def _findings(
    hit: pl.DataFrame,
    scope: str,
    name: str | None,
    header: str | None,
    value: pl.Expr,
    rule: str,
    message: pl.Expr,
    advice: str,
) -> pl.DataFrame:
    return hit.select(
        "source_file",
        "source_line",
        pl.lit(scope).alias("scope"),
        pl.lit(name, pl.String).alias("field"),
        pl.lit(header, pl.String).alias("header"),
        value.alias("value"),
        pl.lit(rule).alias("rule"),
        message.alias("message"),
        pl.lit(advice).alias("advice"),
    ).cast(FINDING_SCHEMA)  # type: ignore[arg-type]


def _emptied(rows: pl.DataFrame, flags: pl.DataFrame, checks: list[Check]) -> pl.DataFrame:
    """Return the rows with every value that a check refuses emptied and named in ``rejected_fields``."""
    refused: dict[str, list[str]] = {}
    for rule in checks:
        for name in rule.blames:
            refused.setdefault(name, []).append(rule.slug)
    if not refused:
        return rows
    flagged = rows.hstack(flags.drop("_row"))
    hit = {name: pl.any_horizontal(slugs) for name, slugs in refused.items()}
    added = pl.concat_list([pl.when(mask).then(pl.lit(name)) for name, mask in hit.items()]).list.drop_nulls()
    return flagged.with_columns(
        pl.col("rejected_fields").fill_null([]).list.set_union(added),
        *(pl.when(~mask).then(pl.col(name)).alias(name) for name, mask in hit.items()),
    ).select(rows.columns)


def _whole_rows(findings: pl.DataFrame, rejected: pl.DataFrame) -> pl.DataFrame:
    """Return the findings with scope ``row`` on rows refused whole, so that values_rejected counts stored rows only."""
    places = rejected.select("source_file", "source_line").unique().with_columns(pl.lit("row").alias("_scope"))
    return (
        findings.join(places, on=["source_file", "source_line"], how="left", maintain_order="left")
        .with_columns(pl.coalesce("_scope", "scope").alias("scope"))
        .drop("_scope")
        .sort("source_file", "source_line", maintain_order=True)
    )


def _suspects(kept: pl.DataFrame, flags: pl.DataFrame, checks: list[Check]) -> pl.DataFrame:
    parts = [pl.DataFrame(schema=SUSPECT_SCHEMA)]
    for rule in checks:
        hit = kept.join(flags.filter(rule.slug).select("_row"), on="_row", how="semi", maintain_order="left")
        hit = hit.filter(pl.all_horizontal(pl.col(rule.blames).is_not_null()))
        if hit.is_empty():
            continue
        text = cause(rule)
        parts += [
            hit.select(
                "visit_id",
                "unit_id",
                pl.lit(name).alias("field"),
                pl.lit(rule.slug.replace("-", "_")).alias("reason"),
                text.alias("message"),
            )
            for name in rule.blames
        ]
    return pl.concat(parts)
