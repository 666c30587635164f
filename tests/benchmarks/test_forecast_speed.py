"""How long the drift model takes on a million sections, against one plain group-by of the same rows."""

from __future__ import annotations

import time

import numpy as np
import polars as pl
import pytest

from pipeline.config import Settings
from pipeline.forecast.backtest import backtest, guard
from pipeline.forecast.model import apply, fit
from pipeline.forecast.params import NoiseParams
from pipeline.forecast.sections_inputs import SectionRows
from pipeline.forecast.sections_noise import reading_arrays
from pipeline.forecast.sections_paths import default_paths
from pipeline.forecast.sections_posterior import Weights, predict
from tests.simulators.fleet import Shop, simulate

pytestmark = pytest.mark.benchmark

NOISE = NoiseParams(
    {"bench": 1.7, "under_load": 4.0, "from_notes": 2.5}, {"bench": 0.0, "under_load": -2.0}, -0.8, {}, {"": 0.03}, 0
)
THREE_HORIZONS = np.array([26.3, 26.7, 27.3])


def rows_of(sections: int) -> SectionRows:
    """Return that many sections in service, half of unknown origin, with one to six readings each."""
    rng = np.random.default_rng(1)
    count = np.minimum(1 + rng.poisson(1.6, sections), 6)
    row = np.repeat(np.arange(sections), count)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    start = rng.uniform(18, 20, sections)
    x = start[row] + nth + rng.uniform(-0.1, 0.1, len(row))
    y = np.round(-0.8 * (x - 12) + rng.normal(0, 1.7, len(row)), 2)
    readings = pl.DataFrame(
        {
            "row": row,
            "x_year": x,
            "drift_pct": y,
            "method": np.where(rng.random(len(row)) < 0.15, "under_load", "bench"),
            "technician": np.full(len(row), ""),
            "suspect": np.zeros(len(row), dtype=bool),
        }
    )
    known = rng.random(sections) < 0.5
    series = pl.DataFrame(
        {
            "n": count,
            "section": np.where(np.arange(sections) % 2 == 0, "herm", "fan"),
            "rated_uf": np.full(sections, 40.0),
            "guessed_rating": np.zeros(sections, dtype=bool),
            "tolerance_pct": np.full(sections, 6.0),
            "origin_year": np.full(sections, 10.0),
            "span_years": np.where(known, 0.0, 8.0),
            "known_origin": known,
            "last_year": x[np.cumsum(count) - 1],
        }
    )
    return SectionRows(series, readings)


def test_million_sections_within_a_hundred_group_bys() -> None:
    """Three horizons for every section cost at most a hundred group-bys of the same readings."""
    rows = rows_of(1_000_000)
    plain = []
    for _ in range(3):
        began = time.perf_counter()
        rows.readings.group_by("row").agg(pl.len(), pl.col("drift_pct").mean(), pl.col("x_year").max())
        plain.append(time.perf_counter() - began)
    paths = default_paths()
    weights = Weights({"pooled": paths.weights}, np.array([0.7, 0.15, 0.15]))
    began = time.perf_counter()
    limits = -rows.series["tolerance_pct"].to_numpy()[:, None]
    _, _, below = predict(
        reading_arrays(rows, NOISE), paths, rows.series["section"].to_list(), weights, THREE_HORIZONS, limits
    )
    took = time.perf_counter() - began
    ratio = took / min(plain)
    print(f"{took:.1f} s, {rows.readings.height:,} readings; group-by {min(plain):.3f} s; ratio {ratio:.0f}")
    assert np.isfinite(below).all()
    assert ratio <= 100


def test_three_thousand_units_with_backtest_within_thirty_seconds() -> None:
    """Fit, backtest of four springs on both days, and forecast of 3,000 units."""
    fleet = simulate(Shop(units=3000, years=5, seed=3))
    began = time.perf_counter()
    past = backtest(fleet.history, fleet.as_of, Settings())
    backtested = time.perf_counter() - began
    params = guard(fit(fleet.history, fleet.as_of, Settings()), past.record)
    apply(fleet.history, params, fleet.as_of, Settings())
    took = time.perf_counter() - began
    print(f"{took:.1f} s in all, backtest {backtested:.1f} s of {past.units['season'].n_unique()} seasons")
    assert past.units["season"].n_unique() == 4
    assert took <= 30
