"""The heat of past seasons, from the text of a small CSV file of the shop."""

from __future__ import annotations

import polars as pl

from pipeline.errors import cut
from pipeline.ingest.own_tables import own_rows

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
        If a column is missing, a cell is not a number, or a season is not a year.
    """
    rows = []
    for row in own_rows(text, tuple(HEAT_SCHEMA), name=name, slug="degree-days"):
        year, heat = (row.number(column, low=0.0, advice="mend it") for column in HEAT_SCHEMA)
        if year is None or not year.is_integer():
            raise row.wrong(
                f"{cut(row.cells['season'])!r} is not a year: write the year the season starts in", "season"
            )
        rows.append({"season": int(year), "cooling_degree_days": heat})
    return pl.DataFrame(rows, schema=HEAT_SCHEMA)
