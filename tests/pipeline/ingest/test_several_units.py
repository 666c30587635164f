"""Headers that number units, and the rows they give."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.ingest.several_units import NEXT_UNIT, as_in_file, split_units
from tests.raw_tables import make_raw

SPLIT = {
    "worded": "Ticket,Date,Unit 1 ID,Unit 1 SH,Unit 2 ID,Unit 2 SH",
    "glued": "ticket,date,sys1_id,sys1_herm_uf,sys2_id,sys2_herm_uf",
    "bracketed": "Date,Address,Herm uF (AC 1),Fan uF (AC 1),Herm uF (AC 2),Fan uF (AC 2)",
    "numbers alone": "Date,Address,SH 1,SC 1,SH 2,SC 2",
    "hash": "Date,Address,#1 SH,#1 SC,#2 SH,#2 SC",
    "places": "Date,Address,Up SH,Up SC,Down SH,Down SC",
    "ordinal": "WO,Date,1st unit superheat,2nd unit superheat",
    "german": "Datum,Adresse,Anlage 1 Überhitzung,Anlage 2 Überhitzung",
}
WHOLE = {
    "addresses": "Date,Address 1,Address 2,Phone 1,Phone 2,SH",
    "one unit only": "Ticket,Date,Unit 1 ID,Unit 1 SH",
    "one reading twice": "Date,Address,SH 1,SH 2",
    "lines of a supply": "Date,Address,Line Volts L1,Line Volts L2",
    "plain": "visit_id,unit_id,visit_date,herm_uf,fan_uf",
    "techs": "Date,Address,Tech 1,Tech 2,SH,SC",
}


@pytest.mark.parametrize("kind", SPLIT)
def test_columns_that_number_units_give_a_row_each(kind: str) -> None:
    header = SPLIT[kind].split(",")
    found = split_units(make_raw(header, [[str(n) for n in range(1, len(header) + 1)]]))
    assert found is not None
    assert found.raw.cells.height == 2


@pytest.mark.parametrize("kind", WHOLE)
def test_other_numbers_in_headers_split_nothing(kind: str) -> None:
    header = WHOLE[kind].split(",")
    assert split_units(make_raw(header, [["1"] * len(header)])) is None


def test_a_unit_without_a_cell_but_zeros_has_no_row() -> None:
    header = ["Ticket", "Date", "Total", "Unit 1 ID", "Unit 1 SH", "Unit 2 ID", "Unit 2 SH"]
    rows = [["1", "d", "9", "A", "8", "B", "7"], ["2", "d", "9", "C", "", "", "0"], ["3", "d", "9", "", "", "", ""]]
    found = split_units(make_raw(header, rows))
    assert found is not None
    assert found.raw.header == ("Ticket", "Date", "Total", "Unit ID", "SH")
    told = found.raw.cells.select("c0", "c2", "c3", "c4").rows()
    # the ticket's total stays with its first unit, so that it counts once
    assert told == [("1", "9", "A", "8"), ("1", None, "B", "7"), ("2", "9", "C", ""), ("3", "9", "", "")]


def test_without_an_identity_the_number_is_the_location() -> None:
    found = split_units(make_raw(["Date", "Address", "Up SH", "Up SC", "Down SH", "Down SC"], [["d", "a", *"1234"]]))
    assert found is not None
    assert found.raw.header[-1] == "unit_location"
    assert found.raw.cells[f"c{len(found.raw.header) - 1}"].to_list() == ["up", "down"]


def test_findings_name_the_line_and_header_of_the_file() -> None:
    found = split_units(
        make_raw(["Ticket", "Date", "U1 SN", "U1 SH", "U2 SN", "U2 SH"], [["1", "d", "A", "8", "B", "x"]])
    )
    assert found is not None
    line = int(found.raw.cells["source_line"][1])
    assert line > NEXT_UNIT
    told = as_in_file(
        pl.DataFrame({"source_line": [line], "header": ["SH"], "message": [f'column "SH": as line {line} says']}), found
    )
    assert told.row(0) == (line - NEXT_UNIT, "U2 SH", f'column "U2 SH": as line {line - NEXT_UNIT} says')
