"""A driving time that no plan making every call can be below: the round as a cover by routes, solved in fractions.

The linear program over all routes of a day (Balinski & Quandt 1964) is solved by column generation. What is relaxed:
dates, appointments, skills and lunch; minutes are rounded down; a route may come home to another start place; calls may
be made twice, but not one right before and after another (two-cycle elimination as in Houck et al. 1980).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csc_array

from pipeline.plan.problem import TICKS, Problem

SMOOTHING = 0.7
"""Weight of the best prices so far in those that routes are sought for (Wentges 1997)."""


class _Network:
    def __init__(self, problem: Problem, grid: int = TICKS) -> None:
        places = np.array([stop.place for stop in problem.stops])
        starts = sorted({day.start_place for day in problem.days})
        service = np.array([stop.service for stop in problem.stops])
        self.cost = problem.travel[np.ix_(places, places)].astype(float)
        self.out = problem.travel[np.ix_(starts, places)].min(axis=0).astype(float)
        self.home = problem.travel[np.ix_(places, starts)].min(axis=1).astype(float)
        self.steps = ((self.cost + service[None, :]) // grid).astype(np.int64)
        np.fill_diagonal(self.cost, np.inf)
        self.first = ((self.out + service) // grid).astype(np.int64)
        self.last = (self.home // grid).astype(np.int64)
        self.room = max(day.work_limit for day in problem.days) // grid
        self.routes = len(problem.days)
        self.count = len(places)

    def cheapest_routes(self, price: np.ndarray) -> tuple[float, list[list[int]]]:
        """Return the least cost less prices of any route, and the best route that ends at each call."""
        n, room = self.count, self.room
        every = np.arange(n)
        best = np.full((room + 1, n), np.inf)
        other = np.full((room + 1, n), np.inf)
        before = np.full((room + 1, n), -1)
        before_other = np.full((room + 1, n), -1)
        fits = self.first <= room
        best[self.first[fits], every[fits]] = (self.out - price)[fits]
        arc = self.cost - price[None, :]
        rows = every[:, None] + np.zeros((1, n), dtype=np.int64)
        for used in range(room + 1):
            at = used - self.steps
            there = at >= 0
            at = np.where(there, at, 0)
            back = before[at, rows] == every[None, :]
            value = np.where(there, np.where(back, other[at, rows], best[at, rows]), np.inf) + arc
            one = value.argmin(axis=0)
            least = value[one, every]
            value[one, every] = np.inf
            two = value.argmin(axis=0)
            second = value[two, every]
            direct = best[used].copy()
            start = direct <= least
            best[used] = np.where(start, direct, least)
            before[used] = np.where(start, -1, one)
            other[used] = np.where(start, least, second)
            before_other[used] = np.where(start, one, two)
        ends = best + self.home[None, :]
        ends[np.arange(room + 1)[:, None] + self.last[None, :] > room] = np.inf
        last = ends.argmin(axis=0)
        found = []
        for call in np.flatnonzero(ends[last, every] < -1e-6):
            used, route, previous = int(last[call]), [int(call)], int(before[last[call], call])
            while previous >= 0:
                used -= int(self.steps[previous, route[-1]])
                following = route[-1]
                route.append(previous)
                come = int(before[used, previous])
                previous = int(before_other[used, previous]) if come == following else come
            found.append(route[::-1])
        return float(ends.min()), found

    def length(self, route: list[int]) -> float:
        return float(self.out[route[0]] + self.home[route[-1]] + sum(self.cost[a, b] for a, b in pairwise(route)))


def driving_bound(problem: Problem, routes: list[list[int]], gap: float = 0.002, most: int = 400) -> float:
    """Return ticks of driving that every plan with all calls needs at least; ``routes`` begin the search.

    Every set of prices gives a bound: their sum, less what the cheapest route could gain on each technician-day.
    """
    net = _Network(problem)
    columns = [list(route) for route in routes] + [[n] for n in range(net.count)]
    bound, kept = 0.0, np.zeros(net.count)
    weight = 0.0
    for _ in range(most):
        value, price = _priced(net, columns)
        asked = weight * kept + (1 - weight) * price
        least, found = net.cheapest_routes(asked)
        under = float(asked.sum()) + net.routes * min(least, 0.0)
        if under > bound:
            bound, kept = under, asked
        if value - bound <= gap * value:
            break
        known = {tuple(route) for route in columns}
        fresh = [route for route in found if tuple(route) not in known]
        # where smoothed prices lead to nothing new, the next are taken as they are
        weight = SMOOTHING if fresh else 0.0
        columns += fresh
    return bound


def _priced(net: _Network, columns: list[list[int]]) -> tuple[float, np.ndarray]:
    """Return the least driving over the routes known, and what each call adds to it."""
    at = [(call, n) for n, route in enumerate(columns) for call in route]
    rows, cols = np.array(at).T
    cover = csc_array((np.ones(len(at)), (rows, cols)), shape=(net.count, len(columns)))
    solved = linprog([net.length(r) for r in columns], A_ub=-cover, b_ub=-np.ones(net.count), method="highs")
    return float(solved.fun), -solved.ineqlin.marginals
