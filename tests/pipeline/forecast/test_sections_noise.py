"""What the fleet teaches about readings, on fleets made with known noise."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.forecast.sections_inputs import SectionRows
from pipeline.forecast.sections_noise import fit_noise


def rows(n: int, load_bias: float = -2.0, hand_bias: float = 0.0, copies: float = 0.0) -> SectionRows:
    """Return n parts that lose 0.8 % a year, read on five springs: bench noise 1.5, under load 3.5, hands A and B."""
    rng = np.random.default_rng(7)
    row = np.repeat(np.arange(n), 5)
    year = np.tile(np.arange(5.0), n)
    load = rng.random(5 * n) < 0.4
    hand = np.where(rng.random(5 * n) < 0.5, "A", "B")
    noise = np.where(load, rng.normal(load_bias, 3.5, 5 * n), rng.normal(0, 1.5, 5 * n))
    drift = rng.normal(0, 1.5, n)[row] - 0.8 * year + noise + hand_bias * (hand == "B")
    drift = np.where((hand == "B") & (rng.random(5 * n) < copies), 0.0, drift)
    readings = pl.DataFrame(
        {
            "row": row,
            "x_year": year,
            "drift_pct": drift,
            "method": np.where(load, "under_load", "bench"),
            "technician": hand,
            "suspect": np.zeros(5 * n, dtype=bool),
            "visit_date": [dt.date(2020, 1, 1)] * (5 * n),
        }
    )
    return SectionRows(pl.DataFrame({"n": np.full(n, 5)}), readings)


def test_noise_bias_and_slope_are_found() -> None:
    """800 parts: each within a tenth or so of what they were made with."""
    found = fit_noise(rows(800))
    assert found.noise_pct["bench"] == pytest.approx(1.5, rel=0.1)
    assert found.noise_pct["under_load"] == pytest.approx(3.5, rel=0.1)
    assert found.bias_pct["under_load"] == pytest.approx(-2.0, abs=0.3)
    assert found.slope_pct_per_year == pytest.approx(-0.8, abs=0.15)


def test_a_meter_that_reads_high_is_found() -> None:
    """B reads 2 % above A: the two biases differ by nearly that much."""
    found = fit_noise(rows(800, hand_bias=2.0)).technician_bias_pct
    assert found["B"] - found["A"] == pytest.approx(2.0, abs=0.4)


def test_a_copier_is_found() -> None:
    """B writes the rating down instead of reading in 40 % of cases, A never does."""
    found = fit_noise(rows(400, copies=0.4)).technician_copied_share
    assert found["B"] == pytest.approx(0.4, abs=0.08)
    assert found["A"] < 0.03


def test_no_pairs_gives_the_defaults() -> None:
    """An empty fleet starts from the shipped guesses: 1.7 % on the bench, 4 % under load, no bias."""
    empty = rows(1)
    found = fit_noise(SectionRows(empty.series, empty.readings.clear()))
    assert found.noise_pct == {"bench": 1.7, "under_load": 4.0, "from_notes": 2.5}
    assert set(found.bias_pct.values()) == {0.0}
