"""From the failure models to one row per unit: probability of a failure, its interval and its causes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from pipeline.forecast.history import History
from pipeline.forecast.params import Params, UnitParams
from pipeline.forecast.priors import priors
from pipeline.forecast.seasons import Season, default_profile, shaped_profile, share_between
from pipeline.forecast.units_additive import COMPONENTS, components, step_hazard
from pipeline.forecast.units_combine import draw_in
from pipeline.forecast.units_features import Compressor, UnitFeatures, unit_features
from pipeline.forecast.units_fit import make_index
from pipeline.forecast.units_proportional import design, log_hazard

Floats = npt.NDArray[np.float64]

SMALLEST, LARGEST = 1e-4, 0.995
"""No forecast says never or surely."""
NORMAL_95 = 1.645
"""Standard normal 95 % point: intervals hold 90 %."""


@dataclass(frozen=True, eq=False)
class UnitOdds:
    """Aligned with ``features``: probability, 90 % interval, and hazards by component of ``COMPONENTS``."""

    features: UnitFeatures
    p: Floats
    low: Floats
    high: Floats
    hazards: Floats


def season_share(params: UnitParams, as_of: dt.date, season: Season, start: str, end: str) -> float:
    """Return the share of a season's risk from ``as_of`` through its end; calls before it may lift it over 1."""
    default = default_profile(start, end, float(priors()["time"]["share_in_season"]))
    profile = shaped_profile(default, params.month_factors)
    whole = share_between(profile, season.start, season.end)
    return share_between(profile, as_of, season.end) / whole


def unit_odds(history: History, params: Params, as_of: dt.date, season: Season, start: str, end: str) -> UnitOdds:
    """Return the odds that each unit of ``history`` (cut at ``as_of``) fails from ``as_of`` through the season's end.

    Notes
    -----
    log H = mean of the two models' log hazards, p = 1 - exp(-H share). The interval is log-normal about H:
    its variance adds the models' parameter variance, the season's effect, the unit's own (what sets apart
    units that look the same on record), and the state's (what is not known of the capacitors and the charge).
    """
    u = params.units
    first = max(as_of, season.start)
    middle = first + (season.end - first) / 2
    x = unit_features(
        history, params.sections, as_of, middle, u.median_age_years, Compressor(u.load_mean, *u.load_effects)
    )
    make = make_index(x, u.makes)
    theta = np.asarray(u.additive, dtype=np.float64)
    hazards, slope = components(x, theta, make)
    total = np.maximum(hazards.sum(axis=1), 1e-9)
    log_h, sd = np.log(total), _spread(slope / total[:, None], u.additive_cov)
    if u.mode != "starter":
        matrix = design(x, make, len(u.makes))
        log_h = 0.5 * log_h + 0.5 * log_hazard(matrix, np.asarray(u.proportional, dtype=np.float64))
        sd = 0.5 * sd + 0.5 * _spread(matrix, u.proportional_cov)
    log_h = draw_in(log_h, u.draw_in)
    sd = u.draw_in.slope * sd
    if u.temper != (0.0, 1.0):
        log_h = _tempered(log_h, u.temper)
    share = season_share(u, as_of, season, start, end)
    state = np.log1p(_state_variance(x, theta, hazards) / total**2)
    unit_sd = float(priors()["fleet"]["unit_effect_sd"])
    spread = np.sqrt(sd**2 + u.season_sd**2 + unit_sd**2 + state)
    h = np.exp(log_h) * share
    p = _probability(h)
    low = _probability(h * np.exp(-0.5 * spread**2 - NORMAL_95 * spread))
    high = _probability(h * np.exp(-0.5 * spread**2 + NORMAL_95 * spread))
    return UnitOdds(x, p, np.minimum(low, p), np.maximum(high, p), hazards)


def _tempered(log_h: Floats, temper: tuple[float, float]) -> Floats:
    p = _probability(np.exp(log_h))
    mended = expit(temper[0] + temper[1] * logit(p))
    return np.asarray(np.log(-np.log1p(-np.clip(mended, SMALLEST, LARGEST))))


def _probability(hazard: Floats) -> Floats:
    return np.clip(-np.expm1(-hazard), SMALLEST, LARGEST)


def _spread(gradient: Floats, cov: tuple[tuple[float, ...], ...]) -> Floats:
    matrix = np.asarray(cov, dtype=np.float64)
    return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", gradient, matrix, gradient), 0.0)))


def _state_variance(x: UnitFeatures, theta: Floats, hazards: Floats) -> Floats:
    """Variance of the summed hazard for what is not known of the capacitors and of the charge."""
    p = priors()["hazard"]
    herm = np.exp(2 * (theta[0] + theta[1])) * step_hazard(x.below["herm"], "herm")[1]
    fan = np.exp(2 * (theta[0] + theta[2])) * step_hazard(x.below["fan"], "fan")[1]
    charge = hazards[:, COMPONENTS.index("charge")]
    per_f = np.exp(theta[4]) * p["charge_per_f"]
    floor = np.exp(theta[0] + theta[3]) * p["charge_scale"]
    pull = (charge + floor) * per_f * np.minimum(x.numbers["charge_sd_f"], 6.0)
    return np.asarray(herm + fan + pull**2)
