"""Failure model 1: hazards that add up, one per thing that can go wrong; gives the split by cause."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from pipeline.forecast.priors import priors
from pipeline.forecast.units_features import UnitFeatures

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

COMPONENTS = ("herm", "fan", "charge", "added", "compressor", "base")
FACTORS = (
    *("g", "herm", "fan", "charge", "charge_slope", "added", "compressor", "compressor_slope", "base", "age_power"),
    "failure_factor",
)
"""Logs of factors on the priors, in the order of the parameter vector; the makes' effects follow."""

MOST_LOSS_EXPONENT = 4.0
LOAD_EXPONENT = (-5.0, 4.0)
"""Ends of the exponents, so that one odd reading cannot make a hazard without bound (engineering choices)."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """Unit-seasons: did a failure follow, over which share of a season, and which make (-1 = none of its own)."""

    failed: npt.NDArray[np.bool_]
    share: Floats
    make: Index
    weight: Floats


@dataclass(frozen=True, eq=False)
class Fit:
    """A mode and the covariance about it."""

    theta: Floats
    covariance: Floats


def step_hazard(below: Floats, section: str) -> tuple[Floats, Floats]:
    """Return mean and variance of a section's hazard per season, whose true drift is only known by its odds."""
    p = priors()["hazard"]
    weights = np.asarray(p[section], dtype=np.float64)
    total = np.cumsum(weights)
    exactly = below - np.concatenate([below[:, 1:], np.zeros((len(below), 1))], axis=1)
    mean = below @ weights
    return mean, np.maximum(np.maximum(exactly, 0.0) @ total**2 - mean**2, 0.0)


def components(x: UnitFeatures, theta: Floats, make: Index) -> tuple[Floats, Floats]:
    """Return the hazards per season, shape (units, components), and the derivative of their sum by theta."""
    p = priors()["hazard"]
    t = dict(zip(FACTORS, theta[: len(FACTORS)], strict=True))
    makes = theta[len(FACTORS) :]
    make_effect = np.where(make >= 0, makes[make], 0.0) if len(makes) else np.zeros(len(x))
    n = x.numbers
    herm = np.exp(t["herm"]) * step_hazard(x.below["herm"], "herm")[0]
    fan = np.exp(t["fan"]) * step_hazard(x.below["fan"], "fan")[0]
    bent = n["charge_loss_f"] * np.exp(t["charge_slope"]) * p["charge_per_f"]
    capped = np.minimum(bent, MOST_LOSS_EXPONENT)
    charge = np.exp(t["charge"]) * p["charge_scale"] * np.expm1(capped)
    added = np.exp(t["added"]) * p["added"] * n["added"]
    load = np.clip(10 * (n["load"] - 0.9), *LOAD_EXPONENT)
    compressor = np.exp(t["compressor"]) * p["compressor"] * np.exp(load * np.exp(t["compressor_slope"]))
    age = np.log(np.clip(n["age"], p["age_low_years"], p["age_high_years"]) / p["base_age_years"])
    power = p["base_age_power"] * np.exp(t["age_power"])
    calls = p["failure_factor"] * np.exp(t["failure_factor"]) * n["earlier_failures"]
    plain = np.exp(t["base"]) * p["base"] * np.exp(power * age) * np.exp(make_effect)
    base = plain * (1 + calls)
    scale = np.exp(t["g"])
    hazards = scale * np.column_stack([herm, fan, charge, added, compressor, base])
    slope = np.zeros((len(x), len(theta)))
    slope[:, 0] = hazards.sum(axis=1)
    slope[:, 1], slope[:, 2], slope[:, 3] = hazards[:, 0], hazards[:, 1], hazards[:, 2]
    inside = np.exp(t["charge"]) * p["charge_scale"] * np.exp(capped) * capped
    slope[:, 4] = scale * np.where(bent < MOST_LOSS_EXPONENT, inside, 0.0)
    slope[:, 5], slope[:, 6] = hazards[:, 3], hazards[:, 4]
    slope[:, 7] = hazards[:, 4] * load * np.exp(t["compressor_slope"])
    slope[:, 8] = hazards[:, 5]
    slope[:, 9] = hazards[:, 5] * power * age
    slope[:, 10] = scale * plain * calls
    known = np.flatnonzero(make >= 0)
    slope[known, len(FACTORS) + make[known]] = hazards[known, 5]
    return hazards, slope


def prior_sds(makes: int) -> Floats:
    """Return the prior sd of every element of theta; the prior mean is 0."""
    sds = priors()["hazard"]["prior_sd"]
    return np.array([sds[name] for name in FACTORS] + [sds["make"]] * makes, dtype=np.float64)


def fit_additive(x: UnitFeatures, seen: Exposure, makes: int, level: float = 0.0) -> Fit:
    """Return the most probable factors given the unit-seasons, and their covariance.

    ``level`` is the prior mean of the common log factor: what fits the shop's own rate.
    """
    sds = prior_sds(makes)
    centre = np.zeros(len(sds))
    centre[0] = level

    def loss(theta: Floats) -> tuple[float, Floats]:
        value, gradient = _loss(theta, x, seen)
        return value + 0.5 * float((((theta - centre) / sds) ** 2).sum()), gradient + (theta - centre) / sds**2

    bounds = [(c - 4 * s, c + 4 * s) for c, s in zip(centre, sds, strict=True)]
    found = minimize(loss, centre, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 200})
    theta = np.asarray(found.x, dtype=np.float64)
    hazards, slope = components(x, theta, seen.make)
    return Fit(theta, covariance(hazards.sum(axis=1), slope, seen, sds))


def covariance(total: Floats, slope: Floats, seen: Exposure, sds: Floats) -> Floats:
    """Return the inverse of expected information plus prior precision; ``slope`` is d hazard / d theta."""
    h = np.clip(total * seen.share, 1e-12, 500.0)
    weight = seen.weight * seen.share**2 / np.maximum(np.expm1(h), 1e-12)
    information = (slope * weight[:, None]).T @ slope + np.diag(sds**-2)
    return np.asarray(np.linalg.inv(information))


def _loss(theta: Floats, x: UnitFeatures, seen: Exposure) -> tuple[float, Floats]:
    hazards, slope = components(x, theta, seen.make)
    h = np.clip(hazards.sum(axis=1) * seen.share, 1e-12, 500.0)
    log_fail = np.log(-np.expm1(-h))
    value = -(seen.weight * np.where(seen.failed, log_fail, -h)).sum()
    pull = seen.weight * seen.share * np.where(seen.failed, -1.0 / np.expm1(h), 1.0)
    return float(value), np.asarray(pull @ slope)


def starter_level(x: UnitFeatures, rate: float) -> float:
    """Return the log factor on the priors' hazards that makes the mean probability of a season equal ``rate``."""
    total = components(x, np.zeros(len(FACTORS)), np.full(len(x), -1))[0].sum(axis=1)
    low, high = -8.0, 8.0
    for _ in range(60):
        middle = (low + high) / 2
        if float(np.mean(-np.expm1(-np.exp(middle) * total))) < rate:
            low = middle
        else:
            high = middle
    return (low + high) / 2
