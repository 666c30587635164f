"""A refused record goes out as read, and comes back through any spreadsheet to the line it came from."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.check import Checked, check
from pipeline.checks.rejects import (
    BYTE_ORDER_MARK,
    EXTRA,
    as_written,
    malformed_findings,
    recognise,
    rejected_records,
    render_records,
    with_record_digest,
)
from pipeline.findings import FINDING_SCHEMA
from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import parse
from pipeline.ingest.read import MALFORMED_SCHEMA, SKIPPED_SCHEMA, RawTable, read_table

HEADER = ("Ticket", "Unit", "OAT")


def raw_table(cells: list[list[str | None]], header: tuple[str, ...] = HEADER, first_line: int = 2) -> RawTable:
    """Return a file as read: one record per line below the header."""
    columns = {f"c{n}": [row[n] for row in cells] for n in range(len(header))}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String)).with_columns(
        pl.int_range(first_line, first_line + len(cells), dtype=pl.Int64).alias("source_line")
    )
    return RawTable(
        name="jobs.csv",
        sha256="0" * 64,
        encoding="utf-8",
        encoding_confidence=1.0,
        delimiter=",",
        quote='"',
        header=header,
        header_line=1,
        cells=frame,
        skipped=pl.DataFrame(schema=SKIPPED_SCHEMA),
        malformed=pl.DataFrame(schema=MALFORMED_SCHEMA),
    )


def render_rejected(raw: RawTable, found: pl.DataFrame) -> str:
    """Return the rejected file of one freshly read source file."""
    own = found.filter(pl.col("source_file") == raw.name)
    return render_records(raw.header, rejected_records(raw, own), own)


def finding(line: int, **changes: object) -> dict[str, object]:
    """Return a finding on a line of jobs.csv."""
    row: dict[str, object] = dict.fromkeys(FINDING_SCHEMA)
    row |= {"source_file": "jobs.csv", "source_line": line, "scope": "value", "field": "outdoor_db_f"}
    row |= {"header": "OAT", "value": "abc", "rule": "not-a-number", "message": "no", "advice": "Correct it."}
    return row | changes


def findings(*rows: dict[str, object]) -> pl.DataFrame:
    """Return a frame of findings."""
    return pl.DataFrame(list(rows), schema=FINDING_SCHEMA)


def lines(text: str) -> list[list[str]]:
    """Return the records as the csv module of the standard library reads them."""
    return list(csv.reader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline="")))


def back(text: str, folder: Path, name: str = "x.csv", encoding: str = "utf-8", delimiter: str = ",") -> RawTable:
    """Return the file as our own reader sees it after a spreadsheet has saved it."""
    path = folder / name
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows(lines(text))
    path.write_bytes(out.getvalue().encode(encoding))
    return read_table(path, name)


def test_record_goes_out_as_read_then_what_is_wrong() -> None:
    """Only the refused record, all its cells, and the six columns of the contract."""
    raw = raw_table([["T1", "U1", "95"], ["T2", "U 2 ", "abc"]])
    assert lines(render_rejected(raw, findings(finding(3)))) == [
        [*HEADER, "source_file", "source_line", "column", "value", "rule", "advice"],
        ["T2", "U 2 ", "abc", "jobs.csv", "3", "OAT", "abc", "not-a-number", "Correct it."],
    ]


def test_several_reasons_make_one_record() -> None:
    """They are joined in one order in all four columns."""
    raw = raw_table([["T1", "", "abc"]])
    both = findings(
        finding(2), finding(2, field="unit_id", header="Unit", value="", rule="required-missing", advice="Add.")
    )
    row = lines(render_rejected(raw, both))[1]
    assert row[5:] == ["OAT; Unit", "abc; ", "not-a-number; required-missing", "Correct it.; Add."]


def test_the_same_advice_is_given_once() -> None:
    """Two values of one row that contradict each other need one correction."""
    raw = raw_table([["T1", "80", "abc"]])
    row = lines(render_rejected(raw, findings(finding(2), finding(2, field="return_wb_f", header="Unit"))))[1]
    assert (row[5], row[8]) == ("OAT; Unit", "Correct it.")


def test_values_are_shown_as_typed() -> None:
    """A check sees 59 degF where the shop typed 15 degC; a key and a derived field have no cell of their own."""
    raw = raw_table([["T1", "U1", "15 "]])
    three = findings(
        finding(2, value="59"),
        finding(2, value="T1 / U1", rule="conflicting-rows"),
        finding(2, value="x", field="site_id", header="site"),
    )
    assert as_written(three, raw)["value"].to_list() == ["15 ", "T1 / U1", "x"]
    assert as_written(three.clear(), raw).is_empty()


def test_text_is_the_same_whatever_the_order_of_the_findings() -> None:
    """So that the digest tells whether the user edited the file."""
    raw = raw_table([["T1", "", "abc"], ["T2", "U", "x"]])
    rows = [finding(2), finding(2, field="unit_id", rule="required-missing"), finding(3)]
    assert render_rejected(raw, findings(*rows)) == render_rejected(raw, findings(*rows[::-1]))


def test_wrong_width_carries_the_raw_line() -> None:
    """Its cells fit under no header, so they stay empty."""
    raw = raw_table([])
    broken = pl.DataFrame(
        [[2, "too-many-cells", "m", "Quote it.", "T1,U1,95,,x"]], schema=MALFORMED_SCHEMA, orient="row"
    )
    raw = RawTable(**{**vars(raw), "malformed": broken})
    found = findings(finding(2, scope="row", field=None, header=None, value=None, rule="too-many-cells"))
    row = lines(render_rejected(raw, found))[1]
    assert row == ["", "", "", "jobs.csv", "2", "", "T1,U1,95,,x", "too-many-cells", "Correct it."]


def test_malformed_records_become_findings() -> None:
    """The place stands in its own columns, not in the message again."""
    broken = pl.DataFrame(
        [[7, "too-many-cells", "jobs.csv line 7: 4 cells where the header has 3", "Quote it.", "T1,U1,95,x"]],
        schema=MALFORMED_SCHEMA,
        orient="row",
    )
    got = malformed_findings(RawTable(**{**vars(raw_table([])), "malformed": broken}))
    assert got.row(0) == (
        *("jobs.csv", 7, "row", None, None, "T1,U1,95,x", "too-many-cells"),
        *("4 cells where the header has 3", "Quote it."),
    )


def test_nothing_refused_is_no_file() -> None:
    """An empty text, so that no file is written."""
    assert render_rejected(raw_table([["T1", "U1", "95"]]), findings()) == ""


def test_plain_text_has_no_mark_and_other_text_has() -> None:
    """Spreadsheets need the mark only where there is something to misread."""
    plain = render_rejected(raw_table([["T1", "U1", "abc"]]), findings(finding(2)))
    umlaut = render_rejected(raw_table([["T1", "Küche", "abc"]]), findings(finding(2)))
    assert plain.isascii()
    assert umlaut.startswith(BYTE_ORDER_MARK)


def test_two_imports_of_one_name_are_kept_apart() -> None:
    """Line 2 of March and line 2 of April are two records with their own reasons."""
    march = rejected_records(raw_table([["T1", "U1", "abc"]]), findings(finding(2)))
    april = rejected_records(raw_table([["T9", "U9", "xyz"]]), findings(finding(2)))
    records = pl.concat([march.with_columns(import_id=1), april.with_columns(import_id=2)])
    found = pl.concat(
        [findings(finding(2)).with_columns(import_id=1), findings(finding(2, value="xyz")).with_columns(import_id=2)]
    )
    assert [row[:1] + row[6:7] for row in lines(render_records(HEADER, records, found))[1:]] == [
        ["T1", "abc"],
        ["T9", "xyz"],
    ]


def test_record_digest_follows_the_record_not_the_line() -> None:
    """The same bad record further down in a later export is known again; another one is not."""
    one = rejected_records(raw_table([["T1", "U1", "abc"]]), findings(finding(2)))
    two = rejected_records(raw_table([["T0", "U0", "abc"], ["T1", "U1", "abc"]]), findings(finding(2), finding(3)))
    assert two["record_digest"][1] == one["record_digest"][0]
    assert two["record_digest"][0] != one["record_digest"][0]
    assert with_record_digest(findings(finding(2)), one)["record_digest"].to_list() == one["record_digest"].to_list()


def test_other_files_are_not_recognised() -> None:
    """An ordinary export is left alone."""
    assert recognise(raw_table([["T1", "U1", "95"]])) is None


@pytest.mark.parametrize(
    ("encoding", "delimiter"), [("utf-8", ","), ("utf-8-sig", ";"), ("cp1252", ";"), ("utf-16", "\t")]
)
def test_corrected_file_comes_back_to_its_line(tmp_path: Path, encoding: str, delimiter: str) -> None:
    """Whatever a spreadsheet made of it, under any name."""
    raw = raw_table([["T1", "U1", "95"], ["=T2", "Küche\nlinks", "abc"], ["T3", "U3", "-"]])
    text = render_rejected(raw, findings(finding(3), finding(4))).replace("abc,jobs", "91,jobs")
    got = recognise(back(text, tmp_path, "corrected by me.csv", encoding, delimiter))
    assert got is not None
    (piece,) = got.pieces
    assert piece.name == "jobs.csv"
    assert piece.header == HEADER
    assert piece.cells.rows() == [("=T2", "Küche\nlinks", "91", 3), ("T3", "U3", "-", 4)]
    assert got.places.select("source_file", "source_line").rows() == [("jobs.csv", 3), ("jobs.csv", 4)]


def test_uncorrected_wide_record_stays_malformed_and_a_corrected_one_is_a_row(tmp_path: Path) -> None:
    """Cells filled in by hand count; a raw line left alone is refused for the reason it had."""
    broken = pl.DataFrame(
        [[2, "too-many-cells", "m", "Quote it.", "T1,U1,95,,x"], [3, "too-many-cells", "m", "Quote it.", "T2,U2,9,,y"]],
        schema=MALFORMED_SCHEMA,
        orient="row",
    )
    raw = RawTable(**{**vars(raw_table([["T0", "U0", "abc"]], first_line=4)), "malformed": broken})
    rows = [finding(n, scope="row", field=None, header=None, value=None, rule="too-many-cells") for n in (2, 3)]
    text = render_rejected(raw, findings(*rows, finding(4))).replace(",,,jobs.csv,3", "T2,U2,9,jobs.csv,3")
    got = recognise(back(text, tmp_path))
    assert got is not None
    (piece,) = got.pieces
    assert piece.cells.rows() == [("T2", "U2", "9", 3), ("T0", "U0", "abc", 4)]
    assert piece.malformed.select("source_line", "rule", "raw").rows() == [(2, "too-many-cells", "T1,U1,95,,x")]


def test_records_of_two_sources_and_of_none(tmp_path: Path) -> None:
    """A user may paste lists together, or lose the place."""
    text = render_rejected(raw_table([["T1", "U1", "abc"]] * 3), findings(finding(2), finding(3), finding(4)))
    text = text.replace("jobs.csv,3,", "older.csv,3.0,").replace("jobs.csv,4,", ",,")
    got = recognise(back(text, tmp_path, "mine.csv"))
    assert got is not None
    assert [(piece.name, piece.cells["source_line"].to_list()) for piece in got.pieces] == [
        ("jobs.csv", [2]),
        ("older.csv", [3]),
        ("mine.csv", [4]),
    ]


def test_spreadsheet_added_empty_columns(tmp_path: Path) -> None:
    """Blank header cells at the end do not hide what the file is."""
    text = render_rejected(raw_table([["T1", "U1", "abc"]]), findings(finding(2)))
    wider = "".join(line + ",,\n" for line in text.splitlines())
    got = recognise(back(wider, tmp_path))
    assert got is not None
    assert got.pieces[0].cells.columns == ["c0", "c1", "c2", "source_line"]


def stages(raw: RawTable) -> Checked:
    """Return a file after mapping, parsing and checks."""
    return check(parse(raw, map_table(raw)), as_of=None, today=dt.date(2025, 3, 1), raw=raw)


def test_correct_and_import_again(tmp_path: Path) -> None:
    """The owner's loop, through the real stages: a bad date, a bad pair of air readings, two records of one key.

    The file is corrected in a spreadsheet that saves it as Windows-1252 with semicolons, under another name.
    """
    (tmp_path / "jobs.csv").write_text(
        "Ticket;Unit ID;Visit date;Return DB (°C);Return WB (°C);Notes\n"
        "T1;U1;2024-05-01;24;17;ok\n"
        "T2;U1;2024-13-01;24;17;=notes\n"
        "T3;U2;2024-05-03;15;25;\n"
        "T4;U3;2024-05-04;23;17;\n"
        "T4;U3;2024-05-04;23;18;\n",
        encoding="utf-8",
    )
    raw = read_table(tmp_path / "jobs.csv", "jobs.csv")
    first = stages(raw)
    assert first.frame["visit_id"].to_list() == ["T1", "T3"]
    assert first.findings.select("source_line", "scope", "header", "value").rows() == [
        (3, "row", "Visit date", "2024-13-01"),
        (4, "value", "Return WB (°C)", "25"),
        (4, "value", "Return DB (°C)", "15"),
        (5, "row", "Return WB (°C)", "T4 / U3"),
        (6, "row", "Return WB (°C)", "T4 / U3"),
    ]
    records = lines(render_rejected(raw, first.findings))
    assert [record[0] for record in records[1:]] == ["T2", "T3", "T4", "T4"]
    uncorrected = recognise(raw_table(records[1:], tuple(records[0])))
    assert uncorrected is not None
    again = stages(uncorrected.pieces[0])
    assert again.findings.select("source_line", "rule").equals(first.findings.select("source_line", "rule"))

    records[1][2], records[2][3:5] = "2024-12-01", ["25", "15"]
    del records[4]
    text = "".join(";".join(f'"{cell}"' for cell in record) + "\r\n" for record in records)
    (tmp_path / "put right.csv").write_bytes(text.encode("cp1252"))
    resolving = recognise(read_table(tmp_path / "put right.csv", "put right.csv"))
    assert resolving is not None
    second = stages(resolving.pieces[0])
    assert second.findings.is_empty()
    assert second.frame.select("visit_id", "source_file", "source_line", "return_db_f", "notes").rows() == [
        ("T2", "jobs.csv", 3, pytest.approx(75.2), "=notes"),
        ("T3", "jobs.csv", 4, pytest.approx(77.0), None),
        ("T4", "jobs.csv", 5, pytest.approx(73.4), None),
    ]


CELL = st.text(alphabet="'=+-@aé,;\"\n 5.", max_size=5)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=4))
def test_every_cell_survives_the_round_trip(rows: list[tuple[str, str, str]]) -> None:
    """Written and read back by the standard library's csv module, undone by ``recognise``: the same cells."""
    raw = raw_table([list(row) for row in rows])
    text = render_rejected(raw, findings(*(finding(n + 2, value="v") for n in range(len(rows)))))
    head, *body = lines(text)
    assert tuple(head[-6:]) == EXTRA
    read = raw_table([list(row) for row in body], tuple(head))
    got = recognise(read)
    assert got is not None
    (piece,) = got.pieces
    kept = [row for row in rows if any(cell.strip() for cell in row)]
    assert [row[:3] for row in piece.cells.rows()] == kept
    assert piece.cells.height + piece.malformed.height == len(rows)
