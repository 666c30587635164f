"""Finds every row check: one file in ``pipeline/checks/rows``, nothing else to touch."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Literal

import polars as pl

from pipeline.checks import rows
from pipeline.fields import fields_for_file

Severity = Literal["reject_value", "reject_row", "suspect"]

LATEST_DATE = "_latest_date"
"""Column added before the checks run: the later of as-of and today."""

POLARS_TYPES: Mapping[str, type[pl.DataType]] = {
    "text": pl.String,
    "word": pl.String,
    "words": pl.String,
    "date": pl.Date,
    "number": pl.Float64,
    "integer": pl.Int64,
    "rating": pl.Float64,
}


@dataclass(frozen=True)
class Check:
    """One row rule.

    Attributes
    ----------
    slug
        Name of the rule; the file is named the same with underscores.
    tables
        Tables the rule is for.
    severity
        ``reject_value`` empties the blamed fields, ``reject_row`` refuses the row, ``suspect`` marks the blamed
        fields and keeps them.
    blames
        Fields at fault; the rule is left out for a file that has not all of them.
    caught
        Boolean expression over the parsed frame, true where the rule is broken. Null counts as not caught. A column
        that the file lacks reads as null.
    message
        Cause in one sentence; ``{field}`` shows that field of the row.
    advice
        What to do about it.
    source
        Where the rule or its limit comes from.
    example_caught, example_inside
        Two rows, one just beyond the limit and one just inside.
    """

    slug: str
    tables: tuple[str, ...]
    severity: Severity
    blames: tuple[str, ...]
    caught: pl.Expr
    message: str
    advice: str
    source: str
    example_caught: Mapping[str, object]
    example_inside: Mapping[str, object]

    @property
    def needs(self) -> frozenset[str]:
        """Columns that the expression or the message reads."""
        shown = {name for _, name, _, _ in Formatter().parse(self.message) if name}
        return frozenset(self.caught.meta.root_names()) | shown


def all_checks() -> tuple[Check, ...]:
    """Return every check in ``pipeline/checks/rows``, in the order of their names.

    Raises
    ------
    ValueError
        If a file's slug is not its own name, so that a rule named in a report can always be found.
    """
    return tuple(_load(name) for name in sorted(module.name for module in pkgutil.iter_modules(rows.__path__)))


def checks_for(table: str) -> tuple[Check, ...]:
    """Return the checks that rows of ``table`` go through."""
    return tuple(check for check in all_checks() if table in check.tables)


def padded(frame: pl.DataFrame, table: str, names: frozenset[str]) -> pl.DataFrame:
    """Return ``frame`` with a typed null column for each of ``names`` that it lacks."""
    fields = fields_for_file(table)
    lacking = sorted(names - set(frame.columns))
    return frame.with_columns(pl.lit(None, POLARS_TYPES[fields[name].kind]).alias(name) for name in lacking)


def caught(frame: pl.DataFrame, table: str, check: Check) -> pl.Series:
    """Return, for each row of ``frame``, whether ``check`` catches it."""
    return padded(frame, table, check.needs).select(check.caught.fill_null(False).alias(check.slug)).to_series()


def cause(check: Check) -> pl.Expr:
    """Return the expression that writes the check's message for a row, without the place."""
    parts: list[pl.Expr] = []
    for text, name, _, _ in Formatter().parse(check.message):
        parts.append(pl.lit(text))
        if name:
            parts.append(shown(name))
    return pl.concat_str(parts)


def shown(name: str) -> pl.Expr:
    """Return the expression that shows a field of a row as short text, ``?`` where it is null."""
    return pl.col(name).cast(pl.String).str.strip_suffix(".0").str.slice(0, 40).fill_null("?")


def _load(name: str) -> Check:
    check: Check = importlib.import_module(f"{rows.__name__}.{name}").CHECK
    if check.slug != name.replace("_", "-"):
        raise ValueError(f"checks/rows/{name}.py holds the check {check.slug!r}: file and slug must have one name")
    return check
