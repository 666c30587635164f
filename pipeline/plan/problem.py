"""The round as numbers: stops, technician-days and travel times, all in ticks of a tenth of a minute."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

TICKS = 10
"""Ticks in a minute: times are whole numbers for the solver and exact in the frames."""

Ticks = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Day:
    """One technician on one date: a route that begins and ends at ``start_place``.

    ``opens`` and ``closes`` are ticks after midnight; ``lunch`` ticks are taken at the first pause between two stops
    from ``lunch_from`` on; ``work_limit`` bounds driving and service together, so that the rest of the day stays free.
    """

    technician: str
    date: dt.date
    start_place: int
    opens: int
    closes: int
    work_limit: int
    lunch: int = 0
    lunch_from: int = 0
    skills: frozenset[str] = frozenset()
    truck: str = ""
    capacity: int | None = None


@dataclass(frozen=True)
class Booking:
    """What a customer was promised: a date, an arrival between ``opens`` and ``closes`` [ticks], maybe by whom."""

    date: dt.date
    opens: int
    closes: int
    technician: str | None = None


@dataclass(frozen=True)
class Stop:
    """One call at an address, for one unit or several.

    ``worth`` is what the stop may cost in driving before it is left out [ticks]; ``required`` stops come before any
    that are not, booked ones before all.
    """

    place: int
    service: int
    worth: int = 0
    required: bool = False
    needs: frozenset[str] = frozenset()
    earliest: dt.date | None = None
    latest: dt.date | None = None
    booking: Booking | None = None
    load: int = 0


@dataclass(frozen=True)
class Problem:
    """``travel`` [ticks] is square over the places; ``days`` are sorted by date, then technician."""

    stops: tuple[Stop, ...]
    days: tuple[Day, ...]
    travel: Ticks = field(repr=False)


Routes = dict[int, list[int]]
"""Day → stops in the order driven; a day without a stop is not in it."""


def may_serve(day: Day, stop: Stop) -> bool:
    """Return whether the day's technician and date are right for the stop, whatever the hours."""
    if stop.booking is not None and (
        stop.booking.date != day.date or stop.booking.technician not in (None, day.technician)
    ):
        return False
    early = stop.earliest is not None and day.date < stop.earliest
    late = stop.latest is not None and day.date > stop.latest
    return stop.needs <= day.skills and not early and not late
