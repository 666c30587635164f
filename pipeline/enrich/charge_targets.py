"""Targets of the charge test: superheat for a fixed orifice, subcooling for a TXV or EEV."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.limits import Limits

CHART_COLUMNS = ("unit_id", "model", "return_wb_f", "outdoor_db_f", "target_superheat_f")
FIXED_ORIFICE = pl.col("metering") == "fixed_orifice"
EXPANSION_VALVE = pl.col("metering").is_in(["txv", "eev"])


def formula_target_f(return_wb_f: pl.Expr, outdoor_db_f: pl.Expr) -> pl.Expr:
    """Return the closed approximation of the target superheat [degF], whatever its value.

    Notes
    -----
    ``(3 * wet bulb - 80 - outdoor) / 2``. No standard contains it; against printed charts it errs by up to 2 degF,
    low at low wet bulbs and high at high ones.

    References
    ----------
    A trade training page on target superheat: wet bulb 64, outdoor 96 gives 8; 66 and 90 gives 14 (chart: 13).

    Examples
    --------
    >>> pl.select(formula_target_f(pl.lit(64.0), pl.lit(96.0))).item()
    8.0
    """
    return (3.0 * return_wb_f - 80.0 - outdoor_db_f) / 2.0


def add_targets(
    frame: pl.DataFrame, *, default_subcooling_f: float, limits: Limits, charts: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Add target_superheat_f or target_subcooling_f [degF], never both, with its source.

    Parameters
    ----------
    frame : pl.DataFrame
        metering, mode, return_wb_f, outdoor_db_f, recorded_target_superheat_f, target_subcooling_f (data plate);
        unit_id and model where charts are given.
    default_subcooling_f : float
        Target of a TXV or EEV without a data plate [degF].
    limits : Limits
        Valid range of the conditions and least target.
    charts : pl.DataFrame, optional
        The shop's own charts, one row per cell: ``CHART_COLUMNS``; unit_id beats model, either may be null. A unit
        with a chart is never judged by the formula; between cells it is read linearly, outside there is no target.

    Returns
    -------
    pl.DataFrame
        Rows kept. target_superheat_f is null under 5 degF and outside the valid conditions; computed_target_f keeps
        the number before that rule; target_source is chart, formula, recorded, data_plate or default.
    """
    wet_bulb, outdoor = pl.col("return_wb_f"), pl.col("outdoor_db_f")
    running_cold = pl.col("mode").is_in(["cooling"]) | pl.col("mode").is_null()
    inside = wet_bulb.is_between(limits.wet_bulb_low_f, limits.wet_bulb_high_f) & outdoor.is_between(
        limits.outdoor_low_f, limits.outdoor_high_f
    )
    charted, has_chart = _charted(frame, charts)
    computed = (
        pl.when(pl.col("has_chart")).then(pl.col("charted_f")).when(inside).then(formula_target_f(wet_bulb, outdoor))
    )
    unread = wet_bulb.is_null() | outdoor.is_null()
    target = pl.coalesce(computed, pl.when(unread).then(pl.col("recorded_target_superheat_f")))
    plate = pl.col("target_subcooling_f")
    source = (
        pl.when(EXPANSION_VALVE & running_cold)
        .then(pl.when(plate.is_not_null()).then(pl.lit("data_plate")).otherwise(pl.lit("default")))
        .when(FIXED_ORIFICE & running_cold & computed.is_not_null())
        .then(pl.when(pl.col("has_chart")).then(pl.lit("chart")).otherwise(pl.lit("formula")))
        .when(FIXED_ORIFICE & running_cold & target.is_not_null())
        .then(pl.lit("recorded"))
    )
    return (
        frame.with_columns(charted, has_chart)
        .with_columns(
            computed_target_f=pl.when(FIXED_ORIFICE & running_cold).then(target),
            plate_subcooling_f=plate,
            target_subcooling_f=pl.when(EXPANSION_VALVE & running_cold).then(plate.fill_null(default_subcooling_f)),
            target_source=source,
        )
        .with_columns(
            target_superheat_f=pl.when(pl.col("computed_target_f") >= limits.least_target_superheat_f).then(
                pl.col("computed_target_f")
            )
        )
        .drop("charted_f")
    )


def _charted(frame: pl.DataFrame, charts: pl.DataFrame | None) -> tuple[pl.Series, pl.Series]:
    """Return each row's target by its own chart (NaN-free, null without) and whether it has one."""
    targets = np.full(len(frame), np.nan)
    has_chart = np.zeros(len(frame), dtype=bool)
    if charts is not None and not charts.is_empty():
        wet_bulb, outdoor = (frame.get_column(c).to_numpy() for c in ("return_wb_f", "outdoor_db_f"))
        for name in ("model", "unit_id"):  # the unit's own chart comes last and wins
            cells = charts.filter(pl.col(name).is_not_null())
            if name == "model":
                cells = cells.filter(pl.col("unit_id").is_null())
            for (owner,), chart in cells.group_by(name):
                rows = (frame.get_column(name) == owner).fill_null(False).to_numpy()
                targets[rows] = _read_chart(chart, wet_bulb[rows], outdoor[rows])
                has_chart |= rows
    return pl.Series("charted_f", targets).fill_nan(None), pl.Series("has_chart", has_chart)


def _read_chart(
    chart: pl.DataFrame, wet_bulb: NDArray[np.float64], outdoor: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the chart's value between its cells; NaN beyond its edge or beside an empty cell."""
    wet, dry = (np.unique(chart.get_column(c).drop_nulls().to_numpy()) for c in ("return_wb_f", "outdoor_db_f"))
    if wet.size < 2 or dry.size < 2:
        return np.full(wet_bulb.size, np.nan)
    grid = np.full((wet.size, dry.size), np.nan)
    cells = chart.drop_nulls(["return_wb_f", "outdoor_db_f"])
    at = (np.searchsorted(wet, cells["return_wb_f"].to_numpy()), np.searchsorted(dry, cells["outdoor_db_f"].to_numpy()))
    grid[at] = cells["target_superheat_f"].to_numpy()
    inside = (wet_bulb >= wet[0]) & (wet_bulb <= wet[-1]) & (outdoor >= dry[0]) & (outdoor <= dry[-1])
    i = np.clip(np.searchsorted(wet, wet_bulb, side="right") - 1, 0, wet.size - 2)
    j = np.clip(np.searchsorted(dry, outdoor, side="right") - 1, 0, dry.size - 2)
    u = (wet_bulb - wet[i]) / (wet[i + 1] - wet[i])
    v = (outdoor - dry[j]) / (dry[j + 1] - dry[j])
    across = [_mix(grid[i, k], grid[i + 1, k], u) for k in (j, j + 1)]
    return np.where(inside, _mix(across[0], across[1], v), np.nan)


def _mix(low: NDArray[np.float64], high: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the point between two values; an end that is not touched may be NaN."""
    return np.where(share == 0, low, np.where(share == 1, high, low + share * (high - low)))
