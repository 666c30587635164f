"""Dear routes go early; what is promised or bound to dates stays where it may be."""

from __future__ import annotations

import datetime as dt

from pipeline.plan.order_days import dearest_first
from pipeline.plan.problem import Booking, Day, Stop
from tests.routing_cases import MONDAY

DATES = [MONDAY + dt.timedelta(days=n) for n in range(4)]
DAYS = [Day("T", date, 0, opens=4800, closes=9600, work_limit=3600) for date in DATES]


def test_the_dearest_route_goes_first_and_empty_days_last() -> None:
    stops = [Stop(1, 600, worth=10), Stop(2, 600, worth=30), Stop(3, 600, worth=25)]
    assert dearest_first(stops, DAYS, {1: [0], 3: [1, 2]}) == {0: [1, 2], 1: [0]}


def test_an_appointment_stays_and_dates_are_kept() -> None:
    booked = Stop(1, 600, worth=1, booking=Booking(DATES[0], 4800, 9600))
    late = Stop(2, 600, worth=99, earliest=DATES[2])
    plain = Stop(3, 600, worth=5)
    assert dearest_first([booked, late, plain], DAYS, {0: [0], 2: [2], 3: [1]}) == {0: [0], 1: [2], 2: [1]}


def test_days_stay_as_they_were_where_a_greedy_swap_would_leave_one_without_a_day() -> None:
    """The dear route takes the first day, the only one that suits the other."""
    dear, bound = Stop(1, 600, worth=50), Stop(2, 600, worth=5, latest=DATES[0])
    assert dearest_first([dear, bound], DAYS, {0: [1], 1: [0]}) == {0: [1], 1: [0]}


def test_other_hours_are_not_exchanged() -> None:
    short = [DAYS[0], Day("T", DATES[1], 0, opens=4800, closes=6000, work_limit=900)]
    stops = [Stop(1, 600, worth=1), Stop(2, 600, worth=9)]
    assert dearest_first(stops, short, {0: [0], 1: [1]}) == {0: [0], 1: [1]}
