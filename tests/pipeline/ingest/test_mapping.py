"""Headers to fields: house styles in three languages, evidence from values, and what is refused."""

from __future__ import annotations

import csv
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.errors import FileRefused
from pipeline.fields import fields_for_file
from pipeline.ingest.assign import choose_table, sampled
from pipeline.ingest.evidence import Column, share_that_fits
from pipeline.ingest.mapping import map_table
from pipeline.ingest.mapping_file import loads
from pipeline.ingest.match import CONFIDENT, candidates
from pipeline.ingest.read import SKIPPED_SCHEMA
from tests.raw_tables import make_columns, make_raw

DATA = Path(__file__).parents[2] / "data"
SETS: list[dict[str, Any]] = tomllib.loads((DATA / "header_sets.toml").read_text("utf-8"))["set"]
SHARE = 0.95
"""Fields that must be mapped rightly without help, over all sets."""


def mapped(made: dict[str, Any]) -> tuple[str, dict[str, str]]:
    """Return the table and the fields by header that a header line alone leads to."""
    raw = make_raw(list(made["headers"]))
    assigned = choose_table(raw.name, sampled(raw), None)
    return assigned.table, {use.header: field for field, use in assigned.uses.items()}


def test_there_are_twenty_house_styles_and_more() -> None:
    assert len(SETS) >= 20
    assert {made["table"] for made in SETS} == {"visits", "units", "sites", "parts", "recommendations", "readings"}


@pytest.mark.parametrize("made", SETS, ids=lambda made: made["name"])
def test_no_header_is_mapped_wrongly(made: dict[str, Any]) -> None:
    """Above the stated confidence there is no wrong mapping in any set, and the table is the right one."""
    table, found = mapped(made)
    wrong = {
        header: (found[header], truth)
        for header, truth in made["headers"].items()
        if header in found and found[header] != truth
    }
    assert (table, wrong) == (made["table"], {})


def test_nearly_all_fields_are_found_without_help() -> None:
    wanted = right = 0
    for made in SETS:
        _, found = mapped(made)
        wanted += sum(1 for truth in made["headers"].values() if truth)
        right += sum(1 for header, truth in made["headers"].items() if truth and found.get(header) == truth)
    assert right / wanted >= SHARE, f"{right} of {wanted}"


def test_single_headers_in_three_languages() -> None:
    """Of some 800 spellings at least 95 % are known, and none is taken for another field."""
    lines = (DATA / "header_phrases.csv").read_text("utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    sure = [
        (row, next((c.field for c in candidates(row["header"], row["table"]) if c.confidence >= CONFIDENT), ""))
        for row in rows
    ]
    assert [(row["header"], got) for row, got in sure if got and got != row["field"]] == []
    wanted = [(row, got) for row, got in sure if row["field"]]
    assert sum(got == row["field"] for row, got in wanted) >= SHARE * len(wanted)


def test_a_units_line_below_the_header_names_the_units() -> None:
    raw = make_raw(
        ["Ticket", "Unit #", "Date", "Outdoor", "Suction", "Herm"], [["T1", "U1", "2024-03-14", "33", "8", "38"]]
    )
    line = pl.DataFrame({"source_line": [2], "reason": ["units"], "raw": [',,,°C,"bar",MFD']}, schema=SKIPPED_SCHEMA)
    found = map_table(replace(raw, skipped=line)).columns
    assert {name: use.unit for name, use in found.items() if use.unit} == {
        "outdoor_db_f": "degC",
        "suction_psig": "bar",
        "herm_uf": "uF",
    }


@pytest.mark.parametrize("table", ["visits", "units", "sites", "parts", "recommendations", "readings"])
@pytest.mark.parametrize(
    "style", [str, str.upper, lambda name: name.replace("_", " ").title(), lambda name: name.replace("_", "")]
)
def test_the_contracts_own_names_map_in_any_writing(table: str, style: Any) -> None:
    names = [name for name in fields_for_file(table) if name != "fan_amps"]
    raw = make_raw([style(name) for name in names], name=f"{table}.csv")
    found = map_table(raw, loads(f'[files."*"]\ntable = "{table}"'))
    assert {name: found.columns[name].index for name in names if name in found.columns} == {
        n: i for i, n in enumerate(names)
    }


