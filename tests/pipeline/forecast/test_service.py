"""Years in service of fitted parts and the calls put down to them, by hand; the calls are the rows behind the count."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.forecast.service import Service, parts_in_service
from tests.builders import make_parts

FROM, UNTIL = dt.date(2020, 1, 1), dt.date(2026, 1, 1)


def service(parts: list[dict[str, Any]], calls: list[tuple[dt.date, str]]) -> Service:
    fitted = [{"unit_id": "U", "visit_id": f"P{n}", "row_n": 1, **row} for n, row in enumerate(parts)]
    failed = [
        {"unit_id": "U", "visit_id": f"C{n}", "visit_date": on, "cause": cause} for n, (on, cause) in enumerate(calls)
    ]
    return parts_in_service(
        make_parts(fitted),
        pl.DataFrame({"unit_id": ["U"], "from_on": [FROM], "until_on": [UNTIL]}),
        pl.DataFrame(
            failed, schema={"unit_id": pl.String, "visit_id": pl.String, "visit_date": pl.Date, "cause": pl.String}
        ),
    )


def test_the_calls_put_down_to_a_part_are_its_own_and_in_its_time():
    found = service(
        [
            {"visit_date": dt.date(2021, 1, 1), "part": "contactor", "part_make": "Zeb"},
            {"visit_date": dt.date(2023, 1, 1), "part": "contactor", "part_make": "Orr"},
        ],
        [
            (dt.date(2020, 6, 1), "contactor"),  # before either was fitted
            (dt.date(2022, 6, 1), "contactor"),
            (dt.date(2022, 7, 1), "compressor"),
            (dt.date(2023, 1, 1), "contactor"),  # the call on which it was replaced is still the old one's
            (dt.date(2025, 6, 1), "contactor"),
        ],
    )
    assert found.failed.select("visit_id", "part_make").rows() == [("C1", "Zeb"), ("C3", "Zeb"), ("C4", "Orr")]
    assert found.years.select("part_make", "failures").rows() == [("Orr", 1), ("Zeb", 2)]
    assert found.years["years"].to_list() == pytest.approx([1096 / 365.25, 730 / 365.25])


def test_a_call_for_a_dual_counts_once_though_it_serves_two_sections():
    found = service(
        [{"visit_date": dt.date(2021, 1, 1), "part": "run_capacitor", "part_make": " zeb"}],
        [(dt.date(2022, 6, 1), "run_capacitor")],
    )
    assert found.failed["part_make"].to_list() == ["zeb"]
    assert found.years["failures"].to_list() == [1]


def test_every_call_counted_has_its_row():
    found = service(
        [
            {"visit_date": dt.date(2021 + n, 1, 1), "part": part, "part_make": make}
            for n, (part, make) in enumerate(
                [("contactor", "A"), ("run_capacitor", "A"), ("contactor", "B"), ("run_capacitor", "a ")]
            )
        ],
        [(dt.date(2021 + n, 6, 1), ("contactor", "run_capacitor")[n % 2]) for n in range(5)],
    )
    counted = found.years.group_by("part_make").agg(pl.col("failures").sum()).sort("part_make")
    rows = found.failed.group_by("part_make").agg(failures=pl.len().cast(pl.Int64)).sort("part_make")
    assert counted.filter(pl.col("failures") > 0).equals(rows)
    assert rows["failures"].sum() == 5  # each call came after its part was fitted
