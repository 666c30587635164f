"""Dates as offices write them, read one column at a time."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ingest.dates import (
    by_format,
    date_texts,
    dates_from,
    format_for,
    format_pattern,
    iso_dates,
    order_of_format,
)

PI_DAY = dt.date(2024, 3, 14)


def read(texts: list[str], order: str | None = None, *, coarse: bool = False) -> list[dt.date | None]:
    """Return a column of dates under an order."""
    series = pl.Series(texts, dtype=pl.String)
    values, _ = dates_from(
        series, date_texts(series, "visit_date", "Date", dt.date(1990, 1, 1), None), order, coarse=coarse
    )
    return values.to_list()


@pytest.mark.parametrize(
    "text",
    [
        "2024-03-14",
        "2024/3/14",
        "2024.03.14",
        "20240314",
        "2024-03-14T08:30:00",
        "2024-03-14T23:30:00-05:00",
        "2024-03-14 08:30:00.000Z",
        "2024-03-14 8:30 PM",
        "14-Mar-24",
        "14-MAR-2024 08:30",
        "14 March 2024",
        "14th March 2024",
        "March 14, 2024",
        "Mar 14 2024",
        "Thu, Mar 14 2024",
        "Thursday, March 14, 2024",
        "14. März 2024",
        "14. Mrz. 2024",
        "Donnerstag, 14. März 2024, 8:30 Uhr",
        "14 de marzo de 2024",
        "jueves 14 mar 2024",
        "'2024-03-14",
        "\u00a02024-03-14 ",
    ],
)
def test_forms_with_only_one_meaning(text: str) -> None:
    assert read([text]) == [PI_DAY]


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("3/14/2024", "mdy"),
        ("03/14/24", "mdy"),
        ("3-14-2024 08:30", "mdy"),
        ("3/14/2024 8 am", "mdy"),
        ("3/14/24 8:30 AM", "mdy"),
        ("14/03/2024", "dmy"),
        ("14.03.2024", "dmy"),
        ("14. 3. 2024", "dmy"),
        ("14.3.24", "dmy"),
        ("24-03-14", "ymd"),
    ],
)
def test_three_numbers_in_a_known_order(text: str, order: str) -> None:
    assert read([text], order) == [PI_DAY]


@pytest.mark.parametrize(
    "text", ["2024-02-30", "13/13/2024", "2024-13-01", "soon", "3/14", "10-32-2024", "1/2/3/2024", "14"]
)
def test_what_is_no_date_is_none(text: str) -> None:
    assert read([text], "mdy") == [None]


@pytest.mark.parametrize("text", ["", " ", "n/a", "-", "0000-00-00"])
def test_blanks_are_no_problem(text: str) -> None:
    series = pl.Series([text])
    _, wrong = dates_from(series, date_texts(series, "visit_date", "Date", None, None), None, coarse=False)
    assert wrong.is_empty()


def test_spreadsheet_day_numbers() -> None:
    """ECMA-376 part 1, 18.17.4.1, 1900 date system: 36526 is 2000-01-01, 45292 is 2024-01-01."""
    assert read(["36526", "45292", "45365.75"]) == [dt.date(2000, 1, 1), dt.date(2024, 1, 1), PI_DAY]


def test_a_stray_number_among_dates_is_no_day_number() -> None:
    assert read(["2024-03-14", "2024-03-15", "45365"])[2] is None


def test_two_digit_years_turn_at_69() -> None:
    """POSIX strptime, %y: 69 to 99 are 1969 to 1999, 00 to 68 are 2000 to 2068."""
    assert read(["3/14/69", "3/14/68"], "mdy") == [dt.date(1969, 3, 14), dt.date(2068, 3, 14)]


def test_a_year_alone_counts_only_where_it_may() -> None:
    assert read(["2015", "05/2015", "2015-05", "May 2015"], coarse=True) == [
        dt.date(2015, 1, 1),
        dt.date(2015, 5, 1),
        dt.date(2015, 5, 1),
        dt.date(2015, 5, 1),
    ]
    assert read(["2015"]) == [None]


def test_a_plain_iso_column_needs_no_second_look() -> None:
    assert iso_dates(pl.Series(["2024-03-14", "", None])) is not None
    assert iso_dates(pl.Series(["24-03-14"])) is None
    assert iso_dates(pl.Series(["3/14/2024"])) is None


@pytest.mark.parametrize(
    ("date_format", "text"),
    [
        ("%m/%d/%Y", "3/14/2024"),
        ("%d.%m.%y", "14.3.24"),
        ("%d.%m.%Y %H:%M", "14.03.2024 08:30"),
        ("%m/%d/%Y %I:%M %p", "03/14/2024 08:30 AM"),
        ("%d %b %Y", "14 Mär 2024"),
        ("%Y%m%d", "20240314"),
        ("%Y.%d.%m", "2024.14.03"),
        ("%m%d%Y", "03142024"),
    ],
)
def test_a_format_of_the_mapping_file(date_format: str, text: str) -> None:
    series = pl.Series([text])
    column = by_format(date_texts(series, "visit_date", "Date", None, None), date_format)
    assert dates_from(series, column, None, coarse=False)[0].to_list() == [PI_DAY]


@pytest.mark.parametrize("date_format", ["%m/%d", "yyyy-mm-dd", "%Q", "%d/%d/%Y"])
def test_a_format_without_a_date_is_refused(date_format: str) -> None:
    with pytest.raises(ValueError, match="date_format"):
        format_pattern(date_format)


@settings(deadline=None)
@given(
    st.dates(dt.date(1990, 1, 1), dt.date(2060, 12, 31)),
    st.sampled_from(
        [
            "%m/%d/%Y",
            "%d/%m/%Y",
            "%d.%m.%Y",
            "%m-%d-%y",
            "%d/%m/%y",
            "%Y-%m-%d %H:%M",
            "%d %B %Y",
            "%b %d, %Y",
            "%A, %B %d, %Y",
        ]
    ),
)
def test_what_strftime_writes_is_read_back(day: dt.date, date_format: str) -> None:
    """Reference: the standard library's strftime."""
    order = order_of_format(date_format) if "%B" not in date_format and "%b" not in date_format else None
    assert read([dt.datetime.combine(day, dt.time(23, 59)).strftime(date_format)], order) == [day]


@settings(deadline=None)
@given(st.dates(dt.date(1990, 1, 1), dt.date(2060, 12, 31)), st.sampled_from(["mdy", "dmy"]), st.sampled_from("/-."))
def test_the_format_for_the_mapping_file_reads_its_samples(day: dt.date, order: str, sep: str) -> None:
    parts = {"m": f"{day.month:02d}", "d": f"{day.day:02d}", "y": str(day.year)}
    text = sep.join(parts[c] for c in order)
    assert dt.datetime.strptime(text, format_for(order, [text])).date() == day
