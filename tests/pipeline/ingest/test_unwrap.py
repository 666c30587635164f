"""Lines wrapped in quotes as a whole are laid open; quoted cells are not."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.ingest.read import read_table
from pipeline.ingest.show import show
from pipeline.ingest.unwrap import unwrap


def test_a_semicolon_file_saved_as_one_column_comes_in(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_text('Ticket;Unit;Herm\r\n"1;U1;38,5"\r\n"2;U2;39,5"\r\n3;U3;40\r\n', newline="")
    table = read_table(path, path.name)
    assert table.header == ("Ticket", "Unit", "Herm")
    assert table.cells.rows() == [("1", "U1", "38,5", 2), ("2", "U2", "39,5", 3), ("3", "U3", "40", 4)]
    assert any("each line stood in quotes" in note for note in show(path).notes)


def test_inner_quotes_are_undoubled_once() -> None:
    text = '"Ticket,""Unit"",""Notes"""\n"1,""U1"",""a, b"""\n"2,""U2"",""c, d"""\n'
    assert unwrap(text) == 'Ticket,"Unit","Notes"\n1,"U1","a, b"\n2,"U2","c, d"\n'


@pytest.mark.parametrize(
    "text",
    [
        '"a","b","c"\n"1","2","3"\n',
        '"Notes"\n"washed, dried"\n"replaced the filter, the belt, and more"\n"ok"\n',
        '"Ticket"\n"1"\n"2"\n',
        "a;b;c\n1;2;3\n",
        '"a;b;c"\n1;"2";3\n',
        "",
    ],
)
def test_other_files_stay_as_they_are(text: str) -> None:
    assert unwrap(text) is None


def test_lines_of_empty_quotes_hold_no_table() -> None:
    assert unwrap('""\n""') is None
    assert unwrap('""\r\n\r\n""\r\n') is None
