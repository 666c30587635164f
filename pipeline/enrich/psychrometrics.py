"""Moist air, whole columns at once: wet bulb, humidity, enthalpy and the standard atmosphere.

The equations are those of the ASHRAE Handbook of Fundamentals 2017, chapter 1, in inch-pound units; psychrolib, which
solves them one number at a time, is the reference in the tests. Functions on arrays end in nothing but their quantity;
``wet_bulb_f`` works on expressions and computes only the rows where every input is present (``complete_rows``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SEA_LEVEL_PSIA = 14.696
"""Standard atmosphere at sea level; ASHRAE Fundamentals 2017, chapter 1, equation 3."""

FREEZING_F = 32.018
"""Triple point of water: saturation is over ice below it, over liquid water from it on."""

OVER_ICE = (-1.0214165e4, -4.8932428e0, -5.3765794e-3, 1.9202377e-7, 3.5575832e-10, -9.0344688e-14, 4.1635019e0)
"""C1 to C7 of ASHRAE Fundamentals 2017, chapter 1, equation 5 (temperature in degR, pressure in psia)."""

OVER_WATER = (-1.0440397e4, -1.1294650e1, -2.7022355e-2, 1.2890360e-5, -2.4780681e-9, 0.0, 6.5459673e0)
"""C8 to C13 of equation 6, laid out like ``OVER_ICE``."""

NEWTON_STEPS = 6
"""Steps of the wet-bulb solution from the dry bulb downwards; four reach 1e-6 degF over the contract's ranges."""


def standard_atmosphere_psia(altitude_ft: pl.Expr) -> pl.Expr:
    """Return the pressure of the standard atmosphere [psia] at an altitude [ft].

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 3; valid from -16,500 to 36,000 ft.
    """
    return SEA_LEVEL_PSIA * (1.0 - 6.8754e-6 * altitude_ft) ** 5.2559


def vapor_saturation_psia(temp_f: Floats) -> Floats:
    """Return the saturation pressure of water vapour [psia] at temperatures [degF], over ice below freezing.

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equations 5 and 6; -148 to 392 degF.
    """
    psia, _ = _vapor_and_slope(temp_f)
    return psia


def humidity_ratio(dry_bulb_f: Floats, wet_bulb_f: Floats, psia: Floats) -> Floats:
    """Return pounds of water per pound of dry air from dry bulb, wet bulb [degF] and air pressure [psia].

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equations 33 and 35.
    """
    ratio, _ = _ratio_and_slope(dry_bulb_f, wet_bulb_f, psia)
    return np.maximum(ratio, 0.0)


def specific_volume_ft3_lb(dry_bulb_f: Floats, wet_bulb_f: Floats, psia: Floats) -> Floats:
    """Return cubic feet of moist air per pound of dry air.

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 26.
    """
    ratio = humidity_ratio(dry_bulb_f, wet_bulb_f, psia)
    return 0.370486 * (dry_bulb_f + 459.67) * (1.0 + 1.607858 * ratio) / psia


def moist_enthalpy_btu_lb(dry_bulb_f: Floats, wet_bulb_f: Floats, psia: Floats) -> Floats:
    """Return enthalpy [Btu per lb of dry air] from dry bulb, wet bulb [degF] and air pressure [psia].

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 30.
    """
    return 0.240 * dry_bulb_f + humidity_ratio(dry_bulb_f, wet_bulb_f, psia) * (1061.0 + 0.444 * dry_bulb_f)


def solve_wet_bulb_f(dry_bulb_f: Floats, rh_pct: Floats, psia: Floats) -> Floats:
    """Return the wet bulb [degF] from dry bulb [degF], relative humidity [%] and air pressure [psia].

    Notes
    -----
    The wet bulb is where equation 33 (35 over ice) gives the air's own humidity ratio. That ratio rises with the wet
    bulb and bends upwards, so Newton's steps from the dry bulb come down to it without overshooting.
    """
    vapor = rh_pct / 100.0 * vapor_saturation_psia(dry_bulb_f)
    wanted = 0.621945 * vapor / (psia - vapor)
    wet_bulb = np.array(dry_bulb_f, dtype=np.float64)
    for _ in range(NEWTON_STEPS):
        ratio, slope = _ratio_and_slope(dry_bulb_f, wet_bulb, psia)
        wet_bulb = np.minimum(wet_bulb - (ratio - wanted) / slope, dry_bulb_f)
    return wet_bulb


def wet_bulb_f(dry_bulb_f: pl.Expr, rh_pct: pl.Expr, psia: pl.Expr) -> pl.Expr:
    """Return the wet bulb [degF] from dry bulb [degF], relative humidity [%] and pressure [psia]; null stays null."""
    return complete_rows(solve_wet_bulb_f, dry_bulb_f, rh_pct, psia)


def complete_rows(function: Callable[..., Floats], *inputs: pl.Expr) -> pl.Expr:
    """Return ``function`` of whole columns, computed where every input is present and null elsewhere."""

    def compute(columns: Sequence[pl.Series]) -> pl.Series:
        length = max(len(column) for column in columns)
        arrays = [np.broadcast_to(column.cast(pl.Float64).to_numpy(), (length,)) for column in columns]
        rows = np.all([np.isfinite(array) for array in arrays], axis=0)
        out = np.full(length, np.nan)
        if rows.any():
            out[rows] = function(*(array[rows] for array in arrays))
        return pl.Series(out).fill_nan(None)

    return pl.map_batches(list(inputs), compute, return_dtype=pl.Float64, is_elementwise=True)


def _vapor_and_slope(temp_f: Floats) -> tuple[Floats, Floats]:
    """Return saturation pressure of water and its derivative by temperature."""
    t = np.asarray(temp_f, dtype=np.float64) + 459.67
    over_ice = t < FREEZING_F + 459.67
    c = [np.where(over_ice, ice, water) for ice, water in zip(OVER_ICE, OVER_WATER, strict=True)]
    powers = c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5])))
    psia = np.exp(c[0] / t + powers + c[6] * np.log(t))
    by_temp = -c[0] / t**2 + c[2] + t * (2 * c[3] + t * (3 * c[4] + t * 4 * c[5])) + c[6] / t
    return psia, psia * by_temp


def _ratio_and_slope(dry_bulb_f: Floats, wet_bulb_f: Floats, psia: Floats) -> tuple[Floats, Floats]:
    """Return the humidity ratio of equations 33 and 35 and its derivative by wet bulb."""
    vapor, vapor_slope = _vapor_and_slope(wet_bulb_f)
    saturated = 0.621945 * vapor / (psia - vapor)
    saturated_slope = 0.621945 * psia * vapor_slope / (psia - vapor) ** 2
    over_ice = wet_bulb_f < FREEZING_F
    latent = np.where(over_ice, 1220.0 - 0.04 * wet_bulb_f, 1093.0 - 0.556 * wet_bulb_f)
    latent_slope = np.where(over_ice, -0.04, -0.556)
    below = 0.444 * dry_bulb_f + np.where(over_ice, 1220.0 - 0.48 * wet_bulb_f, 1093.0 - wet_bulb_f)
    below_slope = np.where(over_ice, -0.48, -1.0)
    above = latent * saturated - 0.240 * (dry_bulb_f - wet_bulb_f)
    above_slope = latent_slope * saturated + latent * saturated_slope + 0.240
    return above / below, (above_slope * below - above * below_slope) / below**2
