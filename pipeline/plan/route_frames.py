"""From routes to the frames that the pages, lists and views read."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.plan.calls import Calls
from pipeline.plan.frames import LEFT_OUT_SCHEMA, ROUTE_STOPS_SCHEMA
from pipeline.plan.problem import TICKS, Day, Problem, Routes, Ticks, may_serve
from pipeline.plan.schedule import time_day


def clock(ticks: int) -> str:
    """Return HH:MM of ticks after midnight, the minute begun."""
    minutes = ticks // TICKS
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def route_stops(
    problem: Problem, routes: Routes, units: Sequence[Sequence[str]], due: pl.DataFrame, booked: pl.DataFrame
) -> pl.DataFrame:
    """Return one row per unit on a route (``ROUTE_STOPS_SCHEMA``).

    Further units of a call follow each other without a drive, each with its own stop number and time.

    Parameters
    ----------
    problem, routes
        Routes by number of day and stop.
    units
        Units of each stop of the problem, in the order served.
    due, booked
        ``DUE_SCHEMA``, ``APPOINTMENTS_SCHEMA``.
    """
    facts = {row["unit_id"]: row for row in due.iter_rows(named=True)}
    promised = set(booked.filter(pl.col("status") == "booked")["unit_id"])
    rows = []
    for number, sequence in routes.items():
        day = problem.days[number]
        timed = time_day(problem, day, sequence)
        if timed is None:
            raise ValueError(f"the route of {day.technician} on {day.date} keeps no clock")
        stop = 0
        for index, arrival, drive in zip(sequence, timed.arrivals, timed.drives, strict=True):
            now, way = arrival, drive
            for unit in units[index]:
                fact, stop = facts[unit], stop + 1
                rows.append(
                    {
                        "technician": day.technician,
                        "date": day.date,
                        "stop": stop,
                        "unit_id": unit,
                        "arrive": clock(now),
                        "service_minutes": fact["service_minutes"],
                        "drive_minutes": way / TICKS,
                        "reasons": fact["reasons"],
                        "site_id": fact["site_id"],
                        "work": fact["work"],
                        "value": fact["value"],
                        "status": "booked" if unit in promised else "to_book",
                        "truck": day.truck,
                    }
                )
                now, way = now + round(fact["service_minutes"] * TICKS), 0
    return pl.DataFrame(rows, schema=ROUTE_STOPS_SCHEMA).sort("technician", "date", "stop")


def left_out(why: dict[str, str], due: pl.DataFrame) -> pl.DataFrame:
    """Return the units due that are on no route, dearest first (``LEFT_OUT_SCHEMA``)."""
    reasons = pl.DataFrame(
        {"unit_id": list(why), "why": list(why.values())}, schema={"unit_id": pl.String, "why": pl.String}
    )
    return (
        reasons.join(due.select("unit_id", "value"), on="unit_id", how="left")
        .select(LEFT_OUT_SCHEMA.names())
        .cast(LEFT_OUT_SCHEMA)
        .sort(["value", "unit_id"], descending=[True, False], nulls_last=True)
    )


def why_left(index: int, calls: Calls, days: Sequence[Day], free: Sequence[int], home: Ticks) -> str:
    """Return why a call is on no route.

    Parameters
    ----------
    index
        The call.
    calls, days
        What was planned.
    free
        Working time [ticks] left on each day below its limit.
    home
        Drive there and back [ticks] from each day's start place.
    """
    stop = calls.stops[index]
    if stop.booking is not None:
        return f"booked on {stop.booking.date}, and no shift can reach it in its hours"
    able = [n for n, day in enumerate(days) if may_serve(day, stop)]
    if not any(stop.service + int(home[n]) <= days[n].work_limit for n in able):
        return "no working day is long enough for the way and the service together"
    if stop.required or not any(stop.service + int(home[n]) <= free[n] for n in able):
        return "no hours left: they went to calls worth more for their time"
    return "the way there costs more than going before the season saves"