def test_units_are_read_from_the_header() -> None:
    raw = make_raw(
        [
            "Ticket",
            "Unit #",
            "Date",
            "Suction (kPa)",
            "OD temp °C",
            "herm_mfd",
            "Superheat [K]",
            "Refrigerant added, kg",
        ]
    )
    units = {name: use.unit for name, use in map_table(raw).columns.items() if use.unit}
    assert units == {
        "suction_psig": "kPa",
        "outdoor_db_f": "degC",
        "herm_uf": "uF",
        "recorded_superheat_f": "kelvin",
        "refrigerant_added_oz": "kg",
    }


def test_the_unit_decides_between_pressure_and_temperature() -> None:
    raw = make_raw(["Ticket", "Unit #", "Date", "Suction (psig)", "Suction (°F)", "Liquid PSI", "Liquid °F"])
    found = map_table(raw).columns
    assert {name: use.header for name, use in found.items() if use.index > 2} == {
        "suction_psig": "Suction (psig)",
        "suction_line_f": "Suction (°F)",
        "liquid_psig": "Liquid PSI",
        "liquid_line_f": "Liquid °F",
    }


BASE = {
    "Ticket #": [f"T{i}" for i in range(20)],
    "Unit ID": [f"U{i % 5}" for i in range(20)],
    "Date": ["2024-03-14"] * 20,
}


def test_two_columns_without_a_name_are_a_capacitor_pair_by_their_values() -> None:
    raw = make_columns(
        BASE
        | {"Cap 1": [f"{34.2 + i / 10:.1f}" for i in range(20)], "Cap 2": [f"{4.6 + i / 30:.1f}" for i in range(20)]}
    )
    found = map_table(raw)
    assert (found.columns["herm_uf"].header, found.columns["fan_uf"].header) == ("Cap 1", "Cap 2")
    assert found.columns["herm_uf"].how == "values"
    assert any('"Cap 1" was taken for herm_uf' in note for note in found.notes)


def test_two_columns_of_counts_are_no_capacitor_pair() -> None:
    raw = make_columns(BASE | {"Cap 1": [str(34 + i) for i in range(20)], "Cap 2": [str(3 + i % 4) for i in range(20)]})
    assert "herm_uf" not in map_table(raw).columns


def test_values_that_cannot_be_speak_against_a_header() -> None:
    """A column that is always 150-500 is no wet bulb; one of words is no pressure."""
    raw = make_columns(BASE | {"WB": [str(150 + 10 * i) for i in range(20)], "Suction pressure": ["good", "ok"] * 10})
    found = map_table(raw)
    assert set(found.columns) == {"visit_id", "unit_id", "visit_date"}
    assert found.unmapped == ("WB", "Suction pressure")


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ([f"10{i:02d}" for i in range(20)], "visit_id"),
        (["Spring tune-up", "No cool", "PM", "Repair"] * 5, "visit_type"),
    ],
)
def test_a_job_is_a_number_or_a_kind_of_visit(values: list[str], field: str) -> None:
    raw = make_columns({"Date": BASE["Date"], "Address": ["1 Elm St"] * 20, "Job": values, "Notes": ["ok"] * 20})
    assert map_table(raw).columns[field].header == "Job"


def test_a_poor_shops_only_file_is_visits() -> None:
    raw = make_raw(
        ["Date", "Customer", "Address", "Job", "Notes", "Total"],
        [["3/14/2024", "A. B.", "1 Elm St", "1042", "ok", "$120.00"]],
    )
    found = map_table(raw)
    assert found.table == "visits"
    assert set(found.columns) == {"visit_date", "customer_name", "address", "visit_id", "notes", "invoice_total"}


