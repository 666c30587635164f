"""Exact limits against Garwood's published values; shrinking, comparing and holding many comparisons together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.forecast.poisson_rates import dispersion, garwood, holm, p_higher, shrink

# Garwood (1936); 0, 10 and 25 printed in public manuals citing him: 3.689, 4.80-18.39, 16.18-36.90.
GARWOOD = {
    0: (0, 3.6889),
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    3: (0.6187, 8.7673),
    4: (1.0899, 10.2416),
    5: (1.6235, 11.6683),
    6: (2.2019, 13.0595),
    8: (3.4538, 15.7632),
    10: (4.7954, 18.3904),
    15: (8.3954, 24.7402),
    20: (12.2165, 30.8884),
    25: (16.1787, 36.9049),
    30: (20.2409, 42.8269),
    50: (37.1110, 65.9188),
    100: (81.3640, 121.6268),
}


@pytest.mark.parametrize(("count", "limits"), GARWOOD.items())
def test_garwoods_limits(count, limits):
    low, high = garwood([count], [1.0])
    assert (low[0], high[0]) == pytest.approx(limits, abs=5e-5)


def test_limits_of_a_rate_divide_by_the_exposure():
    """Two failures in 46.5 unit-years: 0.0430 a unit-year, 0.0052 to 0.1554."""
    low, high = garwood([2], [46.5])
    assert (low[0], high[0]) == pytest.approx((0.0052, 0.1554), abs=5e-5)


def test_no_exposure_has_no_limits():
    assert np.isnan(garwood([0], [0.0])).all()


@given(st.integers(0, 500), st.floats(0.1, 1e4))
def test_limits_hold_the_rate(count, exposure):
    low, high = garwood([count], [exposure])
    assert 0 <= low[0] <= count / exposure <= high[0]


def test_shrunk_rates_lie_between_own_and_common():
    """A make with little exposure moves far, one with much hardly; both stay on their side of the mean."""
    count, years = np.array([12, 0, 300, 100, 90, 110]), np.array([40.0, 3, 1000, 1000, 1000, 1000])
    middle, low, high = shrink(count, years)
    own, common = count / years, count.sum() / years.sum()
    assert ((middle - own) * (common - own) >= -1e-4).all()
    assert abs(middle[2] / own[2] - 1) < 0.05
    assert middle[1] > 0.02
    assert ((low < middle) & (middle < high)).all()
    moved = np.abs(middle - own) / np.abs(common - own)
    assert moved[0] > 3 * moved[2]


def test_groups_that_do_not_differ_go_to_one_rate():
    middle, _, _ = shrink([10, 11, 9, 10, 10, 10], [100.0] * 6)
    assert middle == pytest.approx([0.1] * 6, abs=0.004)


def test_one_group_keeps_about_its_own_rate():
    middle, low, high = shrink([20], [100.0])
    assert low[0] < 0.2 < high[0]
    assert middle[0] == pytest.approx(0.2, rel=0.1)


def test_nothing_exposed_is_no_rate():
    assert np.isnan(shrink([0, 0], [0.0, 0.0])[0]).all()
    assert shrink([], [])[0].size == 0


def test_p_higher_is_the_binomial_tail():
    """8 of 20 failures with a fifth of the exposure: P(X >= 8), X binomial(20, 1/5) = 0.0321."""
    p = p_higher([8, 12], [20.0, 80.0])
    assert p[0] == pytest.approx(stats.binom.sf(7, 20, 0.2))
    assert p[0] == pytest.approx(0.0321, abs=5e-5)


def test_scatter_makes_the_same_counts_say_less():
    assert p_higher([8, 12], [20.0, 80.0], scatter=2.0)[0] > 2 * p_higher([8, 12], [20.0, 80.0])[0]


def test_no_failure_is_never_higher():
    assert p_higher([0, 5], [50.0, 50.0])[0] == 1.0
    assert (p_higher([0, 0], [0.0, 0.0]) == 1.0).all()


def test_holms_steps():
    """0.01 <= 0.05/4, 0.013 <= 0.05/3, 0.03 > 0.05/2: the third fails and all above it, though 0.04 < 0.05."""
    assert holm([0.04, 0.01, 0.013, 0.03]).tolist() == [False, True, True, False]
    assert holm([0.2]).tolist() == [False]
    assert holm([0.001, 0.001]).tolist() == [True, True]


@settings(max_examples=30)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=50))
def test_holm_agrees_with_statsmodels(p):
    from statsmodels.stats.multitest import multipletests

    assert holm(p).tolist() == multipletests(p, alpha=0.05, method="holm")[0].tolist()


def test_dispersion_is_one_for_poisson_and_more_for_clumps():
    rng = np.random.default_rng(2)
    calm = rng.poisson(0.5, 4000)
    wild = rng.poisson(0.5 * rng.gamma(1.0, 1.0, 4000))
    assert dispersion(calm, np.full(4000, 0.5), 1) < 1.08
    # gamma of shape 1: variance 0.5 + 0.25, over the mean 1.5
    assert dispersion(wild, np.full(4000, 0.5), 1) == pytest.approx(1.5, abs=0.15)
    assert dispersion([1.0], [1.0], 1) == 1.0
