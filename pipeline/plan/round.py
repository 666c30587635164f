"""The whole round from frames to frames: due, who goes, where, what was promised, routes, and a check of it all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.config import Settings, Technician
from pipeline.plan.appointments import APPOINTMENTS_SCHEMA, read_appointments
from pipeline.plan.calls import Calls, make_calls
from pipeline.plan.checker import Drive, violations
from pipeline.plan.distances import Places, own_drives, ticks_per_mile, travel_between
from pipeline.plan.due import Known, due_units, warm_from
from pipeline.plan.frames import ROUTE_STOPS_SCHEMA
from pipeline.plan.order_days import dearest_first
from pipeline.plan.places import NEAR_MI, PLACES_SCHEMA, Centroids, five_digits, great_circle_mi, place_sites
from pipeline.plan.problem import TICKS, Day, Routes, Stop, may_serve
from pipeline.plan.route_frames import left_out, route_stops, why_left
from pipeline.plan.schedule import time_day
from pipeline.plan.technicians import Window, default_technicians, round_window, skills_of, technician_days
from pipeline.plan.territories import Part, part_problem, solve_round

CANDIDATES = 3
"""Calls looked at, as a multiple of the working time there is; the least worth for their time are left out before."""
FARTHEST_START_MI = 200.0
"""Farther than a day's work from the sites: a start place there is a slip (engineering choice)."""
MOST_NAMED = 5
"""Rows named in one sentence; the page lists every unit left out."""
APPOINTMENTS, TRAVEL = "appointments.csv", "travel.csv"


@dataclass(frozen=True)
class Round:
    """``route_stops``, ``left_out``, sentences for the user, the technician-days, the days of the round, the places."""

    route_stops: pl.DataFrame
    left_out: pl.DataFrame
    notes: tuple[str, ...]
    days: tuple[Day, ...] = ()
    window: Window | None = None
    placed: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PLACES_SCHEMA))


@dataclass(frozen=True)
class Prepared:
    """All that the search needs, and what there is to say before it: who is due, calls, shifts, places, promises."""

    due: pl.DataFrame
    calls: Calls
    days: tuple[Day, ...]
    places: Places | None
    promised: pl.DataFrame
    window: Window | None
    skills: frozenset[str]
    notes: tuple[str, ...]
    placed: pl.DataFrame


def plan_round(
    known: Known,
    settings: Settings,
    *,
    centroids: Centroids,
    appointments: pl.DataFrame,
    travel: pl.DataFrame,
    iterations: int,
) -> Round:
    """Return the plan of the round.

    Parameters
    ----------
    known, settings, centroids, appointments, travel
        As ``prepare_round`` takes them.
    iterations
        Bound on the search; the same bound gives the same plan.

    Notes
    -----
    What is found is held against every rule by ``checker.violations``; a plan that breaks one is not kept.
    """
    ready = prepare_round(known, settings, centroids=centroids, appointments=appointments, travel=travel)
    notes = list(ready.notes)
    if ready.places is None:
        said = _promises_not_kept(ready, ready.calls.left)
        left = left_out(ready.calls.left, ready.due)
        return Round(ROUTE_STOPS_SCHEMA.to_frame(), left, (*notes, *said), (), ready.window, ready.placed)
    chosen = _candidates(ready.calls, ready.days)
    routes, parts = solve_round([ready.calls.stops[n] for n in chosen], ready.days, ready.places, iterations)
    routes = {day: [chosen[n] for n in sequence] for day, sequence in routes.items()}
    routes = dearest_first(ready.calls.stops, ready.days, routes)
    if parts > 1:
        notes.append(f"The round is solved in {parts} territories and improved across their borders. [round]")
    stops, left, said = _frames(ready, ready.places, routes)
    broken = violations(stops, ready.due, ready.promised, left, ready.days, ready.skills, drives_of(ready.places))
    if broken:
        notes.append(f"The plan found breaks {len(broken)} rules and is not kept; first: {broken[0]}. [plan-check]")
        why = dict.fromkeys(ready.due["unit_id"].to_list(), "no plan: the one found breaks a rule")
        stops, left = ROUTE_STOPS_SCHEMA.to_frame(), left_out(why, ready.due)
    return Round(stops, left, (*notes, *said), ready.days, ready.window, ready.placed)


