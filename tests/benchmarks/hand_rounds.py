"""Three ways a dispatcher makes rounds by hand, on the same calls, days and driving times, to hold a plan against."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.plan.problem import Problem, Routes, may_serve
from pipeline.plan.schedule import time_day


def risk_order(problem: Problem) -> Routes:
    """Return rounds filled by worth: the next dearest call goes to the first day that still holds it at its end."""
    order = sorted(range(len(problem.stops)), key=lambda n: (-problem.stops[n].worth, n))
    routes: Routes = {}
    for stop in order:
        for day in range(len(problem.days)):
            if _holds(problem, day, [*routes.get(day, []), stop]):
                routes[day] = [*routes.get(day, []), stop]
                break
    return routes


def nearest_by_day(problem: Problem) -> Routes:
    """Return rounds filled day by day, always to the nearest call left that the day still holds."""
    left = set(range(len(problem.stops)))
    routes: Routes = {}
    for day in range(len(problem.days)):
        routes[day] = _nearest(problem, day, left)
        left -= set(routes[day])
    return {day: route for day, route in routes.items() if route}


def postal_code_days(problem: Problem, codes: Sequence[str]) -> Routes:
    """Return rounds that keep to one postal code a day, nearest first in it; a day with room left takes the next code.

    ``codes`` are the postal codes of the stops.
    """
    left = set(range(len(problem.stops)))
    routes: Routes = {}
    for day in range(len(problem.days)):
        route: list[int] = []
        for code in sorted({codes[n] for n in left}):
            route = _nearest(problem, day, {n for n in left if codes[n] == code}, route)
            if left - set(route) and not _room(problem, day, route, left - set(route)):
                break
        routes[day] = route
        left -= set(route)
    return {day: route for day, route in routes.items() if route}


def _nearest(problem: Problem, day: int, which: set[int], begun: Sequence[int] = ()) -> list[int]:
    route, left = list(begun), set(which) - set(begun)
    place = problem.stops[route[-1]].place if route else problem.days[day].start_place
    while left:
        fitting = [n for n in left if _holds(problem, day, [*route, n])]
        if not fitting:
            break
        nearest = min(fitting, key=lambda n: (int(problem.travel[place, problem.stops[n].place]), n))
        route.append(nearest)
        left.remove(nearest)
        place = problem.stops[nearest].place
    return route


def _room(problem: Problem, day: int, route: Sequence[int], left: set[int]) -> bool:
    return any(_holds(problem, day, [*route, n]) for n in left)


def _holds(problem: Problem, day: int, route: Sequence[int]) -> bool:
    shift = problem.days[day]
    timed = time_day(problem, shift, route)
    return (
        timed is not None and timed.work <= shift.work_limit and all(may_serve(shift, problem.stops[n]) for n in route)
    )
