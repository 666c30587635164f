"""Every unit conversion, once: a unit as somebody wrote it to the canonical unit of a field.

All conversions are straight lines, ``canonical = slope * value + intercept``: one polars expression converts a column.
The units of the trade are in `UNITS`; any other name is looked up in pint.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import polars as pl

from pipeline.fields import Field

SEA_LEVEL_PSIA = 14.696
"""Standard atmosphere at sea level [psia]; ASHRAE Handbook Fundamentals, Psychrometrics, standard atmosphere
(memory)."""

PSI_PER_KPA = 1 / 6.894757293168361
"""1 psi = 6.894757 kPa exactly from 1 lb = 0.45359237 kg, 1 in = 25.4 mm and g = 9.80665 m/s2 (NIST SP 811,
Appendix B)."""

OZ_PER_KG = 1 / 0.028349523125
"""Avoirdupois ounce = 28.349523125 g exactly (NIST SP 811, Appendix B)."""

INH2O_PER_KPA = 1 / 0.24908891
"""Conventional inch of water = 249.08891 Pa (NIST SP 811, Appendix B: 2.490 889 E+02)."""


@dataclass(frozen=True)
class Unit:
    """One unit: its dimension and the line that leads to the dimension's base unit."""

    dimension: str
    slope: float
    intercept: float = 0.0
    absolute: bool = False


UNITS: Mapping[str, Unit] = {
    "degF": Unit("temperature", 1.0),
    "degC": Unit("temperature", 1.8, 32.0),
    "kelvin": Unit("temperature", 1.8, -459.67),
    "degR": Unit("temperature", 1.0, -459.67),
    "psig": Unit("pressure", 1.0),
    "kPa": Unit("pressure", PSI_PER_KPA),
    "MPa": Unit("pressure", 1000 * PSI_PER_KPA),
    "Pa": Unit("pressure", PSI_PER_KPA / 1000),
    "hPa": Unit("pressure", PSI_PER_KPA / 10),
    "bar": Unit("pressure", 100 * PSI_PER_KPA),
    "kgf/cm2": Unit("pressure", 98.0665 * PSI_PER_KPA),
    "inHg": Unit("pressure", 3.386389 * PSI_PER_KPA),
    "mmHg": Unit("pressure", 0.1333224 * PSI_PER_KPA),
    "inH2O": Unit("pressure", PSI_PER_KPA / INH2O_PER_KPA),
    "mmH2O": Unit("pressure", 0.00980665 * PSI_PER_KPA),
    "psia": Unit("pressure", 1.0, absolute=True),
    "kPa absolute": Unit("pressure", PSI_PER_KPA, absolute=True),
    "MPa absolute": Unit("pressure", 1000 * PSI_PER_KPA, absolute=True),
    "bar absolute": Unit("pressure", 100 * PSI_PER_KPA, absolute=True),
    "uF": Unit("capacitance", 1.0),
    "nF": Unit("capacitance", 1e-3),
    "pF": Unit("capacitance", 1e-6),
    "F": Unit("capacitance", 1e6),
    "oz": Unit("mass", 1.0),
    "lb": Unit("mass", 16.0),
    "g": Unit("mass", OZ_PER_KG / 1000),
    "kg": Unit("mass", OZ_PER_KG),
    "volt": Unit("voltage", 1.0),
    "kV": Unit("voltage", 1000.0),
    "mV": Unit("voltage", 1e-3),
    "ampere": Unit("current", 1.0),
    "mA": Unit("current", 1e-3),
    "percent": Unit("share", 1.0),
    "minute": Unit("time", 1.0),
    "second": Unit("time", 1 / 60),
    "hour": Unit("time", 60.0),
    "day": Unit("time", 1440.0),
    "month": Unit("time", 365.25 * 1440 / 12),
    "year": Unit("time", 365.25 * 1440),
    "foot": Unit("length", 1.0),
    "metre": Unit("length", 1 / 0.3048),
    "ton_of_refrigeration": Unit("power", 1.0),
    "kW": Unit("power", 1 / 3.516852842),
    "Btu/h": Unit("power", 1 / 12000),
    "kBtu/h": Unit("power", 1 / 12),
    "cfm": Unit("flow", 1.0),
    "m3/h": Unit("flow", 1 / (60 * 0.3048**3)),
    "m3/min": Unit("flow", 1 / 0.3048**3),
    "m3/s": Unit("flow", 60 / 0.3048**3),
    "L/s": Unit("flow", 60 / (1000 * 0.3048**3)),
    "degree": Unit("angle", 1.0),
    "currency": Unit("currency", 1.0),
    "count": Unit("count", 1.0),
}
"""Slopes lead to degF, psi, uF, oz, volt, ampere, percent, minute, foot, ton (12,000 Btu/h) and cfm; factors from
NIST SP 811."""

PINT_BASE: Mapping[str, str] = {
    "temperature": "degF",
    "pressure": "psi",
    "capacitance": "microfarad",
    "mass": "ounce",
    "voltage": "volt",
    "current": "ampere",
    "share": "percent",
    "time": "minute",
    "length": "foot",
    "power": "ton_of_refrigeration",
    "flow": "foot**3/minute",
    "angle": "degree",
}
"""Base unit of each dimension by pint's name."""


