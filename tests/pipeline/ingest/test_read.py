"""Laws of the reader: nothing is lost, nothing accepted differs from what was written, nothing takes long."""

from __future__ import annotations

import csv
import io
import random
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import PipelineError, UsageError
from pipeline.ingest.read import RawTable, read_table
from tests.csv_zoo import FAULTS, STYLES, specimen

HEADER = ["Ticket", "Unit", "Visit date", "Remarks"]
ANY_LETTER = st.characters(codec="utf-8", exclude_characters="\\\ufeff", exclude_categories=("Cs", "Cc"))
ANY_TEXT = st.text(ANY_LETTER | st.sampled_from("\n\r\t\"',;"), max_size=12)
PLAIN_TEXT = st.text(st.sampled_from('ab1 ,;."\n°µü-/'), max_size=10).filter(lambda text: text[:1] not in "/-.°µü")


def read_bytes_as_table(data: bytes, **stated: str | int) -> RawTable:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "visits.csv"
        path.write_bytes(data)
        return read_table(path, path.name, **stated)  # type: ignore[arg-type]


def accounted(table: RawTable) -> list[int]:
    """Return the first lines of every record below the header, from wherever it went."""
    frames = (table.cells, table.skipped, table.malformed)
    return sorted(line for frame in frames for line in frame["source_line"])


def assert_table_or_sentence(data: bytes) -> None:
    """Check that every record is in one place, or the file is refused in one sentence that names it."""
    try:
        table = read_bytes_as_table(data)
    except PipelineError as refused:
        sentence = refused.sentence()
    else:
        sentence = "visits.csv"
        assert len(set(accounted(table))) == table.rows_read
    assert "visits.csv" in sentence
    assert "\n" not in sentence


def assert_accepted_in_order(table: RawTable, rows: list[list[str]]) -> None:
    """Check that the accepted rows are rows as written, in their order; others may be skipped, never altered."""
    left = iter(rows)
    for *cells, _ in table.cells.iter_rows():
        assert any(cells == row for row in left)


def written(rows: list[list[str]], **how: object) -> bytes:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, **how).writerows([HEADER, *rows])  # type: ignore[arg-type]
    return buffer.getvalue().encode()


def lines_of(rows: list[list[str]], data: bytes) -> list[int]:
    """Return the physical line on which the standard library's reader begins each record below the header."""
    reader = csv.reader(io.StringIO(data.decode(), newline=""))
    begins, at = [], 1
    for _ in reader:
        begins.append(at)
        at = reader.line_num + 1
    return begins[1:]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(ANY_TEXT, min_size=4, max_size=4), max_size=8))
def test_every_cell_of_a_quoted_file_is_accepted_as_written(rows: list[list[str]]) -> None:
    data = written(rows, quoting=csv.QUOTE_ALL)
    table = read_bytes_as_table(data, delimiter=",")
    truth = dict(zip(lines_of(rows, data), rows, strict=True)) if _no_odd_breaks(rows) else None
    assert table.rows_read == len(rows)
    assert len(accounted(table)) == len(rows)
    assert_accepted_in_order(table, rows)
    assert table.malformed.is_empty()
    if truth is not None:
        assert accounted(table) == sorted(truth)
        for *cells, line in table.cells.iter_rows():
            assert cells == truth[line]


def _no_odd_breaks(rows: list[list[str]]) -> bool:
    # The standard library counts only line feeds inside cells; a lone return is a line here.
    return not any("\r" in cell for row in rows for cell in row)


@settings(max_examples=150, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.lists(st.lists(PLAIN_TEXT, min_size=4, max_size=4), max_size=8), st.sampled_from([",", ";", "\t", "|"]))
def test_every_cell_of_a_file_quoted_where_needed_is_accepted_as_written(rows: list[list[str]], mark: str) -> None:
    data = written(rows, delimiter=mark)
    table = read_bytes_as_table(data, delimiter=mark)
    assert table.rows_read == len(rows)
    assert_accepted_in_order(table, rows)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400))
