"""Drift by make of capacitor, hazards by years in service, repairs gathered by age: small cases and simulated ones."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.forecast.capacitor_hazards import capacitor_hazards, section_lives
from pipeline.forecast.exposure import exposure
from pipeline.forecast.gathered import repairs_gathered
from pipeline.forecast.part_quality import FACTORY, drift_slopes, part_quality
from tests.builders import make_frame

READ = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "visit_date": pl.Date,
    "section": pl.String,
    "series": pl.Int64,
    "rated_uf": pl.Float64,
    "drift_pct": pl.Float64,
    "method": pl.String,
    "suspect": pl.String,
    "out_of_tolerance": pl.Boolean,
}
SERIES = {
    "unit_id": pl.String,
    "section": pl.String,
    "series": pl.Int64,
    "part_make": pl.String,
    "started_on": pl.Date,
    "start_kind": pl.String,
    "ended_on": pl.Date,
}
FAILED = {"unit_id": pl.String, "visit_id": pl.String, "visit_date": pl.Date, "cause": pl.String}


def reading(unit: str, on: dt.date, drift: float, **more: Any) -> dict[str, Any]:
    return {
        "unit_id": unit,
        "visit_id": str(on),
        "visit_date": on,
        "section": "herm",
        "series": 1,
        "rated_uf": 40.0,
        "drift_pct": drift,
        "method": "bench",
        "out_of_tolerance": drift < -6,
        **more,
    }


def makes(slopes: dict[str, tuple[float, int]], noise: float = 1.0) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Make to (drift a year, how many parts): each read once a year for five years."""
    rng = np.random.default_rng(3)
    reads, series = [], []
    for make, (slope, many) in slopes.items():
        for n in range(many):
            unit = f"{make}{n}"
            series.append({"unit_id": unit, "section": "herm", "series": 1, "part_make": make, "start_kind": "fitted"})
            reads += [
                reading(unit, dt.date(2020 + year, 5, 1), slope * year + float(rng.normal(0, noise)))
                for year in range(5)
            ]
    return pl.DataFrame(reads, schema=READ), pl.DataFrame(series, schema=SERIES)


def test_a_make_that_drifts_twice_as_fast_is_found():
    found = part_quality(drift_slopes(*makes({"Fast": (-2.0, 60), "Usual": (-1.0, 60), "Other": (-1.0, 60)})))
    rows = {row["part_make"]: row for row in found.filter(pl.col("group_by") == "make").iter_rows(named=True)}
    assert rows["Fast"]["drift_pct_per_year"] == pytest.approx(-2.0, abs=0.2)
    assert [make for make, row in rows.items() if row["faster"]] == ["Fast"]
    assert rows["Fast"]["drift_low"] < -2.0 < rows["Fast"]["drift_high"]
    assert "ages faster" in rows["Fast"]["sentence"]


def test_one_part_of_a_make_is_drawn_far_to_the_fleet():
    found = part_quality(drift_slopes(*makes({"One": (-6.0, 1), **{f"M{n}": (-1.0, 40) for n in range(6)}})))
    row = found.row(by_predicate=(pl.col("part_make") == "One") & (pl.col("group_by") == "make"), named=True)
    assert -6.0 < row["drift_pct_per_year"] < -1.0


def test_suspect_readings_loads_and_single_readings_count_for_nothing():
    reads, series = makes({"A": (-1.0, 2), "B": (-1.0, 2)})
    spoiled = pl.concat(
        [
            reads,
            pl.DataFrame(
                [
                    reading("A0", dt.date(2026, 1, 1), -40.0, suspect="swapped"),
                    reading("A1", dt.date(2026, 1, 1), -40.0, method="under_load"),
                    reading("new", dt.date(2026, 1, 1), -40.0),
                ],
                schema=READ,
            ),
        ]
    )
    assert part_quality(drift_slopes(spoiled, series)).equals(part_quality(drift_slopes(reads, series)))


def test_parts_the_unit_came_with_are_named_so():
    reads, series = makes({"A": (-1.0, 3), "B": (-1.0, 3)})
    came = series.with_columns(part_make=pl.lit(None, pl.String), start_kind=pl.lit("installed"))
    assert set(part_quality(drift_slopes(reads, came))["part_make"]) == {FACTORY}


def test_no_readings_no_table():
    assert part_quality(drift_slopes(pl.DataFrame(schema=READ), pl.DataFrame(schema=SERIES))).is_empty()


def test_hazards_by_hand():
    """Fitted 2020-01-01, in tolerance after one and three years, out after five: one out, in 4 to 6."""
    series = pl.DataFrame(
        [{"unit_id": "U", "section": "herm", "series": 1, "started_on": dt.date(2020, 1, 1), "start_kind": "fitted"}],
        schema=SERIES,
    )
    reads = pl.DataFrame(
        [
            reading("U", dt.date(2021, 1, 1), -1),
            reading("U", dt.date(2023, 1, 1), -3),
            reading("U", dt.date(2025, 1, 1), -9),
        ],
        schema=READ,
    )
    rows = capacitor_hazards(section_lives(series, reads, pl.DataFrame(schema=FAILED))).filter(
        pl.col("section_years") > 0
    )
    assert rows["section_years"].to_list() == pytest.approx([2, 2, 1827 / 365.25 - 4])
    assert rows["went_out"].to_list() == [0, 0, 1]


def test_a_part_first_read_at_eight_years_adds_nothing_before():
    series = pl.DataFrame(
        [
            {
                "unit_id": "U",
                "section": "herm",
                "series": 1,
                "started_on": dt.date(2012, 1, 1),
                "start_kind": "installed",
            }
        ],
        schema=SERIES,
    )
    reads = pl.DataFrame([reading("U", dt.date(2020, 1, 1), -1), reading("U", dt.date(2020, 12, 1), -2)], schema=READ)
    rows = capacitor_hazards(section_lives(series, reads, pl.DataFrame(schema=FAILED))).filter(
        pl.col("section_years") > 0
    )
    assert rows["age_from"].to_list() == [6.0]  # 8.0 to 8.9 years lie in the band from 6 to 9
    assert rows["section_years"].sum() == pytest.approx(335 / 365.25)


def test_repairs_gathered_count_units_from_the_age_they_came_at():
    """Twenty units met new, watched three years, each repaired at one and a half: none by 1, one each by 2."""
    seen = {"first_visit_on": pl.Date, "last_visit_on": pl.Date, "visits_stored": pl.Int64}
    units = make_frame(
        "units",
        [
            {
                "unit_id": str(n),
                "installed_on": dt.date(2020, 1, 1),
                "first_visit_on": dt.date(2020, 1, 1),
                "last_visit_on": dt.date(2023, 2, 1),
                "retired_on": dt.date(2023, 2, 1),
            }
            for n in range(20)
        ],
        seen,
    )
    visits = make_frame(
        "visits",
        [
            {
                "unit_id": str(n),
                "visit_id": "r",
                "visit_date": dt.date(2021, 7, 1),
                "visit_type": "repair",
                "invoice_total": 200.0,
            }
            for n in range(20)
        ],
    )
    found = repairs_gathered(units, exposure(units, dt.date(2026, 1, 1), 36), visits)
    by_age = {(row["what"], row["age_years"]): row["per_unit"] for row in found.iter_rows(named=True)}
    assert [by_age["repairs", age] for age in (1.0, 2.0, 3.0)] == [0, 1, 1]
    assert by_age["cost", 3.0] == 200
