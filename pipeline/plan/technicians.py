"""Who can go on which day, as technician-days with their hours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.config import WEEKDAYS, Plan, Season, Technician, clock_minutes
from pipeline.plan.problem import TICKS, Day

DEFAULT_NAME = "Technician 1"
IN_SEASON_WEEKS = 6
"""Length of a round that is asked for when the season is on or past (engineering choice)."""


@dataclass(frozen=True)
class Window:
    """First and last day of the round."""

    first: dt.date
    last: dt.date


def round_window(as_of: dt.date, season_start: dt.date, plan: Plan) -> tuple[Window | None, list[str]]:
    """Return the days of the round and what there is to say of them; None where none is left.

    Parameters
    ----------
    as_of
        Nothing is planned on it or before.
    season_start
        First day of the season in question.
    plan
        ``first_day`` and ``last_day`` are kept where given, else the ``weeks`` before the season.
    """
    tomorrow = as_of + dt.timedelta(days=1)
    last = season_start - dt.timedelta(days=1) if plan.last_day == "" else plan.last_day
    notes = []
    if not plan.last_day and last < tomorrow:
        weeks = min(IN_SEASON_WEEKS, plan.weeks)
        last = tomorrow + dt.timedelta(weeks=weeks, days=-1)
        notes.append(f"The season has begun: the round is planned for the {weeks} weeks from {tomorrow}. [round]")
    earliest = max(tomorrow, last - dt.timedelta(weeks=plan.weeks, days=-1))
    first = earliest if plan.first_day == "" else plan.first_day
    if first < tomorrow:
        notes.append(
            f"The round cannot begin on {first}: the last visit known is of {as_of}; it begins on {tomorrow}. [round]"
        )
        first = tomorrow
    if first > last:
        notes.append(
            f"No day is left between {first} and {last}: give the round other days with --from and --to. [round]"
        )
        return None, notes
    return Window(first, last), notes


def default_technicians(given: Sequence[Technician]) -> tuple[tuple[Technician, ...], list[str]]:
    """Return the technicians of the settings, or one in their place, and say so."""
    if given:
        return tuple(given), []
    note = (
        "settings.toml names no technicians: the round is planned for one who starts at the middle of the sites; "
        "add a [[technicians]] block each. [technicians]"
    )
    return (Technician(name=DEFAULT_NAME),), [note]


def technician_days(technicians: Sequence[Technician], window: Window, plan: Plan) -> tuple[tuple[Day, ...], list[str]]:
    """Return the days that each technician works in the window, by date and then in the order given.

    ``start_place`` is the technician's number. A technician with no day is named in a sentence.
    """
    length = (window.last - window.first).days + 1
    dates = [window.first + dt.timedelta(days=n) for n in range(length)]
    days = [
        _day(technician, number, date, plan)
        for date in dates
        for number, technician in enumerate(technicians)
        if WEEKDAYS[date.weekday()] in (technician.days or plan.days)
        and date not in technician.days_off
        and date not in plan.days_off
    ]
    at_work = {day.technician for day in days}
    notes = [
        f"settings.toml, technicians: {technician.name} has no working day from {window.first} to {window.last} "
        "and is left out of the round; check days and days_off. [technicians]"
        for technician in technicians
        if technician.name not in at_work
    ]
    return tuple(days), notes


def skills_of(technicians: Sequence[Technician]) -> frozenset[str]:
    """Return every skill that anybody has, in lower case."""
    return frozenset(skill.strip().lower() for each in technicians for skill in each.skills if skill.strip())


def season_ahead(as_of: dt.date, season: Season) -> dt.date:
    """Return the first day of the season that is on at ``as_of`` or comes next."""
    for year in range(as_of.year - 1, as_of.year + 2):
        start, end = _on(season.start, year), _on(season.end, year)
        end = end if end >= start else _on(season.end, year + 1)
        if end > as_of:
            return start
    return _on(season.start, as_of.year + 2)


def _on(month_day: str, year: int) -> dt.date:
    month, day = (int(part) for part in month_day.split("-"))
    try:
        return dt.date(year, month, day)
    except ValueError:  # 29 February in a common year
        return dt.date(year, month + 1, 1)


def _day(technician: Technician, number: int, date: dt.date, plan: Plan) -> Day:
    opens, closes = (clock_minutes(part) * TICKS for part in (technician.hours or plan.hours).split("-"))
    lunch_from = clock_minutes(plan.lunch_from) * TICKS
    lunch = plan.lunch_minutes * TICKS
    lunch = lunch if opens < lunch_from and lunch_from + lunch < closes else 0
    return Day(
        technician=technician.name,
        date=date,
        start_place=number,
        opens=opens,
        closes=closes,
        work_limit=int((closes - opens - lunch) * (100 - plan.free_share_pct) / 100),
        lunch=lunch,
        lunch_from=lunch_from,
        skills=skills_of([technician]),
        truck=technician.truck or technician.name,
    )
