"""Each contradiction of the register is found at its place, and its sound twin is not."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.enrich.register_faults import register_faults
from tests.builders import make_frame, make_parts

PLACE = {"source_file": pl.String, "source_line": pl.Int64}
SEEN = {"first_visit_on": pl.Date, "last_visit_on": pl.Date, **PLACE}


def faults(units: list[dict[str, Any]], parts: list[dict[str, Any]] | None = None) -> list[tuple[str, str, int]]:
    register = [
        {
            "unit_id": f"U{n}",
            "first_visit_on": dt.date(2020, 6, 1),
            "last_visit_on": dt.date(2025, 6, 1),
            "source_file": "units.csv",
            "source_line": n + 2,
            **row,
        }
        for n, row in enumerate(units)
    ]
    visits = [
        {
            "unit_id": row["unit_id"],
            "visit_id": f"V{on.year}",
            "visit_date": on,
            "source_file": "v.csv",
            "source_line": on.year,
        }
        for row in register
        for on in (row["first_visit_on"], row["last_visit_on"])
    ]
    found = register_faults(
        make_frame("units", register, SEEN),
        make_frame("visits", visits, PLACE),
        make_parts(
            [{"unit_id": "U0", "visit_id": "V2025", "part": "contactor", **row} for row in parts or []]
        ).with_columns(source_file=pl.lit("parts.csv"), source_line=pl.lit(9, pl.Int64)),
    )
    return list(found.select("fault", "source_file", "source_line").iter_rows())


@pytest.mark.parametrize(
    ("unit", "found"),
    [
        ({"installed_on": dt.date(2020, 8, 1)}, [("install_after_first_visit", "units.csv", 2)]),
        ({"installed_on": dt.date(2020, 7, 10)}, []),  # entered late, by less than 45 days
        (
            {"installed_on": dt.date(2020, 1, 1), "registered_on": dt.date(2019, 12, 31)},
            [("registered_before_install", "units.csv", 2)],
        ),
        ({"installed_on": dt.date(2020, 1, 1), "registered_on": dt.date(2020, 1, 1)}, []),
        ({"retired_on": dt.date(2025, 5, 31)}, [("retired_then_visited", "v.csv", 2025)]),
        ({"retired_on": dt.date(2025, 6, 1)}, []),
    ],
)
def test_dates_of_a_unit(unit, found):
    assert faults([unit]) == found


def test_a_serial_used_twice_is_found_on_both_units_of_one_make():
    both = [("serial_used_twice", "units.csv", 2), ("serial_used_twice", "units.csv", 3)]
    assert faults([{"serial": "x1", "make": "Halden"}, {"serial": " X1", "make": "halden "}]) == both
    assert faults([{"serial": "x1", "make": "Halden"}, {"serial": "x1", "make": "Brisco"}]) == []
    assert faults([{"serial": None}, {"serial": None}]) == []


@pytest.mark.parametrize(
    ("part", "found"),
    [
        ({"claim_amount": 90.0}, ["claim_without_status"]),
        ({"claim_amount": 90.0, "claim_status": "filed"}, []),
        ({"claimed_on": dt.date(2025, 5, 1), "visit_date": dt.date(2025, 6, 1)}, ["claimed_before_visit"]),
        ({"claimed_on": dt.date(2025, 6, 1), "visit_date": dt.date(2025, 6, 1)}, []),
    ],
)
def test_claims_of_a_part(part, found):
    assert [fault for fault, _, _ in faults([{}], [part])] == found
