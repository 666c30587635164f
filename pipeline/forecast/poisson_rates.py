"""Counts in an exposure: exact limits, rates drawn towards the mean, and which group is higher than the rest."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

Array = npt.NDArray[np.float64]

ALPHA = 0.05
SPREADS = np.geomspace(0.02, 2.0, 18)
"""Coefficients of variation between groups that are weighed."""
SPREAD_SCALE = 1.5
"""Half-width of the prior on that spread. Wide on purpose: at 0.35 the intervals of small fleets with makes that truly
differ held 90 % instead of 95 % (measured, tests/benchmarks/test_rates_and_warranty.py)."""
MEANS_WEIGHED = 13
LEAST_WEIGHT = 1e-4
"""Points of the grid over the fleet's mean, three standard errors either way, and the weight below which a point of the
grid is left out: fineness of a numerical integral."""


def garwood(count: npt.ArrayLike, exposure: npt.ArrayLike, confidence: float = 0.95) -> tuple[Array, Array]:
    """Return the exact limits of a Poisson rate.

    Parameters
    ----------
    count, exposure
        Events, and what they were counted in (unit-years); arrays of one shape.
    confidence
        Two-sided.

    Returns
    -------
    tuple
        Lower and upper limit per unit of exposure; not a number where there is no exposure.

    References
    ----------
    Garwood, Biometrika 28 (1936) 437-442: half the chi-squared quantiles with 2k and 2k + 2 degrees of freedom.

    Examples
    --------
    >>> low, high = garwood([2], [46.5])
    >>> float(low[0].round(4)), float(high[0].round(4))
    (0.0052, 0.1554)
    """
    k, e = np.asarray(count, np.float64), np.asarray(exposure, np.float64)
    tail = (1 - confidence) / 2
    low = np.where(k > 0, special.gammaincinv(np.maximum(k, 0.5), tail), 0.0)
    high = special.gammainccinv(k + 1, tail)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(e > 0, low / e, np.nan), np.where(e > 0, high / e, np.nan)


def shrink(count: npt.ArrayLike, exposure: npt.ArrayLike) -> tuple[Array, Array, Array]:
    """Return each group's rate drawn towards the mean of all, with its 95 % interval.

    Parameters
    ----------
    count, exposure
        Events and exposure of each group.

    Returns
    -------
    tuple
        Rate, lower and upper limit per unit of exposure; not a number where no group has exposure.

    Notes
    -----
    Gamma-Poisson: true rates scatter about a mean by a gamma law, counts about the rates by Poisson's. Mean and spread
    are not plugged in but weighed over a grid by how well they explain all counts, so that the interval also holds
    what is not known of them; a group's rate is then a mixture of gamma laws.

    References
    ----------
    Robbins' empirical Bayes with a gamma prior as in Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6 (from
    memory).
    """
    k, e = np.asarray(count, np.float64), np.asarray(exposure, np.float64)
    total, years = k.sum(), e.sum()
    if k.size == 0 or years <= 0:
        nothing = np.full(k.shape, np.nan)
        return nothing, nothing, nothing
    mean = (total + 0.5) / years
    spread = np.repeat(SPREADS, MEANS_WEIGHED)
    known = np.sqrt(1 / (total + 0.5) + spread**2 / k.size)
    steps = np.tile(np.linspace(-3, 3, MEANS_WEIGHED), SPREADS.size)
    level = mean * np.exp(known * steps)
    a = 1 / spread**2
    b = a / level
    log_prior = np.log(known * spread) - np.log1p((spread / SPREAD_SCALE) ** 2)  # half-Cauchy, even on the mean's log
    log_seen = (
        special.gammaln(a + k[:, None])
        - special.gammaln(a)
        + a * (np.log(b) - np.log(b + e[:, None]))
        - k[:, None] * np.log1p(b / np.maximum(e[:, None], 1e-300))
    ).sum(axis=0)
    weight = np.exp(log_prior + log_seen - (log_prior + log_seen).max())
    keep = weight >= LEAST_WEIGHT
    weight, a, b = weight[keep] / weight[keep].sum(), a[keep], b[keep]
    shape, rate = a + k[:, None], b + e[:, None]
    middle = (weight * shape / rate).sum(axis=1)
    return middle, _quantile(0.025, weight, shape, rate), _quantile(0.975, weight, shape, rate)


def _quantile(p: float, weight: Array, shape: Array, rate: Array) -> Array:
    """Return the quantile of each row's mixture of gamma laws, by halving the bracket."""
    mean, sd = shape / rate, np.sqrt(shape) / rate
    low, high = np.zeros(shape.shape[0]), (mean + 12 * sd).max(axis=1)
    for _ in range(40):
        middle = (low + high) / 2
        below = (weight * special.gammainc(shape, middle[:, None] * rate)).sum(axis=1) < p
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)


def dispersion(count: npt.ArrayLike, expected: npt.ArrayLike, groups: int) -> float:
    """Return how much more the counts of single units scatter than Poisson's law says; at least 1.

    Parameters
    ----------
    count, expected
        Events of each unit, and what its own group's rate gives for its exposure.
    groups
        How many group rates were fitted.
    """
    k, mu = np.asarray(count, np.float64), np.asarray(expected, np.float64)
    free = k.size - groups
    if free <= 0 or mu.sum() <= 0:
        return 1.0
    return max(1.0, float(((k - mu) ** 2).sum() / mu.sum()) * k.size / free)


def p_higher(count: npt.ArrayLike, expected: npt.ArrayLike, scatter: float = 1.0) -> Array:
    """Return for each group the chance of so many events or more if it were like all others together.

    Parameters
    ----------
    count
        Events of each group.
    expected
        Exposure of each group, or what its units would have at the fleet's rate; only its share of the whole counts.
    scatter
        ``dispersion``: the counts are worth so many times fewer.

    Notes
    -----
    Given all events, those of one group are binomial with its share of the exposure (conditional test of two Poisson
    rates; Przyborowski & Wilenski, Biometrika 31, 1940). With more scatter than Poisson both counts are divided by it.
    """
    k, share = np.asarray(count, np.float64), np.asarray(expected, np.float64)
    total, whole = k.sum() / scatter, share.sum()
    if whole <= 0:
        return np.ones(k.shape)
    part = np.clip(share / whole, 0.0, 1.0)
    seen = k / scatter
    alone = (part <= 0) | (part >= 1) | (seen <= 0)
    tail = special.betainc(np.where(alone, 1.0, seen), np.maximum(total - seen, 0) + 1, np.where(alone, 0.5, part))
    return np.asarray(np.where(alone, 1.0, tail))


def holm(p: npt.ArrayLike, alpha: float = ALPHA) -> npt.NDArray[np.bool_]:
    """Return which of the p-values stand when all of them were looked at.

    The chance of even one false alarm among them is at most ``alpha`` (Holm, Scandinavian Journal of Statistics 6,
    1979).
    """
    values = np.asarray(p, np.float64)
    order = np.argsort(values, kind="stable")
    limits = alpha / (values.size - np.arange(values.size))
    fails = values[order] > limits
    first = int(np.argmax(fails)) if fails.any() else values.size
    stands = np.zeros(values.shape, bool)
    stands[order[:first]] = True
    return stands
