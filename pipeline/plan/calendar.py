"""Calendar files of the round (RFC 5545), one per technician."""

from __future__ import annotations

import datetime as dt
import hashlib

import polars as pl
from icalendar import Calendar, Event

PRODUCT = "-//preseason//spring round//EN"
_UID_DOMAIN = "preseason.invalid"


def calendars(stops: pl.DataFrame, sites: pl.DataFrame, as_of: dt.date, *, no_names: bool = False) -> dict[str, bytes]:
    """Return the calendar file of each technician.

    Parameters
    ----------
    stops
        ``ROUTE_STOPS_SCHEMA``.
    sites
        unit_id, customer_name, address, city, phone.
    as_of
        Stamp of every entry: the same plan gives the same bytes.
    no_names
        Leave out name, phone and street.

    Notes
    -----
    Times are local without a zone (RFC 5545, 3.3.5, form 1): nine o'clock is nine on the technician's own clock.
    """
    made: dict[str, bytes] = {}
    joined = stops.join(sites.unique("unit_id"), on="unit_id", how="left").sort("technician", "date", "stop")
    for (technician,), rows in joined.partition_by("technician", as_dict=True, maintain_order=True).items():
        calendar = Calendar()
        calendar.add("prodid", PRODUCT)
        calendar.add("version", "2.0")
        calendar.add("x-wr-calname", f"Spring round, {technician}")
        for row in rows.iter_rows(named=True):
            calendar.add_component(_event(row, as_of, no_names))
        made[str(technician)] = calendar.to_ical()
    return made


def _event(row: dict[str, object], as_of: dt.date, no_names: bool) -> Event:
    hour, minute = (int(part) for part in str(row["arrive"] or "00:00").split(":"))
    date = row["date"]
    assert isinstance(date, dt.date)
    start = dt.datetime.combine(date, dt.time(hour % 24, minute))
    event = Event()
    key = f"{row['technician']}|{date}|{row['unit_id']}"
    event.add("uid", f"{hashlib.sha256(key.encode('utf-8', 'replace')).hexdigest()[:20]}@{_UID_DOMAIN}")
    event.add("dtstamp", dt.datetime.combine(as_of, dt.time(), dt.UTC))
    event.add("dtstart", start)
    event.add("dtend", start + dt.timedelta(minutes=float(str(row["service_minutes"] or 30))))
    booked = row["status"] == "booked"
    who = "" if no_names or not row["customer_name"] else f", {row['customer_name']}"
    event.add("summary", f"{row['stop']}. {row['unit_id']}{who}" + ("" if booked else " (to book)"))
    event.add("status", "CONFIRMED" if booked else "TENTATIVE")
    lines = [str(row["reasons"] or "")]
    if not no_names:
        if row["address"] or row["city"]:
            event.add("location", ", ".join(str(row[name]) for name in ("address", "city") if row[name]))
        lines += [f"Phone {row['phone']}"] if row["phone"] else []
    event.add("description", "\n".join(line for line in lines if line))
    return event
