"""Saturation of refrigerants from shipped tables: dew for superheat, bubble for subcooling, altitude-corrected.

Adding a refrigerant is adding one file to ``pipeline/reference/refrigerants``; nothing here names one.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any, Literal

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from pipeline.enrich.psychrometrics import standard_atmosphere_psia

Curve = Literal["bubble", "dew"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Refrigerant:
    """One refrigerant: its facts and both saturation curves on a fine grid.

    ``temps_f`` [degF] rises evenly; ``log_bubble`` and ``log_dew`` are natural logarithms of pressure [psia].
    """

    name: str
    source: str
    safety_class: str
    gwp: int
    ozone_depleting: bool
    temps_f: Floats
    log_bubble: Floats
    log_dew: Floats

    def log_psia(self, curve: Curve) -> Floats:
        """Return the logarithm of pressure along one curve."""
        return self.log_bubble if curve == "bubble" else self.log_dew


def spelling_key(name: str) -> str:
    """Return what is left of a refrigerant's name once case, spaces, dashes and the leading R are gone.

    >>> spelling_key(" r-410a "), spelling_key("R 22"), spelling_key("410A")
    ('410A', '22', '410A')
    """
    return "".join(c for c in name.upper() if c.isalnum()).removeprefix("R")


def read_refrigerants(folder: Traversable) -> Mapping[str, Refrigerant]:
    """Return the refrigerants of a folder of table files, by ``spelling_key``.

    Raises
    ------
    ValueError
        If a table does not rise with temperature, or its bubble lies below its dew pressure.
    """
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    known = [_refrigerant(f.name, tomllib.loads(f.read_text("utf-8"))) for f in files]
    return {spelling_key(r.name): r for r in known}


@cache
def refrigerants() -> Mapping[str, Refrigerant]:
    """Return the shipped refrigerants by ``spelling_key``."""
    return read_refrigerants(resources.files("pipeline") / "reference" / "refrigerants")


def find_refrigerant(name: str, known: Mapping[str, Refrigerant] | None = None) -> Refrigerant:
    """Return one refrigerant by any spelling of its name.

    Raises
    ------
    KeyError
        If no table is shipped for it; there is never a default.
    """
    table = refrigerants() if known is None else known
    try:
        return table[spelling_key(name)]
    except KeyError:
        names = ", ".join(r.name for r in table.values())
        raise KeyError(f"no saturation table for {name!r}; there are tables for {names}") from None


def absolute_psia(psig: pl.Expr, altitude_ft: pl.Expr) -> pl.Expr:
    """Return absolute pressure [psia] of a gauge reading [psig] taken at an altitude [ft].

    A gauge reads against local air, so the same reading at 5,000 ft is 2.5 psi less than at sea level.
    """
    return psig + standard_atmosphere_psia(altitude_ft)


def dew_psia(refrigerant: str, temp_f: ArrayLike) -> Floats:
    """Return the dew pressure [psia] at temperatures [degF]; NaN outside the table."""
    return _psia_at(find_refrigerant(refrigerant), "dew", np.asarray(temp_f, dtype=np.float64))


def bubble_psia(refrigerant: str, temp_f: ArrayLike) -> Floats:
    """Return the bubble pressure [psia] at temperatures [degF]; NaN outside the table."""
    return _psia_at(find_refrigerant(refrigerant), "bubble", np.asarray(temp_f, dtype=np.float64))


def saturation_f(
    refrigerant: pl.Expr, psia: pl.Expr, curve: Curve, known: Mapping[str, Refrigerant] | None = None
) -> pl.Expr:
    """Return the saturation temperature [degF], row by row, of mixed refrigerants.

    Parameters
    ----------
    refrigerant : pl.Expr
        Name, String; an unknown or null one gives null.
    psia : pl.Expr
        Absolute pressure, Float64 [psia]; outside the table gives null.
    curve : {"bubble", "dew"}
        Bubble for the liquid line, dew for the suction line. On R-407C a swap is an error of 11 degF.
    known : Mapping, optional
        Refrigerants by ``spelling_key``; the shipped ones when left out.
    """
    table = refrigerants() if known is None else known

    def look_up(columns: Sequence[pl.Series]) -> pl.Series:
        return _by_refrigerant(columns[0], columns[1], table, lambda r, x: _temps_at(r, curve, x))

    return pl.map_batches([refrigerant, psia], look_up, return_dtype=pl.Float64, is_elementwise=True)


def saturation_slope(
    refrigerant: pl.Expr, psia: pl.Expr, curve: Curve, known: Mapping[str, Refrigerant] | None = None
) -> pl.Expr:
    """Return how far the saturation temperature moves per psi [degF/psi]; null where it is unknown."""
    table = refrigerants() if known is None else known

    def look_up(columns: Sequence[pl.Series]) -> pl.Series:
        return _by_refrigerant(columns[0], columns[1], table, lambda r, x: _slopes_at(r, curve, x))

    return pl.map_batches([refrigerant, psia], look_up, return_dtype=pl.Float64, is_elementwise=True)


def add_saturation(frame: pl.DataFrame) -> pl.DataFrame:
    """Add absolute pressures and both saturation temperatures to readings.

    Parameters
    ----------
    frame : pl.DataFrame
        ``refrigerant`` String; ``suction_psig``, ``liquid_psig`` Float64 [psig]; ``altitude_ft`` Float64 [ft].

    Returns
    -------
    pl.DataFrame
        The same rows with ``suction_psia``, ``liquid_psia`` [psia], ``suction_saturation_f`` (dew) and
        ``liquid_saturation_f`` (bubble) [degF]; null stays null.
    """
    altitude, name = pl.col("altitude_ft"), pl.col("refrigerant")
    return frame.with_columns(
        suction_psia=absolute_psia(pl.col("suction_psig"), altitude),
        liquid_psia=absolute_psia(pl.col("liquid_psig"), altitude),
    ).with_columns(
        suction_saturation_f=saturation_f(name, pl.col("suction_psia"), "dew"),
        liquid_saturation_f=saturation_f(name, pl.col("liquid_psia"), "bubble"),
    )


def _refrigerant(file: str, raw: Mapping[str, Any]) -> Refrigerant:
    bubble, dew = (np.log(np.asarray(raw[f"{curve}_psia"], dtype=np.float64)) for curve in ("bubble", "dew"))
    temps_f = raw["lowest_f"] + raw["step_f"] * np.arange(bubble.size, dtype=np.float64)
    if bubble.size != dew.size or bubble.size < 2:
        raise ValueError(f"{file}: bubble_psia and dew_psia need the same number of values, two at least")
    if np.any(np.diff(bubble) <= 0) or np.any(np.diff(dew) <= 0):
        raise ValueError(f"{file}: saturation pressure must rise with temperature")
    if np.any(bubble < dew - 1e-9):
        raise ValueError(f"{file}: the bubble pressure lies below the dew pressure; are the columns swapped?")
    facts = {key: raw[key] for key in ("name", "source", "safety_class", "gwp", "ozone_depleting")}
    return Refrigerant(**facts, temps_f=temps_f, log_bubble=bubble, log_dew=dew)


def _temps_at(refrigerant: Refrigerant, curve: Curve, psia: Floats) -> Floats:
    log_psia = np.log(psia, out=np.full(psia.shape, np.nan), where=psia > 0)
    out: Floats = np.interp(log_psia, refrigerant.log_psia(curve), refrigerant.temps_f, left=np.nan, right=np.nan)
    return out


def _psia_at(refrigerant: Refrigerant, curve: Curve, temp_f: Floats) -> Floats:
    log_psia = np.interp(temp_f, refrigerant.temps_f, refrigerant.log_psia(curve), left=np.nan, right=np.nan)
    out: Floats = np.exp(log_psia)
    return out


def _slopes_at(refrigerant: Refrigerant, curve: Curve, psia: Floats) -> Floats:
    log_psia = refrigerant.log_psia(curve)
    per_log = np.gradient(refrigerant.temps_f, log_psia)
    at = np.log(psia, out=np.full(psia.shape, np.nan), where=psia > 0)
    out: Floats = np.interp(at, log_psia, per_log, left=np.nan, right=np.nan) / psia
    return out


def _by_refrigerant(names: pl.Series, values: pl.Series, known: Mapping[str, Refrigerant], function: Any) -> pl.Series:
    """Apply ``function(refrigerant, values)`` to the rows of each known refrigerant; the others stay null."""
    length = max(len(names), len(values))
    out = np.full(length, np.nan)
    numbers = values.to_numpy() if len(values) == length else np.full(length, values[0], dtype=np.float64)
    for name in names.unique().drop_nulls():
        found = known.get(spelling_key(name))
        if found is None:
            continue
        rows = (names == name).fill_null(False).to_numpy() if len(names) == length else np.full(length, True)
        out[rows] = function(found, numbers[rows])
    return pl.Series(out).fill_nan(None)
