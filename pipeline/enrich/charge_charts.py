"""The shop's own target superheat charts, from the text of a small CSV file."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.enrich.charge_targets import CHART_COLUMNS
from pipeline.ingest.own_tables import own_rows

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
    rows: list[dict[str, object]] = []
    for row in own_rows(text, CHART_COLUMNS, name=name, slug="charts"):
        owner = {key: row.text(key) for key in ("unit_id", "model")}
        if owner["unit_id"] is None and owner["model"] is None:
            raise row.wrong("neither unit_id nor model is given: name the chart's owner")
        cells = {
            column: row.number(column, blank=column == "target_superheat_f", advice="write degrees Fahrenheit")
            for column in NUMBERS
        }
        rows.append({**owner, **cells})
    return pl.DataFrame(rows, schema=dict(CHARTS_SCHEMA))
