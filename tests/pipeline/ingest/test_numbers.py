"""Cells of numbers as offices and technicians write them."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.fields import Field, registry
from pipeline.ingest.numbers import parse_numbers

VISITS = registry()["visits"].fields
UNITS = registry()["units"].fields


def read(
    text: str, field: Field, unit: str | None = None, decimal: str = ".", altitude_ft: float = 0.0
) -> float | str | None:
    """Return the value of one cell, or the state that says why there is none."""
    column = parse_numbers(pl.Series([text]), field, unit=unit, decimal=decimal, altitude_ft=altitude_ft)
    return column.problems["state"][0] if column.problems.height else column.values[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("38", 38.0),
        (" 38.5 ", 38.5),
        ("38 µF", 38.0),
        ("38 μF", 38.0),
        ("38uf", 38.0),
        ("38 MFD", 38.0),
        ("38 mfd.", 38.0),
        ("38000 nF", 38.0),
        ("\u00a038\u202f", 38.0),
        ("+38", 38.0),
        ("3.8e1", 38.0),
        ("open", 0.0),
        ("OPEN", 0.0),
        ("OL", 0.0),
        ("blown", 0.0),
        ("offen", 0.0),
        ("abierto", 0.0),
        ("", None),
        ("   ", None),
        ("n/a", None),
        ("N/A", None),
        ("-", None),
        ("--", None),
        ("none", None),
        ("not measured", None),
        ("inf", "not-a-number"),
        ("-Infinity", "not-a-number"),
        ("nan", "not-a-number"),
        ("1e400", "not-finite"),
        ("0x1f", "not-a-number"),
        ("1_000", "not-a-number"),
        ("٣٨", "not-a-number"),
        ("38/5", "not-a-number"),
        ("38-40", "not-a-number"),
        ("~38", "not-a-number"),
        (">100", "not-a-number"),
        ("3o.5", "not-a-number"),
        ("38 5", "not-a-number"),
        ("7½", "not-a-number"),
        ("$38", "not-a-number"),
        ("75 °F", "wrong-unit"),
        ("38 V", "wrong-unit"),
    ],
)
def test_a_capacitor_reading(text: str, expected: float | str | None) -> None:
    assert read(text, VISITS["herm_uf"]) == expected


@pytest.mark.parametrize(
    ("text", "decimal", "expected"),
    [
        ("1,234.50", ".", 1234.5),
        ("$1,234.50", ".", 1234.5),
        ("1 234.50", ".", 1234.5),
        ("1'234.50", ".", 1234.5),
        ("(12.00)", ".", -12.0),
        ("-$12.00", ".", -12.0),
        ("$-12.00", ".", -12.0),
        ("\u221212.00", ".", -12.0),
        ("1,234,567.8", ".", 1234567.8),
        ("12,5", ".", "not-a-number"),
        ("1,23,456", ".", "not-a-number"),
        ("1,2345", ".", "not-a-number"),
        ("1.234,50", ",", 1234.5),
        ("1.234", ",", 1234.0),
        ("1 234,50 €", ",", 1234.5),
        ("1'234,5", ",", 1234.5),
        ("12,5", ",", 12.5),
        ("12.5", ",", "not-a-number"),
        ("1.234.567,8", ",", 1234567.8),
    ],
)
def test_an_amount_of_money(text: str, decimal: str, expected: float | str) -> None:
    assert read(text, VISITS["invoice_total"], decimal=decimal) == expected


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("75°F", None, 75.0),
        ("75 F", None, 75.0),
        ("75°", None, 75.0),
        ("24 °C", None, 75.2),
        ("24C", None, 75.2),
        ("24", "degC", 75.2),
        ("24°", "degC", 75.2),
        ("75 °F", "degC", 75.0),
        ("75 psi", None, "wrong-unit"),
    ],
)
def test_a_cell_converts_by_its_own_unit(text: str, unit: str | None, expected: float | str) -> None:
    """24 degC = 24 * 1.8 + 32 = 75.2 degF."""
    assert read(text, VISITS["return_db_f"], unit) == expected


def test_pounds_and_ounces_of_refrigerant() -> None:
    """6 lb 4 oz = 6 * 16 + 4 = 100 oz."""
    charge = UNITS["factory_charge_oz"]
    assert [read(text, charge) for text in ("6 lb 4 oz", "6lbs 4oz", "6# 4oz", "6 lb", "100 oz")] == [
        100,
        100,
        100,
        96,
        100,
    ]


def test_pressures_are_gauge_unless_the_cell_says_otherwise() -> None:
    assert read("118#", VISITS["suction_psig"]) == 118.0
    assert read("132.696 psia", VISITS["suction_psig"]) == pytest.approx(118.0)
    assert read("8 bar", VISITS["suction_psig"]) == pytest.approx(116.0302, abs=1e-4)


def test_a_rating_may_say_that_there_is_no_such_section() -> None:
    assert [read(text, UNITS["cap_fan_uf"]) for text in ("none", "5", "", "n/a", "keine")] == [
        0.0,
        5.0,
        None,
        None,
        0.0,
    ]


def test_the_limit_is_met_exactly_after_a_conversion() -> None:
    """60 degC is 140 degF, the upper limit of outdoor air, and not a hair more."""
    assert read("60", VISITS["outdoor_db_f"], "degC") == 140.0


def test_open_zeros_are_told_from_written_zeros() -> None:
    column = parse_numbers(pl.Series(["0", "OL", "38", ""]), VISITS["herm_uf"])
    assert column.values.to_list() == [0.0, 0.0, 38.0, None]
    assert column.said_open is not None
    assert column.said_open.to_list() == [False, True, False, False]


def test_the_shops_own_words_stand_for_values() -> None:
    column = parse_numbers(pl.Series(["gone", "41"]), VISITS["herm_uf"], own={"Gone": "0"})
    assert column.values.to_list() == [0.0, 41.0]


@settings(deadline=None)
@given(st.lists(st.floats(-999999, 999999).map(lambda v: round(v, 2)), min_size=1, max_size=20))
def test_what_python_formats_with_thousands_reads_the_same(values: list[float]) -> None:
    """Reference: Python's own format specification."""
    field = VISITS["invoice_total"]
    point = pl.Series([f"{v:,.2f}" for v in values])
    comma = pl.Series([f"{v:,.2f}".translate(str.maketrans(",.", ".,")) for v in values])
    assert parse_numbers(point, field).values.to_list() == values
    assert parse_numbers(comma, field, decimal=",").values.to_list() == values


@settings(deadline=None)
@given(st.text(max_size=12))
def test_no_text_is_read_as_another_number(text: str) -> None:
    """Whatever is accepted without a unit is what Python's float reads after taking spaces and thousands out."""
    column = parse_numbers(pl.Series([text]), VISITS["invoice_total"])
    value = column.values[0]
    if value is not None and text.strip().isascii() and not any(c.isalpha() or c in "$()" for c in text):
        assert float(text.replace(",", "").replace("'", "").replace(" ", "")) == value
