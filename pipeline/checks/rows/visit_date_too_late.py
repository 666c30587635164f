"""A visit after the later of as-of and today has not happened."""

import datetime as dt

import polars as pl

from pipeline.checks.registry import LATEST_DATE, Check

CHECK = Check(
    slug="visit-date-too-late",
    tables=("visits",),
    severity="reject_row",
    blames=("visit_date",),
    caught=pl.col("visit_date") > pl.col(LATEST_DATE),
    message="the visit is dated {visit_date}, later than {_latest_date}; the row was not stored",
    advice="Correct the date (often the year) and import again.",
    source="a visit cannot be reported before it happened",
    example_caught={"visit_date": dt.date(2025, 3, 2), LATEST_DATE: dt.date(2025, 3, 1)},
    example_inside={"visit_date": dt.date(2025, 3, 1), LATEST_DATE: dt.date(2025, 3, 1)},
)
