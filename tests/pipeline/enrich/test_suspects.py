"""Readings that contradict the ratings, the supply or each other are marked, believable ones are not."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.checks.check import SUSPECT_SCHEMA
from pipeline.enrich.suspects import (
    CONTRADICTIONS,
    LINE_VOLTAGE,
    SLIPPED,
    SWAPPED,
    capacitor_suspects,
    charge_suspects,
    decimal_slips,
    line_voltage_used,
    swapped_sections,
)

GOOD = {
    "mode": "cooling",
    "suction_psig": 118.0,
    "liquid_psig": 340.0,
    "suction_line_f": 52.0,
    "liquid_line_f": 95.0,
    "discharge_line_f": 170.0,
    "outdoor_db_f": 90.0,
    "condenser_leaving_f": 105.0,
    "return_db_f": 75.0,
    "supply_db_f": 56.0,
    "suction_saturation_f": 40.0,
    "liquid_saturation_f": 104.6,
    "superheat_f": 12.0,
    "subcooling_f": 9.6,
    "temperature_split_f": 19.0,
    "recorded_superheat_f": None,
    "recorded_subcooling_f": None,
    "recorded_split_f": None,
    "superheat_apart_f": 4.6,
    "subcooling_apart_f": 4.2,
    "split_apart_f": 4.0,
}
"""R-410A: 118 psig boils at 39.8, 340 psig condenses at 104.6 degF (CoolProp 8, dew and bubble)."""

BEYOND = {
    "suction_line_colder_than_saturation": {"suction_line_f": 31.9},
    "liquid_line_hotter_than_saturation": {"liquid_line_f": 112.7},
    "condensing_below_outdoor": {"outdoor_db_f": 109.7, "condenser_leaving_f": 120.0},
    "evaporating_above_return_air": {"return_db_f": 36.9},
    "supply_colder_than_coil": {"supply_db_f": 36.9},
    "condenser_leaving_colder_than_outdoor": {"condenser_leaving_f": 86.9},
    "discharge_colder_than_condensing": {"discharge_line_f": 96.5},
}
"""One tenth beyond each margin: 40 - 8, 104.6 + 8, 104.6 + 5, 40 - 3, 40 - 3, 90 - 3, 104.6 - 8."""


def charge(**changes: object) -> pl.DataFrame:
    """Return one visit's charge inputs."""
    return pl.DataFrame([{"visit_id": "V1", "unit_id": "U1", **GOOD, **changes}])


def test_believable_visit_is_not_suspect() -> None:
    """A system that cools as it should."""
    assert charge_suspects(charge()).is_empty()


@pytest.mark.parametrize("reason", BEYOND)
def test_each_contradiction_is_found_alone(reason: str) -> None:
    """Exactly that reason, for both its readings."""
    got = charge_suspects(charge(**BEYOND[reason]))
    assert got["reason"].unique().to_list() == [reason]
    assert got.height == 2
    assert dict(got.schema) == dict(pl.DataFrame(schema=SUSPECT_SCHEMA).schema)


@pytest.mark.parametrize("reason", BEYOND)
def test_two_tenths_nearer_is_believed(reason: str) -> None:
    """The margin itself is inside."""
    (name, value), *rest = BEYOND[reason].items()
    nearer = value + (0.2 if value < GOOD[name] else -0.2)
    assert charge_suspects(charge(**{name: nearer, **dict(rest)})).is_empty()


def test_every_contradiction_is_tried() -> None:
    """The list above is the whole list."""
    assert {reason for reason, _, _, _ in CONTRADICTIONS} == set(BEYOND)


@pytest.mark.parametrize("mode", ["heating", "off", None])
def test_only_cooling_is_judged(mode: str | None) -> None:
    """At rest, pressures and air temperatures meet."""
    assert charge_suspects(charge(mode=mode, suction_line_f=0.0)).is_empty()


@pytest.mark.parametrize("name", [name for name in GOOD if name != "mode"])
def test_missing_reading_contradicts_nothing(name: str) -> None:
    """Null in, null out."""
    assert charge_suspects(charge().with_columns(pl.lit(None, pl.Float64).alias(name))).is_empty()


def reading(section: str, measured: float, rated: float | None, **changes: object) -> dict[str, object]:
    """Return one capacitor reading with its rating in force."""
    row: dict[str, object] = {"visit_id": "V1", "unit_id": "U1", "section": section, "technician": "A"}
    row |= {"measured_uf": measured, "rated_uf": rated, "rated_source": "register", "method": "bench"}
    return row | {"is_new_part": False, "at_replacement": False} | changes


def test_swapped_sections() -> None:
    """4.8 on a 40 and 38.5 on a 5 is the pair the other way round."""
    got = swapped_sections(pl.DataFrame([reading("herm", 4.8, 40.0), reading("fan", 38.5, 5.0)]))
    assert got.select("field", "reason").rows() == [("herm_uf", SWAPPED), ("fan_uf", SWAPPED)]
    assert "4.8 uF on the hermetic and 38.5 uF on the fan" in got["message"][0]


@pytest.mark.parametrize(("herm", "fan"), [(38.5, 4.8), (0.0, 4.8), (4.8, 4.8), (38.5, 0.0), (34.6, 3.0)], ids=str)
def test_weak_or_open_sections_are_not_swapped(herm: float, fan: float) -> None:
    """An open hermetic section beside a good fan section is the classic failure, not a mix-up."""
    assert swapped_sections(pl.DataFrame([reading("herm", herm, 40.0), reading("fan", fan, 5.0)])).is_empty()


def test_one_section_alone_is_not_swapped() -> None:
    """There is nothing to swap it with."""
    assert swapped_sections(pl.DataFrame([reading("herm", 4.8, 40.0)])).is_empty()


