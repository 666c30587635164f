"""Conversions against pint and against values published for each unit."""

from __future__ import annotations

import pint
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.fields import Field, registry
from pipeline.units import (
    PINT_BASE,
    UNITS,
    Line,
    UnknownUnit,
    atmosphere_psia,
    fitting_unit,
    line_to,
    moved,
    spelled_units,
)

PINT = pint.UnitRegistry()
VISITS = registry()["visits"].fields
UNIT_FIELDS = registry()["units"].fields
NO_PINT_NAME = {
    "psig": "psi",
    "kgf/cm2": "kgf/cm**2",
    "cfm": "foot**3/minute",
    "m3/h": "m**3/h",
    "m3/min": "m**3/min",
    "m3/s": "m**3/s",
}
COMPARED = sorted(
    name for name, unit in UNITS.items() if unit.dimension in PINT_BASE and not unit.absolute and name not in ("F",)
)


def converted(value: float, unit: str, field: Field, altitude_ft: float = 0.0) -> float:
    """Return one value converted."""
    return float(moved(pl.Series([value]), line_to(field, unit), altitude_ft).item())


@pytest.mark.parametrize("name", COMPARED)
def test_every_factor_is_pints(name: str) -> None:
    """Reference library: pint 0.25, whose factors are CODATA's and NIST's; inHg and mmHg agree to 2e-7."""
    unit = UNITS[name]
    base = PINT_BASE[unit.dimension]
    known = PINT.Quantity(10.0, NO_PINT_NAME.get(name, name)).to(base).magnitude
    assert unit.slope * 10.0 + unit.intercept == pytest.approx(known, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "unit", "field", "expected"),
    [
        # Definitions of the scales: water freezes at 0 degC = 32 degF; 0 K = -459.67 degF.
        (0.0, "degC", "outdoor_db_f", 32.0),
        (60.0, "°C", "liquid_line_f", 140.0),
        (295.15, "K", "return_db_f", 71.6),
        # 1 atm = 101.325 kPa = 14.6959 psi (NIST SP 811, B.8).
        (101.325, "kPa", "suction_psig", 14.6959),
        (8.0, "bar", "suction_psig", 116.0302),
        (2.5, "MPa", "liquid_psig", 362.594),
        # 1 lb = 16 oz; 1 kg = 35.27396 oz (NIST SP 811, B.8).
        (2.0, "lbs", "refrigerant_added_oz", 32.0),
        (1.0, "kg", "refrigerant_added_oz", 35.27396),
        (125.0, "Pa", "static_in_wc", 0.501829),
        (1700.0, "m³/h", "airflow_cfm", 1000.582),
        (35000.0, "nF", "herm_uf", 35.0),
        (45e-6, "F", "herm_uf", 45.0),
        (1000.0, "m", "altitude_ft", 3280.84),
    ],
)
def test_published_values(value: float, unit: str, field: str, expected: float) -> None:
    assert converted(value, unit, VISITS[field]) == pytest.approx(expected, rel=2e-5)


def test_a_ton_of_refrigeration_is_12000_btu_per_hour() -> None:
    assert converted(36000, "BTU/h", UNIT_FIELDS["nominal_tons"]) == pytest.approx(3.0)
    # 3.516853 kW per ton (NIST SP 811, B.8).
    assert converted(10.55056, "kW", UNIT_FIELDS["nominal_tons"]) == pytest.approx(3.0, rel=1e-6)


def test_a_difference_converts_without_the_offset() -> None:
    """The contract's own example: 5.5 degC of subcooling is 9.9 degF."""
    assert converted(5.5, "degC", VISITS["recorded_subcooling_f"]) == pytest.approx(9.9)
    assert converted(5.5, "K", VISITS["recorded_subcooling_f"]) == pytest.approx(9.9)


def test_absolute_pressures_become_gauge_at_the_altitude() -> None:
    """12.228 psia at 5,000 ft: standard atmosphere as tabulated in psychrometric charts."""
    suction = VISITS["suction_psig"]
    assert converted(14.696, "psia", suction) == pytest.approx(0.0, abs=1e-9)
    assert converted(132.696, "psia", suction) == pytest.approx(118.0)
    assert converted(130.228, "psia", suction, 5000.0) == pytest.approx(118.0, abs=1e-3)
    assert converted(9.0, "bar absolute", suction) == pytest.approx(9.0 * 14.503774 - 14.696, rel=1e-6)
    assert converted(9.0, "bar", suction) == pytest.approx(9.0 * 14.503774, rel=1e-6)


def test_pressure_units_without_a_word_are_gauge() -> None:
    assert {name for name, unit in UNITS.items() if unit.absolute} == {
        "psia",
        "kPa absolute",
        "MPa absolute",
        "bar absolute",
    }


@pytest.mark.parametrize("unit", ["°F", "deg F", "Fahrenheit", "degF", "ºF"])
def test_spellings_of_one_unit(unit: str) -> None:
    assert spelled_units(unit)[0] == "degF"


@pytest.mark.parametrize("unit", ["F", "f", "°F", "degF"])
def test_f_is_the_unit_of_a_temperature_where_the_field_is_one(unit: str) -> None:
    fields = registry()["visits"].fields
    assert line_to(fields["liquid_line_f"], unit) == Line(1.0, 0.0)
    assert line_to(fields["recorded_superheat_f"], unit) == Line(1.0, 0.0)
    assert line_to(fields["herm_uf"], "F").slope == pytest.approx(1e6)  # and the farad where it is a capacitance


def test_a_letter_means_what_the_field_can_be() -> None:
    assert fitting_unit("F", VISITS["outdoor_db_f"]) == "degF"
    assert fitting_unit("F", VISITS["herm_uf"]) == "F"
    assert fitting_unit("lb", VISITS["refrigerant_added_oz"]) == "lb"
    assert fitting_unit("#", VISITS["suction_psig"]) == "psig"
    assert fitting_unit("MFD", VISITS["herm_uf"]) == "uF"
    assert fitting_unit("psi", VISITS["herm_uf"]) is None


@pytest.mark.parametrize(
    ("unit", "field"), [("psi", "outdoor_db_f"), ("wombat", "outdoor_db_f"), ("psia", "static_in_wc")]
)
def test_a_wrong_unit_is_refused(unit: str, field: str) -> None:
    with pytest.raises(UnknownUnit):
        line_to(VISITS[field], unit)


def test_any_name_that_pint_knows_will_do() -> None:
    assert line_to(VISITS["suction_psig"], "decibar").slope == pytest.approx(1.4503774)


@settings(deadline=None, max_examples=30)
@given(st.floats(-50, 150))
def test_null_stays_null_and_order_is_kept(value: float) -> None:
    values = pl.Series([None, value, value + 1], dtype=pl.Float64)
    out = moved(values, line_to(VISITS["outdoor_db_f"], "degC"))
    assert out[0] is None
    assert out[2] > out[1]


def test_the_atmosphere_thins_upwards() -> None:
    heights = [0.0, 1000.0, 5000.0, 10000.0]
    assert [atmosphere_psia(h) for h in heights] == sorted((atmosphere_psia(h) for h in heights), reverse=True)
