"""The clock of one day: when each stop of a sequence is reached, with lunch and promised hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

from pipeline.plan.problem import Day, Problem, Stop

MOST_PERMUTED = 6
"""Booked stops on one day up to which every order is tried; beyond, they are taken by their hours."""


@dataclass(frozen=True)
class Timed:
    """Arrivals and drives [ticks], stop by stop, when the technician is back, and the driving and service done."""

    arrivals: tuple[int, ...]
    drives: tuple[int, ...]
    back: int
    work: int


def time_day(problem: Problem, day: Day, sequence: Sequence[int]) -> Timed | None:
    """Return the clock of ``sequence`` on ``day``, leaving when the shift opens; None if an hour cannot be kept.

    Lunch is taken on the way to the first stop (or home) that would be reached at ``lunch_from`` or later.
    """
    now, place, work, eaten = day.opens, day.start_place, 0, day.lunch == 0
    arrivals, drives = [], []
    for index in sequence:
        stop = problem.stops[index]
        drive = int(problem.travel[place, stop.place])
        now += drive
        opens, closes = _hours(stop, day)
        if not eaten and max(now, opens) >= day.lunch_from:
            now, eaten = max(now, day.lunch_from) + day.lunch, True
        now = max(now, opens)
        if now > closes:
            return None
        arrivals.append(now)
        drives.append(drive)
        now += stop.service
        work += drive + stop.service
        place = stop.place
    home = int(problem.travel[place, day.start_place])
    back = now + home + (0 if eaten else day.lunch)
    return Timed(tuple(arrivals), tuple(drives), back, work + home) if back <= day.closes else None


def best_order(problem: Problem, day: Day, stops: Sequence[int]) -> tuple[int, ...] | None:
    """Return the order of the booked ``stops`` that keeps all hours with the least work; None if there is none."""
    by_hours = tuple(sorted(stops, key=lambda index: (_hours(problem.stops[index], day)[1], index)))
    orders = permutations(by_hours) if len(stops) <= MOST_PERMUTED else [by_hours]
    timed = ((order, time_day(problem, day, order)) for order in orders)
    kept = [(found.work, order) for order, found in timed if found is not None]
    return min(kept)[1] if kept else None


def without_lunch(day: Day, opens: int, closes: int) -> tuple[int, int] | None:
    """Return the hours on a clock that stands still at lunch, or None where lunch takes them all.

    On that clock an arrival before ``lunch_from`` is itself, any later one is early by the lunch.
    """
    if day.lunch == 0 or closes < day.lunch_from:
        return opens, closes
    if closes - day.lunch >= day.lunch_from:
        early = opens if opens < day.lunch_from else max(day.lunch_from, opens - day.lunch)
        return early, closes - day.lunch
    return (opens, day.lunch_from - 1) if opens < day.lunch_from else None


def _hours(stop: Stop, day: Day) -> tuple[int, int]:
    return (day.opens, day.closes) if stop.booking is None else (stop.booking.opens, stop.booking.closes)
