"""The shop's own fan tables: airflow from static pressure and blower speed, for what the air side says of the coil."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.ingest.own_tables import own_rows

OWNERS = ("unit_id", "model")
NUMBERS = ("static_in_wc", "airflow_cfm")
COLUMNS = (*OWNERS, "speed", *NUMBERS)
BLOWERS_SCHEMA: Mapping[str, pl.DataType] = {name: pl.Float64() if name in NUMBERS else pl.String() for name in COLUMNS}
"""One row per point of a fan curve; a row of a unit without numbers says at which speed of its model's it runs."""


def parse_blowers(text: str, *, name: str = "blowers.csv") -> pl.DataFrame:
    """Return the points of the shop's fan tables (``BLOWERS_SCHEMA``).

    Parameters
    ----------
    text : str
        CSV with the columns unit_id and model (indoor or outdoor; either may be blank), speed, static_in_wc,
        airflow_cfm. A row with unit_id and speed alone picks the speed of that unit.
    name : str
        File name for messages.

    Raises
    ------
    UsageError
        If a column is missing, a cell is not a number, a point is incomplete, or a row has no owner.
    """
    rows: list[dict[str, object]] = []
    for row in own_rows(text, COLUMNS, name=name, slug="blowers"):
        words = {key: row.text(key) for key in (*OWNERS, "speed")}
        points = {key: row.number(key, low=0.0, blank=True, advice="mend it") for key in NUMBERS}
        blank = [key for key, value in points.items() if value is None]
        if words["unit_id"] is None and words["model"] is None:
            raise row.wrong("neither unit_id nor model is given: name the table's owner")
        if len(blank) == 1 or (blank and (words["unit_id"] is None or words["speed"] is None)):
            raise row.wrong("the point is not complete: fill in both numbers", blank[0])
        rows.append({**words, **points})
    return pl.DataFrame(rows, schema=dict(BLOWERS_SCHEMA))


def add_table_airflow(frame: pl.DataFrame, blowers: pl.DataFrame | None) -> pl.DataFrame:
    """Add table_airflow_cfm: the airflow that the unit's fan table gives at the static pressure read.

    Parameters
    ----------
    frame : pl.DataFrame
        unit_id, model, indoor_model, static_in_wc [inches of water].
    blowers : pl.DataFrame, optional
        ``BLOWERS_SCHEMA``. The unit's own points beat its indoor model's, these beat its outdoor model's. Between two
        points the curve is read linearly; outside them, or where a table has several speeds and no row says which one
        the unit runs at, there is no airflow.

    Returns
    -------
    pl.DataFrame
        Rows kept; null where no table gives it.
    """
    airflow = np.full(len(frame), np.nan)
    if blowers is not None and not blowers.is_empty():
        static = frame.get_column("static_in_wc").to_numpy()
        points = blowers.drop_nulls("airflow_cfm")
        picked = blowers.filter(pl.col("airflow_cfm").is_null()).select("unit_id", _picked="speed").unique("unit_id")
        speeds = frame.select("unit_id").join(picked, on="unit_id", how="left", maintain_order="left")["_picked"]
        for owner, column in (("model", "model"), ("model", "indoor_model"), ("unit_id", "unit_id")):
            own = points.filter(pl.col("unit_id").is_null() if owner == "model" else pl.col("unit_id").is_not_null())
            for (key,), table in own.group_by(owner):
                at = (frame.get_column(column) == key).fill_null(False).to_numpy()
                airflow[at] = _read(table, static[at], speeds.filter(pl.Series(at)))
    return frame.with_columns(pl.Series("table_airflow_cfm", airflow).fill_nan(None))


def _read(table: pl.DataFrame, static: NDArray[np.float64], speeds: pl.Series) -> NDArray[np.float64]:
    """Return the airflow of each row at its static pressure and speed."""
    alone = table["speed"].n_unique() == 1
    found = np.full(static.size, np.nan)
    for (speed,), curve in table.group_by("speed"):
        rows = speeds.is_in([speed]).fill_null(False).to_numpy() | (speeds.is_null().to_numpy() & alone)
        points = curve.sort("static_in_wc").unique("static_in_wc", keep="first", maintain_order=True)
        x, y = points["static_in_wc"].to_numpy(), points["airflow_cfm"].to_numpy()
        inside = rows & (static >= x[0]) & (static <= x[-1])
        found[inside] = np.interp(static[inside], x, y)
    return found
