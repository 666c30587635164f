"""Routes for one problem of a size that is solved whole, by an iterated local search with a fixed seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyvrp
from pyvrp.PenaltyManager import PenaltyManager, PenaltyParams
from pyvrp.search import OPERATORS, LocalSearch, PerturbationManager, compute_neighbours
from pyvrp.stop import MaxIterations, MultipleCriteria, NoImprovement

from pipeline.plan.problem import TICKS, Day, Problem, Routes, Stop, Ticks, may_serve
from pipeline.plan.schedule import best_order, time_day, without_lunch

SEED = 8
SLOT = 24 * 60 * 10
"""Ticks of a day; every technician-day has a slot of its own on one long clock."""
SMALL, RESTARTS = 40, 4
"""A small problem is searched several times over: one search may end in a corner, and they cost little."""
TIME_PENALTY, LOAD_PENALTY, UPDATES = 20.0, 400.0, 100
"""What a tick too many or a missing skill costs the search to begin with, and how many solutions it looks at before it
changes that: a required call is worth some tens of ticks a tick. The library begins at 50,000 and needs thousands of
iterations to come down (measured on 600 calls and X-n101-k25)."""
PLENTY = 10**9
"""Capacity of a truck that has the skill, or no limit on its load."""


_Client = tuple[int, int | None, tuple[int, int]]
"""Stop, the one day it is offered on (None: any in its window), and its window on the long clock."""


def solve(problem: Problem, iterations: int, start: Routes | None = None, seed: int = SEED) -> Routes:
    """Return the routes found: required stops first, then least driving less the worth of the stops made.

    Parameters
    ----------
    problem
        Stops, technician-days and travel times.
    iterations
        Bound on the search; the same bound and seed give the same routes.
    start
        Routes to improve, such as ``seat_booked`` returns; the booked stops are seated first where not given.

    Notes
    -----
    Each technician-day is a vehicle type of its own with a slot on one long clock, so that dates, hours and the
    technician of an appointment are one time window; where several technicians may keep it, each is an alternative of
    which one is taken. Driving and service together are bounded as a distance, so that waiting for an appointment does
    not use up the share of the day that stays free. A stop nobody may serve is left out before.
    """
    start = seat_booked(problem) if start is None else start
    clients = _clients(problem)
    if not clients or not problem.days:
        return {}
    problem = replace(problem, days=_with_room_for(problem, start))
    data, travel = _data(problem, clients)
    tries = RESTARTS if len(clients) <= SMALL else 1
    found = [_search(data, travel, clients, start, iterations, seed + n) for n in range(tries)]
    judge = pyvrp.CostEvaluator([0.0] * data.num_load_dimensions, 0, 0)
    best = min(found, key=judge.cost)
    served = {
        route.vehicle_type(): [clients[activity.idx][0] for activity in route if activity.is_client()]
        for route in best.routes()
    }
    return {day: served[day] for day in sorted(served) if served[day]}


def _search(
    data: pyvrp.ProblemData, travel: Ticks, clients: list[_Client], start: Routes, iterations: int, seed: int
) -> pyvrp.Solution:
    """Return the best solution of one search from ``start``."""
    places = {(index, day): n for n, (index, day, _) in enumerate(clients)}
    rng = pyvrp.RandomNumberGenerator(seed=seed)
    params = pyvrp.SolveParams()
    nearby = data.replace(distance_matrices=[travel])  # type: ignore[list-item]  # with service in the distances, long jobs would look far away
    neighbours = compute_neighbours(nearby, params.neighbourhood)
    search = LocalSearch(data, rng, neighbours, PerturbationManager(params.perturbation))
    for operator in OPERATORS:
        if operator.supports(data):
            search.add_operator(operator(data))
    loads = [LOAD_PENALTY] * data.num_load_dimensions
    penalties = PenaltyManager((loads, TIME_PENALTY, TIME_PENALTY), PenaltyParams(solutions_between_updates=UPDATES))
    routes = [
        pyvrp.Route(data, [places.get((index, day), places.get((index, None), -1)) for index in stops], day)
        for day, stops in start.items()
    ]
    seated = pyvrp.Solution(data, routes)
    filled = search(seated, penalties.max_cost_evaluator(), exhaustive=True)
    algorithm = pyvrp.IteratedLocalSearch(data, penalties, search, filled, params.ils)
    stop = MultipleCriteria([MaxIterations(iterations), NoImprovement(max(iterations // 2, 1))])
    best = algorithm.run(stop, collect_stats=False, display=False).best
    return best if best.is_feasible() else seated


def seat_booked(problem: Problem) -> Routes:
    """Return routes of the booked stops alone, each on the first day that can keep its hours beside the others.

    A booked stop that is in none cannot be reached by any shift.
    """
    seated: dict[int, tuple[int, ...]] = {}
    booked = [n for n, stop in enumerate(problem.stops) if stop.booking is not None]
    order = sorted(booked, key=lambda n: (len(_days_for(problem, n)), _promised(problem.stops[n]), n))
    for index in order:
        tried = [
            (time_day(problem, problem.days[day], found), day, found)
            for day in _days_for(problem, index)
            if (found := best_order(problem, problem.days[day], [*seated.get(day, ()), index])) is not None
        ]
        if tried:
            _, day, found = min(tried, key=lambda t: (t[0].work if t[0] else 0, t[1]))
            seated[day] = found
    return {day: list(stops) for day, stops in sorted(seated.items())}


def _promised(stop: Stop) -> int:
    return stop.booking.closes - stop.booking.opens if stop.booking else 0


def _days_for(problem: Problem, index: int) -> list[int]:
    return [n for n, day in enumerate(problem.days) if may_serve(day, problem.stops[index])]


def _with_room_for(problem: Problem, start: Routes) -> tuple[Day, ...]:
    """Return the days, the work limit raised where what is booked takes more than the share to be filled."""
    needed = {
        day: timed.work
        for day, stops in start.items()
        if (timed := time_day(problem, problem.days[day], stops)) is not None
    }
    return tuple(replace(day, work_limit=max(day.work_limit, needed.get(n, 0))) for n, day in enumerate(problem.days))


def _clients(problem: Problem) -> list[_Client]:
    """Return what is offered to the search: a booked stop once per day that may keep it, any other once."""
    offered: list[_Client] = []
    for index, stop in enumerate(problem.stops):
        days = _days_for(problem, index)
        if not days:
            continue
        if stop.booking is None:
            offered.append((index, None, (min(days) * SLOT, (max(days) + 1) * SLOT)))
        else:
            for day in days:
                hours = without_lunch(problem.days[day], stop.booking.opens, stop.booking.closes)
                if hours is not None:
                    offered.append((index, day, (day * SLOT + hours[0], day * SLOT + hours[1])))
    return offered


def _data(problem: Problem, clients: list[_Client]) -> tuple[pyvrp.ProblemData, Ticks]:
    stops, days = problem.stops, problem.days
    starts = sorted({day.start_place for day in days})
    rows = np.array(starts + [stops[index].place for index, _, _ in clients])
    service = np.array([0] * len(starts) + [stops[index].service for index, _, _ in clients])
    travel = problem.travel[np.ix_(rows, rows)]
    work = travel + service[None, :]
    np.fill_diagonal(travel, 0)
    np.fill_diagonal(work, 0)
    skills = sorted({skill for index, _, _ in clients for skill in stops[index].needs})
    alternatives: dict[int, list[int]] = {}
    for n, (index, _, _) in enumerate(clients):
        alternatives.setdefault(index, []).append(n)
    groups = [members for members in alternatives.values() if len(members) > 1]
    group_of = {n: group for group, members in enumerate(groups) for n in members}
    bonus = _bonus(problem)
    made = [
        pyvrp.Client(
            location=len(starts) + n,
            delivery=[stops[index].load, *(int(skill in stops[index].needs) for skill in skills)],
            service_duration=stops[index].service,
            tw_early=window[0],
            tw_late=window[1],
            prize=_prize(stops[index], bonus),
            required=False,
            group=group_of.get(n),
        )
        for n, (index, _, window) in enumerate(clients)
    ]
    vehicles = [
        pyvrp.VehicleType(
            start_depot=starts.index(day.start_place),
            end_depot=starts.index(day.start_place),
            capacity=[
                PLENTY if day.capacity is None else day.capacity,
                *(PLENTY if skill in day.skills else 0 for skill in skills),
            ],
            tw_early=n * SLOT + day.opens,
            tw_late=n * SLOT + day.closes - day.lunch,
            max_distance=day.work_limit,
            name=f"{day.technician} {day.date}",
        )
        for n, day in enumerate(days)
    ]
    data = pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in rows],
        made,
        [pyvrp.Depot(location=n) for n in range(len(starts))],
        vehicles,
        [work],
        [travel],
        [pyvrp.ClientGroup(members, required=False) for members in groups],
    )
    return data, travel


def _bonus(problem: Problem) -> int:
    """Return what a required stop counts above its worth: more than all that could be done on a day in its place."""
    worths = sorted((stop.worth for stop in problem.stops), reverse=True)
    longest_day = max(day.closes - day.opens for day in problem.days)
    shortest = min(max(stop.service, TICKS) for stop in problem.stops)
    longest_way = 2 * int(problem.travel.max()) + max(stop.service for stop in problem.stops)
    return sum(worths[: longest_day // shortest + 1]) + longest_way


def _prize(stop: Stop, bonus: int) -> int:
    """Return what leaving the stop out costs; service is in the distance and so given back here."""
    rank = 2 if stop.booking is not None else int(stop.required)
    return stop.worth + stop.service + rank * bonus
