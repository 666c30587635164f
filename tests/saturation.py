"""Saturation temperatures of single pressures, through the look-up that the product makes for whole columns."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from pipeline.enrich.refrigerants import Curve, saturation_f

Floats = NDArray[np.float64]


def dew_f(refrigerant: str, psia: ArrayLike) -> Floats:
    """Return the dew temperature [degF] at absolute pressures [psia]; NaN outside the table."""
    return _temps_at(refrigerant, psia, "dew")


def bubble_f(refrigerant: str, psia: ArrayLike) -> Floats:
    """Return the bubble temperature [degF] at absolute pressures [psia]; NaN outside the table."""
    return _temps_at(refrigerant, psia, "bubble")


def _temps_at(refrigerant: str, psia: ArrayLike, curve: Curve) -> Floats:
    asked = np.asarray(psia, dtype=np.float64)
    column = pl.DataFrame({"psia": asked.ravel()})
    found = column.select(saturation_f(pl.lit(refrigerant), pl.col("psia"), curve)).to_series()
    return found.to_numpy().astype(np.float64).reshape(asked.shape)
