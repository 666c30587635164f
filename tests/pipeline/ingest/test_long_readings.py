"""The long form of readings."""

from __future__ import annotations

import pytest

from pipeline.fields import registry
from pipeline.ingest.long_readings import measure_for, unit_of_measure
from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import Parsed, parse
from tests.raw_tables import make_raw


def parsed(rows: list[tuple[str, str, str]]) -> Parsed:
    """Return long readings of one visit."""
    raw = make_raw(["Ticket", "Measure", "Value", "UOM"], [("T1", *row) for row in rows])
    return parse(raw, map_table(raw))


@pytest.mark.parametrize("name", registry()["readings"].fields["measure"].allowed)
def test_every_reading_field_is_its_own_name(name: str) -> None:
    assert measure_for(name) == name
    assert measure_for(name.replace("_", " ").upper()) == name


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("OD temp", "outdoor_db_f"),
        ("Saugdruck", "suction_psig"),
        ("SH", "recorded_superheat_f"),
        ("H-C mfd", "herm_uf"),
        ("Temp", None),
        ("flux", None),
    ],
)
def test_measures_are_named_like_headers(text: str, name: str | None) -> None:
    assert measure_for(text) == name


def test_values_are_read_as_the_field_that_measure_names() -> None:
    """24 degC = 75.2 degF; 8 bar = 116.0302 psi."""
    out = parsed(
        [
            ("OD temp", "24", "C"),
            ("Saugdruck", "8", "bar"),
            ("herm", "OL", ""),
            ("herm_uf", "38.0", "MFD"),
            ("OD temp (°C)", "24", ""),
        ]
    )
    assert out.frame["measure"].to_list() == ["outdoor_db_f", "suction_psig", "herm_uf", "herm_uf", "outdoor_db_f"]
    assert out.frame["value"].to_list() == ["75.2", "116.03019", "0", "38", "75.2"]
    assert out.frame["unit"].to_list() == ["degF", "psig", "uF", "uF", "degF"]
    assert out.findings.is_empty()


def test_what_cannot_be_read_costs_the_row() -> None:
    out = parsed(
        [
            ("herm_uf", "x", ""),
            ("flux", "3", ""),
            ("herm_uf", "38", "psi"),
            ("herm_uf", "900", "uF"),
            ("fan_uf", "5", "uF"),
        ]
    )
    found = out.findings.select("source_line", "scope", "field", "rule").sort("source_line").rows()
    assert found == [
        (2, "row", "value", "not-a-number"),
        (3, "row", "measure", "unknown-word"),
        (4, "row", "value", "wrong-unit"),
        (5, "row", "value", "out-of-range"),
    ]
    assert out.frame["value"].to_list() == [None, None, None, None, "5"]


def test_a_measures_name_may_carry_the_unit() -> None:
    assert unit_of_measure("Suction (kPa)") == "kPa"
    assert unit_of_measure("Suction pressure") is None
