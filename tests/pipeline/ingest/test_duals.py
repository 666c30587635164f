"""One column for both sections of a dual capacitor."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.ingest.duals import split_sections
from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import parse
from tests.raw_tables import make_columns


@pytest.mark.parametrize(
    ("text", "herm", "fan"),
    [
        ("45/5", "45", "5"),
        ("40+5 MFD 440V", "40", "5"),
        ("38.2/4.6", "38.2", "4.6"),
        ("35 / 7.5 uF", "35", "7.5"),
        ("45/5/440", "45", "5"),
        ("45-5", "45", "5"),
        ("45", "45", ""),
        ("5", "", "5"),
        ("45 MFD 440V", "45", ""),
        ("", "", ""),
        ("see tag", "see tag", ""),
    ],
)
def test_splitting(text: str, herm: str, fan: str) -> None:
    both = split_sections(pl.Series([text]))
    assert (both["herm"][0] or "", both["fan"][0] or "") == (herm, fan)


def test_a_register_with_dual_sizes_in_one_column() -> None:
    raw = make_columns(
        {"Unit ID": ["U1", "U2", "U3", "U4"], "Make": ["A"] * 4, "Capacitor": ["45/5", "35+7.5", "40/5", "see tag"]}
    )
    mapped = map_table(raw)
    assert (mapped.columns["cap_herm_uf"].header, mapped.columns["cap_fan_uf"].header) == ("Capacitor", "Capacitor")
    out = parse(raw, mapped)
    assert out.frame["cap_herm_uf"].to_list() == [45.0, 35.0, 40.0, None]
    assert out.frame["cap_fan_uf"].to_list() == [5.0, 7.5, 5.0, None]
    assert out.findings.select("source_line", "field", "value").rows() == [(5, "cap_herm_uf", "see tag")]


@pytest.mark.parametrize(("cells", "field"), [(["38.2/4.6", "41/7.1"], "herm_uf"), (["45/5", "35/7.5"], "cap_herm_uf")])
def test_a_visits_file_tells_readings_from_sizes_by_their_values(cells: list[str], field: str) -> None:
    ids = {"Ticket": ["T1", "T2"], "Unit ID": ["U1", "U2"], "Date": ["2024-03-14"] * 2}
    assert map_table(make_columns(ids | {"Cap": cells})).columns[field].header == "Cap"


def test_other_fractions_are_no_capacitor() -> None:
    raw = make_columns({"Unit ID": ["U1", "U2"], "Make": ["A", "B"], "Line size": ["3/8", "7/8"], "Cap": ["ok", "ok"]})
    assert set(map_table(raw).columns) == {"unit_id", "make"}


def test_ratings_and_readings_in_two_columns_with_the_volts_behind_the_rating() -> None:
    raw = make_columns(
        {
            "Ticket": ["T1", "T2", "T3"],
            "Unit ID": ["U1", "U2", "U3"],
            "Date": ["2024-03-14"] * 3,
            "Cap Rating": ["45/5 440V", "45+5", "35-5 370/440 VAC"],
            "Cap Reading": ["44.1 / 4.9", "45/5", "33.9"],
            "New cap": ["", "45.3/5.1", ""],
        }
    )
    out = parse(raw, map_table(raw)).frame
    assert out["cap_herm_uf"].to_list() == [45.0, 45.0, 35.0]
    assert out["cap_fan_uf"].to_list() == [5.0, 5.0, 5.0]
    assert out["cap_volts"].to_list() == [440.0, None, 440.0]
    assert out["herm_uf"].to_list() == [44.1, 45.0, 33.9]
    assert out["fan_uf"].to_list() == [4.9, 5.0, None]
    assert out["herm_uf_after"].to_list() == [None, 45.3, None]
