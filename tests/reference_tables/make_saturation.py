"""Make ``pipeline/reference/refrigerants/*.toml`` from CoolProp, one file per refrigerant.

Run as ``python -m tests.reference_tables.make_saturation`` from the top of the repository. CoolProp is a test
dependency only: it takes seconds to import and fails on mixtures inside the working range, so tables are shipped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import CoolProp.CoolProp as CP  # noqa: N817
import numpy as np
from numpy.typing import NDArray

TARGET = Path("pipeline/reference/refrigerants")
PSI_PA = 6894.757293168361
LOWEST_F = -98  # the pseudo-pure blend equations begin at 200 K (-99.67 degF)
DIGITS = 6  # significant digits kept: 1e-6 of a pressure is below 1e-4 degF


@dataclass(frozen=True)
class Recipe:
    """What CoolProp calls a refrigerant, and the facts that go beside its table."""

    name: str
    key: str
    about: str
    safety_class: str
    gwp: int
    ozone_depleting: bool


RECIPES = (
    Recipe("R-22", "R22", "pure", "A1", 1810, True),
    Recipe("R-32", "R32", "pure", "A2L", 675, False),
    Recipe("R-410A", "R410A", "pseudo-pure equation, Lemmon 2003", "A1", 2088, False),
    Recipe("R-407C", "R407C", "pseudo-pure equation, Lemmon 2003", "A1", 1774, False),
    Recipe("R-454B", "R454B.mix", "mixture of R-32 and R-1234yf, 0.689/0.311 by mass", "A2L", 466, False),
)


def rankine(temp_f: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the absolute temperature of a Fahrenheit one."""
    return temp_f + 459.67


def pressures_psia(key: str, quality: int, temps_f: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the saturation pressure at each temperature; NaN where CoolProp finds no solution."""
    out = np.full(temps_f.size, np.nan)
    for i, temp_f in enumerate(temps_f):
        try:
            out[i] = CP.PropsSI("P", "T", float((temp_f + 459.67) / 1.8), "Q", quality, key) / PSI_PA
        except ValueError:
            continue
    return out


def fill_holes(temps_f: NDArray[np.float64], psia: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the curve with inner holes filled along ln P against 1/T, which is nearly a straight line."""
    known = ~np.isnan(psia)
    inverse = -1.0 / rankine(temps_f)  # rising, as np.interp asks
    filled = np.exp(np.interp(inverse, inverse[known], np.log(psia[known])))
    return np.where(known, psia, filled)


def curves(recipe: Recipe) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return temperatures on the whole degree and both curves, up to where both are known."""
    temps_f = np.arange(LOWEST_F, 260, dtype=np.float64)
    bubble, dew = (pressures_psia(recipe.key, quality, temps_f) for quality in (0, 1))
    last = min(int(np.flatnonzero(~np.isnan(curve))[-1]) for curve in (bubble, dew))
    temps_f = temps_f[: last + 1]
    return temps_f, fill_holes(temps_f, bubble[: last + 1]), fill_holes(temps_f, dew[: last + 1])


def lines_of(values: NDArray[np.float64]) -> str:
    """Return the numbers as TOML array lines, ten to a line."""
    texts = [f"{value:.{max(0, DIGITS - 1 - math.floor(math.log10(value)))}f}" for value in values]
    return "\n".join("    " + ", ".join(texts[i : i + 10]) + "," for i in range(0, len(texts), 10))


def document(recipe: Recipe) -> str:
    """Return the whole TOML file of one refrigerant."""
    temps_f, bubble, dew = curves(recipe)
    return f"""\
# Saturation of {recipe.name}: bubble (liquid line, subcooling) and dew (suction line, superheat), absolute psia.
# Made by tests/reference_tables/make_saturation.py; do not edit by hand.
name = "{recipe.name}"
source = "computed with CoolProp {CP.get_global_param_string("version")}, key {recipe.key} ({recipe.about})"
safety_class = "{recipe.safety_class}"  # ASHRAE Standard 34 class, from memory
gwp = {recipe.gwp}  # 100 years, fourth IPCC assessment, from memory
ozone_depleting = {str(recipe.ozone_depleting).lower()}
lowest_f = {temps_f[0]:.1f}
step_f = 1.0
bubble_psia = [
{lines_of(bubble)}
]
dew_psia = [
{lines_of(dew)}
]
"""


def main() -> None:
    """Write every refrigerant's file."""
    for recipe in RECIPES:
        path = TARGET / f"{recipe.name.lower().replace('-', '_')}.toml"
        path.write_text(document(recipe), "utf-8")


if __name__ == "__main__":
    main()
