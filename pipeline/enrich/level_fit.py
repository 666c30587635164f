"""Level, slopes and spreads of one reading of an equipment class, from visits that are more or less surely in order."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]
SLOPE_SD = (0.3, 0.7, 0.7)
"""How far a class's dependence on the conditions may differ from the rules of thumb, degF per degF."""
SLOPES = ("by_outdoor", "by_wet_bulb", "by_dry_bulb")


def fit_level(
    values: Floats, conditions: Floats, units: Floats, weights: Floats, shipped_visit_sd: float
) -> dict[str, float]:
    """Fit level and slopes by ridge regression, twice: the second time without what lies far off.

    Parameters
    ----------
    values : array, n
        Actual minus the rule of thumb [degF].
    conditions : array, n x 3
        Outdoor, wet bulb and dry bulb temperature about their usual values [degF].
    units : array, n
        Which unit each value is of.
    weights : array, n
        How probably nothing is wrong.
    shipped_visit_sd : float
        Spread from visit to visit where too few units came back [degF].

    Returns
    -------
    dict
        visits (sum of the weights kept), level_f, ``SLOPES``, between_sd_f and visit_sd_f [degF].
    """
    kept = weights * (np.abs(values - _middle(values, weights)) <= 4.0 * max(_spread(values, weights), 0.5))
    coefficients = np.zeros(1 + conditions.shape[1])
    design = np.column_stack([np.ones(values.size), conditions])
    for _ in range(2):
        sd = max(_spread(values - design @ coefficients, kept), 0.5)
        penalty = np.diag([0.0, *(sd / np.asarray(SLOPE_SD)) ** 2])
        weighed = design.T * kept
        coefficients = np.linalg.solve(weighed @ design + penalty, weighed @ values)
        left = values - design @ coefficients
        kept = weights * (np.abs(left) <= 3.5 * max(_spread(left, weights), 0.5))
    between, visit = _split_spread(left, units, kept, shipped_visit_sd)
    fitted = dict(zip(("level_f", *SLOPES), (float(c) for c in coefficients), strict=True))
    return {"visits": float(kept.sum()), **fitted, "between_sd_f": between, "visit_sd_f": visit}


def spreads_before_cut(fit: Mapping[str, float], half: float) -> dict[str, float]:
    """Return both spreads of a reading that was cut off at plus or minus ``half``, as they were before.

    The spread of a normal law cut off so is known in closed form (Johnson, Kotz & Balakrishnan, Continuous Univariate
    Distributions 1, 1994, section 13.10.1, from memory); the law that leaves what was seen is found by halving. Both
    spreads widen alike, and that between units is half of ``half`` at least.
    """
    seen = (fit["between_sd_f"] ** 2 + fit["visit_sd_f"] ** 2) ** 0.5
    low, high = 0.1 * half, half
    for _ in range(30):
        sd = (low + high) / 2.0
        z = half / sd
        inside = float(ndtr(z) - ndtr(-z))
        left = sd * (1.0 - 2.0 * z * np.exp(-0.5 * z**2) / ((2.0 * np.pi) ** 0.5 * inside)) ** 0.5
        low, high = (sd, high) if left < seen else (low, sd)
    visit = fit["visit_sd_f"] * max(high / seen, 1.0)
    return {"visit_sd_f": visit, "between_sd_f": max(high**2 - visit**2, 0.25 * half**2) ** 0.5}


def _split_spread(left: Floats, units: Floats, weights: Floats, shipped_visit_sd: float) -> tuple[float, float]:
    """Return the spread between units and from visit to visit of one unit (pooled, by analysis of variance)."""
    used = weights > 0.0
    left, weights = left[used], weights[used]
    total = float(np.average((left - np.average(left, weights=weights)) ** 2, weights=weights))
    _, which = np.unique(units[used], return_inverse=True)
    of_unit = np.bincount(which, weights)
    means = np.bincount(which, weights * left) / of_unit
    freedom = float(weights.sum() - (np.bincount(which, weights**2) / of_unit).sum())
    if freedom < 20:
        visit = min(shipped_visit_sd, 0.8 * total**0.5)
    else:
        visit = float(np.sqrt(np.sum(weights * (left - means[which]) ** 2) / freedom))
    return float(np.sqrt(max(total - visit**2, 0.09 * total, 0.01))), max(visit, 0.3)


def _middle(values: Floats, weights: Floats) -> float:
    """Return the weighted median."""
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(summed, 0.5 * summed[-1])])


def _spread(values: Floats, weights: Floats) -> float:
    return 1.4826 * _middle(np.abs(values - _middle(values, weights)), weights)
