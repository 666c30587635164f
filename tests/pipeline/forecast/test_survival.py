"""Survival curves against published tables and two reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.forecast.survival import kaplan_meier
from tests.pipeline.forecast.published import table

# 6-MP arm of the leukaemia trial, weeks to relapse (Freireich et al. 1963; Klein & Moeschberger, Survival Analysis,
# table 4.1, from memory); a plus is a censoring.
RELAPSE = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def leukaemia():
    weeks = np.array([float(text.rstrip("+")) for text in RELAPSE.split()])
    return np.zeros(weeks.size), weeks, np.array(["+" not in text for text in RELAPSE.split()])


def test_leukaemia_is_the_textbook_table():
    curve = kaplan_meier(*leukaemia())
    assert curve.age.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert list(zip(curve.at_risk, curve.failures, strict=True)) == [
        (21, 3),
        (17, 1),
        (15, 1),
        (12, 1),
        (11, 1),
        (7, 1),
        (6, 1),
    ]
    assert curve.survival == pytest.approx([0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5e-5)
    assert curve.error == pytest.approx([0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=5e-5)
    assert curve.quantile(0.5)[0] == 23


def test_placebo_arm_has_no_censoring():
    curve = kaplan_meier(np.zeros(21), PLACEBO, np.ones(21))
    seen = dict(zip(curve.age.tolist(), curve.survival.tolist(), strict=True))
    assert [seen[t] for t in (1, 5, 8, 23)] == pytest.approx([0.9048, 0.5714, 0.3810, 0], abs=5e-5)
    assert curve.quantile(0.5)[0] == 8


def test_shock_absorbers_failure_before_censoring_at_20100():
    shocks = table("shock_absorber")
    curve = kaplan_meier(np.zeros(38), shocks["distance_km"], shocks["failed"] == 1)
    assert curve.age.tolist() == [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490]
    # computed with lifelines 0.30.3
    assert curve.survival == pytest.approx(
        [0.9737, 0.9450, 0.9087, 0.8708, 0.8273, 0.7838, 0.7184, 0.6286, 0.5388, 0.4311, 0.2874], abs=5e-5
    )


def test_delayed_entry_by_hand():
    """At risk needs entry < t <= exit: 4, 3, 2, 2; S = 3/4, 1/2, 1/4, 1/8; who enters at 9 is not at risk at 9."""
    curve = kaplan_meier([0, 2, 4, 7, 0, 9], [5, 6, 8, 9, 11, 12], [1, 1, 0, 1, 1, 0])
    assert curve.at_risk.tolist() == [4, 3, 2, 2]
    assert curve.survival.tolist() == [0.75, 0.5, 0.25, 0.125]


def cohort():
    """Cole & Hudgens, AIDS 24 (2010) 2423-31: 78 men, 27 deaths, seen from ``W`` on; ships with lifelines."""
    from lifelines.datasets import load_multicenter_aids_cohort_study

    men = load_multicenter_aids_cohort_study()
    return men["W"].to_numpy(), men["T"].to_numpy(), men["D"].to_numpy()


def test_aids_cohort_with_late_entry_is_the_paper():
    curve = kaplan_meier(*cohort())
    at = dict(
        zip(curve.age.round(3).tolist(), zip(curve.at_risk, curve.survival, curve.error, strict=True), strict=True)
    )
    assert len(at) == 26
    assert (at[0.269][0], at[0.791][0], at[4.688][0]) == (42, 44, 11)
    assert at[0.791][1] == pytest.approx(0.954004, abs=5e-6)
    assert at[4.688][1:] == pytest.approx((0.424588, 0.076649), abs=5e-6)


def test_aids_cohort_agrees_with_statsmodels():
    from statsmodels.duration.survfunc import SurvfuncRight

    entry, leave, failed = cohort()
    other = SurvfuncRight(leave, failed, entry=entry)
    curve = kaplan_meier(entry, leave, failed)
    assert curve.age == pytest.approx(other.surv_times)
    assert curve.survival == pytest.approx(other.surv_prob, abs=1e-12)


def test_ignoring_late_entry_makes_things_look_longer_lived():
    entry, leave, failed = cohort()

    def at(curve, age):
        return curve.survival[np.searchsorted(curve.age, age, "right") - 1]

    with_entry, without = kaplan_meier(entry, leave, failed), kaplan_meier(entry * 0, leave, failed)
    assert [at(with_entry, t) for t in (1, 2, 4, 6)] == pytest.approx([0.8909, 0.6482, 0.4670, 0.4246], abs=5e-5)
    assert [at(without, t) for t in (1, 2, 4, 6)] == pytest.approx([0.9303, 0.7507, 0.5700, 0.5182], abs=5e-5)


def test_limits_and_median_agree_with_lifelines():
    from lifelines import KaplanMeierFitter

    entry, leave, failed = cohort()
    curve = kaplan_meier(entry, leave, failed)
    other = KaplanMeierFitter().fit(leave, failed, entry=entry)
    band = other.confidence_interval_survival_function_.loc[curve.age]
    low, high = curve.limits()
    assert low == pytest.approx(band.iloc[:, 0].to_numpy(), abs=1e-9)
    assert high == pytest.approx(band.iloc[:, 1].to_numpy(), abs=1e-9)
    assert curve.quantile(0.5)[0] == other.median_survival_time_


def test_a_curve_starts_where_enough_are_at_risk():
    """One unit at risk fails at age 1: its step would take the curve to zero at once."""
    entry, leave = [0.0, 2, 2, 2, 2, 2, 2], [1.0, 3, 4, 5, 6, 7, 8]
    assert kaplan_meier(entry, leave, [1] * 7).survival[-1] == 0
    late = kaplan_meier(entry, leave, [1, 1, 0, 0, 0, 0, 0], least=5)
    assert late.age.tolist() == [3]
    assert late.survival.tolist() == [pytest.approx(5 / 6)]


@given(st.lists(st.tuples(st.floats(0, 20), st.floats(0.1, 20), st.booleans()), min_size=1, max_size=40))
def test_survival_falls_and_stays_a_chance(rows):
    entry = [r[0] for r in rows]
    curve = kaplan_meier(entry, [r[0] + r[1] for r in rows], [r[2] for r in rows])
    assert ((curve.survival >= 0) & (curve.survival <= 1)).all()
    assert (np.diff(curve.survival) <= 0).all()
    assert (curve.at_risk >= curve.failures).all()
