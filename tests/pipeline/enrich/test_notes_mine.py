"""Whose reading it is, what fills a blank, and what never does."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.enrich.capacitor_values import section_values
from pipeline.enrich.notes import (
    NOTE_READINGS_SCHEMA,
    add_parts_from_notes,
    add_told_ratings,
    add_used,
    fill_from_notes,
    mine,
)

DAY = dt.date(2025, 5, 6)
PARTS_SCHEMA = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "visit_date": pl.Date,
    "row_n": pl.Int64,
    "part": pl.String,
    "cap_herm_uf": pl.Float64,
    "cap_fan_uf": pl.Float64,
    "cap_blower_uf": pl.Float64,
}
NO_PARTS = pl.DataFrame(schema=PARTS_SCHEMA)


def ticket(note: str, *locations: str | None, ids: tuple[str, ...] = ("A", "B", "C")) -> pl.DataFrame:
    """Return one ticket with a unit at each location, the note on every row."""
    return pl.DataFrame(
        [
            {"unit_id": unit, "visit_id": "V1", "visit_date": DAY, "notes": note, "unit_location": location}
            for unit, location in zip(ids, locations, strict=False)
        ],
        schema_overrides={"unit_location": pl.String},
    )


def given_to(visits: pl.DataFrame) -> dict[str, dict[str, float]]:
    rows = mine(visits).filter("attributed").select("unit_id", "field", "value").iter_rows()
    out: dict[str, dict[str, float]] = {}
    for unit, field, value in rows:
        out.setdefault(unit, {})[field] = value
    return out


@pytest.mark.parametrize(
    ("note", "locations"),
    [
        ("up: sh 12. down: sh 9", ("Upstairs", "downstairs unit")),
        ("#1 sh 12 #2 sh 9", ("#1", "#2")),
        ("unit 1 sh 12, unit 2 sh 9", ("1", "2")),
        ("sh 12 upstairs, sh 9 downstairs", ("2nd floor", "1st floor")),
        ("front unit sh 12; back unit sh 9", ("front", "rear yard")),
    ],
)
def test_marks_find_their_unit(note: str, locations: tuple[str, str]) -> None:
    assert given_to(ticket(note, *locations)) == {
        "A": {"recorded_superheat_f": 12.0},
        "B": {"recorded_superheat_f": 9.0},
    }


def test_number_at_the_end_of_an_id_answers_where_no_location_is_known() -> None:
    visits = ticket("#1 sh 12, #2 sh 9", None, None, ids=("S7-1", "S7-2"))
    assert given_to(visits) == {"S7-1": {"recorded_superheat_f": 12.0}, "S7-2": {"recorded_superheat_f": 9.0}}


@pytest.mark.parametrize("note", ["sh 12", "both units sh 12", "east: sh 12"])
def test_what_is_said_of_no_unit_in_particular_is_nobodys(note: str) -> None:
    mined = mine(ticket(note, "upstairs", "downstairs"))
    assert mined["attributed"].to_list() == [False]
    assert mined["why_not"].null_count() == 0


def test_one_unit_needs_no_mark_and_keeps_a_single_one() -> None:
    assert given_to(ticket("sh 12", "upstairs")) == {"A": {"recorded_superheat_f": 12.0}}
    assert given_to(ticket("unit 1 sh 12", None)) == {"A": {"recorded_superheat_f": 12.0}}


def test_mark_of_another_place_is_not_this_units() -> None:
    mined = mine(ticket("down: sh 12", "upstairs"))
    assert mined["attributed"].to_list() == [False]


def test_note_of_several_units_on_the_row_of_one_is_not_merged() -> None:
    """An export without unit columns: two superheats of two units must not become one unit's."""
    mined = mine(ticket("#1: sh 12\n#2: sh 9", None))
    assert mined.height == 2
    assert not mined["attributed"].any()


def test_told_twice_with_different_values_is_neither() -> None:
    mined = mine(ticket("sh 28. added 1 lb. sh 12", None))
    superheat = mined.filter(pl.col("field") == "recorded_superheat_f")
    assert superheat["attributed"].to_list() == [False, False]
    assert given_to(ticket("sh 12, sc 9, sh 12", None))["A"]["recorded_superheat_f"] == 12.0


def test_nothing_told_keeps_the_schema() -> None:
    for notes in (None, "", "all good", "call 512-555-0143"):
        visits = ticket("", None).with_columns(notes=pl.lit(notes, dtype=pl.String))
        assert mine(visits).schema == pl.Schema(NOTE_READINGS_SCHEMA)
        assert mine(visits).is_empty()


@given(st.permutations(range(3)))
@settings(deadline=None, max_examples=6)
def test_order_of_rows_says_nothing(order: list[int]) -> None:
    visits = ticket("up sh 12, down sh 9, #3 sc 4, cap 38.2/4.6", "upstairs", "downstairs", "#3")
    assert mine(visits[order]).equals(mine(visits))


