"""stock.csv as people write it, and what is wrong with it in one sentence."""

from __future__ import annotations

import pytest

from pipeline.plan.stock_file import ON_HAND_SCHEMA, SHELF, read_stock


def test_a_plain_file():
    found = read_stock("truck,part,size,quantity,cost\n2,run_capacitor,45+5 440V,3,17.50\n,contactor,,2,\n")
    assert found.said == ()
    assert found.frame.schema == ON_HAND_SCHEMA
    assert found.frame.select("truck", "size", "quantity", "cost").rows() == [
        ("2", "45+5 uF 440 V", 3, 17.5),
        (SHELF, "", 2, None),
    ]


def test_semicolons_other_words_and_volts_in_a_column():
    found = read_stock("\ufeffVan;Item;Rating;Volts;Qty\n1;Capacitor;45/5;370;2\n1;cap;45+5 370V;;1\n")
    assert found.frame.select("truck", "size", "quantity").rows() == [("1", "45+5 uF 370 V", 3)]


def test_a_truck_from_the_sheet_to_count_is_the_one_it_was() -> None:
    found = read_stock("truck,part,size,quantity\n'=van,contactor,,2\n=van,contactor,,1\n2,contactor,,1\n")
    assert found.frame.select("truck", "quantity").rows() == [("2", 1), ("=van", 3)]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1,run_capacitor,huge,2", "'huge' is not a size such as 45+5 440V"),
        ("1,run_capacitor,45+5,-2", "'-2' is not a whole number"),
        ("1,run_capacitor,45+5,two", "'two' is not a whole number"),
        ("1,=cmd(),45+5,2", "'=cmd()' is not a part"),
    ],
)
def test_a_wrong_line_is_named_and_the_others_count(line, says):
    found = read_stock(f"truck,part,size,quantity\n{line}\n1,run_capacitor,45+5 440V,2\n")
    assert found.frame["quantity"].to_list() == [2]
    assert len(found.said) == 1
    assert found.said[0].startswith("stock.csv line 2, column")
    assert says in found.said[0]


def test_a_label_without_volts_counts_as_the_lower():
    """A promise made on 440 V that is 370 V on the shelf would leave a unit without a part."""
    assert read_stock("part,size,quantity\ncap,45+5,1\n").frame["volts"].to_list() == [370.0]


def test_a_file_without_its_columns_is_one_sentence():
    found = read_stock("a,b\n1,2\n")
    assert found.frame.is_empty()
    assert "has no column part and quantity" in found.said[0]


@pytest.mark.parametrize("text", ["", "\n\n", "truck,part,size,quantity\n"])
def test_a_blank_file_is_no_stock(text):
    found = read_stock(text)
    assert found.frame.is_empty()
    assert found.said == ()
