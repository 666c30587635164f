"""Holds a finished plan against everything it must keep, from its frame alone and not from the way it was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.config import clock_minutes
from pipeline.plan.problem import TICKS, Day

Drive = Callable[[str, str], float]
"""Minutes between two sites, or a technician's start place (its name) and a site."""
SLACK_MINUTES = 1.0
"""Times of arrival are written to the minute begun."""


def violations(
    stops: pl.DataFrame,
    due: pl.DataFrame,
    booked: pl.DataFrame,
    left: pl.DataFrame,
    days: Sequence[Day],
    skills: frozenset[str],
    drive: Drive,
) -> list[str]:
    """Return a sentence for everything that the plan does not keep; empty where it is right.

    Parameters
    ----------
    stops, left
        ``ROUTE_STOPS_SCHEMA``, ``LEFT_OUT_SCHEMA``.
    due, booked
        ``DUE_SCHEMA``, ``APPOINTMENTS_SCHEMA``.
    days
        Technician-days that may be driven.
    skills
        Skills that anybody has: needed where a unit's words name them.
    drive
        Minutes of any drive.
    """
    found = _each_once(stops, due, left)
    shifts = {(day.technician, day.date): day for day in days}
    facts = {row["unit_id"]: row for row in due.iter_rows(named=True)}
    promised = {row["unit_id"]: row for row in booked.iter_rows(named=True) if row["status"] == "booked"}
    for route in stops.partition_by("technician", "date", maintain_order=True):
        technician, date = route.row(0)[:2]
        day = shifts.get((technician, date))
        where = f"{technician} on {date}"
        if day is None:
            found.append(f"{where} does not work")
            continue
        rows = route.sort("stop").to_dicts()
        if [row["stop"] for row in rows] != list(range(1, len(rows) + 1)):
            found.append(f"{where}: stops are not numbered 1, 2, ...")
        found += [
            f"{where}, unit {row['unit_id']}: {what}"
            for row in rows
            for what in _unit(row, day, facts, promised, skills)
        ]
        found += [f"{where}: {what}" for what in _clock(rows, day, promised, drive)]
    return found


def _each_once(stops: pl.DataFrame, due: pl.DataFrame, left: pl.DataFrame) -> list[str]:
    placed = pl.concat([stops.select("unit_id"), left.select("unit_id")])
    twice = placed.filter(pl.col("unit_id").is_duplicated())["unit_id"].unique().sort().to_list()
    lost = due.join(placed, on="unit_id", how="anti")["unit_id"].to_list()
    extra = placed.join(due, on="unit_id", how="anti")["unit_id"].to_list()
    return (
        [f"unit {unit} is in the plan more than once" for unit in twice]
        + [f"unit {unit} is due and neither on a route nor left out" for unit in lost]
        + [f"unit {unit} is in the plan and not due" for unit in extra]
    )


def _unit(
    row: Mapping[str, Any], day: Day, facts: Mapping[str, Any], promised: Mapping[str, Any], skills: frozenset[str]
) -> list[str]:
    """Return what is wrong with who, when and what for one unit."""
    fact, promise = facts.get(row["unit_id"]), promised.get(row["unit_id"])
    if fact is None:
        return []
    wrong = []
    missing = (skills & frozenset(fact["words"])) - day.skills
    if missing:
        wrong.append(f"the skill {' and '.join(sorted(missing))} is missing")
    if row["service_minutes"] != fact["service_minutes"]:
        wrong.append("the service time is not that of its work")
    if (row["status"] == "booked") != (promise is not None):
        wrong.append(f"its status is {row['status']}")
    if promise is None:
        if fact["earliest"] is not None and row["date"] < fact["earliest"]:
            wrong.append(f"it is not to be visited before {fact['earliest']}")
        if fact["latest"] is not None and row["date"] > fact["latest"]:
            wrong.append(f"it is to be visited by {fact['latest']}")
        return wrong
    arrive = clock_minutes(row["arrive"])
    if row["date"] != promise["date"]:
        wrong.append(f"it is booked on {promise['date']}")
    if promise["technician"] not in (None, day.technician):
        wrong.append(f"it is booked with {promise['technician']}")
    shared = row["drive_minutes"] == 0 and row["stop"] > 1  # a further unit waits for the one before
    if not shared and not (promise["opens"] or 0) <= arrive <= (
        24 * 60 if promise["closes"] is None else promise["closes"]
    ):
        wrong.append(f"{row['arrive']} is not within its hours")
    return wrong


def _clock(rows: Sequence[Mapping[str, Any]], day: Day, promised: Mapping[str, Any], drive: Drive) -> list[str]:
    """Return what is wrong with the drives, the order of arrivals, the end of the shift and the free share."""
    wrong: list[str] = []
    now, place, work = day.opens / TICKS, day.technician, 0.0
    spare = 0.0
    for row in rows:
        same = row["site_id"] == place
        way = 0.0 if same else drive(place, row["site_id"])
        if abs(way - row["drive_minutes"]) > 1e-6:
            wrong.append(f"stop {row['stop']}: the drive takes {way:g} minutes, not {row['drive_minutes']:g}")
        arrive = clock_minutes(row["arrive"])
        if arrive + SLACK_MINUTES < now + way - 1e-6:
            wrong.append(f"stop {row['stop']}: {row['arrive']} cannot be reached")
        if now < day.lunch_from / TICKS + SLACK_MINUTES <= arrive + 2 * SLACK_MINUTES or now >= day.lunch_from / TICKS:
            spare = max(spare, arrive - now - way)
        now = max(now + way, arrive) + row["service_minutes"]
        work += way + row["service_minutes"]
        place = row["site_id"]
    home = drive(place, day.technician)
    back = now + home
    ate_later = back + day.lunch / TICKS <= day.closes / TICKS + SLACK_MINUTES
    before_noon = back <= day.lunch_from / TICKS + SLACK_MINUTES
    if back > day.closes / TICKS + SLACK_MINUTES:
        wrong.append("the shift ends before the way home does")
    if day.lunch and not before_noon and not ate_later and spare < day.lunch / TICKS - SLACK_MINUTES:
        wrong.append("no time is left for lunch")
    if work + home > day.work_limit / TICKS + 1e-6 and not any(row["unit_id"] in promised for row in rows):
        wrong.append(f"{work + home:g} minutes of work leave less free than the share to be kept")
    return wrong
