"""Failure model 2: a complementary log-log regression whose coefficients lean on what the trade expects."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pipeline.forecast.priors import priors
from pipeline.forecast.units_additive import Exposure, Fit, covariance
from pipeline.forecast.units_features import UnitFeatures

Floats = npt.NDArray[np.float64]

COEFFICIENTS = (
    *("intercept", "herm_level", "fan_level", "herm_below_14", "herm_below_22", "fan_below_18", "fan_below_28"),
    *("charge_loss", "leak_slope", "added", "load", "age", "earlier_failures", "since_visit", "herm_sd", "fan_sd"),
    "warnings",
)
STEPS = 60
LARGEST_LOG_HAZARD = 0.2
"""Steps of the fit at most; the largest log hazard of a season, about a 7 in 10 chance (engineering choice)."""


def design(x: UnitFeatures, make: npt.NDArray[np.int64], makes: int) -> Floats:
    """Return the scaled features, one row per unit, one column per coefficient, then one per make."""
    n = x.numbers
    at = {float(t): i for i, t in enumerate(priors()["hazard"]["thresholds_pct"])}
    herm, fan = x.below["herm"], x.below["fan"]
    columns = [
        np.ones(len(x)),
        -x.level["herm"] / 10,
        -x.level["fan"] / 10,
        herm[:, at[-14.0]],
        herm[:, at[-22.0]],
        fan[:, at[-18.0]],
        fan[:, at[-28.0]],
        n["charge_loss_f"] / 10,
        n["leak_slope"] / 5,
        n["added"] / 5,
        np.clip(10 * (n["load"] - 0.85), -5, 4),
        np.clip(n["age"], 0, 25) / 10,
        n["earlier_failures"],
        n["since_visit"] / 2,
        x.sd["herm"] / 5,
        x.sd["fan"] / 5,
        n["warnings"],
    ]
    dummies = np.zeros((len(x), makes))
    known = np.flatnonzero(make >= 0)
    dummies[known, make[known]] = 1.0
    return np.column_stack([*columns, dummies])


def prior_table(makes: int) -> tuple[Floats, Floats]:
    """Return prior mean and sd of every coefficient."""
    p = priors()["proportional"]
    mean = np.array([p[name][0] for name in COEFFICIENTS] + [0.0] * makes)
    sd = np.array([p[name][1] for name in COEFFICIENTS] + [p["make_sd"]] * makes)
    return mean, sd


def log_hazard(matrix: Floats, beta: Floats) -> Floats:
    """Return the log hazard per season."""
    return np.minimum(matrix @ beta, LARGEST_LOG_HAZARD)


def fit_proportional(x: UnitFeatures, seen: Exposure, makes: int, rate: float) -> Fit:
    """Return the most probable coefficients by damped Newton steps, and their covariance.

    The prior mean of the intercept is the one at which the mean hazard is that of ``rate``, the shop's own
    failures per unit-season.
    """
    matrix = design(x, seen.make, makes)
    mean, sd = prior_table(makes)
    mean[0] += np.log(-np.log1p(-rate)) - np.log(np.exp(log_hazard(matrix, mean)).mean())
    return newton(matrix, seen, mean, sd)


def newton(matrix: Floats, seen: Exposure, mean: Floats, sd: Floats) -> Fit:
    """Return the most probable coefficients of a design, given independent normal priors."""
    beta = mean.copy()
    best = _loss(beta, matrix, seen, mean, sd)
    for _ in range(STEPS):
        hazard = np.exp(log_hazard(matrix, beta))
        h = np.maximum(hazard * seen.share, 1e-12)
        pull = seen.weight * np.where(seen.failed, -h / np.expm1(h), h)
        gradient = matrix.T @ pull + (beta - mean) / sd**2
        weight = seen.weight * h**2 / np.expm1(h)
        step = np.linalg.solve((matrix * weight[:, None]).T @ matrix + np.diag(sd**-2), gradient)
        size = 1.0
        while size > 1e-4:
            trial = beta - size * step
            value = _loss(trial, matrix, seen, mean, sd)
            if value < best:
                break
            size /= 2
        else:
            break
        moved, beta, best = best - value, trial, value
        if moved < 1e-8:
            break
    hazard = np.exp(log_hazard(matrix, beta))
    return Fit(beta, covariance(hazard, matrix * hazard[:, None], seen, sd))


def _loss(beta: Floats, matrix: Floats, seen: Exposure, mean: Floats, sd: Floats) -> float:
    h = np.maximum(np.exp(log_hazard(matrix, beta)) * seen.share, 1e-12)
    fit = -(seen.weight * np.where(seen.failed, np.log(-np.expm1(-h)), -h)).sum()
    return float(fit + 0.5 * (((beta - mean) / sd) ** 2).sum())
