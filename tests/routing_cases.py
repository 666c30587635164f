"""Routing problems for tests: published instances, small random ones, and every plan of a small one."""

from __future__ import annotations

import datetime as dt
import itertools
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.plan.problem import Booking, Day, Problem, Routes, Stop, may_serve
from pipeline.plan.schedule import time_day

MONDAY = dt.date(2026, 4, 6)
DATA = Path(__file__).parent / "data"


def published(name: str, vehicles: int) -> Problem:
    """Return a capacitated instance: node 1 is the depot, distances Euclidean rounded to the nearest whole number."""
    table = pl.read_csv(DATA / f"cvrp_{name}.csv", comment_prefix="#")
    capacity = {"e_n22_k4": 6000, "x_n101_k25": 206}[name]
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    travel = np.floor(np.hypot(x[:, None] - x, y[:, None] - y) + 0.5).astype(np.int64)
    stops = tuple(
        Stop(place=n, service=0, required=True, load=demand) for n, demand in enumerate(table["demand"].to_list()) if n
    )
    day = {"start_place": 0, "opens": 0, "closes": 14_000, "work_limit": 14_000, "capacity": capacity}
    days = tuple(Day(technician=f"V{n}", date=MONDAY, **day) for n in range(vehicles))  # type: ignore[arg-type]
    return Problem(stops, days, travel)


def driven(problem: Problem, routes: Routes) -> int:
    """Return the travel [ticks] of all routes, home included."""
    total = 0
    for day, sequence in routes.items():
        row = [
            problem.days[day].start_place,
            *(problem.stops[n].place for n in sequence),
            problem.days[day].start_place,
        ]
        total += sum(int(problem.travel[a, b]) for a, b in itertools.pairwise(row))
    return total


def score(problem: Problem, routes: Routes) -> tuple[int, int, int]:
    """Return booked missed, required missed, and driving plus the worth of what else is missed: less is better."""
    served = {n for sequence in routes.values() for n in sequence}
    missed = [stop for n, stop in enumerate(problem.stops) if n not in served]
    booked = sum(stop.booking is not None for stop in missed)
    required = sum(stop.required and stop.booking is None for stop in missed)
    return booked, required, driven(problem, routes) + sum(stop.worth for stop in missed)


def kept(problem: Problem, routes: Routes) -> bool:
    """Return whether hours, dates, skills, loads and the share to be filled are kept, each stop once at most."""
    served = [n for sequence in routes.values() for n in sequence]
    if len(served) != len(set(served)):
        return False
    for number, sequence in routes.items():
        day = problem.days[number]
        timed = time_day(problem, day, sequence)
        load = sum(problem.stops[n].load for n in sequence)
        if timed is None or timed.work > day.work_limit or (day.capacity is not None and load > day.capacity):
            return False
        if not all(may_serve(day, problem.stops[n]) for n in sequence):
            return False
    return True


def best_by_enumeration(problem: Problem) -> tuple[int, int, int]:
    """Return the score of the best of all plans: every stop to every day or none, every order."""
    count, days = len(problem.stops), range(len(problem.days))
    cheapest: dict[tuple[int, frozenset[int]], int | None] = {}
    for day in days:
        shift = problem.days[day]
        able = [n for n in range(count) if may_serve(shift, problem.stops[n])]
        for size in range(1, count + 1):
            for group in itertools.combinations(range(count), size):
                fits = set(group) <= set(able) and sum(problem.stops[n].service for n in group) <= shift.work_limit
                orders = itertools.permutations(group) if fits else ()
                costs = [driven(problem, {day: list(order)}) for order in orders if kept(problem, {day: list(order)})]
                cheapest[day, frozenset(group)] = min(costs, default=None)
    best: dict[frozenset[int], int] = {frozenset(): 0}
    for day in days:
        extended = dict(best)
        for done, cost in best.items():
            rest = [n for n in range(count) if n not in done]
            for size in range(1, len(rest) + 1):
                for group in itertools.combinations(rest, size):
                    more = cheapest[day, frozenset(group)]
                    if more is not None:
                        key = done | frozenset(group)
                        extended[key] = min(extended.get(key, cost + more), cost + more)
        best = extended
    scores = []
    for done, cost in best.items():
        missed = [stop for n, stop in enumerate(problem.stops) if n not in done]
        scores.append(
            (
                sum(stop.booking is not None for stop in missed),
                sum(stop.required and stop.booking is None for stop in missed),
                cost + sum(stop.worth for stop in missed),
            )
        )
    return min(scores)


def small(seed: int, stops: int = 6, days: int = 2) -> Problem:
    """Return a small random problem with prizes, required stops, windows of dates, skills, lunch and appointments."""
    rng = np.random.default_rng(seed)
    starts = 2
    xy = rng.uniform(0, 600, (starts + stops, 2))
    travel = np.ceil(np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))).astype(np.int64)
    shifts = tuple(
        Day(
            technician=f"T{n % 2}",
            date=MONDAY + dt.timedelta(days=n // 2),
            start_place=n % 2,
            opens=4800,
            closes=9600,
            work_limit=3600,
            lunch=300,
            lunch_from=7200,
            skills=frozenset({"r-32"}) if n % 2 else frozenset(),
        )
        for n in range(days)
    )
    made = []
    for n in range(stops):
        kind = rng.integers(0, 10)
        booking = None
        if kind < 2:
            opens = int(rng.integers(4800, 9000))
            booking = Booking(
                shifts[int(rng.integers(0, days))].date, opens, opens + 600, None if rng.random() < 0.5 else "T0"
            )
        made.append(
            Stop(
                place=starts + n,
                service=int(rng.integers(300, 1500)),
                worth=int(rng.integers(50, 1200)),
                required=bool(kind in (2, 3)),
                needs=frozenset({"r-32"}) if kind == 4 else frozenset(),
                earliest=MONDAY + dt.timedelta(days=1) if kind == 5 and days > 2 else None,
                booking=booking,
            )
        )
    return Problem(tuple(made), shifts, travel)
