"""Survival curves of things that were old at first sight: Kaplan-Meier with delayed entry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Array = npt.NDArray[np.float64]

LEAST_AT_RISK = 5
"""Where fewer are at risk, a curve's early steps say nothing; it starts later (engineering choice)."""


@dataclass(frozen=True)
class Curve:
    """Kaplan-Meier estimate at each age with a failure: numbers at risk, failures, survival, its standard error."""

    age: Array
    at_risk: Array
    failures: Array
    survival: Array
    error: Array

    def quantile(self, share: float) -> tuple[float, float, float]:
        """Return the age by which ``share`` has failed, with 95 % limits; not a number where it is not reached."""
        low, high = self.limits()
        left = 1 - share
        return _first(self.age, self.survival <= left), _first(self.age, low <= left), _first(self.age, high <= left)

    def limits(self) -> tuple[Array, Array]:
        """Return 95 % limits of the survival, on the log-log scale so that they stay between 0 and 1."""
        with np.errstate(divide="ignore", invalid="ignore"):
            logged = np.log(self.survival)
            spread = ndtri(0.975) * self.error / np.abs(self.survival * logged)
            low, high = self.survival ** np.exp(spread), self.survival ** np.exp(-spread)
        inside = (self.survival > 0) & (self.survival < 1)
        return np.where(inside, low, self.survival), np.where(inside, high, self.survival)


def _first(age: Array, reached: npt.NDArray[np.bool_]) -> float:
    return float(age[int(np.argmax(reached))]) if reached.any() else float("nan")


def kaplan_meier(entry: npt.ArrayLike, leave: npt.ArrayLike, failed: npt.ArrayLike, *, least: int = 1) -> Curve:
    """Return the survival curve of things seen from the age ``entry`` on.

    Parameters
    ----------
    entry, leave
        Age at first sight and at failure or last sight.
    failed
        Whether it ended in failure; what was taken out for another reason is censored.
    least
        Steps at ages where fewer are at risk are passed over until the first age with so many: the curve then holds
        for those that reached that age.

    Notes
    -----
    At risk at age t are those with entry < t <= leave; a failure comes before a censoring of the same age. Error by
    Greenwood's formula.

    References
    ----------
    Kaplan & Meier, J. Am. Stat. Assoc. 53 (1958) 457-481; Cole & Hudgens, AIDS 24 (2010) 2423-2431 for delayed entry.
    """
    start, end, hit = np.asarray(entry, float), np.asarray(leave, float), np.asarray(failed, bool)
    ages, counts = np.unique(end[hit], return_counts=True)
    after_exit = end.size - np.searchsorted(np.sort(end), ages, "left")
    not_in_yet = start.size - np.searchsorted(np.sort(start), ages, "left")
    risk = (after_exit - not_in_yet).astype(float)
    begun = np.maximum.accumulate(risk >= least) if ages.size else np.zeros(0, bool)
    ages, deaths, risk = ages[begun], counts[begun].astype(np.float64), risk[begun]
    survival = np.cumprod(1 - deaths / risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        summed = np.cumsum(deaths / (risk * (risk - deaths)))
        error = np.where(survival > 0, survival * np.sqrt(summed), 0.0)
    return Curve(ages, risk, deaths, survival, error)