def test_bytes_of_any_kind_give_a_table_or_a_sentence(data: bytes) -> None:
    assert_table_or_sentence(data)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.sampled_from(['"', '""', ",", ";", "\n", "\r\n", "\r", "a", "12", "'", "\\", " ", "é", "\0"]), max_size=60
    )
)
def test_text_of_separators_and_quotes_is_accounted_for(parts: list[str]) -> None:
    text = "".join(parts)
    try:
        table = read_bytes_as_table(text.encode())
    except PipelineError:
        return
    lines = accounted(table)
    assert len(set(lines)) == len(lines) == table.rows_read
    assert all(line > table.header_line for line in lines)
    assert_cells_are_in(text, table)


def assert_cells_are_in(text: str, table: RawTable) -> None:
    """Check that each accepted cell stands in the file, with its quotes as they are or doubled or escaped."""
    flat = _unquoted(text)
    for *cells, _ in table.cells.iter_rows():
        for cell in cells:
            assert cell is None or _unquoted(cell) in flat


def _unquoted(text: str) -> str:
    for mark in "\"'\\":
        text = text.replace(mark, "")
    return text


@pytest.mark.parametrize("seed", range(6))
def test_mutated_bytes_of_real_files_cost_rows_but_never_the_run(seed: int) -> None:
    draw = random.Random(seed)
    files = [specimen(style, FAULTS[draw.randrange(len(FAULTS) - 1)]).data for style in STYLES]
    for data in files:
        broken = bytearray(data)
        for _ in range(draw.choice([1, 1, 3, 20])):
            at = draw.randrange(len(broken))
            match draw.randrange(3):
                case 0:
                    broken[at] = draw.randrange(256)
                case 1:
                    del broken[at]
                case _:
                    broken[at:at] = draw.choice([b'"', b",", b"\n", b"\r", b"\x00", b"\xff", b";", b"\\", b"'"])
        begun = time.process_time()
        assert_table_or_sentence(bytes(broken))
        assert time.process_time() - begun < 5


def test_one_changed_byte_changes_one_row_and_no_other() -> None:
    """A byte inside a word is replaced by another letter: only that cell differs."""
    made = specimen(STYLES[0], FAULTS[0])
    broken = made.data.replace(b"T-110", b"T-1X0")
    before, after = read_bytes_as_table(made.data).cells, read_bytes_as_table(broken).cells
    assert before.height == after.height
    changed = before.join(after, on=before.columns, how="anti")
    assert changed["c0"].to_list() == ["T-110"]


ADVERSARIES = {
    "a quote opened on every line": '"a,b\n' * 20_000,
    "a quote opened in every second cell": 'a,"b,c\n' * 20_000,
    "stray quotes everywhere": 'a,"b"c"d,"e"f\n' * 10_000,
    "five doubtful quotes a line": "i,a,b,c,d,e\n" + '1,"x"y,"p"q,"r"s,"t"u\n' * 10_000,
    "only quotes": "a,b\n" + '"' * 300_000,
    "one line of stray quotes": "a,b\n1,2\n" + '"x"y,' * 60_000,
    "a quote open over ten megabytes": 'a,b\n1,"' + "x y z " * 1_700_000,
    "a cell of ten megabytes": "a,b\n1," + "x" * 10_000_000 + "\n2,3\n",
    "a quoted cell of ten megabytes": 'a,b\n1,"' + "x y\n" * 2_500_000 + '"\n2,3\n',
    "blank lines": "\n" * 100_000 + "a,b\n1,2\n",
    "backslashes": "a,b\n" + '\\"' * 200_000,
    "columns": ",".join(f"c{n}" for n in range(5_000)) + "\n" + "1," * 4_999 + "1\n",
}


@pytest.mark.parametrize("name", ADVERSARIES)
def test_no_file_hangs_the_reader(name: str) -> None:
    data = ADVERSARIES[name].encode()
    begun = time.process_time()
    table = read_bytes_as_table(data)
    assert time.process_time() - begun < 5
    assert table.rows_read >= 1


