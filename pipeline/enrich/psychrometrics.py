"""Moist air, whole columns at once: wet bulb, humidity, enthalpy and the standard atmosphere.

The equations are those of the ASHRAE Handbook of Fundamentals, chapter 1, in inch-pound units; psychrolib, which solves
them one number at a time, is the reference in the tests.
"""

from __future__ import annotations

import polars as pl

SEA_LEVEL_PSIA = 14.696
"""Standard atmosphere at sea level; ASHRAE Fundamentals 2017, chapter 1, equation 3."""


def standard_atmosphere_psia(altitude_ft: pl.Expr) -> pl.Expr:
    """Return the pressure of the standard atmosphere [psia] at an altitude [ft].

    References
    ----------
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 3; valid from -16,500 to 36,000 ft.
    """
    return SEA_LEVEL_PSIA * (1.0 - 6.8754e-6 * altitude_ft) ** 5.2559