@dataclass(frozen=True)
class Line:
    """A conversion to a field's canonical unit: ``slope * value + intercept``, less the atmosphere if ``absolute``."""

    slope: float
    intercept: float
    absolute: bool = False


class UnknownUnit(ValueError):
    """The text names no unit, or one that does not fit the field."""


@cache
def _spelled() -> Mapping[str, tuple[str, ...]]:
    spelled = tomllib.loads(resources.files("pipeline").joinpath("unit_spellings.toml").read_text("utf-8"))
    found: dict[str, list[str]] = {}
    for unit, spellings in spelled.items():
        plain = [unit.casefold(), *(text.casefold() for text in spellings)]
        # A header comes without its punctuation: "m3/h" as "m 3 h", "in. w.c." as "in w c".
        bare = [
            " ".join(re.findall(r"[^\W\d_]+|\d+", text))
            for text in plain
            if re.fullmatch(r"[\w ./()]*[a-z]{2}[\w ./()]*|[a-z/]+|m3/\w+", text)
        ]
        for spelling in [*plain, *bare]:
            found.setdefault(spelling, [])
            if unit not in found[spelling]:
                found[spelling].append(unit)
    return {spelling: tuple(units) for spelling, units in found.items()}


def spelled_units(text: str) -> tuple[str, ...]:
    """Return every unit of `UNITS` that ``text`` may spell, none if it spells none.

    >>> spelled_units("°F"), spelled_units("MFD"), spelled_units("F")
    (('degF',), ('uF',), ('degF', 'F'))
    """
    folded = re.sub(r"\s+", " ", text.strip().casefold())
    return _spelled().get(folded, ())


def dimension_of(field: Field) -> str | None:
    """Return the dimension of the field's canonical unit; None for a field without one."""
    return UNITS[field.unit].dimension if field.unit else None


def fitting_unit(text: str, field: Field) -> str | None:
    """Return the unit that ``text`` spells for this field, None if there is none of its dimension."""
    return next((unit for unit in spelled_units(text) if UNITS[unit].dimension == dimension_of(field)), None)


def line_to(field: Field, unit: str) -> Line:
    """Return the conversion from ``unit`` (a spelling, or any name pint knows) to the field's canonical unit.

    Raises
    ------
    UnknownUnit
        If the text names no unit or one of another dimension.
    """
    if field.unit is None:
        raise UnknownUnit(f"{field.name} is a field without a unit")
    home = UNITS[field.unit]
    # As a spelling first: "F" is the farad's own name, and what people write for the degree Fahrenheit.
    name = fitting_unit(unit, field) or (unit if unit in UNITS else None)
    away = UNITS[name] if name is not None else _from_pint(unit, home.dimension)
    if away is None or away.dimension != home.dimension:
        raise UnknownUnit(f"{unit!r} is no unit of {home.dimension}, which {field.name} is kept in")
    if away.absolute and field.unit != "psig":
        raise UnknownUnit(f"{unit!r} is absolute, but {field.name} is a difference of pressures")
    slope = away.slope / home.slope
    intercept = 0.0 if field.difference else (away.intercept - home.intercept) / home.slope
    return Line(slope, intercept, away.absolute)


def moved(values: pl.Series, line: Line, altitude_ft: float | pl.Series = 0.0) -> pl.Series:
    """Return the values on the other side of ``line``; null stays null.

    Parameters
    ----------
    values : pl.Series
        Float64, in the unit that ``line`` leads from.
    line : Line
        As ``line_to`` gives it; absolute pressures become gauge at ``altitude_ft``.
    altitude_ft : float or pl.Series
        Altitude of the gauge [ft].
    """
    if line == Line(1.0, 0.0):
        return values
    gone = values * line.slope + line.intercept
    return gone - atmosphere_psia(altitude_ft) if line.absolute else gone


def atmosphere_psia(altitude_ft: float | pl.Series) -> Any:
    """Return the pressure of the standard atmosphere [psia] at an altitude [ft], as a float or a column.

    Notes
    -----
    p = 14.696 (1 - 6.8754e-6 z)^5.2559, z from -16,500 to 36,000 ft.

    References
    ----------
    ASHRAE Handbook Fundamentals, Psychrometrics, equation for standard atmospheric pressure (memory).

    >>> round(atmosphere_psia(5000.0), 3)
    12.228
    """
    return SEA_LEVEL_PSIA * (1 - 6.8754e-6 * altitude_ft) ** 5.2559


@cache
def _from_pint(unit: str, dimension: str) -> Unit | None:
    import pint

    if dimension not in PINT_BASE or not re.search(r"[A-Za-z]", unit) or len(unit) > 60:
        return None
    units = _pint_registry()
    try:
        zero = units.Quantity(0.0, unit).to(PINT_BASE[dimension]).magnitude
        one = units.Quantity(1.0, unit).to(PINT_BASE[dimension]).magnitude
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, AssertionError, OverflowError, SyntaxError):
        return None
    return Unit(dimension, float(one - zero), float(zero))


@cache
def _pint_registry() -> Any:
    import pint

    return pint.UnitRegistry()
