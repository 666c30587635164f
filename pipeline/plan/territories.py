"""Rounds too large to be solved whole: territories first, then exact routes inside, then across their borders."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from pipeline.plan.distances import Places, travel_between
from pipeline.plan.problem import Day, Problem, Routes, Stop, may_serve
from pipeline.plan.solve import seat_booked, solve

WHOLE = 800
"""Stops up to which a round is solved whole."""
NEAREST = 3
"""Neighbours that each part is solved again with, in pairs: 600 calls in four parts are then 1.3 % dearer than whole
(2.5 % with two)."""
PART = 300
"""Stops that one part of a larger round is to hold: a few seconds each (engineering choice)."""


@dataclass(frozen=True)
class Part:
    """Stops and days, by number, that are solved together."""

    stops: tuple[int, ...]
    days: tuple[int, ...]


def solve_round(
    stops: Sequence[Stop], days: Sequence[Day], places: Places, iterations: int, whole: int = WHOLE
) -> tuple[Routes, int]:
    """Return the routes of the whole round, and in how many parts it was solved.

    Notes
    -----
    Up to ``whole`` stops there is one part. Beyond, the stops are halved again and again across their longer side, in
    proportion to the working hours there are, and each territory goes to the technician who starts nearest; a territory
    still too large is halved the same way into blocks of weeks. Then each two neighbouring parts are solved together
    once, starting from what they have, with all stops left out so far on offer.
    """
    if len(stops) <= whole:
        problem = part_problem(stops, days, places, Part(tuple(range(len(stops))), tuple(range(len(days)))))
        return solve(problem, iterations), 1
    parts = _parts(stops, days, places)
    routes: Routes = {}
    for part in parts:
        routes |= _solve_part(stops, days, places, part, iterations, {})
    for a, b in _neighbours(parts, stops, places):
        both = Part(tuple(sorted({*parts[a].stops, *parts[b].stops})), tuple(sorted({*parts[a].days, *parts[b].days})))
        if len(both.stops) > whole:
            continue
        served = {index for sequence in routes.values() for index in sequence}
        kept = {day: routes[day] for day in both.days if day in routes}
        theirs = {index for sequence in kept.values() for index in sequence}
        free = sorted(theirs | (set(both.stops) - served))  # a stop may have moved here from a third part before
        for day in both.days:
            routes.pop(day, None)
        routes |= _solve_part(stops, days, places, Part(tuple(free), both.days), iterations // 2, kept)
    return dict(sorted(routes.items())), len(parts)


def part_problem(stops: Sequence[Stop], days: Sequence[Day], places: Places, part: Part) -> Problem:
    """Return a part as a problem of its own, its places numbered anew."""
    used = sorted({days[n].start_place for n in part.days} | {stops[n].place for n in part.stops})
    number = {place: n for n, place in enumerate(used)}
    return Problem(
        stops=tuple(replace(stops[n], place=number[stops[n].place]) for n in part.stops),
        days=tuple(replace(days[n], start_place=number[days[n].start_place]) for n in part.days),
        travel=travel_between(places, used),
    )


def _solve_part(
    stops: Sequence[Stop], days: Sequence[Day], places: Places, part: Part, iterations: int, start: Routes
) -> Routes:
    problem = part_problem(stops, days, places, part)
    stop_of, day_of = dict(enumerate(part.stops)), dict(enumerate(part.days))
    number, number_day = {n: k for k, n in stop_of.items()}, {n: k for k, n in day_of.items()}
    begun = {number_day[day]: [number[n] for n in sequence] for day, sequence in start.items()}
    found = solve(problem, iterations, begun or seat_booked(problem))
    return {day_of[day]: [stop_of[n] for n in sequence] for day, sequence in found.items()}


def _parts(stops: Sequence[Stop], days: Sequence[Day], places: Places) -> list[Part]:
    """Return the territories of the technicians, those too large in blocks of weeks."""
    names = list(dict.fromkeys(day.technician for day in days))
    own = {name: [n for n, day in enumerate(days) if day.technician == name] for name in names}
    hours = np.array([sum(days[n].work_limit for n in own[name]) for name in names], dtype=float)
    at = np.array([[places.lat[stop.place], places.lon[stop.place]] for stop in stops])
    at[:, 1] *= np.cos(np.radians(at[:, 0].mean()))
    work = np.array([float(stop.service) for stop in stops])
    areas = _halved(at, work, np.arange(len(stops)), np.sort(hours)[::-1])
    starts = np.array(
        [[places.lat[days[own[name][0]].start_place], places.lon[days[own[name][0]].start_place]] for name in names]
    )
    starts[:, 1] *= np.cos(np.radians(places.lat[[stop.place for stop in stops]].mean()))
    middles = np.array([at[area].mean(axis=0) if len(area) else at.mean(axis=0) for area in areas])
    off = np.hypot(*(middles[:, None] - starts[None]).transpose(2, 0, 1))
    area_of, name_of = linear_sum_assignment(off)
    mine: dict[str, list[int]] = {name: [] for name in names}
    for area, n in zip(area_of, name_of, strict=True):
        for stop in areas[area]:
            mine[_who(stops[stop], names[n], names, own, days)].append(int(stop))
    parts = []
    for name in names:
        blocks = max(1, round(len(mine[name]) / PART))
        parts += _weeks(sorted(mine[name]), own[name], stops, days, at, work, min(blocks, len(own[name])))
    return parts


def _who(stop: Stop, name: str, names: list[str], own: dict[str, list[int]], days: Sequence[Day]) -> str:
    """Return the territory's technician, or the first who may serve the stop where that one may not."""
    able = [other for other in [name, *names] if any(may_serve(days[n], stop) for n in own[other])]
    return able[0] if able else name


