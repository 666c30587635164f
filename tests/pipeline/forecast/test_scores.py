"""Scores of past odds against hand arithmetic and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit, logit
from scipy.stats import binomtest

from pipeline.forecast.scores import brier_skill, calibration, reliability, share_limits, slope_se


def test_brier_skill_by_hand() -> None:
    """Odds .8 and .2 for one that failed and one that did not: 1 - .04 / .25 = .84; the base rate itself scores 0."""
    assert brier_skill(np.array([0.8, 0.2]), np.array([True, False])) == pytest.approx(0.84)
    assert brier_skill(np.array([0.5, 0.5]), np.array([True, False])) == pytest.approx(0.0)
    assert brier_skill(np.array([0.5]), np.array([False])) is None
    assert brier_skill(np.array([]), np.array([], dtype=bool)) is None


def test_calibration_is_a_logistic_regression() -> None:
    """Intercept, slope and the slope's error equal statsmodels' logit."""
    rng = np.random.default_rng(4)
    p = expit(rng.normal(-2, 1, 3000))
    failed = rng.random(3000) < expit(0.2 + 0.7 * logit(p))
    reference = sm.Logit(failed.astype(float), sm.add_constant(logit(p))).fit(disp=0)
    assert calibration(p, failed) == pytest.approx(tuple(reference.params), abs=2e-3)
    assert slope_se(p, failed) == pytest.approx(reference.bse[1], rel=0.02)


def test_calibration_stays_finite_without_failures() -> None:
    """Nothing failed: the whisper of a prior holds it."""
    assert np.isfinite(calibration(np.full(50, 0.1), np.zeros(50, dtype=bool))).all()


@pytest.mark.parametrize(("count", "n"), [(0, 10), (3, 10), (10, 10), (7, 285)])
def test_share_limits_are_the_exact_binomial_ones(count: int, n: int) -> None:
    """Clopper-Pearson as scipy has it."""
    expected = binomtest(count, n).proportion_ci(0.90, "exact")
    assert share_limits(count, n) == pytest.approx((expected.low, expected.high), abs=1e-9)


def test_reliability_bins_hold_every_unit_once() -> None:
    """Counts and failures add up; the odds rise from bin to bin."""
    rng = np.random.default_rng(6)
    p = rng.beta(1, 15, 2000)
    failed = rng.random(2000) < p
    bins = reliability(p, failed)
    assert len(bins) == 5
    assert sum(b.units for b in bins) == 2000
    assert sum(b.failed for b in bins) == failed.sum()
    shares = [b.expected_share for b in bins]
    assert shares == sorted(shares)
    assert len(reliability(np.full(10, 0.05), np.zeros(10, dtype=bool))) == 1
