"""Which route is driven on which day, where the routes themselves leave it open: the dearest first."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.plan.problem import Day, Routes, Stop, may_serve


def dearest_first(stops: Sequence[Stop], days: Sequence[Day], routes: Routes) -> Routes:
    """Return the same routes with those worth more on earlier days of the same technician and the same hours.

    Days left empty come to lie at the end of the round, as slack. A route with an appointment stays; a route bound to
    dates takes the earliest day that suits it. Driving and worth are unchanged.
    """
    moved: Routes = {}
    for slots in _alike(days):
        fixed = {n: routes[n] for n in slots if any(stops[stop].booking is not None for stop in routes.get(n, ()))}
        free = [n for n in slots if n not in fixed]
        movable = [routes[n] for n in free if n in routes]
        movable.sort(key=lambda route: (-sum(stops[stop].worth for stop in route), route))
        placed: Routes = {}
        for route in movable:
            suits = (n for n in free if n not in placed and all(may_serve(days[n], stops[stop]) for stop in route))
            day = next(suits, None)
            if day is None:  # taken by one that could have gone elsewhere: leave these days as they were
                placed = {n: routes[n] for n in free if n in routes}
                break
            placed[day] = route
        moved |= fixed | placed
    return dict(sorted(moved.items()))


def _alike(days: Sequence[Day]) -> list[list[int]]:
    """Return the days of one technician with the same hours, in order of their dates."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for n, day in enumerate(days):
        key = (day.technician, day.start_place, day.opens, day.closes, day.work_limit, day.lunch, day.lunch_from)
        alike.setdefault(key, []).append(n)
    return [sorted(found, key=lambda n: days[n].date) for found in alike.values()]
