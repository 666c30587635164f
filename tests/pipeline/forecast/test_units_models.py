"""The two failure models: gradients, a reference library, and the draw-in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl
import pytest
import statsmodels.api as sm
from scipy.optimize import check_grad

from pipeline.forecast.units_additive import FACTORS, Exposure, components, starter_level, step_hazard
from pipeline.forecast.units_combine import draw_in, learn_draw_in
from pipeline.forecast.units_features import UnitFeatures
from pipeline.forecast.units_proportional import newton

Floats = npt.NDArray[np.float64]


def features(n: int) -> UnitFeatures:
    """Return made-up features of n units."""
    rng = np.random.default_rng(3)
    falling = {s: np.sort(rng.uniform(0, 1, (n, 6)), axis=1)[:, ::-1] for s in ("herm", "fan")}
    numbers = {
        "charge_loss_f": rng.uniform(0, 30, n),
        "charge_sd_f": np.full(n, 2.0),
        "leak_slope": rng.uniform(0, 3, n),
        "added": rng.uniform(0, 8, n),
        "load": rng.normal(0.85, 0.1, n),
        "age": rng.uniform(0.5, 20, n),
        "earlier_failures": rng.integers(0, 4, n).astype(float),
        "warnings": np.zeros(n),
        "since_visit": rng.uniform(0, 4, n),
    }
    spread = {s: np.full(n, 2.0) for s in ("herm", "fan")}
    level = {s: rng.uniform(-30, 0, n) for s in ("herm", "fan")}
    return UnitFeatures(pl.DataFrame({"unit_id": np.arange(n)}), falling, level, spread, numbers, np.full(n, "m"))


def test_additive_gradient_is_its_derivative() -> None:
    """The hazards' written-out derivative agrees with finite differences in every direction."""
    x, make = features(20), np.array([0, 1, -1, 0] * 5)
    theta = np.random.default_rng(1).normal(0, 0.2, len(FACTORS) + 2)
    error = check_grad(
        lambda t: float(components(x, t, make)[0].sum()), lambda t: components(x, t, make)[1].sum(axis=0), theta
    )
    assert error < 1e-4


def test_step_hazard_of_a_known_state_has_no_variance() -> None:
    """Surely below the first three thresholds: the sum of three steps, no spread; at even odds the spread of a coin."""
    sure = np.array([[1.0, 1.0, 1.0, 0.0, 0.0, 0.0]])
    mean, variance = step_hazard(sure, "herm")
    steps = [0.004, 0.02, 0.08]
    assert mean == pytest.approx([sum(steps)])
    assert variance == pytest.approx([0.0], abs=1e-12)
    mean, variance = step_hazard(sure / 2, "herm")
    assert (mean[0], variance[0]) == pytest.approx((sum(steps) / 2, (sum(steps) / 2) ** 2))


def test_starter_level_meets_the_shops_rate() -> None:
    """With the common factor solved, the mean probability of a season is the rate asked for."""
    x = features(200)
    theta = np.zeros(len(FACTORS))
    theta[0] = starter_level(x, 0.07)
    total = components(x, theta, np.full(200, -1))[0].sum(axis=1)
    assert float(np.mean(-np.expm1(-total))) == pytest.approx(0.07, abs=1e-6)


def test_proportional_model_without_priors_is_a_cloglog_regression() -> None:
    """Newton's answer and its errors equal statsmodels' binomial GLM with a complementary log-log link and offset."""
    rng = np.random.default_rng(5)
    n = 4000
    matrix = np.column_stack([np.ones(n), rng.normal(0, 1, (n, 2))])
    share = rng.uniform(0.3, 1.0, n)
    hazard = np.exp(matrix @ np.array([-2.5, 0.6, -0.3])) * share
    failed = rng.random(n) < -np.expm1(-hazard)
    seen = Exposure(failed, share, np.full(n, -1), np.ones(n))
    ours = newton(matrix, seen, np.array([-2.0, 0.0, 0.0]), np.full(3, 1e4))
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    reference = sm.GLM(failed.astype(float), matrix, family=family, offset=np.log(share)).fit()
    assert ours.theta == pytest.approx(reference.params, abs=1e-4)
    assert np.sqrt(np.diag(ours.covariance)) == pytest.approx(reference.bse, rel=0.02)


def test_draw_in_keeps_the_mean_and_fades_with_failures() -> None:
    """The mean hazard stays; the spread shrinks most with none, hardly after thousands; order never changes."""
    log_hazard = np.random.default_rng(2).normal(-3.5, 1.0, 5000)
    spreads = []
    for failures in (0, 50, 500, 50_000):
        drawn = draw_in(log_hazard, learn_draw_in(log_hazard, failures, 0.04))
        assert np.exp(drawn).mean() == pytest.approx(np.exp(log_hazard).mean())
        assert (np.argsort(drawn) == np.argsort(log_hazard)).all()
        spreads.append(float(drawn.std()))
    assert spreads == sorted(spreads)
    assert spreads[-1] == pytest.approx(float(log_hazard.std()), rel=0.01)
