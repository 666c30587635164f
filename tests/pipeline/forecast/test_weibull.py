"""Weibull fits against published fits; late entry against simulated lives."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.forecast.weibull import fit_weibull
from tests.pipeline.forecast.published import table

MEDIAN = np.log(2)


def test_bearing_cage_is_the_published_fit():
    """Meeker & Escobar 1998, example 8.16: shape 2.035, B10 3903 h, likelihood-ratio limits 2093 and 22144."""
    cage = table("bearing_cage")
    law = fit_weibull(np.zeros(cage.height), cage["hours"], cage["failed"] == 1, cage["count"], enough=6)
    assert (law.failures, law.method) == (6, "fitted")
    assert law.shape == pytest.approx(2.035319, rel=1e-3)
    assert law.scale == pytest.approx(11792.18, rel=1e-3)
    assert law.log_likelihood == pytest.approx(-76.43690, abs=1e-3)
    best, low, high = law.quantile(0.1)
    assert best == pytest.approx(3903, rel=1e-3)
    assert low == pytest.approx(2093, rel=2e-3)
    assert high == pytest.approx(22144, rel=2e-3)


def test_handbook_example():
    """NIST/SEMATECH e-Handbook 8.4.1.2 (from memory; agrees with lifelines): ten failures, ten run to 500 hours."""
    hours = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
    law = fit_weibull(np.zeros(20), hours, [True] * 10 + [False] * 10)
    assert law.shape == pytest.approx(1.7208, rel=1e-3)
    assert law.scale == pytest.approx(606.528, rel=1e-3)
    assert law.log_likelihood == pytest.approx(-75.13462, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "column", "shape", "scale", "log_likelihood"),
    [
        # Lawless 1982 (from memory); data Lieblein & Zelen 1956
        ("ball_bearing_lieblein_zelen", "megacycles", 2.101846, 81.87453, -113.6920),
        # Meeker & Escobar 1998 (from memory: 3.16, 27719); data O'Connor 1985
        ("shock_absorber", "distance_km", 3.160470, 27718.72, -123.9954),
    ],
)
def test_published_sets(name, column, shape, scale, log_likelihood):
    rows = table(name)
    failed = rows["failed"] == 1 if "failed" in rows.columns else np.ones(rows.height)
    law = fit_weibull(np.zeros(rows.height), rows[column], failed)
    assert (law.shape, law.scale) == pytest.approx((shape, scale), rel=1e-3)
    assert law.log_likelihood == pytest.approx(log_likelihood, abs=1e-3)


def test_held_at_one_it_is_the_exponential_mean():
    """Diesel fans (Nelson 1982): 344,440 fan-hours, 12 failures, mean 28,703 h (28,701 in print, from memory)."""
    fans = table("diesel_fan")
    law = fit_weibull(np.zeros(fans.height), fans["hours"], fans["failed"] == 1, fans["count"], enough=99, held_shape=1)
    assert law.method == "shape_held"
    assert law.scale == pytest.approx(28703.3, rel=1e-4)
    best, low, high = law.quantile(0.5)
    assert low < best < high


def test_late_entry_agrees_with_lifelines():
    from lifelines import WeibullFitter

    rng = np.random.default_rng(3)
    entry, leave, failed = fleet(rng, 400)
    law = fit_weibull(entry, leave, failed)
    other = WeibullFitter().fit(leave, failed, entry=entry)
    assert law.shape == pytest.approx(other.rho_, rel=1e-3)
    assert law.scale == pytest.approx(other.lambda_, rel=1e-3)


def fleet(rng, units, shape=2.5, scale=18.0, watched=8.0):
    """Units met at an age from 0 to 20 years if still alive then, and watched for some years."""
    life = scale * rng.weibull(shape, units * 4)
    entry = rng.uniform(0, 20, units * 4)
    alive = life > entry
    life, entry = life[alive][:units], entry[alive][:units]
    end = entry + rng.uniform(1, watched, life.size)
    return entry, np.minimum(life, end), life <= end


def test_median_is_unbiased_with_late_entry_and_not_without():
    """True median 18 ln(2)^(1/2.5) = 15.55 years; 40 fleets of 800 units: within 3 %, ignoring entry far above."""
    rng = np.random.default_rng(11)
    true = 18 * MEDIAN ** (1 / 2.5)
    right, wrong = [], []
    for _ in range(40):
        entry, leave, failed = fleet(rng, 800)
        right.append(fit_weibull(entry, leave, failed).quantile_point(0.5))
        wrong.append(fit_weibull(entry * 0, leave, failed).quantile_point(0.5))
    assert abs(np.mean(right) / true - 1) < 0.03
    assert np.mean(wrong) / true > 1.10


def test_few_failures_name_their_fallback():
    """Three failures: scale = sqrt(sum of squares / 3); limits by Garwood's for 3, 0.6187 and 8.7673."""
    leave = np.array([4.0, 8, 10, 10, 10, 10])
    law = fit_weibull(np.zeros(6), leave, [1, 1, 1, 0, 0, 0])
    used = (leave**2).sum()
    assert (law.method, law.shape) == ("shape_held", 2.0)
    assert law.scale == pytest.approx((used / 3) ** 0.5)
    best, low, high = law.quantile(0.5)
    assert (best, low, high) == pytest.approx([(used * MEDIAN / n) ** 0.5 for n in (3, 8.7673, 0.6187)], rel=1e-4)


def test_no_failure_gives_only_a_lower_limit():
    """One-sided 95 %: 2.996 failures would have been due."""
    law = fit_weibull([0.0, 0], [10.0, 12], [0, 0])
    best, low, high = law.quantile(0.5)
    assert law.method == "no_failures"
    assert np.isnan([best, high]).all()
    assert low == pytest.approx((244 * MEDIAN / 2.9957) ** 0.5, rel=1e-4)
