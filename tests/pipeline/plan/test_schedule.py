"""The clock of a day by hand arithmetic."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.plan.problem import Booking, Day, Problem, Stop
from pipeline.plan.schedule import best_order, time_day, without_lunch
from tests.routing_cases import MONDAY

DAY = Day("T", MONDAY, 0, opens=4800, closes=9900, work_limit=3600, lunch=300, lunch_from=7200)
TRAVEL = np.array([[0, 100, 200], [100, 0, 150], [200, 150, 0]])


def test_arrivals_lunch_and_the_way_home() -> None:
    """8:00 + 10 min = 8:10; service 4 h to 12:10; lunch 30 min, drive 15 min: 12:55; 1 h; home 20 min: 14:15."""
    problem = Problem((Stop(1, 2400), Stop(2, 600)), (DAY,), TRAVEL)
    timed = time_day(problem, DAY, [0, 1])
    assert timed is not None
    assert timed.arrivals == (4900, 7300 + 150 + 300)
    assert timed.drives == (100, 150)
    assert timed.back == 7750 + 600 + 200
    assert timed.work == 100 + 2400 + 150 + 600 + 200


def test_no_clock_where_an_hour_or_the_shift_cannot_be_kept() -> None:
    late = Stop(1, 600, booking=Booking(MONDAY, 4800, 4899))
    assert time_day(Problem((late,), (DAY,), TRAVEL), DAY, [0]) is None
    long = Stop(1, 9900 - 4800 - 300 - 200 + 1)
    assert time_day(Problem((long,), (DAY,), TRAVEL), DAY, [0]) is None
    just = Stop(1, 9900 - 4800 - 300 - 200)
    assert time_day(Problem((just,), (DAY,), TRAVEL), DAY, [0]) is not None


def test_booked_stops_are_put_in_the_order_that_keeps_their_hours() -> None:
    first, second = Stop(1, 300, booking=Booking(MONDAY, 8000, 8300)), Stop(2, 300, booking=Booking(MONDAY, 5000, 5300))
    assert best_order(Problem((first, second), (DAY,), TRAVEL), DAY, [0, 1]) == (1, 0)
    clash = Stop(2, 300, booking=Booking(MONDAY, 8000, 8010))
    both = Problem((Stop(1, 300, booking=Booking(MONDAY, 8000, 8010)), clash), (DAY,), TRAVEL)
    assert best_order(both, DAY, [0, 1]) is None


@pytest.mark.parametrize(("opens", "closes"), list(itertools.combinations_with_replacement(range(6600, 8100, 100), 2)))
def test_the_clock_without_lunch_lets_in_the_same_arrivals(opens: int, closes: int) -> None:
    """An arrival before lunch is itself, one from then on is later by the lunch: the window holds exactly those."""
    real = {t: t if t < DAY.lunch_from else t + DAY.lunch for t in range(6000, 9000, 10)}
    inside = {t for t, clock in real.items() if opens <= clock <= closes}
    window = without_lunch(DAY, opens, closes)
    found = set() if window is None else {t for t in real if window[0] <= t <= window[1]}
    # an arrival that must wait for lunch to end is early, never late
    assert inside <= found
    assert all(real[t] <= closes for t in found)
