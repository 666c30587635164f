"""Mean cumulative function against Nelson's valve seats and small cases counted by hand."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.forecast.recurrence import mean_cumulative
from tests.pipeline.forecast.published import table


def valve_seats():
    rows = table("valve_seat_recurrence")
    ends = rows.group_by("engine", maintain_order=True).agg(pl.col("days").max())
    place = {engine: n for n, engine in enumerate(ends["engine"])}
    hits = rows.filter(pl.col("event") == 1)
    return np.zeros(ends.height), ends["days"].to_numpy(), [place[e] for e in hits["engine"]], hits["days"].to_numpy()


def test_valve_seats_are_nelsons():
    """Nelson 1995: 41 engines, 48 replacements; two on one day in one engine count twice (days 139 and 653)."""
    found = mean_cumulative(*valve_seats())
    at = dict(zip(found.age.tolist(), zip(found.at_risk, found.value, found.error, strict=True), strict=True))
    days = [61, 98, 139, 202, 298, 377, 404, 497, 573, 586, 604, 621, 640, 646, 653]
    assert [at[d][0] for d in days] == [41, 41, 41, 41, 41, 41, 40, 40, 40, 34, 22, 17, 16, 13, 9]
    assert [at[d][1] for d in days] == pytest.approx(
        [
            0.0244,
            0.1463,
            0.2195,
            0.2927,
            0.4634,
            0.6585,
            0.6835,
            0.8085,
            0.9585,
            1.0143,
            1.0597,
            1.1185,
            1.2435,
            1.3205,
            1.5427,
        ],
        abs=5e-5,
    )
    # robust (Lawless-Nadeau); Nelson's own variance differs slightly
    assert [at[d][2] for d in days] == pytest.approx(
        [
            0.0241,
            0.0552,
            0.0733,
            0.0790,
            0.1096,
            0.1318,
            0.1359,
            0.1493,
            0.1690,
            0.1738,
            0.1851,
            0.2075,
            0.2263,
            0.2285,
            0.3117,
        ],
        rel=0.03,
    )


def test_five_systems():
    """Five systems (set MCF_1 of the reliability package; the last number of each is the end of observation)."""
    systems = [[5, 10, 15, 17], [6, 13, 17, 19], [12, 20, 25, 26], [13, 15, 24], [16, 22, 25, 28]]
    who = [n for n, ages in enumerate(systems) for _ in ages[:-1]]
    when = [age for ages in systems for age in ages[:-1]]
    found = mean_cumulative(np.zeros(5), [ages[-1] for ages in systems], who, when)
    at = dict(zip(found.age.tolist(), found.value.tolist(), strict=True))
    # both replacements at 13 count: six of them in five systems
    assert [at[5], at[13], at[17], at[22], at[25]] == pytest.approx([0.2, 1.2, 2.0, 2.6667, 3.6667], abs=5e-5)
    # at 17 the systems have 3, 3, 1, 2 and 1: robust variance = sum of ((n - 2) / 5) squared = 4 / 25
    assert found.error[found.age == 17][0] ** 2 == pytest.approx(4 / 25)


def test_late_entry_by_hand():
    """At 2 one unit is at risk, at 6 both: 1 + 1/2; costs 100 and 30: 100 + 15."""
    assert mean_cumulative([0, 4], [10, 10], [0, 1], [2, 6]).value.tolist() == [1.0, 1.5]
    assert mean_cumulative([0, 4], [10, 10], [0, 1], [2, 6], [100, 30]).value.tolist() == [100.0, 115.0]


def test_asked_ages_take_the_last_step_before_them():
    found = mean_cumulative([0, 0], [10, 10], [0, 1], [2, 6], at=[1, 2, 5.9, 7, 20])
    assert found.value.tolist() == [0, 0.5, 0.5, 1.0, 1.0]
    assert found.at_risk.tolist() == [2, 2, 2, 2, 0]


def test_the_same_at_every_age_whatever_grid_is_asked():
    full = mean_cumulative(*valve_seats())
    some = mean_cumulative(*valve_seats(), at=full.age[::7])
    assert some.value == pytest.approx(full.value[::7])
    assert some.error == pytest.approx(full.error[::7])
