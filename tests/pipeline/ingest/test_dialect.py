"""Delimiter, quote and escape are found from the table they give."""

from __future__ import annotations

import pytest

from pipeline.ingest.dialect import detect
from pipeline.ingest.records import Dialect


@pytest.mark.parametrize(
    ("text", "dialect"),
    [
        ("Date;Temp\n2024-01-01;38,5\n2024-01-02;39,5\n", Dialect(";")),
        ("Date\tNotes\n2024-01-01\ta, b, c\n2024-01-02\td, e, f\n", Dialect("\t")),
        ("When,What\n10:30,a\n11:45,b\n", Dialect(",")),
        ("Name\nAda Roe\nBo Lund\n", Dialect(",")),
        ("Time\n10:30\n11:45\n", Dialect(",")),
        ("Unit\nUnit #1\nUnit #2\n", Dialect(",")),
        ("a^b^c\n1^2^3\n", Dialect("^")),
        ("a, b, c\n1, 2, 3\n4, 5, 6\n", Dialect(", ")),
        ("sep=|\na|b,c\n1|2,3\n", Dialect("|")),
        ("a,b,c\n1,'x, y',2\n3,'z, w',4\n", Dialect(",", "'")),
        ("a,b\n1,'til noon\n2,'twas late\n", Dialect(",")),
        ('a,b\n1,"say \\"hi, you\\" now"\n2,"ok"\n', Dialect(",", '"', "\\")),
        ('a,b\n1,"C:\\"\n2,"D:\\"\n3,x\n', Dialect(",")),
        ('a,b\n1,"5/8"" pipe, 3/8"" pipe"\n2,x\n', Dialect(",")),
    ],
)
def test_the_dialect_that_gives_the_table_is_found(text: str, dialect: Dialect) -> None:
    assert detect(text).dialect == dialect


def test_a_stated_delimiter_is_not_doubted() -> None:
    assert detect("a;b,c\n1;2,3\n", delimiter=",").dialect.delimiter == ","


def test_an_escape_first_seen_far_below_is_found() -> None:
    text = "a,b,c\n" + "1,2,3\n" * 5000 + '4,"x \\"y, z\\", w",5\n'
    assert detect(text).dialect == Dialect(",", '"', "\\")


def test_usual_widths_come_with_the_commonest_first() -> None:
    assert detect("a,b,c\n" + "1,2,3\n" * 20 + "4,5\n" * 6).widths == (3, 2)
