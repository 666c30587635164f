"""Decimal sign and order of day and month: settled for the whole file, or refused with the line to write."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipeline.fields import registry
from pipeline.ingest.conventions import (
    AmbiguousFile,
    Conventions,
    NumberTexts,
    refuse_contradiction,
    settle_decimal,
    settle_order,
)
from pipeline.ingest.dates import DateTexts, date_texts

VISITS = registry()["visits"].fields
LATEST = dt.date(2024, 6, 30)


def numbers(*texts: str, field: str = "invoice_total", unit: str | None = None) -> NumberTexts:
    """Return one column of numbers."""
    return NumberTexts(VISITS[field], pl.Series(texts), unit)


def dates(*texts: str, field: str = "visit_date") -> DateTexts:
    """Return one column of dates that may run from 1990 to the middle of 2024."""
    return date_texts(pl.Series(texts), field, "Date", dt.date(1990, 1, 1), LATEST)


@pytest.mark.parametrize(
    ("columns", "sign"),
    [
        ([numbers("72.5", "80")], "."),
        ([numbers("72,5", "80")], ","),
        ([numbers("1,234.50")], "."),
        ([numbers("1.234,50")], ","),
        ([numbers("1'234.5")], "."),
        ([numbers("1 234,5")], ","),
        ([numbers("1,234,567")], "."),
        ([numbers("0.125")], "."),
        ([numbers("72", "80")], None),
        ([numbers("", "n/a")], None),
        # One column is unclear, another column of the file tells.
        ([numbers("1,234"), numbers("72.5", field="return_db_f")], "."),
        ([numbers("1,234"), numbers("24,5", field="return_db_f", unit="degC")], ","),
        # By the ranges: 7.481 uF is a fan section, 7481 uF is none; 1.004 in. of water is a static pressure, 1004 none.
        ([numbers("7.481", "4.992", field="fan_uf")], "."),
        ([numbers("7,481", "4,992", field="fan_uf")], ","),
        # Money has no thousandths.
        ([numbers("1,234", "2,500")], "."),
        ([numbers("1.234", "2.500")], ","),
        # A stray in a long column is left to be refused by itself.
        ([numbers(*["72.5"] * 30, "72,5")], "."),
    ],
)
def test_the_decimal_sign(columns: list[NumberTexts], sign: str | None) -> None:
    assert settle_decimal("jobs.csv", columns) == sign


def test_a_sibling_settles_what_the_file_leaves_open() -> None:
    unclear = [numbers("1.234", "1.100", field="airflow_cfm")]
    near = [numbers("1,234", field="liquid_line_f")]
    assert settle_decimal("jobs.csv", unclear) == ","
    assert settle_decimal("jobs.csv", near) == ","
    open_to_both = [numbers("1.234", "1.100", field="refrigerant_added_oz")]
    with pytest.raises(AmbiguousFile, match=r'jobs.csv: .1\.234. may be thousands .* write decimal = "\."'):
        settle_decimal("jobs.csv", open_to_both)
    assert settle_decimal("jobs.csv", open_to_both, [Conventions(), Conventions(decimal=",")]) == ","


def test_contradicting_signs_refuse_the_file() -> None:
    with pytest.raises(AmbiguousFile, match="1 numbers have a decimal point and 1 a decimal comma"):
        settle_decimal("jobs.csv", [numbers("72.5", "72,5")])


@pytest.mark.parametrize(
    ("columns", "order"),
    [
        ([dates("03/14/2024", "04/05/2024")], "mdy"),
        ([dates("14/03/2024", "04/05/2024")], "dmy"),
        ([dates("2024-03-14")], None),
        ([dates("14 March 2024", "45365")], None),
        ([dates("22-03-14", "23-05-31", "22-05-30")], "ymd"),
        # One column is unclear, another tells for the whole file.
        ([dates("03/04/2024"), dates("12/31/2019", field="installed_on")], "mdy"),
        # By the range: as day/month the last one lies after the newest possible visit.
        ([dates("03/04/2024", "06/12/2024", "05/11/2024", "04/10/2024")], "mdy"),
        # Nobody writes month.day.year with dots.
        ([dates("03.04.2024", "05.06.2024")], "dmy"),
        # A stray that can only be the other order is left to be refused by itself.
        ([dates(*[f"{m:02d}/{d}/2023" for m in range(1, 13) for d in range(13, 28)], "14/03/2023")], "mdy"),
    ],
)
def test_the_order_of_day_and_month(columns: list[DateTexts], order: str | None) -> None:
    assert settle_order("jobs.csv", columns)[0] == order


def test_an_order_left_open_is_refused_with_the_line_to_write() -> None:
    unclear = [dates("03/04/2024", "05/06/2024")]
    with pytest.raises(AmbiguousFile) as refused:
        settle_order("jobs.csv", unclear)
    assert "column \"Date\": '03/04/2024' and all other dates may be month/day or day/month" in refused.value.message
    assert (
        'write date_format = "%m/%d/%Y" (or date_format = "%d/%m/%Y") under this file\'s entry' in refused.value.message
    )
    assert refused.value.exit_status == 3
    assert settle_order("jobs.csv", unclear, [Conventions(), Conventions(order="dmy")])[0] == "dmy"


def test_contradicting_dates_refuse_the_file() -> None:
    with pytest.raises(AmbiguousFile, match="1 dates can only be month/day and 1 only day/month"):
        settle_order("jobs.csv", [dates("03/14/2024", "14/03/2024")])


def test_two_columns_may_each_have_their_own_order() -> None:
    order, others = settle_order("jobs.csv", [dates("03/14/2024"), dates("31.12.2019", field="installed_on")])
    assert {order, *others.values()} == {"mdy", "dmy"}
    assert others == {"installed_on": "dmy"} or others == {"visit_date": "mdy"}


def test_an_entry_that_the_dates_contradict_is_refused() -> None:
    with pytest.raises(AmbiguousFile, match=r'date_format = "%d/%m/%Y", but the dates can only be %m/%d/%Y'):
        refuse_contradiction("jobs.csv", [dates("03/14/2024", "03/15/2024")], "dmy", "%d/%m/%Y")
    refuse_contradiction("jobs.csv", [dates("03/14/2024")], "mdy", "%m/%d/%Y")
    refuse_contradiction("jobs.csv", [dates("03/04/2024")], "dmy", "%d/%m/%Y")
