"""How far a unit's charge has run down: level and slope of its charge deviation, filtered visit by visit."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.history import History
from pipeline.forecast.priors import priors
from pipeline.forecast.sections_inputs import year_of, years

Floats = npt.NDArray[np.float64]

LAST_READINGS = 8
ADDED_MEMORY_YEARS = 5.0
"""Testable charge readings, and years of additions, that still say something of the charge (engineering choices)."""


def charge_state(history: History, units: pl.DataFrame, middle: dt.date) -> dict[str, Floats]:
    """Return charge_loss_f, charge_sd_f [degF], leak_slope [degF/year] and added [% of charge/year] by unit.

    Notes
    -----
    The deviation towards low charge is a level that starts near 0 at the last addition (or near the prior
    where none is known) and grows by a slope of its own, with some wander: a two-state filter with one
    update per reading, all units at once.
    """
    p = priors()["charge"]
    then = year_of(middle)
    added = history.visits.filter(pl.col("refrigerant_added_oz") > 0)
    last = added.group_by("unit_id").agg(added_on=pl.col("visit_date").max())
    base = units.select("unit_id", "first_visit_on").join(last, on="unit_id", how="left", maintain_order="left")
    fresh = base["added_on"].is_not_null().to_numpy()
    start = base.select(pl.coalesce(years("added_on"), years("first_visit_on"), pl.lit(then))).to_series().to_numpy()
    readings = (
        history.charge.filter(pl.col("leak_loss_f").is_finite())
        .join(base, on="unit_id", how="inner")
        .filter((pl.col("visit_date") > pl.col("added_on")).fill_null(True))
        .group_by("unit_id", "visit_date")
        .agg(pl.col("leak_loss_f").mean().clip(-p["loss_cap_f"], p["loss_cap_f"]))
        .sort("unit_id", "visit_date")
        .group_by("unit_id", maintain_order=True)
        .tail(LAST_READINGS)
        .with_columns(x=years("visit_date"), nth=pl.int_range(pl.len()).over("unit_id"))
    )
    position = {name: i for i, name in enumerate(units["unit_id"].to_list())}
    n = len(units)
    level = np.where(fresh, 0.0, float(p["start_f"]))
    var_level = np.where(fresh, float(p["start_fresh_sd_f"]), float(p["start_sd_f"])) ** 2
    slope = np.full(n, float(p["slope_mean_f_per_year"]))
    var_slope = np.full(n, float(p["slope_sd_f_per_year"]) ** 2)
    cov = np.zeros(n)
    clock = start.astype(np.float64).copy()
    wander, noise = float(p["wander_var_f2_per_year"]), float(p["noise_sd_f"]) ** 2
    for nth in range(LAST_READINGS):
        now = readings.filter(pl.col("nth") == nth)
        if now.is_empty():
            break
        i = np.array([position[name] for name in now["unit_id"].to_list()], dtype=np.int64)
        step = np.maximum(now["x"].to_numpy() - clock[i], 0.0)
        a = level[i] + slope[i] * step
        v = var_level[i] + 2 * step * cov[i] + step**2 * var_slope[i] + wander * step
        c = cov[i] + step * var_slope[i]
        gain_level, gain_slope = v / (v + noise), c / (v + noise)
        miss = now["leak_loss_f"].to_numpy() - a
        level[i], slope[i] = a + gain_level * miss, slope[i] + gain_slope * miss
        var_level[i], cov[i] = v * (1 - gain_level), c * (1 - gain_level)
        var_slope[i] = var_slope[i] - gain_slope * c
        clock[i] = now["x"].to_numpy()
    ahead = np.clip(then - clock, 0.0, float(p["longest_ahead_years"]))
    forward = np.maximum(slope, 0.0)
    sd = np.sqrt(var_level + 2 * ahead * cov + ahead**2 * var_slope + wander * ahead)
    return {
        "charge_loss_f": np.clip(np.maximum(level, 0.0) + forward * ahead, 0.0, float(p["loss_cap_f"])),
        "charge_sd_f": np.sqrt(np.maximum(sd**2, 1.0)),
        "leak_slope": forward,
        "added": _added(added, units, then),
    }


def _added(added: pl.DataFrame, units: pl.DataFrame, then: float) -> Floats:
    p = priors()["charge"]
    recent = (
        added.filter(years("visit_date") > then - ADDED_MEMORY_YEARS - 1)
        .group_by("unit_id")
        .agg(oz=pl.col("refrigerant_added_oz").sum())
    )
    charge = pl.coalesce(
        pl.when(pl.col("factory_charge_oz") > 0).then(pl.col("factory_charge_oz")),
        pl.col("nominal_tons") * float(p["oz_per_ton"]),
        pl.lit(3 * float(p["oz_per_ton"])),
    )
    watched = (then - years("first_visit_on")).clip(0, ADDED_MEMORY_YEARS) + 1
    return (
        units.join(recent, on="unit_id", how="left", maintain_order="left")
        .select(
            (100 * pl.col("oz").fill_null(0.0) / charge / watched).fill_null(0.0).clip(0, p["added_cap_pct_per_year"])
        )
        .to_series()
        .to_numpy()
    )
