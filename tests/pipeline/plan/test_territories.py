"""Rounds beyond the limit are parted, keep every rule, and lose little against the whole."""

from __future__ import annotations

import datetime as dt

import numpy as np

from pipeline.plan.distances import Places, ticks_per_mile, travel_between
from pipeline.plan.problem import Booking, Day, Stop
from pipeline.plan.territories import Part, part_problem, solve_round
from tests.routing_cases import MONDAY, kept, score


def a_round(stops: int, technicians: int, days: int) -> tuple[list[Stop], list[Day], Places]:
    """Return calls spread around one middle; every fiftieth is booked, every tenth bound to dates."""
    rng = np.random.default_rng(3)
    lat, lon = 27.6 + rng.normal(0, 0.1, stops + technicians), -91.4 + rng.normal(0, 0.12, stops + technicians)
    places = Places(
        tuple(map(str, range(len(lat)))), lat, lon, np.zeros(len(lat), dtype=bool), ticks_per_mile(28.0, 1.3)
    )
    dates = [MONDAY + dt.timedelta(days=n) for n in range(days)]
    shifts = [
        Day(f"T{k}", date, k, opens=4800, closes=9900, work_limit=3600, lunch=300, lunch_from=7200)
        for date in dates
        for k in range(technicians)
    ]
    calls = []
    for n in range(stops):
        booking = Booking(dates[n // 50 % days], 6000, 7800) if n % 50 == 0 else None
        earliest = dates[days // 2] if n % 10 == 1 else None
        calls.append(
            Stop(
                technicians + n,
                int(rng.integers(30, 90)) * 10,
                int(rng.integers(50, 900)),
                required=bool(rng.random() < 0.5),
                earliest=earliest,
                booking=booking,
            )
        )
    return calls, shifts, places


def test_parts_keep_every_rule_and_serve_what_the_whole_serves() -> None:
    stops, days, places = a_round(150, 3, 14)
    problem = part_problem(stops, days, places, Part(tuple(range(len(stops))), tuple(range(len(days)))))
    whole, one = solve_round(stops, days, places, 150)
    split, parts = solve_round(stops, days, places, 150, whole=90)
    assert (one, parts) == (1, 3)
    assert kept(problem, whole)
    assert kept(problem, split)
    assert score(problem, split)[:2] == score(problem, whole)[:2] == (0, 0)
    assert score(problem, split)[2] <= 1.25 * score(problem, whole)[2]


def test_the_same_round_is_parted_the_same_way_twice() -> None:
    stops, days, places = a_round(100, 2, 10)
    assert solve_round(stops, days, places, 30, whole=60) == solve_round(stops, days, places, 30, whole=60)


def test_drives_are_great_circle_times_detour_over_speed() -> None:
    """One degree of latitude on a sphere of 3,958.8 miles: 69.094 miles; × 1.3 ÷ 28 mph = 192.48 minutes."""
    places = Places(
        ("a", "b"), np.array([27.0, 28.0]), np.array([-91.0, -91.0]), np.zeros(2, bool), ticks_per_mile(28, 1.3)
    )
    assert travel_between(places, [0, 1]).tolist() == [[0, 1925], [1925, 0]]
