"""What ``preseason show`` prints: every record and cell of a polluted file, and a note of what it left out."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.errors import FileRefused
from pipeline.ingest.show import Shown, show
from tests.polluted import Polluted, polluted

POLLUTED = list(polluted())


def shown(data: bytes, folder: Path) -> Shown:
    path = folder / "visits.csv"
    path.write_bytes(data)
    return show(path)


def records_of(printed: Shown) -> list[list[str]]:
    return list(csv.reader(io.StringIO(b"".join(printed.chunks()).decode(), newline="")))


@pytest.mark.parametrize("made", POLLUTED, ids=lambda made: made.name)
def test_every_record_and_cell_of_a_polluted_file_is_printed(made: Polluted, tmp_path: Path) -> None:
    assert records_of(shown(made.data, tmp_path)) == made.records


def test_what_is_below_the_header_stays_and_what_is_left_out_is_told(tmp_path: Path) -> None:
    lines = (
        "Cool Air",
        "",
        "Ticket;Unit;Außen",
        ";;[°C]",
        "1;U1;30,5",
        "",
        "Ticket;Unit;Außen",
        "2;U2;31,0;x",
        "Total;;61,5",
    )
    data = "".join(line + "\r\n" for line in lines)
    printed = shown(data.encode("cp1252"), tmp_path)
    assert b"".join(printed.chunks()).decode() == (
        'Ticket,Unit,Außen\n,,[°C]\n1,U1,"30,5"\nTicket,Unit,Außen\n2,U2,"31,0",x\nTotal,,"61,5"\n'
    )
    first, *rest = printed.notes
    assert "encoding cp1252 (confidence" in first
    assert "delimiter semicolon" in first
    assert "header on line 3 with 3 cells, 5 records below it" in first
    assert rest == [
        'left out above the header, line 1: "Cool Air"',
        "left out above the header, line 2: blank",
        "left out 1 blank line below the header: 6",
    ]


def test_a_record_of_blank_cells_is_no_blank_line(tmp_path: Path) -> None:
    assert records_of(shown(b"a,b\n,\n1,2\n", tmp_path)) == [["a", "b"], ["", ""], ["1", "2"]]
    assert records_of(shown(b'a\n""\n\n1\n', tmp_path)) == [["a"], [""], ["1"]]


def test_unreadable_bytes_are_marked_and_the_rest_is_kept(tmp_path: Path) -> None:
    printed = shown("Größe,Kühler\n1,a\n2,".encode() + b"\xff\n", tmp_path)
    assert records_of(printed) == [["Größe", "Kühler"], ["1", "a"], ["2", "\ufffd"]]


def test_a_large_file_comes_in_chunks(tmp_path: Path) -> None:
    printed = shown(b"a,b\n" + b"12345678,x\n" * 200_000, tmp_path)
    chunks = list(printed.chunks())
    assert len(chunks) > 1
    assert sum(map(len, chunks)) == 4 + 11 * 200_000


def test_what_is_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileRefused, match="save it as CSV"):
        shown(b"PK\x03\x04" + bytes(100), tmp_path)