def slips(measured: float, rated: float, visit_type: str = "maintenance", cause: str | None = None, **changes: object):
    """Return what ``decimal_slips`` finds in one reading of the fan section."""
    visits = pl.DataFrame(
        [{"visit_id": "V1", "unit_id": "U1", "visit_type": visit_type, "cause": cause}],
        schema_overrides={"cause": pl.String},
    )
    return decimal_slips(pl.DataFrame([reading("fan", measured, rated, **changes)]), visits)


@pytest.mark.parametrize(("measured", "rated"), [(3.9, 40.0), (0.49, 5.0), (46.0, 5.0)])
def test_decimal_slips_are_held(measured: float, rated: float) -> None:
    """39 of 40, 4.9 of 5 and 4.6 of 5 once the sign is moved."""
    got = slips(measured, rated)
    assert got.select("field", "reason").rows() == [("fan_uf", SLIPPED)]


@pytest.mark.parametrize(("measured", "rated"), [(34.6, 40.0), (3.0, 40.0), (0.0, 5.0), (25.0, 5.0), (4.6, 7.5)])
def test_weak_open_and_other_readings_are_no_slips(measured: float, rated: float) -> None:
    """30 of 40 would still be weak; the sign explains nothing."""
    assert slips(measured, rated).is_empty()


def test_low_reading_of_a_failed_section_is_believed() -> None:
    """A section that has lost nine tenths stops the system or is replaced; ten times the rating never is one."""
    assert slips(3.9, 40.0, "no_cooling").is_empty()
    assert slips(3.9, 40.0, "repair", "run_capacitor").is_empty()
    assert slips(3.9, 40.0, at_replacement=True).is_empty()
    assert slips(46.0, 5.0, "no_cooling", "run_capacitor", at_replacement=True).height == 1


def loaded(volts: float, measured: float, line_volts: float | None, rated: float | None = 35.0) -> pl.DataFrame:
    """Return what ``line_voltage_used`` finds in one reading under load."""
    readings = pl.DataFrame(
        [reading("herm", measured, rated, method="under_load")], schema_overrides={"rated_uf": pl.Float64}
    )
    visits = pl.DataFrame(
        [{"visit_id": "V1", "unit_id": "U1", "herm_volts": volts, "line_volts": line_volts}],
        schema_overrides={"line_volts": pl.Float64},
    )
    return line_voltage_used(readings, visits)


def test_line_voltage_in_the_formula() -> None:
    """3.5 A at 240 V gives 2652.58 * 3.5 / 240 = 38.7; of a 25 that is 1.55 times, the mark of line voltage."""
    got = loaded(240.0, 38.68, None, 25.0)
    assert got.select("field", "reason").rows() == [("herm_volts", LINE_VOLTAGE)]
    assert got["message"][0].startswith("240 V is the supply")


def test_volts_across_the_section_are_believed() -> None:
    """3.5 A at 330 V gives 28.13 uF of 35: weak, but read rightly (worked number of a trade page's formula)."""
    assert loaded(330.0, 28.13, 240.0).is_empty()


def test_same_volts_as_the_line_hide_a_weak_section() -> None:
    """35.4 of 35 looks good, but with 236 V at a line of 238 V the truth is a third lower."""
    assert loaded(236.0, 35.4, 238.0).height == 1
    assert loaded(236.0, 35.4, None).is_empty()


def test_without_a_rating_only_the_line_voltage_can_tell() -> None:
    """Null in, null out."""
    assert loaded(236.0, 35.4, None, None).is_empty()
    assert loaded(236.0, 35.4, 238.0, None).height == 1


def test_bench_readings_know_no_volts() -> None:
    """A bench reading wins on a visit that has both; its volts are not held against it."""
    readings = pl.DataFrame([reading("herm", 38.68, 25.0)])
    visits = pl.DataFrame([{"visit_id": "V1", "unit_id": "U1", "herm_volts": 240.0, "line_volts": 240.0}])
    assert line_voltage_used(readings, visits).is_empty()


def test_all_capacitor_suspects_in_one_frame() -> None:
    """One frame in the schema of the store, whatever was found."""
    readings = pl.DataFrame([reading("herm", 4.8, 40.0), reading("fan", 38.5, 5.0)])
    visits = pl.DataFrame([{"visit_id": "V1", "unit_id": "U1", "herm_volts": None}])
    nobody = pl.DataFrame({"technician": ["A"], "step_uf": [0.1], "copy_share": [0.0], "copies": [False]})
    got = capacitor_suspects(readings, visits, nobody)
    assert got["field"].to_list() == ["fan_uf", "herm_uf"]
    assert capacitor_suspects(readings.clear(), visits, nobody).is_empty()


@pytest.mark.parametrize(
    ("name", "read", "apart"), [("superheat", 12.0, 4.6), ("subcooling", 9.6, 4.2), ("split", 19.0, 4.0)]
)
def test_a_recorded_value_beyond_the_error_of_both_is_suspect_and_only_it(name: str, read: float, apart: float) -> None:
    field = f"recorded_{name}_f"
    for sign in (-1, 1):
        assert charge_suspects(charge(**{field: read + sign * (apart - 0.1)})).is_empty()
        (found,) = charge_suspects(charge(**{field: read + sign * (apart + 0.1)})).iter_rows(named=True)
        assert (found["field"], found["reason"]) == (field, f"recorded_{name}_differs_from_readings")
        assert f"{read + sign * (apart + 0.1):g} degF was recorded" in found["message"]
    assert charge_suspects(charge(mode="heating", **{field: read + 2 * apart})).is_empty()