def prepare_round(
    known: Known, settings: Settings, *, centroids: Centroids, appointments: pl.DataFrame, travel: pl.DataFrame
) -> Prepared:
    """Return who is due, as calls at places, and the technician-days they may be made on.

    Parameters
    ----------
    known
        What the store knows; ``sites`` with postal_code, lat, lon, source_file, source_line too.
    settings
        Technicians, hours, values.
    centroids
        Middle of postal codes.
    appointments, travel
        The shop's own files as text, empty where there is none.
    """
    window, notes = round_window(known.as_of, known.season_start, settings.plan)
    technicians, said = default_technicians(settings.technicians)
    notes = [*notes, *said]
    span = window or Window(known.as_of, known.as_of)
    days, said = technician_days(technicians, window, settings.plan) if window else ((), [])
    notes += said
    promised, said = _promised(appointments, known, technicians, span)
    notes += said
    warm = warm_from(known.visits, known.season_start, settings.plan.charge_check_from)
    booked = promised.filter(pl.col("status") == "booked").select("unit_id")
    due = due_units(known, settings, span.first, span.last, warm, booked)
    placed, said = place_sites(known.sites, centroids)
    notes += said
    if not days:
        left = dict.fromkeys(due["unit_id"].to_list(), "nobody works on the days of the round")
        return Prepared(due, Calls((), (), left), (), None, promised, window, frozenset(), tuple(notes), placed)
    notes += _unplaced(known.sites, placed, due)
    places, said = _places(technicians, placed, travel, settings, centroids, due)
    notes += said
    at = {name: n for n, name in enumerate(places.names) if n >= len(technicians)}
    why_not = dict(placed.filter(pl.col("why_not").is_not_null()).select("site_id", "why_not").iter_rows())
    calls = make_calls(due, at, why_not, promised, days, skills_of(technicians), TICKS * 60 / settings.plan.drive_hour)
    return Prepared(due, calls, days, places, promised, window, skills_of(technicians), tuple(notes), placed)


def _promised(
    appointments: pl.DataFrame, known: Known, technicians: Sequence[Technician], window: Window
) -> tuple[pl.DataFrame, list[str]]:
    if appointments.is_empty():
        return APPOINTMENTS_SCHEMA.to_frame(), []
    units, names = set(known.risk["unit_id"]), {technician.name for technician in technicians}
    return read_appointments(appointments, units, names, window, known.as_of, APPOINTMENTS)


def _unplaced(sites: pl.DataFrame, placed: pl.DataFrame, due: pl.DataFrame) -> list[str]:
    """Return a sentence for each site that somebody is due at and that has neither coordinates nor a known code."""
    blank = sites.filter(pl.col("lat").is_null() | pl.col("lon").is_null())
    rows = (
        placed.filter(pl.col("how").is_null())
        .join(due.select("site_id"), on="site_id", how="semi")
        .join(blank.select("site_id", "source_file", "source_line"), on="site_id")
        .sort("source_file", "source_line", "site_id")
        .to_dicts()
    )
    if not rows:
        return []
    at = [
        f"{row['source_file']} line {row['source_line']}, site {row['site_id']}"
        for row in rows[:MOST_NAMED]
        if row["source_line"] is not None
    ]
    more = f" and {len(rows) - len(at)} more" if len(rows) > len(at) else ""
    return [
        f"{'; '.join(at)}{more}: no coordinates, and the postal code is not known; nobody can be sent there. "
        "Give latitude and longitude, or the postal code. [place]"
    ]


def _places(
    technicians: Sequence[Technician],
    placed: pl.DataFrame,
    travel: pl.DataFrame,
    settings: Settings,
    centroids: Centroids,
    due: pl.DataFrame,
) -> tuple[Places, list[str]]:
    """Return start places, then the sites of due units that have a place."""
    notes = []
    there = placed.filter(pl.col("how").is_not_null())
    middle = there.select(pl.col("lat").median(), pl.col("lon").median()).row(0) if there.height else (0.0, 0.0)
    codes = pl.DataFrame({"code": [t.start_postal_code for t in technicians]}).select(five_digits(pl.col("code")))
    wanted = [code for code in codes["code"].to_list() if code is not None]
    known = centroids(wanted) if wanted else {}
    starts: list[Point] = []
    for technician, code in zip(technicians, codes["code"].to_list(), strict=True):
        lat, lon, by_code = technician.start_lat, technician.start_lon, known.get(code) if code else None
        if there.is_empty() and lat is not None and lon is not None:
            start, said = (lat, lon), ""  # nothing to hold it against
        else:
            start, said = _start(technician.name, lat, lon, by_code, middle)
        starts.append(start)
        notes += [said] if said and settings.technicians else []
    sites = there.join(due.select("site_id").unique(), on="site_id", how="semi").sort("site_id")
    names = (*(technician.name for technician in technicians), *sites["site_id"].to_list())
    own, odd = own_drives(travel, names, TRAVEL) if travel.height else ({}, [])
    plan = settings.plan
    return (
        Places(
            names=names,
            lat=np.array([start[0] for start in starts] + sites["lat"].to_list(), dtype=float),
            lon=np.array([start[1] for start in starts] + sites["lon"].to_list(), dtype=float),
            coarse=np.array([False] * len(starts) + (sites["how"] == "postal_code").to_list()),
            ticks_per_mi=ticks_per_mile(plan.speed_mph, plan.detour),
            own=own,
        ),
        [*notes, *odd],
    )


Point = tuple[float, float]


