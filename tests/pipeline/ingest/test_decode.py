"""Encodings are told apart, and what is no text is refused by content with a sentence."""

from __future__ import annotations

import bz2
import gzip
import io
import json
import lzma
import os
import zipfile
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import FileRefused, UsageError
from pipeline.ingest.decode import decode, read_bytes, refuse_what_is_not_text
from pipeline.ingest.read import read_table

TEXT = "Ticket;Außentemp. °C;Größe µF\r\n1;30,5;45\r\n2;31,0;40\r\n"


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (TEXT.encode(), "utf-8"),
        (TEXT.encode("utf-8-sig"), "utf-8"),
        (TEXT.encode("utf-16"), "utf-16-le"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "utf-16-be"),
        (TEXT.encode("utf-16-le"), "utf-16-le"),
        (TEXT.encode("utf-16-be"), "utf-16-be"),
        (TEXT.encode("cp1252"), "cp1252"),
        (TEXT.encode("mac_roman"), "mac_roman"),
        (TEXT.encode("cp850"), "cp850"),
        (TEXT.encode("utf-32"), "utf-32"),
        (b"a,b\n1,2\n", "utf-8"),
    ],
)
def test_text_comes_back_whatever_it_was_written_in(data: bytes, encoding: str) -> None:
    decoded = decode(data)
    assert decoded.encoding == encoding
    assert decoded.text in (TEXT, "a,b\n1,2\n")
    assert 0 < decoded.confidence <= 1
    assert not decoded.damaged


def test_a_guess_is_less_sure_than_a_mark() -> None:
    assert decode(TEXT.encode("utf-8-sig")).confidence == 1
    assert decode(TEXT.encode("cp1252")).confidence < 1


def test_one_broken_byte_does_not_turn_a_utf8_file_into_another_encoding() -> None:
    data = TEXT.encode().replace(b"31,0", b"31,\xff")
    decoded = decode(data)
    assert decoded.encoding == "utf-8"
    assert decoded.damaged
    assert "Außentemp. °C" in decoded.text


def test_only_the_row_with_broken_bytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_bytes(TEXT.encode().replace(b"31,0", b"31,\xff"))
    table = read_table(path, path.name)
    assert table.cells.rows() == [("1", "30,5", "45", 2)]
    assert table.malformed.select("source_line", "rule").rows() == [(3, "bad-bytes")]
    assert table.malformed["raw"][0] == "2;31,\ufffd;40"


def test_a_file_cut_inside_a_character_loses_only_its_last_row(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_bytes((TEXT + "3;29,0;Kühler").encode("utf-16")[:-1])
    table = read_table(path, path.name)
    assert table.cells.height == 2
    assert table.malformed.select("source_line", "rule").rows() == [(4, "cut-off")]


def test_a_stated_encoding_is_obeyed_and_an_unknown_one_is_named() -> None:
    assert decode("ü".encode("cp437"), encoding="cp437").text == "ü"
    with pytest.raises(UsageError, match="no-such-thing"):
        decode(b"a", encoding="no-such-thing")
    with pytest.raises(UsageError, match="hex"):
        decode(b"a", encoding="hex")


def _zipped(name: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(name, TEXT)
    return buffer.getvalue()


def _parquet() -> bytes:
    buffer = io.BytesIO()
    pl.DataFrame({"a": [1, 2]}).write_parquet(buffer)
    return buffer.getvalue()


NOT_TEXT = {
    "gzip": gzip.compress(TEXT.encode()),
    "bzip2": bz2.compress(TEXT.encode()),
    "xz": lzma.compress(TEXT.encode()),
    "zip": _zipped("visits.csv"),
    "spreadsheet": _zipped("xl/workbook.xml"),
    "old spreadsheet": bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600),
    "pdf": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n",
    "parquet": _parquet(),
    "png": b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
    "jpeg": b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)),
    "database": b"SQLite format 3\x00" + bytes(200),
    "zeros": bytes(4096),
    "noise": bytes((n * 7919) % 251 for n in range(4096)),
    "web page": b"<!DOCTYPE html>\n<html><table><tr><td>1</td></tr></table></html>",
    "xml": b"\xef\xbb\xbf<?xml version='1.0'?><Workbook/>",
    "json": json.dumps([{"Ticket": 1}, {"Ticket": 2}]).encode(),
    "json lines": b'{"Ticket": 1}\n{"Ticket": 2}\n',
    "rich text": b"{\\rtf1\\ansi Ticket\\par}",
}


@pytest.mark.parametrize("what", NOT_TEXT)
def test_what_is_not_text_is_refused_by_content_whatever_its_name(what: str, tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_bytes(NOT_TEXT[what])
    with pytest.raises(FileRefused, match=r"visits\.csv is .*save it as CSV") as refused:
        read_table(path, path.name)
    assert refused.value.slug == "not-text"
    assert "\n" not in refused.value.sentence()


@pytest.mark.parametrize(
    "header", [b"PAR1,b\n1,2\n", b"BZh,b\n1,2\n", b"{a,b\n1,2\n", b"[1],b\n1,2\n", b"BM,b\n1,2\n", b"MZ,b\n1,2\n"]
)
def test_a_header_that_begins_like_a_signature_is_still_text(header: bytes) -> None:
    refuse_what_is_not_text(header, "visits.csv")


@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b"\xff\xfe", b"\n\n \r\n", b"\x1a"])
def test_a_file_without_a_record_is_refused(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    path.write_bytes(data)
    with pytest.raises(FileRefused) as refused:
        read_table(path, path.name)
    assert refused.value.slug == "empty-file"
    assert "visits.csv" in refused.value.message


def test_a_folder_or_a_missing_file_is_refused_with_a_sentence(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "missing.csv"):
        with pytest.raises(FileRefused, match=path.name):
            read_table(path, path.name)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    os.mkfifo(path)
    with pytest.raises(FileRefused, match="not a file"):
        read_table(path, path.name)


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "visits.csv"
    path.write_text("Ticket,Unit\n1,U1\n")
    from pipeline.ingest import layout

    original = layout.decode

    def slow(data: bytes, *, encoding: str | None = None) -> object:
        with path.open("a") as handle:
            handle.write("2,U2\n")
        return original(data, encoding=encoding)

    monkeypatch.setattr(layout, "decode", slow)
    with pytest.raises(FileRefused, match=r"visits\.csv changed") as refused:
        read_table(path, path.name)
    assert refused.value.slug == "file-changed"


def test_a_file_replaced_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "visits.csv"
    path.write_text("Ticket,Unit\n1,U1\n")
    other = tmp_path / "new.csv"
    other.write_text("Ticket,Unit\n2,U2\n")
    original = os.fstat

    def swap(handle: int) -> os.stat_result:
        found = original(handle)
        if other.exists():
            other.replace(path)
        return found

    monkeypatch.setattr(os, "fstat", swap)
    with pytest.raises(FileRefused, match="changed"):
        read_bytes(path, path.name)
