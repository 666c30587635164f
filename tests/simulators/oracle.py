"""The best that readings alone allow: a forecaster who knows the ageing law, the noise and every birth date."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from tests.simulators.fleet import EPOCH_YEAR, TOLERANCE, Fleet, Shop
from tests.simulators.laws import draw_parts, path

Floats = npt.NDArray[np.float64]

DRAWS = 4000
OFFSET_SD = 1.5


def oracle_odds(fleet: Fleet, shop: Shop, rows: pl.DataFrame, readings: pl.DataFrame, at_year: float) -> Floats:
    """Return the odds that each section's true drift lies below tolerance at ``at_year``.

    Parameters
    ----------
    rows
        unit_id, section of the sections asked for, in order.
    readings
        unit_id, section, x_year, drift_pct, rated_uf, method, technician of the parts in service.
    at_year
        Years since the forecast's epoch.
    """
    rng = np.random.default_rng(9)
    place = {name: i for i, name in enumerate(fleet.units)}
    by = readings.partition_by("unit_id", "section", as_dict=True)
    bank = draw_parts(rng, shop.ageing, DRAWS, np.ones(DRAWS))
    offset = rng.normal(0, OFFSET_SD, DRAWS)
    found = np.zeros(rows.height)
    for k, (unit, section) in enumerate(rows.select("unit_id", "section").iter_rows()):
        i = place[unit]
        mine = by[(unit, section)].sort("x_year")
        born = fleet.born_year[section][i] - EPOCH_YEAR
        ages = np.maximum(np.append(mine["x_year"].to_numpy(), at_year) - born, 0.0)
        parts = bank.copy()
        parts[:, 1] *= fleet.part_scale[section][i]
        steps = np.diff(ages, prepend=0.0)
        rate = parts[:, 1] * 0.8
        jumps = np.cumsum(rng.gamma(np.maximum(rate[:, None] * steps / 1.6, 1e-9), 1.6), axis=1)
        level = np.column_stack([offset + path(parts, np.full(DRAWS, a), jumps[:, j]) for j, a in enumerate(ages)])
        log_l = _log_likelihood(fleet, shop, mine, level[:, :-1])
        weight = np.exp(log_l - log_l.max())
        found[k] = float(weight @ (level[:, -1] < -TOLERANCE) / weight.sum())
    return np.clip(found, 1e-4, 1 - 1e-4)


def _log_likelihood(fleet: Fleet, shop: Shop, mine: pl.DataFrame, level: Floats) -> Floats:
    hand = mine["technician"].str.slice(1).cast(pl.Int64).to_numpy() - 1
    load = (mine["method"] == "under_load").to_numpy()
    y, rated = mine["drift_pct"].to_numpy(), mine["rated_uf"].to_numpy()
    step = 10.0 / rated
    sd = np.sqrt(np.where(load, 4.0, shop.noise_pct) ** 2 + step**2 / 12)
    miss = y - level - fleet.meter_pct[hand] - np.where(load, -2.0, 0.0)

    def bell(r: Floats) -> Floats:
        return np.exp(-0.5 * (r / sd) ** 2) / sd

    bad = shop.bad_share / 2 * (bell(miss - 12) + bell(miss + 12))
    honest = (1 - shop.bad_share) * bell(miss) + bad
    copier = (hand == 4) * shop.copier_share
    copied = np.where(np.abs(y) < 0.005, copier / np.maximum(step, 1e-9) * np.sqrt(2 * np.pi), 0.0)
    return np.asarray(np.log(np.maximum((1 - copier) * honest + copied, 1e-300)).sum(axis=1))