def test_a_cell_of_ten_megabytes_comes_in_whole() -> None:
    table = read_bytes_as_table(ADVERSARIES["a cell of ten megabytes"].encode())
    assert table.cells["c1"].str.len_bytes().to_list() == [10_000_000, 1]
    quoted = read_bytes_as_table(ADVERSARIES["a quoted cell of ten megabytes"].encode())
    assert quoted.cells["c1"].str.len_bytes().to_list() == [10_000_000, 1]
    assert quoted.cells["source_line"].to_list() == [2, 2_500_003]


def test_short_rows_are_null_at_their_end_and_blank_cells_are_not() -> None:
    table = read_bytes_as_table(b"Ticket,Unit,Remarks\n1,U1\n2,,\n3,U3,x\n")
    assert table.cells.rows() == [("1", "U1", None, 2), ("2", "", "", 3), ("3", "U3", "x", 4)]


def test_a_short_last_row_without_a_line_end_is_cut() -> None:
    table = read_bytes_as_table(b"Ticket,Unit,Remarks\n1,U1\n2,U2")
    assert table.cells.rows() == [("1", "U1", None, 2)]
    (line, rule, message, advice, raw) = table.malformed.row(0)
    assert (line, rule, raw) == (3, "cut-off", "2,U2")
    assert message.startswith("visits.csv line 3: ")
    assert advice


def test_the_first_record_is_the_header_even_where_it_is_data() -> None:
    table = read_bytes_as_table(b"1001,U1,2024-05-01,72.5\n1002,U2,2024-05-02,75.0\n1003,U3,2024-05-03,71.0\n")
    assert table.header == ("1001", "U1", "2024-05-01", "72.5")
    assert table.cells["c0"].to_list() == ["1002", "1003"]


def test_leading_zeros_and_outer_spaces_stay() -> None:
    table = read_bytes_as_table(b"Unit,ZIP,Remarks\n007,02134, x \n008,NaN,inf\n")
    assert table.cells.drop("source_line").rows() == [("007", "02134", " x "), ("008", "NaN", "inf")]


def test_what_the_mapping_states_is_obeyed() -> None:
    data = b"a;b,c\n1;2,3\nx;y,z\n4;5,6\n"
    assert read_bytes_as_table(data, delimiter=";").cells["c1"].to_list() == ["2,3", "y,z", "5,6"]
    assert read_bytes_as_table(data, delimiter="semicolon").delimiter == ";"
    late = read_bytes_as_table(data, delimiter=",", header_row=3)
    assert late.header == ("x;y", "z")
    assert late.cells.rows() == [("4;5", "6", 4)]
    assert read_bytes_as_table("ü,b\n1,2\n".encode("cp437"), encoding="cp437").header == ("ü", "b")


@pytest.mark.parametrize(
    "stated",
    [
        {"delimiter": "x"},
        {"delimiter": '"'},
        {"delimiter": ""},
        {"header_row": 99},
        {"header_row": 0},
        {"encoding": "?"},
    ],
)
def test_a_wrong_statement_in_the_mapping_is_one_sentence(stated: dict[str, str | int]) -> None:
    with pytest.raises(UsageError, match=r"mapping\.toml"):
        read_bytes_as_table(b"a,b\n1,2\n", **stated)


def test_the_frames_have_their_schema_when_there_is_nothing() -> None:
    table = read_bytes_as_table(b"Ticket,Unit\n")
    text, number = pl.String(), pl.Int64()
    assert table.cells.schema == {"c0": text, "c1": text, "source_line": number}
    assert table.skipped.schema == {"source_line": number, "reason": text, "raw": text}
    columns = ("rule", "message", "advice", "raw")
    assert table.malformed.schema == {"source_line": number} | dict.fromkeys(columns, text)
    assert table.rows_read == 0


def test_messages_hold_no_value_of_a_row() -> None:
    table = read_bytes_as_table(b'Ticket,Customer\n1,Jane Roe,555-0100,x\n2,"Jane Roe\n')
    assert table.malformed.height == 2
    for message in table.malformed["message"]:
        assert "Jane" not in message
        assert "555" not in message
