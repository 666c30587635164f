"""The Great Expectations gate on the staged rows of a run, one table at a time.

One registry of rules, two executions: polars decides row by row, and this suite, made from the same registry, says of
the whole batch that nothing slipped through. A batch that fails is not loaded; that is a fault of this program.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

import sql
from pipeline.checks.deferred import defer
from pipeline.checks.rules import ROUNDING_F, WET_OVER_DRY_F
from pipeline.errors import PipelineError
from pipeline.fields import Field, fields_for_file, registry

if TYPE_CHECKING:
    import duckdb

RESULT_SCHEMA: dict[str, type[pl.DataType]] = {
    "expectation": pl.String,
    "column": pl.String,
    "success": pl.Boolean,
    "unexpected_count": pl.Int64,
    "element_count": pl.Int64,
}
"""One row per expectation of one batch; stored as ``core.expectation_results``."""

UNUSED_BY_THE_SUITE = ("altair", "scipy.stats")
"""What the library imports for charts and significance tests: half a second of every run, put off for good."""

WET_AND_DRY = (("return_wb_f", "return_db_f"), ("supply_wb_f", "supply_db_f"))


@dataclass(frozen=True)
class GateResult:
    """Whether the staged rows may be loaded, and what each expectation found."""

    success: bool
    expectations: pl.DataFrame

    def raise_if_failed(self, file: str) -> None:
        """Raise ``PipelineError`` naming the first expectation that failed."""
        failed = self.expectations.filter(~pl.col("success"))
        if failed.height:
            row = failed.row(0, named=True)
            what = f"{row['expectation']} on {row['column'] or 'the rows'}"
            raise PipelineError(
                f"{file}: the staged rows fail the check {what} ({row['unexpected_count']} rows), which the row "
                "rules should have caught; nothing of this run was stored",
                slug="gate",
            )


@dataclass(frozen=True)
class Rule:
    """One expectation, before the library is loaded: its name in results, its class there and its arguments."""

    name: str
    expectation: str
    column: str | None
    arguments: dict[str, Any]


def warm_up() -> threading.Thread:
    """Import the library in the background while files are read; the first ``gate`` waits for it.

    Not a daemon: a program that ends while the library is half imported would be aborted.
    """
    thread = threading.Thread(target=_library, name="gate-import")
    thread.start()
    return thread


def rules_for(table: str, columns: Sequence[str], latest: dt.date | None = None) -> list[Rule]:
    """Return the suite for files of ``table`` that carry ``columns``, made from the registry.

    Parameters
    ----------
    latest
        No visit is dated later (the later of as-of and today).
    """
    entry, fields = registry()[table], fields_for_file(table)
    present = [fields[name] for name in fields if name in set(columns)]
    rules = [
        Rule("expect_column_values_to_not_be_null", "ExpectColumnValuesToNotBeNull", name, {})
        for name in entry.required
    ]
    for field in present:
        low, high = field.low, field.high
        if field.name == "visit_date" and latest is not None:
            high = latest
        if low is not None or high is not None:
            limits = {"min_value": low, "max_value": high}
            rules.append(
                Rule("expect_column_values_to_be_between", "ExpectColumnValuesToBeBetween", field.name, limits)
            )
        if field.kind == "word":
            words = {"value_set": list(field.allowed)}
            rules.append(Rule("expect_column_values_to_be_in_set", "ExpectColumnValuesToBeInSet", field.name, words))
    return rules + _own_sql(table, entry.key, entry.required, present)


def _own_sql(table: str, key: Sequence[str], required: Sequence[str], present: Sequence[Field]) -> list[Rule]:
    names = {field.name for field in present}
    words = [field for field in present if field.kind == "words"]
    numbers = [field.name for field in present if field.is_numeric and field.kind != "integer"]
    pairs = [pair for pair in WET_AND_DRY if names >= set(pair)]
    queries = [_query("key_shared", key=key), _query("required_blank", fields=required)]
    if words:
        queries.append(_query("words_unknown", fields=words))
    if numbers:
        queries.append(_query("not_finite", fields=numbers))
    if pairs and table == "visits":
        queries.append(_query("wet_bulb_over_dry_bulb", pairs=pairs, limit_f=f"{WET_OVER_DRY_F + ROUNDING_F:.6f}"))
    return queries


def _query(name: str, **names: Any) -> Rule:
    text = sql.render(f"checks/staged/{name}.sql.j2", **names)
    # The library fills {batch} in; a comment's braces would be filled too, so comments go.
    lines = [line for line in text.splitlines() if not line.lstrip().startswith("--")]
    arguments = {"unexpected_rows_query": "\n".join(lines), "description": name}
    return Rule(name, "UnexpectedRowsExpectation", None, arguments)


def gate(
    con: duckdb.DuckDBPyConnection, table: str, columns: Sequence[str], latest: dt.date | None = None
) -> GateResult:
    """Validate ``staging.<table>`` on the load's own connection, inside its transaction.

    Parameters
    ----------
    columns
        Fields that any of the staged files carries (``Staged.columns``, joined).
    latest
        No visit is dated later.

    Returns
    -------
    GateResult
        ``expectations`` in ``RESULT_SCHEMA``, in the order of the suite.

    Notes
    -----
    The library needs some 8 ms of its own per expectation, whatever the rows: hence once per table and run, not once
    per file.
    """
    library = _library()
    rules = rules_for(table, columns, latest)
    context = library.get_context(mode="ephemeral")
    context.variables.progress_bars = {"globally": False, "metric_calculations": False}
    source = context.data_sources.add_duckdb_local(name="store", connection_string="duckdb:///:memory:")
    source.hold(con)
    batch = source.add_table_asset(name=table, table_name=table).add_batch_definition_whole_table("staged").get_batch()
    suite = library.ExpectationSuite(name=table, expectations=[_expectation(library, rule) for rule in rules])
    outcome = batch.validate(suite, result_format="BASIC")
    found = {_key(result.expectation_config): result for result in outcome.results}
    rows = [_row(rule, found[(rule.name, rule.column)]) for rule in rules]
    return GateResult(bool(outcome.success), pl.DataFrame(rows, schema=RESULT_SCHEMA, orient="row"))


def _expectation(library: Any, rule: Rule) -> Any:
    kind = getattr(library.expectations, rule.expectation)
    named = {"column": rule.column} if rule.column else {}
    return kind(**named, **rule.arguments)


def _key(configuration: Any) -> tuple[str, str | None]:
    return configuration.description or configuration.type, configuration.kwargs.get("column")


def _row(rule: Rule, result: Any) -> tuple[str, str | None, bool, int | None, int | None]:
    found = result.result
    unexpected = found.get("unexpected_count", found.get("observed_value"))
    return rule.name, rule.column, bool(result.success), unexpected, found.get("element_count")


_LOADING = threading.Lock()


def _library() -> Any:
    """Return the library, loaded once, without its messages and with its reports home switched off."""
    with _LOADING:
        os.environ["GX_ANALYTICS_ENABLED"] = "false"
        logging.getLogger("great_expectations").setLevel(logging.CRITICAL + 1)  # failures are in the result
        defer(*UNUSED_BY_THE_SUITE)
        import great_expectations

        from pipeline.checks import gx_duckdb  # noqa: F401  registers add_duckdb_local

        return great_expectations
