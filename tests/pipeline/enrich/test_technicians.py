"""Counts and intervals by technician: what was there to be read, and how much of it was."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from pipeline.checks.check import SUSPECT_SCHEMA
from pipeline.enrich.digits import digit_preference
from pipeline.enrich.technicians import technician_quality, wilson_high, wilson_low

NO_SUSPECTS = pl.DataFrame(schema=SUSPECT_SCHEMA)
NO_DIGITS = digit_preference(pl.DataFrame(schema={"technician": pl.String}))


def interval(count: int, of: int) -> tuple[float | None, float | None]:
    """Return both ends."""
    frame = pl.DataFrame({"count": [count], "of": [of]})
    return frame.select(
        wilson_low(pl.col("count"), pl.col("of")).alias("l"), wilson_high(pl.col("count"), pl.col("of"))
    ).row(0)


@settings(deadline=None, max_examples=50)
@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_agrees_with_a_reference_library(case: tuple[int, int]) -> None:
    """statsmodels, method wilson, 90 %."""
    low, high = proportion_confint(*case, alpha=0.10, method="wilson")
    assert interval(*case) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))


def test_nothing_of_nothing_has_no_interval() -> None:
    """Null, not zero."""
    assert interval(0, 0) == (None, None)


def quality(rows: list[dict[str, object]], suspects: pl.DataFrame = NO_SUSPECTS) -> dict[str, tuple[int, int]]:
    """Return count and of per group of the one technician in ``rows``."""
    base = {"technician": "A", "visit_type": "maintenance"}
    frame = pl.DataFrame([base | {"visit_id": f"V{n}", "unit_id": "U1"} | row for n, row in enumerate(rows)])
    got = technician_quality(frame, suspects, NO_DIGITS)
    return {row["kind"]: (row["count"], row["of"]) for row in got.iter_rows(named=True)}


def test_tune_up_without_gauges_is_no_gap() -> None:
    """Capacitor and air were read; gauges are counted of the visit where they were put on."""
    air = {"outdoor_db_f": 90.0, "return_db_f": 75.0, "supply_db_f": 56.0, "herm_uf": 39.0}
    gauges = {"suction_psig": 118.0, "liquid_psig": 340.0, "suction_line_f": 52.0, "liquid_line_f": 95.0}
    got = quality([air, air | gauges, air | gauges | {"liquid_line_f": None, "return_wb_f": 63.0}])
    assert got == {"air": (3, 3), "capacitors": (3, 3), "gauges": (1, 2), "suspect": (0, 3), "wet_bulb": (1, 2)}


def test_capacitors_are_counted_where_there_are_any() -> None:
    """A system on which nobody ever read one may have none; a repair is no tune-up."""
    rows: list[dict[str, object]] = [
        {"unit_id": "U1", "herm_uf": 39.0},
        {"unit_id": "U1", "herm_uf": None},
        {"unit_id": "U1", "visit_type": "repair"},
        {"unit_id": "U2"},
    ]
    assert quality(rows)["capacitors"] == (1, 2)


def test_reading_under_load_counts_as_a_capacitor_reading() -> None:
    """Amps in the start-winding lead are one."""
    assert quality([{"herm_volts": 330.0, "herm_amps": 3.5}])["capacitors"] == (1, 1)


def test_suspect_visits_are_counted_once() -> None:
    """Two reasons on one visit are one visit."""
    held = pl.DataFrame(
        [["V1", "U1", "herm_uf", "a", ""], ["V1", "U1", "fan_uf", "b", ""]], schema=SUSPECT_SCHEMA, orient="row"
    )
    assert quality([{"herm_uf": 39.0}, {"herm_uf": 40.0}], held)["suspect"] == (1, 2)


def test_share_and_interval_and_digits_are_on_each_row() -> None:
    """3 of 4: 0.75 between the ends of its interval; a visit without a technician is nobody's."""
    frame = pl.DataFrame(
        {
            "technician": ["A", "A", "A", "A", None],
            "visit_type": ["maintenance"] * 5,
            "visit_id": list("12345"),
            "unit_id": ["U1"] * 5,
            "herm_uf": [39.0, 39.0, 39.0, None, 39.0],
        }
    )
    digits = NO_DIGITS.clear().vstack(
        pl.DataFrame([["A", 60, 50.0, 9, 1e-6, 5, 0.4]], schema=NO_DIGITS.schema, orient="row")
    )
    got = technician_quality(frame, NO_SUSPECTS, digits)
    row = got.filter(kind="capacitors").row(0, named=True)
    assert (row["visits"], row["share"], row["digit_p_value"], row["favourite_digit"]) == (4, 0.75, 1e-6, 5)
    assert row["share_low"] < 0.75 < row["share_high"]
    assert got["technician"].unique().to_list() == ["A"]
    assert got.filter(kind="gauges").select("share", "share_low").row(0) == (None, None)