def _weeks(
    mine: list[int],
    own: list[int],
    stops: Sequence[Stop],
    days: Sequence[Day],
    at: npt.NDArray[np.float64],
    work: npt.NDArray[np.float64],
    blocks: int,
) -> list[Part]:
    """Return one technician's territory in blocks of consecutive days; dates that bind a stop are kept."""
    spans = [list(span) for span in np.array_split(np.array(own), blocks)]
    areas = _halved(at, work, np.array(mine, dtype=np.int64), np.array([float(len(span)) for span in spans]))
    lists: list[list[int]] = [[] for _ in spans]
    for n, area in enumerate(areas):
        for stop in area:
            able = [k for k in [n, *range(blocks)] if any(may_serve(days[day], stops[stop]) for day in spans[k])]
            lists[able[0] if able else n].append(int(stop))
    return [
        Part(tuple(sorted(found)), tuple(int(day) for day in span)) for found, span in zip(lists, spans, strict=True)
    ]


def _halved(
    at: npt.NDArray[np.float64],
    work: npt.NDArray[np.float64],
    which: npt.NDArray[np.int64],
    shares: npt.NDArray[np.float64],
) -> list[npt.NDArray[np.int64]]:
    """Return ``which`` in as many compact areas as there are ``shares``, with work in proportion to them."""
    if len(shares) == 1 or len(which) == 0:
        return [which] + [which[:0]] * (len(shares) - 1)
    half = len(shares) // 2
    side = int(np.ptp(at[which, 1]) > np.ptp(at[which, 0]))
    order = which[np.lexsort((which, at[which, side]))]
    done = np.cumsum(work[order])
    cut = int(np.searchsorted(done, done[-1] * shares[:half].sum() / shares.sum()))
    return _halved(at, work, order[:cut], shares[:half]) + _halved(at, work, order[cut:], shares[half:])


def _neighbours(parts: list[Part], stops: Sequence[Stop], places: Places) -> list[tuple[int, int]]:
    """Return each pair of parts of which one is among the ``NEAREST`` of the other, middle to middle."""
    rows = [[stops[n].place for n in part.stops] for part in parts]
    there = [n for n, row in enumerate(rows) if row]
    middles = np.array([[places.lat[rows[n]].mean(), places.lon[rows[n]].mean()] for n in there])
    middles[:, 1] *= np.cos(np.radians(middles[:, 0].mean()))
    off = np.hypot(*(middles[:, None] - middles[None]).transpose(2, 0, 1))
    np.fill_diagonal(off, np.inf)
    pairs = {
        (min(a, b), max(a, b)) for a in range(len(there)) for b in np.argsort(off[a], kind="stable")[:NEAREST] if a != b
    }
    return [(there[a], there[b]) for a, b in sorted(pairs)]
