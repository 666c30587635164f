"""Repairs and their cost that a unit has gathered by an age, on average: the mean cumulative function of the fleet."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.forecast.exposure import DAYS_PER_YEAR
from pipeline.forecast.recurrence import mean_cumulative

GATHERED_SCHEMA = pl.Schema(
    {
        "what": pl.String,
        "age_years": pl.Float64,
        "at_risk": pl.Int64,
        "per_unit": pl.Float64,
        "per_unit_low": pl.Float64,
        "per_unit_high": pl.Float64,
    }
)
"""One row per measure (``repairs``, ``cost``) and year of age with enough units at risk; limits hold 95 %."""

REPAIRS = ("no_cooling", "repair", "callback")
LEAST_AT_RISK = 10
"""An age with fewer units under care has no row (engineering choice)."""
OLDEST = 40
"""Age in years beyond which nothing is gathered: past the life of the equipment (engineering choice)."""


def repairs_gathered(units: pl.DataFrame, exposed: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Return repairs and invoiced cost per unit by age.

    Parameters
    ----------
    units, exposed : DataFrame
        unit_id, installed_on, manufactured_on; ``exposure.exposure``. Units of no known age are left out.
    visits : DataFrame
        unit_id, visit_date, visit_type, invoice_total: repairs are visits of type no_cooling, repair and callback.

    Notes
    -----
    From the first age with enough units at risk on; a unit counts from the age at which it came into care.
    """
    born = units.select("unit_id", born=pl.coalesce("installed_on", "manufactured_on"))
    aged = (
        exposed.join(born, on="unit_id", how="inner")
        .filter((pl.col("born") <= pl.col("from_on")) & (pl.col("years") > 0))
        .with_row_index("place")
        .with_columns(entry=_age("from_on"), leave=_age("until_on"))
    )
    hits = (
        visits.filter(pl.col("visit_type").is_in(REPAIRS))
        .join(aged, on="unit_id", how="inner")
        .filter((pl.col("visit_date") > pl.col("from_on")) & (pl.col("visit_date") <= pl.col("until_on")))
        .with_columns(age=_age("visit_date"))
    )
    found = [_measure("repairs", aged, hits, None)]
    if hits["invoice_total"].is_not_null().any():
        found.append(_measure("cost", aged, hits, hits["invoice_total"].fill_null(0.0)))
    return pl.concat(found)


def _age(column: str) -> pl.Expr:
    return (pl.col(column) - pl.col("born")).dt.total_days() / DAYS_PER_YEAR


def _measure(what: str, aged: pl.DataFrame, hits: pl.DataFrame, amount: pl.Series | None) -> pl.DataFrame:
    years = np.arange(1.0, OLDEST + 1)
    crowd = [int(((aged["entry"] < year) & (aged["leave"] >= year)).sum()) for year in years]
    kept = years[np.array(crowd) >= LEAST_AT_RISK]
    if not kept.size:
        return pl.DataFrame(schema=GATHERED_SCHEMA)
    start = float(kept[0]) - 1
    later = (hits["age"] > start).to_numpy()
    money = None if amount is None else amount.to_numpy()[later]
    found = mean_cumulative(
        aged["entry"].to_numpy(),
        aged["leave"].to_numpy(),
        hits["place"].to_numpy()[later],
        hits["age"].to_numpy()[later],
        money,
        kept,
    )
    low, high = found.limits()
    return pl.DataFrame(
        {
            "what": [what] * kept.size,
            "age_years": found.age,
            "at_risk": found.at_risk.astype(int),
            "per_unit": found.value,
            "per_unit_low": low,
            "per_unit_high": high,
        },
        schema=GATHERED_SCHEMA,
    ).fill_nan(None)