def test_only_blanks_are_filled() -> None:
    visits = pl.DataFrame(
        {
            "unit_id": ["A", "B"],
            "visit_id": ["V1", "V2"],
            "notes": ["cap 38.2/4.6, contactor pitted", "cap 38.2/4.6"],
            "herm_uf": [None, 40.0],
            "fan_uf": [None, None],
            "observations": ["vibration", None],
        },
        schema_overrides={"herm_uf": pl.Float64, "fan_uf": pl.Float64},
    )
    filled = fill_from_notes(visits, mine(visits))
    assert filled["herm_uf"].to_list() == [38.2, 40.0]
    assert filled["fan_uf"].to_list() == [4.6, 4.6]
    assert filled["observations"].to_list() == ["vibration", None]
    assert [sorted(fields) for fields in filled["from_notes"].to_list()] == [["fan_uf", "herm_uf"], ["fan_uf"]]
    used = add_used(mine(visits), visits, NO_PARTS).filter("used").select("unit_id", "field").rows()
    assert sorted(used) == [("A", "fan_uf"), ("A", "herm_uf"), ("B", "fan_uf")]


def test_nothing_mined_fills_nothing() -> None:
    visits = ticket("sh 12", None)
    filled = fill_from_notes(visits, pl.DataFrame(schema=NOTE_READINGS_SCHEMA))
    assert filled.drop("from_notes").equals(visits)
    assert filled["from_notes"].to_list() == [[]]


def test_impossible_pairs_are_not_filled() -> None:
    """A wet bulb cannot lie above its dry bulb; while cooling the liquid pressure lies above suction."""
    visits = ticket("wb 67", None).with_columns(return_db_f=pl.lit(60.0))
    assert fill_from_notes(visits, mine(visits))["return_wb_f"].to_list() == [None]
    visits = ticket("wb 67", None).with_columns(return_db_f=pl.lit(75.0))
    assert fill_from_notes(visits, mine(visits))["return_wb_f"].to_list() == [67.0]


def test_a_computed_value_gives_way_to_the_readings_it_follows_from() -> None:
    visits = ticket("sh 12", None).with_columns(suction_psig=pl.lit(118.0), suction_line_f=pl.lit(52.0))
    assert fill_from_notes(visits, mine(visits))["recorded_superheat_f"].to_list() == [None]


def test_method_says_where_a_capacitor_reading_comes_from() -> None:
    """Bench before under load before notes; 2652.58 I/V at 60 Hz: 5 A at 350 V is 37.89 uF."""
    visits = pl.concat(
        [
            ticket("cap 38.2/4.6", None),
            ticket("herm 38.2", None, ids=("B",)).with_columns(visit_id=pl.lit("V2")),
        ]
    ).with_columns(
        visit_type=pl.lit("maintenance"),
        cause=pl.lit(None, dtype=pl.String),
        technician=pl.lit(None, dtype=pl.String),
        herm_uf=pl.lit(None, dtype=pl.Float64),
        fan_uf=pl.lit(None, dtype=pl.Float64),
        herm_amps=pl.when(pl.col("unit_id") == "B").then(5.0),
        herm_volts=pl.when(pl.col("unit_id") == "B").then(350.0),
    )
    values = section_values(fill_from_notes(visits, mine(visits)), 60.0)
    rows = values.select("unit_id", "section", "method", pl.col("measured_uf").round(2)).iter_rows()
    assert {(unit, section): (method, value) for unit, section, method, value in rows} == {
        ("A", "herm"): ("from_notes", 38.2),
        ("A", "fan"): ("from_notes", 4.6),
        ("B", "herm"): ("under_load", 37.89),
    }


def test_fitted_capacitor_becomes_a_part_unless_one_is_listed() -> None:
    mined = mine(pl.concat([ticket("installed 40/5", None), ticket("needs 40/5", None, ids=("B",))]))
    parts = add_parts_from_notes(NO_PARTS, mined)
    assert parts.select("unit_id", "part", "cap_herm_uf", "cap_fan_uf").rows() == [("A", "run_capacitor", 40.0, 5.0)]
    listed = NO_PARTS.clear(1).with_columns(unit_id=pl.lit("A"), visit_id=pl.lit("V1"), part=pl.lit("run_capacitor"))
    assert add_parts_from_notes(listed, mined).equals(listed)


def test_label_told_last_counts_as_the_rating() -> None:
    first = ticket("herm 34.6 of 40", None)
    later = ticket("herm 41 of 45, fan 4.6 of 5", None).with_columns(
        visit_id=pl.lit("V2"), visit_date=pl.lit(dt.date(2026, 5, 6))
    )
    units = add_told_ratings(pl.DataFrame({"unit_id": ["A", "B"]}), mine(pl.concat([first, later])))
    assert units["told_cap_herm_uf"].to_list() == [45.0, None]
    assert units["told_cap_fan_uf"].to_list() == [5.0, None]
