"""From due units to calls at an address: who is served together, what was promised, and who cannot be driven to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.plan.problem import TICKS, Booking, Day, Stop, may_serve


@dataclass(frozen=True)
class Calls:
    """``stops`` and, for each, its units in the order served; ``left`` is unit → why it is in none."""

    stops: tuple[Stop, ...]
    units: tuple[tuple[str, ...], ...]
    left: dict[str, str]


def make_calls(
    due: pl.DataFrame,
    places: Mapping[str, int],
    why_not: Mapping[str, str],
    booked: pl.DataFrame,
    days: Sequence[Day],
    skills: frozenset[str],
    ticks_per_value: float,
) -> Calls:
    """Return the calls that make up the round.

    Parameters
    ----------
    due
        ``DUE_SCHEMA``.
    places
        site_id → number of its place.
    why_not
        site_id → why it has none.
    booked
        Appointments (``APPOINTMENTS_SCHEMA``).
    days
        Technician-days.
    skills
        Skills that anybody in the settings has: a unit needs those among its words.
    ticks_per_value
        Driving [ticks] that one unit of the shop's currency pays for.

    Notes
    -----
    Units at one address are one call, as far as one technician's day holds them; what is booked for another hour is a
    call of its own. Units without an hour go along with a booked one where the day leaves room.
    """
    hours = {row["unit_id"]: row for row in booked.iter_rows(named=True)}
    left: dict[str, str] = {}
    groups: _Groups = {}
    for row in due.iter_rows(named=True):
        unit, site = row["unit_id"], row["site_id"]
        row["needs"] = skills & frozenset(row["words"])
        promise = hours.get(unit)
        why = _why_not(row, places, why_not, promise, days)
        if why is not None:
            left[unit] = why
            continue
        hour = None
        if promise is not None and promise["status"] == "booked":
            hour = (promise["date"], promise["opens"], promise["closes"], promise["technician"])
        groups.setdefault((site, hour), []).append(row)
    room = max((day.work_limit for day in days), default=0)
    stops: list[Stop] = []
    units: list[tuple[str, ...]] = []
    for key, rows in _joined(groups, room).items():
        for together in _fitting(rows, room, days, key[1]):
            stops.append(_stop(together, places[key[0]], key[1], days, ticks_per_value))
            units.append(tuple(row["unit_id"] for row in together))
    return Calls(tuple(stops), tuple(units), left)


def _why_not(
    row: Mapping[str, Any],
    places: Mapping[str, int],
    why_not: Mapping[str, str],
    promise: Mapping[str, Any] | None,
    days: Sequence[Day],
) -> str | None:
    """Return why a unit is in no call, if so."""
    if promise is not None and promise["status"] == "declined":
        return "the customer declined the visit"
    if promise is not None and promise["status"] == "unreadable":
        return "booked, and the hours in appointments.csv cannot be read"
    if row["site_id"] is None:
        return "no place: the unit has no address"
    if row["site_id"] not in places:
        return f"no place: site {row['site_id']}: {why_not.get(row['site_id'], 'it is not among the sites')}"
    if promise is not None and promise["status"] == "booked":
        first, last = min(day.date for day in days), max(day.date for day in days)
        outside = not first <= promise["date"] <= last
        return f"booked on {promise['date']}, which is not in this round" if outside else None
    if not any(may_serve(day, _plain(row)) for day in days):
        missing = sorted(row["needs"])
        if missing and not any(row["needs"] <= day.skills for day in days):
            return f"nobody at work in these weeks has the skill {' and '.join(missing)}"
        span = f"{row['earliest'] or 'the first day'} and {row['latest'] or 'the last day'}"
        return f"nobody who may do it works between {span}"
    return None


def _plain(row: Mapping[str, Any]) -> Stop:
    return Stop(place=0, service=0, needs=row["needs"], earliest=row["earliest"], latest=row["latest"])


_Groups = dict[tuple[str, tuple[Any, ...] | None], list[dict[str, Any]]]


def _joined(groups: _Groups, room: int) -> _Groups:
    """Return the groups with units that have no hour put to the first booked ones at their address, if they fit."""
    made = {key: list(rows) for key, rows in groups.items()}
    for site, promise in sorted(key for key in groups if key[1] is None):
        hosts = sorted((key for key in made if key[0] == site and key[1] is not None), key=lambda key: str(key[1]))
        rows = made[(site, promise)]
        for host in hosts[:1]:
            day = host[1][0] if host[1] else None
            along = [row for row in rows if _open_on(row, day) and not row["needs"]]
            if sum(_ticks(row) for row in made[host] + along) <= room // 2:
                made[host] = made[host] + along
                made[(site, promise)] = [row for row in rows if row not in along]
        if not made[(site, promise)]:
            del made[(site, promise)]
    return made


def _open_on(row: Mapping[str, Any], day: dt.date | None) -> bool:
    if day is None:
        return False
    return (row["earliest"] is None or row["earliest"] <= day) and (row["latest"] is None or row["latest"] >= day)


def _fitting(
    rows: list[dict[str, Any]], room: int, days: Sequence[Day], promise: tuple[Any, ...] | None
) -> list[list[dict[str, Any]]]:
    """Return the rows parted so that one technician's day holds each part."""
    if promise is not None:
        return [rows]
    parts: list[list[dict[str, Any]]] = [[]]
    for row in sorted(rows, key=lambda row: (not row["required"], row["unit_id"])):
        wanted = [*parts[-1], row]
        holds = sum(_ticks(one) for one in wanted) <= room * 4 // 5 and any(
            may_serve(day, _merged(wanted)) for day in days
        )
        if parts[-1] and not holds:
            parts.append([row])
        else:
            parts[-1] = wanted
    return parts


def _merged(rows: Sequence[Mapping[str, Any]]) -> Stop:
    earliest = [row["earliest"] for row in rows if row["earliest"] is not None]
    latest = [row["latest"] for row in rows if row["latest"] is not None]
    return Stop(
        place=0,
        service=sum(_ticks(row) for row in rows),
        needs=frozenset().union(*(row["needs"] for row in rows)),
        earliest=max(earliest, default=None),
        latest=min(latest, default=None),
        required=any(row["required"] for row in rows),
    )


def _stop(
    rows: Sequence[Mapping[str, Any]],
    place: int,
    promise: tuple[Any, ...] | None,
    days: Sequence[Day],
    ticks_per_value: float,
) -> Stop:
    merged = _merged(rows)
    booking = None
    if promise is not None:
        date, opens, closes, technician = promise
        shifts = [day for day in days if day.date == date]
        booking = Booking(
            date=date,
            opens=min((day.opens for day in shifts), default=0) if opens is None else opens * TICKS,
            closes=max((day.closes for day in shifts), default=0) if closes is None else closes * TICKS,
            technician=technician,
        )
    return Stop(
        place=place,
        service=merged.service,
        worth=round(sum(row["value"] for row in rows) * ticks_per_value),
        required=merged.required,
        # what was promised is kept whoever is certified: the customer was told a day
        needs=merged.needs,
        earliest=None if booking else merged.earliest,
        latest=None if booking else merged.latest,
        booking=booking,
    )


def _ticks(row: Mapping[str, Any]) -> int:
    return round(float(row["service_minutes"]) * TICKS)
