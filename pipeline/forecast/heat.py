"""How the heat of past seasons moved the shop's failures, where the shop keeps degree days; else nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.priors import priors
from pipeline.forecast.seasons import Season

Floats = npt.NDArray[np.float64]

NO_HEAT = (0.0, 0.0)
LEAST_SEASONS = 2
LARGEST_LOG_RATIO = 0.7
"""Usual log heat and effect where nothing is known; seasons with heat needed to learn; how far from the usual, on the
log scale, a season may count: half to twice the heat (engineering choices)."""


def learn_heat(
    seasons: Sequence[Season], failed: Floats, unit_seasons: Floats, degree_days: pl.DataFrame | None
) -> tuple[tuple[float, float], Floats]:
    """Return (effect, usual degree days), and by what factor each season's failures were above a usual season's.

    Parameters
    ----------
    seasons, failed, unit_seasons
        The seasons learned from, failures counted and unit-seasons watched in each.
    degree_days
        ``HEAT_SCHEMA``; None, or fewer than two of these seasons in it, gives ``NO_HEAT`` and factors of 1.

    Notes
    -----
    log(rate_s) = c + effect log(degree days_s / usual) + what else sets seasons apart, by weighted least squares: the
    variance of a season is 1 / failures + sd^2, the effect leans on its prior, c is free. ``usual`` is the geometric
    mean, so the season ahead, whose heat nobody knows, is taken as a usual one. Rows of other seasons, later ones
    among them, are never looked at.
    """
    log_heat = _log_heat(seasons, degree_days)
    known = np.flatnonzero(np.isfinite(log_heat))
    factors = np.ones(len(seasons))
    if len(known) < LEAST_SEASONS:
        return NO_HEAT, factors
    p = priors()["heat"]
    usual = float(log_heat[known].mean())
    x = np.clip(log_heat[known] - usual, -LARGEST_LOG_RATIO, LARGEST_LOG_RATIO)
    y = np.log((failed[known] + 0.5) / np.maximum(unit_seasons[known], 0.5))
    weight = 1.0 / (1.0 / (failed[known] + 0.5) + float(p["season_sd"]) ** 2)
    centred_x, centred_y = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
    lean = float(p["effect_sd"]) ** -2
    effect = float((weight * centred_x) @ centred_y + lean * float(p["effect"])) / float(
        (weight * centred_x) @ centred_x + lean
    )
    factors[known] = np.exp(effect * x)
    return (effect, float(np.exp(usual))), factors


def _log_heat(seasons: Sequence[Season], degree_days: pl.DataFrame | None) -> Floats:
    rows = () if degree_days is None else degree_days.select("season", "cooling_degree_days").iter_rows()
    by_year = {year: value for year, value in rows if value is not None and value > 0}
    return np.array([np.log(by_year[s.start.year]) if s.start.year in by_year else np.nan for s in seasons])
