"""Mean cumulative function: how many repairs, or how much cost, a unit has gathered by an age, on average."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MeanCumulative:
    """The function at given ages, its robust standard error and 95 % limits, and how many were at risk."""

    age: Array
    at_risk: Array
    value: Array
    error: Array

    def limits(self) -> tuple[Array, Array]:
        """Return 95 % limits on the log scale, so that they stay above zero."""
        with np.errstate(divide="ignore", invalid="ignore"):
            wide = np.exp(ndtri(0.975) * self.error / self.value)
            return np.where(self.value > 0, self.value / wide, 0.0), np.where(self.value > 0, self.value * wide, np.nan)


def mean_cumulative(
    entry: npt.ArrayLike,
    leave: npt.ArrayLike,
    unit: npt.ArrayLike,
    when: npt.ArrayLike,
    amount: npt.ArrayLike | None = None,
    at: npt.ArrayLike | None = None,
) -> MeanCumulative:
    """Return the mean cumulative number, or amount, of recurring events.

    Parameters
    ----------
    entry, leave
        Age at first sight and at last sight of each unit.
    unit
        Of each event, the place of its unit in ``entry``.
    when
        Age at the event; a unit is at risk at t where entry < t <= leave.
    amount
        Cost of each event; one each where not said.
    at
        Ages wanted; those of the events where not said.

    Notes
    -----
    The sum over event ages of events per unit at risk. The error is robust: it comes from how the units' own totals
    scatter about the mean, so that repairs may follow one another in one unit.

    References
    ----------
    Nelson, J. Quality Technology 27 (1995) 147-157; Lawless & Nadeau, Technometrics 37 (1995) 158-168.
    """
    start, end = np.asarray(entry, float), np.asarray(leave, float)
    who, age = np.asarray(unit, np.int64), np.asarray(when, float)
    worth = np.ones(age.shape) if amount is None else np.asarray(amount, float)
    steps, place = np.unique(age, return_inverse=True)
    risk = (
        (end.size - np.searchsorted(np.sort(end), steps, "left"))
        - (start.size - np.searchsorted(np.sort(start), steps, "left"))
    ).astype(float)
    rise = np.bincount(place, worth, steps.size) / risk
    grid = steps if at is None else np.asarray(at, float)
    running, slope = np.concatenate([[0.0], np.cumsum(rise)]), np.concatenate([[0.0], np.cumsum(rise / risk)])
    value = running[np.searchsorted(steps, grid, "right")]
    before = slope[np.searchsorted(steps, start, "right")]
    at_end, at_grid = (slope[np.searchsorted(steps, ages, "right")] for ages in (end, grid))
    own_weight, order = worth / risk[place], np.argsort(age, kind="stable")
    gathered, variance, done = np.zeros(end.size), np.empty(grid.size), 0
    for n, stop in enumerate(np.searchsorted(age[order], grid, "right")):
        new = order[done:stop]
        gathered += np.bincount(who[new], own_weight[new], end.size)
        done = stop
        expected = np.where(end <= grid[n], at_end, at_grid[n]) - before
        variance[n] = ((gathered - np.maximum(expected, 0.0)) ** 2).sum()
    at_risk = (
        (end.size - np.searchsorted(np.sort(end), grid, "left"))
        - (start.size - np.searchsorted(np.sort(start), grid, "left"))
    ).astype(float)
    return MeanCumulative(grid, at_risk, value, np.sqrt(variance))
