"""The heat of past seasons, from the text of a small CSV file of the shop."""

from __future__ import annotations

import csv
import io
import math

import polars as pl

from pipeline.errors import UsageError, cut

HEAT_SCHEMA = pl.Schema({"season": pl.Int64, "cooling_degree_days": pl.Float64})
"""One row per season, by the year it starts in."""


def parse_degree_days(text: str, *, name: str = "degree_days.csv") -> pl.DataFrame:
    """Return the cooling degree days of past seasons (``HEAT_SCHEMA``).

    Parameters
    ----------
    text : str
        CSV with the columns season (year it starts in) and cooling_degree_days (degF day, base 65).
    name : str
        File name for messages.

    Raises
    ------
    UsageError
        If a column is missing or a cell is not a number.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    missing = [column for column in HEAT_SCHEMA if column not in (reader.fieldnames or ())]
    if missing:
        raise UsageError(f"{name}, line 1: the column {missing[0]!r} is missing: add it", slug="degree-days")
    rows = [
        {column: _number(row[column], f"{name}, line {reader.line_num}, {column}") for column in HEAT_SCHEMA}
        for row in reader
    ]
    return pl.DataFrame(rows, schema=dict.fromkeys(HEAT_SCHEMA, pl.Float64)).cast(HEAT_SCHEMA)


def _number(cell: str | None, where: str) -> float:
    value = (cell or "").strip()
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not math.isfinite(number) or number < 0:
        raise UsageError(f"{where}: {cut(value)!r} is not a number of 0 or more: mend it", slug="degree-days")
    return number
