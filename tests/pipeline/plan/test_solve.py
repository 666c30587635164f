"""Routes found: published instances, every plan of small problems, and the same plan twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.plan.problem import Booking, Day, Problem, Stop
from pipeline.plan.solve import seat_booked, solve
from tests.routing_cases import MONDAY, best_by_enumeration, driven, kept, published, score, small


def test_e_n22_k4_is_375() -> None:
    """Christofides & Eilon 1969, four vehicles: optimum 375, stated in the instance file."""
    problem = published("e_n22_k4", vehicles=4)
    routes = solve(problem, 1000)
    assert kept(problem, routes)
    assert score(problem, routes) == (0, 0, 375)


@pytest.mark.parametrize("seed", range(24))
def test_small_rounds_equal_enumeration(seed: int) -> None:
    """Prizes, required stops, appointments with and without a name, a skill, lunch, earliest dates: the best of all."""
    problem = small(seed, stops=6, days=2 + 2 * (seed % 2))
    routes = solve(problem, 300)
    assert kept(problem, routes)
    assert score(problem, routes) == best_by_enumeration(problem)


@pytest.mark.parametrize(("seed", "stops"), [(101, 7), (105, 7), (106, 7), (102, 8), (103, 8)])
def test_rounds_of_seven_and_eight_stops_equal_enumeration(seed: int, stops: int) -> None:
    """As above and larger; each has an appointment, prizes and dates or a required stop."""
    problem = small(seed, stops=stops, days=2 if stops == 8 else 4)
    assert any(stop.booking is not None for stop in problem.stops)
    routes = solve(problem, 300)
    assert kept(problem, routes)
    assert score(problem, routes) == best_by_enumeration(problem)


def test_the_same_bound_gives_the_same_routes() -> None:
    problem = small(5, stops=8, days=4)
    assert solve(problem, 50) == solve(problem, 50)


def _day(**changes: object) -> Day:
    day = Day("T", MONDAY, 0, opens=4800, closes=9600, work_limit=3600, lunch=300, lunch_from=7200)
    return replace(day, **changes)  # type: ignore[arg-type]


def test_a_stop_worth_less_than_its_way_is_left_out_and_one_worth_more_is_made() -> None:
    """100 ticks there and 100 back: worth 199 is not driven to, worth 201 is."""
    travel = np.array([[0, 100], [100, 0]])
    for worth, made in ((199, {}), (201, {0: [0]})):
        assert solve(Problem((Stop(1, 600, worth),), (_day(),), travel), 20) == made


def test_waiting_for_an_appointment_does_not_use_up_the_free_share() -> None:
    """Work 2 × 100 + 600 = 800 ticks; the appointment at 15:00 is kept though the day has a limit of 1000 ticks."""
    stop = Stop(1, 600, booking=Booking(MONDAY, 9000 - 600, 9000))
    problem = Problem((stop,), (_day(work_limit=1000, closes=10_000),), np.array([[0, 100], [100, 0]]))
    assert solve(problem, 20) == {0: [0]}


def test_an_appointment_is_kept_though_it_takes_more_than_the_share_to_be_filled() -> None:
    stop = Stop(1, 3600, booking=Booking(MONDAY, 4900, 5000))
    problem = Problem((stop,), (_day(work_limit=1000),), np.array([[0, 100], [100, 0]]))
    assert solve(problem, 20) == {0: [0]}


def test_two_appointments_at_one_hour_go_to_two_technicians() -> None:
    stops = tuple(Stop(2 + n, 900, booking=Booking(MONDAY, 5000, 5100)) for n in range(2))
    days = (_day(), _day(technician="U", start_place=1))
    travel = np.full((4, 4), 100) - 100 * np.eye(4, dtype=np.int64)
    found = solve(Problem(stops, days, travel.astype(np.int64)), 50)
    assert sorted(found) == [0, 1]


def test_an_appointment_no_shift_reaches_is_seated_nowhere() -> None:
    early = Stop(1, 600, booking=Booking(MONDAY, 4800, 4850))  # 100 ticks away from a shift that opens at 4800
    assert seat_booked(Problem((early,), (_day(),), np.array([[0, 100], [100, 0]]))) == {}


def test_driven_counts_the_way_home() -> None:
    problem = Problem((Stop(1, 600, 500),), (_day(),), np.array([[0, 100], [70, 0]]))
    assert driven(problem, {0: [0]}) == 170
