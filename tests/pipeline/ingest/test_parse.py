"""Mapped text to typed rows: nothing lost, nothing misread, every refusal found with its place."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import UsageError
from pipeline.fields import fields_for_file
from pipeline.findings import FINDING_SCHEMA
from pipeline.ingest.conventions import AmbiguousFile, Conventions
from pipeline.ingest.mapping import map_table
from pipeline.ingest.mapping_file import loads
from pipeline.ingest.parse import Parsed, parse
from tests.raw_tables import make_columns, make_raw

TYPES = {
    "text": pl.String,
    "word": pl.String,
    "words": pl.String,
    "date": pl.Date,
    "number": pl.Float64,
    "rating": pl.Float64,
}


def parsed(columns: dict[str, list[Any]], mapping: str = "", name: str = "jobs.csv", **options: Any) -> Parsed:
    """Return a file of columns under their headers, parsed."""
    raw = make_columns(columns, name=name)
    return parse(raw, map_table(raw, loads(mapping)), **options)


def visits(**columns: list[Any]) -> dict[str, list[Any]]:
    """Return columns of visits with ids and ISO dates beside them."""
    rows = len(next(iter(columns.values())))
    ids = {"visit_id": [f"T{i}" for i in range(rows)], "unit_id": ["U1"] * rows, "visit_date": ["2024-03-14"] * rows}
    return ids | columns


def test_types_are_the_registrys() -> None:
    out = parsed(
        visits(
            herm_uf=["38"],
            cause=["cap"],
            observations=["oil"],
            notes=[" ok "],
            installed_on=["2015-05-01"],
            cap_fan_uf=["none"],
        )
    )
    fields = fields_for_file("visits")
    for name in out.columns:
        assert out.frame[name].dtype == TYPES[fields[name].kind], name
    row = out.frame.row(0, named=True)
    assert (row["herm_uf"], row["cause"], row["observations"], row["notes"]) == (
        38.0,
        "run_capacitor",
        "oil_stain",
        "ok",
    )
    assert (row["installed_on"], row["cap_fan_uf"]) == (dt.date(2015, 5, 1), 0.0)
    assert (row["source_file"], row["source_line"], row["rejected_fields"]) == ("jobs.csv", 2, [])
    assert out.findings.is_empty()


def test_a_refused_value_leaves_the_field_empty_and_the_row_in() -> None:
    out = parsed(visits(outdoor_db_f=["95", "hot", "999", ""], cause=["cap", "gremlins", "", "n/a"]))
    assert out.frame["outdoor_db_f"].to_list() == [95.0, None, None, None]
    assert out.frame["rejected_fields"].to_list() == [[], ["outdoor_db_f", "cause"], ["outdoor_db_f"], []]
    assert dict(out.findings.schema) == {name: dtype() for name, dtype in FINDING_SCHEMA.items()}
    found = out.findings.select("source_line", "scope", "field", "header", "value", "rule").rows()
    assert found == [
        (3, "value", "outdoor_db_f", "outdoor_db_f", "hot", "not-a-number"),
        (3, "value", "cause", "cause", "gremlins", "unknown-word"),
        (4, "value", "outdoor_db_f", "outdoor_db_f", "999", "out-of-range"),
    ]


def test_the_sentences_say_place_value_rule_and_next_step() -> None:
    out = parsed(visits(**{"Outdoor temp (°C)": ["99"], "cause": ["capaciter"], "visit_type": ["zzz"]}))
    said = dict(zip(out.findings["field"], out.findings.select("message", "advice").rows(), strict=True))
    assert said["outdoor_db_f"] == (
        'column "Outdoor temp (°C)": "99" is outside -40 to 140 degF (given in degC); the value was left empty',
        "Correct it in rejected/ and run again.",
    )
    assert said["cause"][0] == 'column "cause": "capaciter" is no known word of cause; the value was left empty'
    assert "Near it: run_capacitor" in said["cause"][1]
    assert '"capaciter" = "run_capacitor"' in said["cause"][1]


def test_a_long_or_broken_value_is_cut_in_the_message_and_whole_in_the_finding() -> None:
    text = "x" * 30 + "\n" + "y" * 50
    out = parsed(visits(herm_uf=[text]))
    assert out.findings["value"][0] == text
    assert len(out.findings["message"][0]) < 120
    assert "\n" not in out.findings["message"][0]


def test_a_required_value_that_fails_costs_the_row() -> None:
    out = parsed({"visit_id": ["T1", "T2"], "unit_id": ["U1", "U2"], "visit_date": ["2024-03-14", "2024-02-30"]})
    assert out.frame["visit_date"].to_list() == [dt.date(2024, 3, 14), None]
    assert out.findings.select("scope", "field", "value", "rule").rows() == [
        ("row", "visit_date", "2024-02-30", "not-a-date")
    ]
    assert out.findings["message"][0].endswith("the row was not stored")


def test_ids_keep_zeros_and_inner_spaces() -> None:
    out = parsed({"visit_id": [" 007 "], "unit_id": ["A  1"], "visit_date": ["2024-03-14"], "postal_code": ["01234"]})
    assert out.frame.select("visit_id", "unit_id", "postal_code").row(0) == ("007", "A  1", "01234")


def test_the_decimal_sign_is_the_files_not_the_cells() -> None:
    out = parsed(visits(return_db_f=["75,5"] * 20 + ["75.5"], herm_uf=["38"] * 21))
    assert out.conventions.decimal == ","
    assert out.frame["return_db_f"][0] == 75.5
    assert out.findings["value"].to_list() == ["75.5"]
    assert 'the decimal sign of this file is ","' in out.findings["message"][0]


def test_units_of_columns_and_cells() -> None:
    """24 degC = 75.2 degF; 5.5 degC of subcooling = 9.9 degF; 8 bar = 116.0302 psi; 0.5 kg = 17.636981 oz."""
    out = parsed(
        visits(
            **{
                "Return DB [°C]": ["24", "75.2 °F"],
                "Subcooling (K)": ["5.5", ""],
                "Suction (bar)": ["8", ""],
                "Refrigerant added (kg)": ["0.5", ""],
            }
        )
    )
    row = out.frame.row(0, named=True)
    assert row["return_db_f"] == 75.2
    assert out.frame["return_db_f"][1] == 75.2
    assert row["recorded_subcooling_f"] == pytest.approx(9.9)
    assert row["suction_psig"] == pytest.approx(116.0302, abs=1e-4)
    assert row["refrigerant_added_oz"] == pytest.approx(17.636981, abs=1e-6)


def test_absolute_pressure_at_altitude() -> None:
    """12.228 psia is the standard atmosphere at 5,000 ft."""
    out = parsed(visits(**{"Suction (psia)": ["130.228"]}), altitude_ft=5000.0)
    assert out.frame["suction_psig"][0] == pytest.approx(118.0, abs=1e-3)


def test_dates_open_to_both_orders_are_settled_by_a_sibling_or_refused() -> None:
    columns = visits(herm_uf=["38", "39"]) | {"visit_date": ["03/04/2024", "05/06/2024"]}
    with pytest.raises(AmbiguousFile):
        parsed(columns)
    out = parsed(columns, siblings=[Conventions(order="dmy")])
    assert out.frame["visit_date"][0] == dt.date(2024, 4, 3)
    assert out.conventions.date_format == "%d/%m/%Y"
    told = parsed(columns, '[files."*"]\ndate_format = "%m/%d/%Y"')
    assert told.frame["visit_date"][0] == dt.date(2024, 3, 4)


def test_a_date_format_that_is_none_is_a_usage_error() -> None:
    with pytest.raises(UsageError, match="date_format"):
        parsed(visits(herm_uf=["38"]), '[files."*"]\ndate_format = "yyyy"')


def test_the_latest_day_makes_an_order_less_plausible() -> None:
    columns = visits(herm_uf=["38"] * 3) | {"visit_date": ["03/12/2024", "04/11/2024", "05/10/2024"]}
    assert parsed(columns, latest=dt.date(2024, 6, 30)).conventions.order == "mdy"


def test_a_zero_filled_column_is_reported_once() -> None:
    out = parsed(visits(herm_uf=["38", "0", "39"], fan_uf=["5", "", "0"], blower_uf=["5", "5", "OL"]))
    assert out.zero_filled == {"herm_uf"}
    assert sum("zeros and not one blank" in note for note in out.notes) == 1
    assert out.said_open.rows() == [(4, "blower_uf")]


def test_a_poor_shops_single_file() -> None:
    rows = [
        ["3/14/2024", "A. B.", "1 Elm St", "1042", "cap weak", "$120.00"],
        ["3/15/2024", "C. D.", "2 Elm St", "1043", "", "1,234.50"],
    ]
    raw = make_raw(["Date", "Customer", "Address", "Job", "Notes", "Total"], rows)
    out = parse(raw, map_table(raw))
    assert out.frame["visit_id"].to_list() == ["1042", "1043"]
    assert out.frame["unit_id"].null_count() == 0
    assert out.frame["invoice_total"].to_list() == [120.0, 1234.5]
    assert out.findings.is_empty()
    assert len(out.notes) == 2
    assert {"site_id", "unit_id"} <= set(out.columns)


def test_private_values_are_not_in_messages() -> None:
    out = parsed(visits(herm_uf=["38"]) | {"Agreement": ["A. Person"]})
    assert out.frame.height == 1


def test_a_date_long_before_the_trade_costs_the_row() -> None:
    out = parsed({"visit_id": ["T1"], "unit_id": ["U1"], "visit_date": ["1885-03-14"]})
    assert (
        out.findings["message"][0] == 'column "visit_date": "1885-03-14" lies before 1990-01-01; the row was not stored'
    )


def test_a_renewal_ahead_does_not_speak_against_its_order() -> None:
    columns = visits(agreement_renews_on=["01/12/2025", "02/11/2025", "03/10/2025"]) | {
        "visit_date": ["03/04/2024"] * 3
    }
    with pytest.raises(AmbiguousFile):
        parsed(columns, latest=dt.date(2024, 6, 30))


def test_no_rows_give_no_rows() -> None:
    raw = make_raw(["visit_id", "unit_id", "visit_date", "herm_uf", "cause"])
    out = parse(raw, map_table(raw))
    assert (out.frame.height, out.findings.height) == (0, 0)


CELL = st.one_of(
    st.none(),
    st.text(max_size=8),
    st.sampled_from(
        [
            "38",
            "38,5",
            "1.234",
            "OL",
            "n/a",
            "2024-03-14",
            "3/14/24",
            "cap",
            "yes",
            "75 °F",
            "(12)",
            "1e400",
            "∞",
            "\x00",
        ]
    ),
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(*[CELL] * 6), min_size=1, max_size=5))
def test_no_cell_breaks_the_parser_and_every_row_stays(rows: list[tuple[str | None, ...]]) -> None:
    raw = make_raw(["visit_id", "unit_id", "visit_date", "herm_uf", "cause", "invoice_total"], rows)
    try:
        out = parse(raw, map_table(raw))
    except AmbiguousFile:
        return
    assert out.frame.height == len(rows)
    for line, name, value in out.findings.select("source_line", "field", "value").iter_rows():
        assert out.frame[name][line - 2] is None
        assert name in out.frame["rejected_fields"][line - 2]
        assert value in rows[line - 2]


@settings(deadline=None, max_examples=40)
@given(st.permutations(range(6)))
def test_the_order_of_rows_changes_no_value(order: list[int]) -> None:
    cells = ["38", "OL", "", "hot", "0", "41.5"]
    straight = parsed(visits(herm_uf=cells)).frame["herm_uf"].to_list()
    turned = parsed(visits(herm_uf=[cells[i] for i in order])).frame["herm_uf"].to_list()
    assert turned == [straight[i] for i in order]
