"""The proposal of a mapping file."""

from __future__ import annotations

import csv

import pytest

from pipeline.ingest.forms import form_of
from pipeline.ingest.mapping import map_table
from pipeline.ingest.mapping_file import MappingFile, dump_entry, loads
from pipeline.ingest.parse import parse
from pipeline.ingest.propose import entry_of, propose
from pipeline.ingest.read import RawTable
from tests.raw_tables import make_columns

ROWS = 12
COLUMNS = {
    "Ticket #": [f"T{i}" for i in range(ROWS)],
    "Unit ID": ["U1"] * ROWS,
    "Date": ["3/14/2024"] * ROWS,
    "Outdoor Temp (°C)": ["33,5"] * ROWS,
    "Customer": ["A. Person"] * ROWS,
    "Type": ["red", "blue"] * 6,
    "Wombat": ["x"] * ROWS,
}


def test_the_proposal_is_a_mapping_file_that_reads_the_file() -> None:
    raw = make_columns(COLUMNS, name="jobs_2024.csv")
    text = propose([raw])
    known = loads(text)
    [entry] = known.entries
    assert loads(dump_entry(entry)) == known
    out = parse(raw, map_table(raw, known))
    assert out.frame["outdoor_db_f"][0] == 92.3  # 33.5 degC = 33.5 * 1.8 + 32
    assert 'date_format = "%m/%d/%Y"' in text
    assert 'decimal = ","' in text


def test_each_line_says_how_sure_it_is_and_shows_values() -> None:
    text = propose([make_columns(COLUMNS, name="jobs_2024.csv")])
    assert 'visit_id = "Ticket #"  # 1.00 words: T0, T1, T2, T3' in text
    assert 'outdoor_db_f = { header = "Outdoor Temp (°C)", unit = "degC" }  # 1.00 unit_bracket: 33,5' in text


def test_what_is_not_sure_is_a_comment_and_what_is_left_is_listed() -> None:
    text = propose([make_columns(COLUMNS, name="jobs_2024.csv")])
    assert "# not used: 'Wombat'" in text
    assert '\n# visit_type = "Type"  # 0.70 words: red, blue' in text


def test_names_of_customers_are_not_shown() -> None:
    assert "A. Person" not in propose([make_columns(COLUMNS, name="jobs_2024.csv")])


def test_files_of_one_kind_share_an_entry_and_others_do_not() -> None:
    first, second = (make_columns(COLUMNS, name=f"jobs_{year}.csv") for year in (2023, 2024))
    assert [entry.pattern for entry in loads(propose([first, second])).entries] == ["jobs_*.csv"]
    other = make_columns({key: COLUMNS[key] for key in ("Ticket #", "Unit ID", "Date")}, name="jobs_2025.csv")
    assert len(loads(propose([first, second, other])).entries) == 3


def test_an_undecided_file_says_what_is_needed() -> None:
    raw = make_columns(COLUMNS | {"Date": ["3/4/2024"] * ROWS}, name="jobs.csv")
    assert 'write date_format = "%m/%d/%Y"' in propose([raw])
    lacking = make_columns({"Ticket #": ["1"], "Unit ID": ["2"], "Herm uF": ["38"]}, name="jobs.csv")
    assert "# needed, and no column found for it: visit_date" in propose([lacking])


def test_the_entry_written_back_reads_the_file_the_same() -> None:
    raw = make_columns(COLUMNS, name="jobs [1].csv")
    used = map_table(raw)
    first = parse(raw, used)
    written = dump_entry(entry_of(raw, used, first.conventions))
    again = parse(raw, map_table(raw, loads(written)))
    assert again.frame.equals(first.frame)


LINES = """Ticket,Date,Customer,Address,Job,Item,Qty,Price,Details
1,2025-06-03,A. Nemo,12 Elm St,No cool,Service call,1,89,
1,2025-06-03,A. Nemo,12 Elm St,No cool,Contactor 30A,1,150,two pole
2,2025-06-14,B. Nix,14 Elm St,Tune-up,Tune-up,1,129,
2,2025-06-14,B. Nix,14 Elm St,Tune-up,R-410A 2#,1,60,
"""


def table_of(text: str, name: str) -> RawTable:
    header, *rows = csv.reader(text.splitlines())
    return make_columns({title: [row[n] for row in rows] for n, title in enumerate(header)}, name=name)


@pytest.mark.parametrize("headers", [{}, {"Item": "Description"}, {"Qty": "Quantity", "Price": "Unit Price"}])
def test_invoice_lines_are_proposed_with_their_item_quantity_and_price(headers: dict[str, str]) -> None:
    text = LINES
    for old, new in headers.items():
        text = text.replace(old, new, 1)
    raw = table_of(text, "lines.csv")
    proposal = propose([raw])
    entry = loads(proposal).entry_for("lines.csv", raw.header)
    assert entry is not None
    assert entry.table == "visits"
    named = {name: entry.columns[name].header for name in ("item", "quantity", "price")}
    header = text.splitlines()[0].split(",")
    assert named == dict(zip(("item", "quantity", "price"), header[5:8], strict=True))
    assert "item = " in proposal
    assert "Service call, Contactor 30A" in proposal
    assert '# [files."lines.csv".values.item]' in proposal
    by_itself, told = (form_of(raw, mapping) for mapping in (MappingFile(), loads(proposal)))
    assert told.lines is not None
    assert by_itself.lines is not None
    assert told.raw.cells.equals(by_itself.raw.cells)
    assert told.lines.columns["item"] == by_itself.lines.columns.get("item", by_itself.lines.columns.get("text"))


def test_a_file_without_lines_is_proposed_without_them() -> None:
    raw = table_of("Ticket,Date,Address,Job,Total\n1,2025-06-03,12 Elm St,Tune-up,129\n", "jobs.csv")
    assert "invoice line" not in propose([raw])
    assert "rows of a ticket" not in propose([raw])
