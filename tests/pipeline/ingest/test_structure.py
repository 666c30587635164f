"""Headers, units, totals: found where they are, never where a row is."""

from __future__ import annotations

import pytest

from pipeline.ingest.records import Dialect, records
from pipeline.ingest.structure import begins_other_table, find_header, is_totals_line, is_units_line, same_header

TABLE = "Ticket,Unit,Date,Herm\n1,U1,2024-05-01,38.5\n2,U2,2024-05-02,39.0\n3,U3,2024-05-03,40.0\n"


@pytest.mark.parametrize(
    ("above", "line"),
    [
        ("", 1),
        ("Visits\n", 2),
        ("\n\nVisits\n\n", 5),
        ("Visits,,,\nPrinted,2024-06-01,,\n", 3),
        ("From: 2024-01-01,To: 2024-12-31\n", 2),
        (",,Readings,\n", 2),
        ("sep=,\n", 2),
    ],
)
def test_the_header_is_below_the_title_block(above: str, line: int) -> None:
    sample = list(records(above + TABLE, Dialect(",")))
    assert sample[find_header(sample)].line == line


def test_a_header_narrower_or_wider_than_its_rows_is_a_header() -> None:
    rows = "1,U1,2024-05-01,38.5\n2,U2,2024-05-02,39.0\n"
    for header in ("Ticket,Unit,Date\n", "Ticket,Unit,Date,Herm,\n", "Ticket,Unit,Date,Herm,Fan,Notes\n"):
        sample = list(records(header + rows, Dialect(",")))
        assert find_header(sample) == 0


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["", "", "°F", "µF"], True),
        (["", "", "", "[°C]"], True),
        (["(text)", "(text)", "(psig)", "(uF)"], True),
        (["-", "-", "degC", "kPa"], True),
        (["1", "U1", "72", "38.5"], False),
        (["V-1", "", "", ""], False),
        (["", "", "", ""], False),
        (["Ticket", "Unit", "Outdoor", "Herm"], False),
        (["T1", "U1", "F", "A"], False),
    ],
)
def test_a_units_line_names_units(cells: list[str], expected: bool) -> None:
    assert is_units_line(cells) is expected


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["Total", "", "", "812.50"], True),
        (["TOTALS:", "12", "", "1,812.50"], True),
        (["", "", "Summe", "812,50"], True),
        (["Gesamt", "", "", "812,50"], True),
        (["Total visits", "84", "", ""], True),
        (["(84 rows)", "", "", ""], True),
        (["Page 2 of 3", "", "", ""], True),
        (["V-1", "Total", "", "812.50"], False),
        (["Total", "U1", "", "812.50"], False),
        (["Total", "", "2024-05-01", ""], False),
        (["Total Comfort LLC", "", "", "812.50"], False),
        (["Total", "1", "2", "3"], False),
        (["", "", "", ""], False),
    ],
)
def test_a_totals_line_has_a_word_and_numbers_only(cells: list[str], expected: bool) -> None:
    assert is_totals_line(cells, 4) is expected


def test_a_header_repeats_whatever_its_case_and_spaces() -> None:
    header = ["Ticket", "Unit ", ""]
    assert same_header([" ticket", "UNIT", ""], header)
    assert same_header(["Ticket", "Unit", "", ""], header)
    assert not same_header(["Ticket", "Unit", "x"], header)
    assert not same_header(["", "", ""], ["", "", ""])


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["Site", "Customer", "City"], True),
        (["Site", "Customer", "Customer"], False),
        (["S1", "Roe", "Elm"], False),
        (["Site", "Customer", ""], False),
        (["call back, ask for the key"], False),
    ],
)
def test_another_tables_header_has_names_and_no_digit(cells: list[str], expected: bool) -> None:
    assert begins_other_table(cells, 5) is expected