def _start(name: str, lat: float | None, lon: float | None, by_code: Point | None, sites: Point) -> tuple[Point, str]:
    """Return where a technician starts, and what is odd about it (blank: nothing)."""
    said = f"settings.toml, technicians: the start place of {name}"
    if lat is None or lon is None:
        if by_code is not None:
            return by_code, ""
        used = "the middle of the sites is used. Give start_lat and start_lon"
        return sites, f"{said} is not known; {used}. [technicians]"
    if _miles((lat, lon), sites) <= FARTHEST_START_MI:
        return (lat, lon), ""
    if -90 <= lon <= 90 and _miles((lon, lat), sites) <= NEAR_MI:
        way = "has latitude and longitude the other way round and is used so"
        return (lon, lat), f"{said} {way}. Exchange them. [technicians]"
    return sites, (
        f"{said}, {lat:g}, {lon:g}, lies more than {FARTHEST_START_MI:g} miles from the sites; their middle is used. "
        "Correct start_lat and start_lon. [technicians]"
    )


def _miles(a: tuple[float, float], b: tuple[float, float]) -> float:
    return float(pl.select(great_circle_mi(*(pl.lit(x) for x in (*a, *b)))).item())


def _candidates(calls: Calls, days: Sequence[Day]) -> list[int]:
    """Return the calls that are looked at: all, unless they are many times what the hours hold."""
    order = sorted(
        range(len(calls.stops)),
        key=lambda n: (
            calls.stops[n].booking is None,
            not calls.stops[n].required,
            -calls.stops[n].worth / max(calls.stops[n].service, 1),
            n,
        ),
    )
    total = np.cumsum([calls.stops[n].service for n in order])
    room = CANDIDATES * sum(day.work_limit for day in days)
    return sorted(n for n, done in zip(order, total, strict=True) if done <= room)


def _frames(ready: Prepared, places: Places, routes: Routes) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """Return stops and units left out, and a sentence for each appointment not kept."""
    calls, days = ready.calls, ready.days
    free = [day.work_limit for day in days]
    sequences = []
    for number, route in routes.items():
        problem = part_problem(calls.stops, days, places, Part(tuple(route), (number,)))
        order = list(range(len(route)))
        timed = time_day(problem, problem.days[0], order)
        free[number] -= timed.work if timed is not None else 0
        units = [calls.units[n] for n in route]
        sequences.append(route_stops(problem, {0: order}, units, ready.due, ready.promised))
    served = {n for sequence in routes.values() for n in sequence}
    why = dict(calls.left)
    starts = [day.start_place for day in days]
    for index in [n for n in range(len(calls.stops)) if n not in served]:
        rows = sorted({*starts, calls.stops[index].place})
        travel = travel_between(places, rows)
        number_of = {place: k for k, place in enumerate(rows)}
        there = number_of[calls.stops[index].place]
        home = np.array([travel[number_of[s], there] + travel[there, number_of[s]] for s in starts], dtype=np.int64)
        reason = why_left(index, calls, days, free, home)
        if calls.stops[index].booking is not None:
            reason = _why_not_kept(index, ready, places, routes) or reason
        why |= dict.fromkeys(calls.units[index], reason)
    frame = pl.concat(sequences) if sequences else ROUTE_STOPS_SCHEMA.to_frame()
    return frame.sort("technician", "date", "stop"), left_out(why, ready.due), _promises_not_kept(ready, why)


def _why_not_kept(index: int, ready: Prepared, places: Places, routes: Routes) -> str | None:
    """Return which other appointments a booked call clashes with, if a shift could reach it by itself."""
    stops, days = ready.calls.stops, ready.days
    alone = [n for n, day in enumerate(days) if may_serve(day, stops[index]) and _keeps(stops, days, places, n, index)]
    others = [k for n in alone for k in routes.get(n, ()) if stops[k].booking is not None]
    if not others:
        return None
    units = [unit for k in others for unit in ready.calls.units[k]]
    lines = ready.promised.filter(pl.col("unit_id").is_in(units)).sort("source_line")["source_line"].to_list()
    named = ", ".join(str(line) for line in lines)
    booking = stops[index].booking
    assert booking is not None
    return f"booked on {booking.date}, and the appointments of line {named} leave no time for it"


def _keeps(stops: Sequence[Stop], days: Sequence[Day], places: Places, day: int, index: int) -> bool:
    problem = part_problem(stops, days, places, Part((index,), (day,)))
    return time_day(problem, problem.days[0], [0]) is not None


def _promises_not_kept(ready: Prepared, why: Mapping[str, str]) -> list[str]:
    """Return a sentence for each appointment of these days that is on no route; others were told when it was read."""
    if ready.window is None:
        return []
    here = ready.promised.filter(
        (pl.col("status") == "booked")
        & pl.col("date").is_between(ready.window.first, ready.window.last)
        & pl.col("unit_id").is_in(list(why))
    )
    return [
        f"{APPOINTMENTS} line {row['source_line']}, unit {row['unit_id']}: {why[row['unit_id']]}; it is left out of "
        "the round. Change the day, the hours, the technician or the shift. [appointment]"
        for row in here.iter_rows(named=True)
    ]


def drives_of(places: Places) -> Drive:
    """Return minutes of any drive by the names of its places."""
    number = {name: n for n, name in enumerate(places.names)}

    def minutes(start: str, end: str) -> float:
        return float(travel_between(places, [number[start], number[end]])[0, 1]) / TICKS

    return minutes
