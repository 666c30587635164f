"""The tokenizer: quotes that are regular, and readings of those that are not."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ingest.records import LENIENT, OK, OPEN, Dialect, records

COMMA = Dialect(",")


def read(text: str, dialect: Dialect = COMMA, *widths: int) -> list[tuple[int, list[str], int]]:
    return [(r.line, r.cells, r.flaw) for r in records(text, dialect, widths=widths)]


@pytest.mark.parametrize(
    ("text", "cells", "flaw"),
    [
        ('1,"a,b",2', ["1", "a,b", "2"], OK),
        ('1,"a ""b"" c",2', ["1", 'a "b" c', "2"], OK),
        ('1, "a,b" ,2', ["1", "a,b", "2"], OK),
        ('1,12" duct,2', ["1", '12" duct', "2"], OK),
        ('1,"",2', ["1", "", "2"], OK),
        ('1,"""",2', ["1", '"', "2"], OK),
        ('1,"say "hi" now",2', ["1", 'say "hi" now', "2"], LENIENT),
        ('1,"say "hi", now",2', ["1", 'say "hi", now', "2"], LENIENT),
        ('1,"a"b,2', ["1", '"a"b', "2"], LENIENT),
        ('1,"a"",2', ["1", 'a"', "2"], LENIENT),
        ('1,""a",2', ["1", '"a', "2"], LENIENT),
        ('1,"a,2', ["1", '"a', "2"], OPEN),
        ('1,2,"a', ["1", "2", '"a'], OPEN),
    ],
)
def test_one_record_of_three_cells(text: str, cells: list[str], flaw: int) -> None:
    assert read(text + "\n7,8,9\n", COMMA, 3) == [(1, cells, flaw), (2, ["7", "8", "9"], OK)]


def test_a_cell_of_several_lines_may_hold_bare_quotes() -> None:
    text = '1,2,"note\nsaid "hi" to him"\n7,8,9\n'
    assert read(text, COMMA, 3) == [(1, ["1", "2", 'note\nsaid "hi" to him'], LENIENT), (3, ["7", "8", "9"], OK)]


def test_an_open_quote_does_not_swallow_the_rows_below() -> None:
    text = '1,2,"open\n4,5,"fine"\n7,8,9\n'
    assert read(text, COMMA, 3) == [
        (1, ["1", "2", '"open'], OPEN),
        (2, ["4", "5", "fine"], OK),
        (3, ["7", "8", "9"], OK),
    ]


def test_line_ends_of_all_kinds_count_one_line_each() -> None:
    assert [line for line, _, _ in read("a\nb\r\nc\rd\n\ne")] == [1, 2, 3, 4, 5, 6]


def test_a_return_inside_a_bare_cell_does_not_end_the_row() -> None:
    text = "a,b,c\n" * 9 + "1,x\ry,3\n"
    assert read(text, COMMA, 3)[-1] == (10, ["1", "x\ry", "3"], OK)


def test_other_quotes_and_escapes() -> None:
    assert read("'a,b','it''s'\n", Dialect(",", "'")) == [(1, ["a,b", "it's"], OK)]
    assert read('"a \\"b\\", c\\\\",2\n', Dialect(",", '"', "\\")) == [(1, ['a "b", c\\', "2"], OK)]
    assert read("a\\,b,c\n", Dialect(",", "", "\\")) == [(1, ["a,b", "c"], OK)]
    assert read("a||b||c\n", Dialect("||")) == [(1, ["a", "b", "c"], OK)]


CELL = st.text(st.sampled_from('ab,"\n ;'), max_size=6)


@given(st.lists(st.lists(CELL, min_size=2, max_size=4), min_size=1, max_size=6))
def test_what_the_standard_library_writes_is_read_the_same(rows: list[list[str]]) -> None:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
    assert [cells for _, cells, _ in read(buffer.getvalue())] == rows
