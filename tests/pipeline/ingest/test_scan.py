"""The fast reader is believed only where its answer adds up."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ingest.scan import outline, read_all, read_some, widths


@pytest.mark.parametrize(
    "body",
    [b'a,b"c\n', b'"a"b,c\n', b'"a,b\n', b'a,"b" \n', b"a,b\rc,d\n", b'a,"b\\"c"\n', b'"a" "b",c\n', b"a\r\nb\rc\n"],
)
def test_irregular_text_is_left_to_the_tokenizer(body: bytes) -> None:
    assert outline(body, ",", '"') is None


@pytest.mark.parametrize("body", [b"a,b\n1\n3,4\n", b"a,b\n1,2,3\n", b"a,b\n\n1,2\n", b"a,b\n1,2\n3", b'a,b\n"x,y"\n'])
def test_a_record_of_another_width_is_noticed(body: bytes) -> None:
    """A reader that pads short records without a word would return two columns for each of these."""
    found = outline(body, ",", '"')
    assert found is not None
    assert read_all(body, found, 2, ",", '"') is None
    usual = widths(body, found, ",", '"') == 2
    frame = read_some(body, found, usual, 2, ",", '"')
    assert frame is not None
    assert frame.height == usual.sum() == len(found.starts) - 1


CELL = st.text(st.sampled_from('aé,"\n ;µ'), max_size=6)


@given(st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=8), st.sampled_from(["\n", "\r\n"]))
def test_records_lines_and_cells_are_those_of_the_standard_library(rows: list[list[str]], end: str) -> None:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator=end).writerows(rows)
    body = buffer.getvalue().encode()
    found = outline(body, ",", '"')
    assert found is not None
    assert widths(body, found, ",", '"').tolist() == [3] * len(rows)
    frame = read_all(body, found, 3, ",", '"')
    assert frame is not None
    assert [list(row) for row in frame.iter_rows()] == rows
    breaks = np.cumsum([0] + [1 + sum(cell.count("\n") for cell in row) for row in rows])
    assert found.lines.tolist() == breaks[:-1].tolist()
