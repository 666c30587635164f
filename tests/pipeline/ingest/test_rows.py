"""The fast reader and the tokenizer put every record in the same place."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.ingest import rows, scan
from pipeline.ingest.read import RawTable, read_table
from tests.csv_zoo import FAULTS, STYLES, Style, specimen

PLAIN = [style for style in STYLES if not style.escape and style.quote == '"' and style.line_end != "\r"]


def both_ways(data: bytes, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[RawTable, RawTable]:
    path = folder / "visits.csv"
    path.write_bytes(data)
    fast = read_table(path, path.name)
    with monkeypatch.context() as patched:
        patched.setattr(scan, "outline", lambda *_: None)
        slow = read_table(path, path.name)
    return fast, slow


def assert_equal(fast: RawTable, slow: RawTable) -> None:
    assert fast.cells.equals(slow.cells)
    assert fast.skipped.equals(slow.skipped)
    assert fast.malformed.equals(slow.malformed)


@pytest.mark.parametrize("style", PLAIN, ids=lambda style: style.name)
def test_both_readers_agree_on_every_fault(style: Style, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for fault in FAULTS:
        assert_equal(*both_ways(specimen(style, fault).data, tmp_path, monkeypatch))


LINES = "".join(f"T-{n},U{n},2024-01-02,{n}.5\n" for n in range(200))


@pytest.mark.parametrize(
    "tail",
    [
        "Total,,,19900\n",
        ",,Total,19900\n",
        ", ,\t,\n",
        "Ticket,Unit,Date,Herm\n,,,µF\nT-1,U1,2024-01-02,3\n",
        "\nSite,Customer,Street,City\nS1,A,B,C\n",
        ",,,\nSite,Customer,Street,City\nS1,A,B,C\n\nTicket,Unit,Date,Herm\nT-1,U1,2024-01-02,3\n",
        "T-1,U1\nT-2,U2,2024-01-02,3,4\nT-3,U3",
        'T-1,"U,""1""",2024-01-02,"3\n4"\n',
        "Total Comfort,U1,2024-01-02,3\n",
        "Page 1 of 2\n",
        "Page 1 of 2,,,\n",
        "total : ,,,5\n",
    ],
)
def test_both_readers_agree_on_what_is_no_row(tail: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = ("Ticket,Unit,Date,Herm\n" + LINES + tail + LINES).encode()
    fast, slow = both_ways(data, tmp_path, monkeypatch)
    assert_equal(fast, slow)
    assert fast.rows_read == data.decode().count("\n") - 1 - data.decode().count('"3\n4"')


def test_the_fast_reader_is_the_one_that_reads_clean_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "visits.csv"
    path.write_text("Ticket,Unit,Date,Herm\n" + LINES)
    monkeypatch.setattr(rows, "_sort_one_by_one", lambda *_: pytest.fail("the tokenizer read a clean file"))
    assert read_table(path, path.name).cells.height == 200


@pytest.mark.parametrize(
    ("width", "line"),
    [(4, "Total Comfort Heating,U1,2024-01-02,5"), (4, "T-9,Total,,"), (4, "Sum,U1,,"), (4, "T-9,,,"), (2, "Total,x")],
)
def test_a_row_that_only_speaks_of_totals_is_a_row(width: int, line: str, tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_text(",".join("ABCD"[:width]) + "\n" + ",".join(["1", "x9", "z", "w"][:width]) + "\n" + line + "\n")
    table = read_table(path, path.name)
    assert table.cells.height == 2
    assert table.skipped.is_empty()


def test_rows_of_a_second_table_are_refused_until_the_own_header_returns(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text("Unit,Site,Make\nU1,S1,A\n\nSite,Customer,City\nS1,B,C\n\nUnit,Site,Make\nU2,S2,A\n")
    table = read_table(path, path.name)
    assert table.cells["c0"].to_list() == ["U1", "U2"]
    assert table.malformed.select("source_line", "rule").rows() == [(4, "other-table"), (5, "other-table")]
