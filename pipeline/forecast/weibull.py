"""Weibull law of lifetimes by greatest likelihood, for things that were old at first sight, with limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from pipeline.forecast.poisson_rates import garwood

Array = npt.NDArray[np.float64]
NONE = float("nan")

ENOUGH_FAILURES = 10
"""From so many failures on the shape is fitted; below, it is held (engineering choice)."""
HELD_SHAPE = 2.0
"""Shape of wear-out where there are too few failures to fit one (common practice, no source)."""
ENOUGH_FOR_NORMAL = 100
"""From so many failures on, limits by the curvature agree with those by the likelihood and cost a thousandth."""
LOG_SHAPES = (float(np.log(0.05)), float(np.log(60.0)))
FINEST = 1000
"""Of a larger sample, ages are put together in so many steps of the greatest: two weeks in forty years."""
FARTHEST = 12.0
"""Limits are sought up to so far from the estimate, in log age; beyond, there is none."""


@dataclass(frozen=True)
class Sample:
    """What the likelihood needs: ages in parts of the greatest, those at the end counted up, at entry down."""

    ages: Array
    weight: Array
    unit: float
    failures: float
    log_sum: float

    def used(self, shape: float) -> float:
        """Return the summed cumulative hazard for a scale of one."""
        return float(self.weight @ self.ages**shape)

    def log_likelihood(self, shape: float, scale: float) -> float:
        """Return the log-likelihood of a law, in parts of the greatest age."""
        rises = self.failures * (np.log(shape) - shape * np.log(scale)) + (shape - 1) * self.log_sum
        return float(rises - self.used(shape) / scale**shape)


@dataclass(frozen=True)
class Weibull:
    """A fitted law.

    Attributes
    ----------
    method : str
        ``fitted``, ``shape_held`` (too few failures for a shape) or ``no_failures`` (only a lower limit).
    failures : int
    shape, scale : float
        Scale in the unit of the ages, not a number without failures.
    log_likelihood : float
        In the unit of the ages, where fitted.
    """

    method: str
    failures: int
    shape: float
    scale: float
    log_likelihood: float
    sample: Sample

    def quantile_point(self, share: float) -> float:
        """Return the age by which ``share`` has failed."""
        return float(self.scale * float(-np.log1p(-share)) ** (1 / self.shape))

    def quantile(self, share: float) -> tuple[float, float, float]:
        """Return the age by which ``share`` has failed, with 95 % limits; not a number where there is none."""
        c = float(-np.log1p(-share))
        if self.method == "fitted":
            best = self.quantile_point(share)
            many = self.failures >= ENOUGH_FOR_NORMAL
            low, high = self._normal_limits(c, best) if many else self._likelihood_limits(c, best)
            return best, low, high
        limits = garwood([self.failures], [1.0])
        least, most = float(limits[0][0]), float(limits[1][0])
        if self.method == "no_failures":
            return NONE, self._age(c, float(special.gammaincinv(1, 0.95))), NONE  # one-sided: all doubt is on one side
        return self._age(c, self.failures), self._age(c, most), self._age(c, least)

    def _age(self, c: float, failures: float) -> float:
        """Return the quantile if so many failures had been due in what was seen, at the held shape."""
        return float(self.sample.unit * (self.sample.used(self.shape) * c / failures) ** (1 / self.shape))

    def _normal_limits(self, c: float, best: float) -> tuple[float, float]:
        """Return limits from the curvature of the log-likelihood, on the log of the age."""
        k, d = self.shape, self.failures
        inside = self.sample.ages > 0
        log_ages = np.log(self.sample.ages[inside]) - np.log(self.scale / self.sample.unit)
        spent = self.sample.weight[inside] * np.exp(k * log_ages)
        first, second = float(spent @ log_ages), float(spent @ log_ages**2)
        information = np.array([[k * k * d, -k * first], [-k * first, d / k**2 + second]])  # of log scale and shape
        gradient = np.array([1.0, -np.log(c) / k**2])
        wide = float(np.exp(special.ndtri(0.975) * np.sqrt(gradient @ np.linalg.solve(information, gradient))))
        return best / wide, best * wide

    def _likelihood_limits(self, c: float, best: float) -> tuple[float, float]:
        """Return where twice the log-likelihood has fallen by the chi-squared value (profile likelihood)."""
        top = self.sample.log_likelihood(self.shape, self.scale / self.sample.unit)
        allowed = float(special.gammaincinv(0.5, 0.95))

        def fall(log_age: float) -> float:
            def minus(log_shape: float) -> float:
                shape = float(np.exp(log_shape))
                log_scale = log_age - np.log(c) / shape
                rises = self.sample.failures * (log_shape - shape * log_scale) + (shape - 1) * self.sample.log_sum
                with np.errstate(over="ignore"):
                    return -float(rises - self.sample.used(shape) * np.exp(-shape * log_scale))

            found = optimize.minimize_scalar(minus, bounds=LOG_SHAPES, method="bounded", options={"xatol": 1e-6})
            return float(top + found.fun) - allowed

        middle = float(np.log(best / self.sample.unit))
        return self._root(fall, middle, -1.0), self._root(fall, middle, 1.0)

    def _root(self, fall: Callable[[float], float], middle: float, side: float) -> float:
        step = 0.1
        while step < FARTHEST and fall(middle + side * step) < 0:
            step *= 2
        if step >= FARTHEST:
            return NONE
        inner = 0.0 if step == 0.1 else step / 2
        found = optimize.brentq(fall, *sorted((middle + side * inner, middle + side * step)), xtol=1e-6)
        return float(self.sample.unit * np.exp(found))


def fit_weibull(
    entry: npt.ArrayLike,
    leave: npt.ArrayLike,
    failed: npt.ArrayLike,
    weight: npt.ArrayLike | None = None,
    *,
    enough: int = ENOUGH_FAILURES,
    held_shape: float = HELD_SHAPE,
) -> Weibull:
    """Return the Weibull law of greatest likelihood for ages seen from ``entry`` on.

    Parameters
    ----------
    entry, leave, failed
        Age at first sight, age at failure or last sight, whether it ended in failure.
    weight
        How many things each row stands for; one where not said.
    enough
        From so many failures on the shape is fitted.
    held_shape
        Shape below that; 1 is the exponential law.

    Notes
    -----
    Log-likelihood: over failures the log hazard at ``leave``, less the cumulative hazard from ``entry`` to ``leave``.
    The scale follows from the shape in closed form, so one number is searched. Below ``enough`` failures the
    shape is held and the limits are those of the count of failures; without any there is only a
    lower limit (one-sided).

    References
    ----------
    Meeker & Escobar, Statistical Methods for Reliability Data (1998), chapters 8 and 11 (from memory).
    """
    sample = _sample(entry, leave, failed, weight)
    count = round(sample.failures)
    if count == 0:
        return Weibull("no_failures", 0, held_shape, NONE, NONE, sample)
    if count < enough:
        return Weibull("shape_held", count, held_shape, sample.unit * _scale(sample, held_shape), NONE, sample)

    def minus(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return -sample.log_likelihood(shape, _scale(sample, shape))

    found = optimize.minimize_scalar(minus, bounds=LOG_SHAPES, method="bounded", options={"xatol": 1e-9})
    shape = float(np.exp(found.x))
    in_ages = -float(found.fun) - sample.failures * np.log(sample.unit)
    return Weibull("fitted", count, shape, sample.unit * _scale(sample, shape), float(in_ages), sample)


def _sample(entry: npt.ArrayLike, leave: npt.ArrayLike, failed: npt.ArrayLike, weight: npt.ArrayLike | None) -> Sample:
    start, end, hit = np.asarray(entry, float), np.asarray(leave, float), np.asarray(failed, bool)
    many = np.ones(end.shape) if weight is None else np.asarray(weight, float)
    unit = float(end.max()) if end.size else 1.0
    log_sum = float((many[hit] * np.log(end[hit] / unit)).sum())
    ages, weight = np.concatenate([end, start]) / unit, np.concatenate([many, -many])
    if ages.size > FINEST:
        place = np.round(ages * FINEST).astype(np.int64)
        weight = np.bincount(place, weight, FINEST + 1).astype(np.float64)
        ages = np.arange(FINEST + 1) / FINEST
    return Sample(ages, weight, unit, float(many[hit].sum()), log_sum)


def _scale(sample: Sample, shape: float) -> float:
    return float((sample.used(shape) / sample.failures) ** (1 / shape))