def test_temperatures_in_celsius_without_a_word_are_told_by_room_air() -> None:
    """Room air of 21 to 25 can only be degC: the range in degF begins at 40."""
    room = [f"{21 + i / 5:.1f}" for i in range(20)]
    raw = make_columns(
        BASE
        | {"Outdoor temp": ["33"] * 20, "Return temp": room, "Superheat": ["5"] * 20, "Liquid pressure": ["24.5"] * 20}
    )
    found = map_table(raw)
    assert {
        name: found.columns[name].unit
        for name in ("outdoor_db_f", "return_db_f", "recorded_superheat_f", "liquid_psig")
    } == {
        "outdoor_db_f": "degC",
        "return_db_f": "degC",
        "recorded_superheat_f": "degC",
        "liquid_psig": "bar",
    }
    assert sum("no unit is written" in note for note in found.notes) == 4


def test_temperatures_beside_metric_pressures_are_in_celsius_where_they_can_be() -> None:
    """A liquid line of 35 beside 25 bar is 95 degF; six visits of both sides tell bar."""
    readings = {"Suction line": ["11", "12", "10"] * 2, "Liquid line": ["35.5", "36", "34"] * 2, "Ambient": ["31"] * 6}
    ids = {"Ticket": list("123456"), "Unit ID": ["U1"] * 6, "Date": ["2024-05-14"] * 6}
    bar = {"Low side": ["8.1", "7.6", "8.2"] * 2, "High side": ["25.2", "24", "25.5"] * 2}
    found = map_table(make_columns(ids | readings | bar)).columns
    lines = ("suction_line_f", "liquid_line_f", "outdoor_db_f")
    assert [found[name].unit for name in (*lines, "suction_psig", "liquid_psig")] == ["degC"] * 3 + ["bar"] * 2
    said = {"Low side (bar)": ["8.1"] * 6}
    assert {map_table(make_columns(ids | readings | said)).columns[name].unit for name in lines} == {"degC"}
    psi = {"Low side": ["118"] * 6, "High side": ["365"] * 6}
    assert {map_table(make_columns(ids | readings | psi)).columns[name].unit for name in lines} == {None}
    warm = {"Suction line": ["52"] * 6, "Liquid line": ["96"] * 6, "Ambient": ["88"] * 6}
    assert {map_table(make_columns(ids | warm | said)).columns[name].unit for name in lines} == {None}


def test_a_column_of_days_is_no_id() -> None:
    """ "Tag" is the German day as well as the tag on a unit: the values say which."""
    days = Column("Tag", 0, ("14.05.2024", "15.05.2024"), 2)
    tags = Column("Tag", 0, ("K-014", "K-015"), 2)
    field = fields_for_file("units")["unit_id"]
    assert share_that_fits(days, field, None) == 0.0
    assert share_that_fits(tags, field, None) == 1.0


def test_temperatures_in_fahrenheit_stay() -> None:
    raw = make_columns(BASE | {"Return temp": ["75"] * 20, "Supply temp": ["56"] * 20, "Liquid pressure": ["340"] * 20})
    assert all(use.unit is None for use in map_table(raw).columns.values())


def test_the_mapping_file_comes_first() -> None:
    told = loads(
        '[files."x*.csv"]\ntable = "visits"\n[files."x*.csv".columns]\nvisit_id = "Zettel"\n'
        'return_db_f = { header = "raum", unit = "degC" }'
    )
    raw = make_raw(["Zettel", "Raum", "Date", "Address", "Ticket #"], name="x1.csv")
    found = map_table(raw, told)
    assert (found.columns["visit_id"].header, found.columns["visit_id"].how) == ("Zettel", "mapping")
    assert (found.columns["return_db_f"].index, found.columns["return_db_f"].unit) == (1, "degC")
    assert "Ticket #" in found.unmapped


