"""The fixed shapes that a section's loss of capacitance may follow, and how likely each is to begin with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from pipeline.forecast.priors import priors

Array = npt.NDArray[np.floating]
Floats = npt.NDArray[np.float64]

AGE_STEP_YEARS = 0.02
OLDEST_YEARS = 60.0
"""Step and end of the table of paths: a week, and beyond the age of any part under care (engineering choices)."""


@dataclass(frozen=True, eq=False)
class Paths:
    """Falling paths by age: ``table[i, k]`` is path k's drift [%] at ``i * step_years``, never above 0."""

    table: Array
    step_years: float
    weights: Floats

    def at(self, age_years: Floats) -> Array:
        """Return the drift [%] of every path at the ages, shape of the ages plus one axis of paths."""
        index = np.rint(np.nan_to_num(age_years) / self.step_years)
        return self.table[np.clip(index, 0, len(self.table) - 1).astype(np.int64)]


@cache
def default_paths() -> Paths:
    """Return straight, slow-then-fast and exponential paths with their starting weights.

    Notes
    -----
    linear -r x; kink -c x - r max(0, x - t); exponential -a (e^(x / tau) - 1), cut at the lowest drift.
    The linear weights follow a log-normal bump; in the other two families a path weighs less the more of
    the part it has lost after some years. All guesses.
    """
    p = priors()["drift"]["paths"]
    ages = np.arange(0.0, OLDEST_YEARS + AGE_STEP_YEARS, AGE_STEP_YEARS)[:, None]
    rates = np.geomspace(p["linear_low_pct_per_year"], p["linear_high_pct_per_year"], p["linear_nodes"])
    linear = -ages * rates
    bump = np.exp(-0.5 * (np.log(rates / p["linear_median_pct_per_year"]) / p["linear_sd_log"]) ** 2)
    kinks = [
        -p["kink_before_pct_per_year"] * ages - rate * np.maximum(0.0, ages - onset)
        for rate in p["kink_rates_pct_per_year"]
        for onset in p["kink_onsets_years"]
    ]
    growths = [
        -scale * np.expm1(np.minimum(ages / tau, 50.0))
        for scale in p["exponential_scales_pct"]
        for tau in p["exponential_taus_years"]
    ]
    weights = np.concatenate(
        [
            p["linear_share"] * bump / bump.sum(),
            p["kink_share"] * _believable(kinks, p["believable_loss_pct"], p["believable_years"]),
            p["exponential_share"] * _believable(growths, p["believable_loss_pct"], p["believable_years"]),
        ]
    )
    table = np.maximum(np.concatenate([linear, *kinks, *growths], axis=1), p["lowest_pct"])
    return Paths(np.ascontiguousarray(table, dtype=np.float32), AGE_STEP_YEARS, weights)


def _believable(paths: list[Array], loss_pct: float, after_years: float) -> Floats:
    """Return weights summing to 1 that fall off where a path loses more than ``loss_pct`` after some years."""
    lost = np.array([-path[round(after_years / AGE_STEP_YEARS), 0] for path in paths])
    weight = 1.0 / (1.0 + (lost / loss_pct) ** 2)
    return np.asarray(weight / weight.sum())
