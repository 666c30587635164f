"""The shop's own target superheat charts, from the text of a small CSV file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping

import polars as pl

from pipeline.enrich.charge_targets import CHART_COLUMNS
from pipeline.errors import UsageError, cut

NUMBERS = ("return_wb_f", "outdoor_db_f", "target_superheat_f")
CHARTS_SCHEMA: Mapping[str, pl.DataType] = {
    name: pl.Float64() if name in NUMBERS else pl.String() for name in CHART_COLUMNS
}
"""One row per cell of a chart; a blank target is the chart's dash."""


def parse_charts(text: str, *, name: str = "charts.csv") -> pl.DataFrame:
    """Return the cells of the shop's charts (``CHARTS_SCHEMA``).

    Parameters
    ----------
    text : str
        CSV with the columns unit_id and model (either may be blank), return_wb_f, outdoor_db_f, target_superheat_f.
    name : str
        File name for messages.

    Raises
    ------
    UsageError
        If a column is missing, a cell is not a number, or a row names neither unit nor model.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    missing = [column for column in CHART_COLUMNS if column not in (reader.fieldnames or ())]
    if missing:
        raise UsageError(f"{name}, line 1: the column {missing[0]!r} is missing: add it", slug="charts")
    rows = []
    for row in reader:
        line = f"{name}, line {reader.line_num}"
        owner = {key: (row[key] or "").strip() or None for key in ("unit_id", "model")}
        if owner["unit_id"] is None and owner["model"] is None:
            raise UsageError(f"{line}: neither unit_id nor model is given: name the chart's owner", slug="charts")
        rows.append(owner | {column: _number(row[column], column, line) for column in NUMBERS})
    return pl.DataFrame(rows, schema=dict(CHARTS_SCHEMA))


def _number(cell: str | None, column: str, line: str) -> float | None:
    value = (cell or "").strip()
    if not value and column == "target_superheat_f":
        return None
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise UsageError(f"{line}, {column}: {cut(value)!r} is not a number: write degrees Fahrenheit", slug="charts")
    return number