def test_two_headers_for_one_field_are_refused_by_name() -> None:
    raw = make_columns(BASE | {"Suction pressure": ["118"] * 20, "Suction psi": ["119"] * 20})
    with pytest.raises(
        FileRefused, match='"Suction pressure" and "Suction psi" both look like suction_psig'
    ) as refused:
        map_table(raw)
    assert 'suction_psig = "Suction pressure"' in refused.value.message
    assert refused.value.slug == "two-headers"


def test_a_column_without_a_header_is_listed_if_it_holds_something() -> None:
    raw = make_columns(BASE | {"": ["x"] * 20, " ": [""] * 20})
    assert map_table(raw).unmapped == ("column 4 (without a header)",)


def test_the_same_column_twice_is_no_question() -> None:
    raw = make_columns(BASE | {"Suction pressure": ["118"] * 20, "Suction psi": ["118"] * 20})
    assert map_table(raw).columns["suction_psig"].header == "Suction pressure"


def test_a_missing_required_field_names_the_near_headers_as_typed() -> None:
    raw = make_raw(["Ticket #", "Unit #", "Dayte Visted", "Outdoor temp", "Suction psi"], name="jobs.csv")
    with pytest.raises(FileRefused, match="no column for visit_date") as refused:
        map_table(raw)
    assert '"Dayte Visted"' in refused.value.message
    assert refused.value.slug == "header-missing"


def test_a_header_the_mapping_names_must_be_there_if_it_is_needed() -> None:
    told = loads('[files."*"]\ntable = "visits"\n[files."*".columns]\nvisit_date = "Day of visit"')
    with pytest.raises(FileRefused, match=r'visit_date is the column "Day of visit".*"Day of vist"'):
        map_table(make_raw(["Ticket", "Unit", "Day of vist"]), told)


@pytest.mark.parametrize(
    ("name", "headers", "table"),
    [
        ("export.csv", ["Unit ID", "Make", "Model", "Serial", "Install date", "Customer", "Address"], "units"),
        ("export.csv", ["Customer ID", "Name", "Street", "City", "Zip", "Phone"], "sites"),
        ("export.csv", ["Ticket", "Part", "Qty", "Cost", "Price"], "parts"),
        ("export.csv", ["Ticket", "Unit", "Date", "Make", "Model", "Customer", "City", "Herm uF"], "visits"),
        ("quotes.csv", ["Job #", "Description", "Price", "Status"], "recommendations"),
        ("export.csv", ["Ticket", "Measurement", "Value"], "readings"),
    ],
)
def test_the_table_is_told_by_its_headers_and_name(name: str, headers: list[str], table: str) -> None:
    assert map_table(make_raw(headers, name=name)).table == table


def test_a_bare_fan_column_beside_a_hermetic_one_is_its_section() -> None:
    ids = {"Job #": ["1", "2"], "Unit": ["A", "B"], "Date": ["2024-05-14", "2024-05-15"], "Herm": ["44.1", "33.1"]}
    assert map_table(make_columns(ids | {"Fan": ["4.9", "7.2"]})).columns["fan_uf"].header == "Fan"
    assert "fan_uf" not in map_table(make_columns(ids | {"Fan": ["0.9", "1.2"]})).columns  # amps sooner than uF
    assert "fan_uf" not in map_table(make_columns(ids | {"Fan": ["ok", "ok"]})).columns


def test_a_word_for_the_visit_before_most_readings_is_no_part_of_their_names() -> None:
    headers = ["job_id", "job_unit_id", "job_date", "job_outdoor_temp", "job_suction_psi", "Phone", "Billing City"]
    headers += ["Billing Zip", "Billing Address", "Filter Size", "Email", "Discount"]
    found = choose_table("x.csv", sampled(make_raw(headers)), None).uses
    assert {field: use.header for field, use in found.items()} == {
        "visit_id": "job_id",
        "unit_id": "job_unit_id",
        "visit_date": "job_date",
        "outdoor_db_f": "job_outdoor_temp",
        "suction_psig": "job_suction_psi",
        "phone": "Phone",
    }
