"""Properties of the section forecast that hold whatever the readings."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from pipeline.forecast.params import NoiseParams, SectionParams
from pipeline.forecast.priors import priors
from pipeline.forecast.seasons import season
from pipeline.forecast.sections_apply import apply_sections
from pipeline.forecast.sections_grid import normal_below
from pipeline.forecast.sections_paths import default_paths
from tests.pipeline.forecast.test_bad_input import history

AS_OF = dt.date(2026, 2, 1)
PARAMS = SectionParams(
    noise=NoiseParams({"bench": 1.7, "under_load": 4.0, "from_notes": 2.5}, {"bench": 0.0}, -0.8, {}, {}, 0),
    path_weights={"pooled": tuple(default_paths().weights)},
    origin_weights=tuple(priors()["drift"]["origin"]["weights"]),
    age_at_first_visit_years=7.0,
    open_rate_per_year=0.005,
    recalibration=(0.0, 1.0),
    recalibration_pairs=0,
    series=0,
)
DRIFTS = st.lists(
    st.tuples(st.dates(dt.date(2019, 1, 1), AS_OF), st.floats(-59, 30).map(lambda v: round(v, 2))),
    max_size=8,
    unique_by=lambda r: r[0],
)


def forecast(
    readings: list[tuple[dt.date, float]], fitted_on: dt.date = dt.date(2018, 6, 1), noise_pct: float = 1.7
) -> dict[str, Any]:
    """Return the one section's row."""
    visits = [("u", day, "maintenance") for day, _ in readings] or [("u", dt.date(2019, 1, 1), "maintenance")]
    known = history(["u"], visits, [("u", day, y) for day, y in readings], installed_on=fitted_on).tidy().through(AS_OF)
    noise = dataclasses.replace(PARAMS.noise, noise_pct={**PARAMS.noise.noise_pct, "bench": noise_pct})
    return apply_sections(known, dataclasses.replace(PARAMS, noise=noise), AS_OF, season(AS_OF)).row(0, named=True)


@settings(max_examples=40, deadline=None)
@given(DRIFTS)
def test_odds_rise_with_the_date_and_dates_stand_in_order(readings: list[tuple[dt.date, float]]) -> None:
    """Now, season's start, season's end: never falling; earliest, middle, latest crossing: never before the other."""
    row = forecast(readings)
    assert 0 < row["p_out_now"] <= row["p_out_by_season_start"] <= row["p_out_by_season_end"] < 1
    far = dt.date(2200, 1, 1)
    dates = [row[name] or far for name in ("out_earliest", "out_of_tolerance_on", "out_latest")]
    assert AS_OF <= dates[0] <= dates[1] <= dates[2]
    assert row["already_out"] == (row["out_of_tolerance_on"] == AS_OF)
    assert row["drift_sd_pct"] > 0


def test_a_lower_reading_looks_worse() -> None:
    """One believable reading last spring, lower and lower: a worse state and higher odds each time."""
    rows = [forecast([(dt.date(2025, 4, 1), y)]) for y in (1.0, -2.0, -5.0, -8.0)]
    states, odds = [r["drift_pct"] for r in rows], [r["p_out_now"] for r in rows]
    assert states == sorted(states, reverse=True)
    assert odds == sorted(odds)


def test_a_steady_decline_is_dated_by_its_line() -> None:
    """The trade's worked case, read with a fine meter: 45.0, 44.1, 43.2 uF a year apart; -6 % at exactly 3.0 years."""
    springs = [(dt.date(2023 + i, 4, 1), y) for i, y in enumerate((-0.02, -2.0, -4.0))]
    row = forecast(springs, fitted_on=dt.date(2023, 4, 1), noise_pct=0.2)
    assert abs((row["out_of_tolerance_on"] - dt.date(2026, 4, 1)).days) < 60
    assert row["out_earliest"] < dt.date(2026, 4, 1) < row["out_latest"]


def test_tabled_normal_is_the_normal() -> None:
    """Within 1e-4 of scipy's everywhere, and never falling."""
    z = np.linspace(-9, 9, 20_001)
    assert normal_below(z) == pytest.approx(ndtr(z), abs=1.1e-4)
    assert (np.diff(normal_below(z)) >= 0).all()
