"""Calendar files read back with the library that calendars are read with (RFC 5545)."""

from __future__ import annotations

import datetime as dt

import polars as pl
from icalendar import Calendar

from pipeline.plan.calendar import calendars
from pipeline.plan.frames import ROUTE_STOPS_SCHEMA

STOPS = pl.DataFrame(
    [
        {
            "technician": "Ida",
            "date": dt.date(2026, 3, 16),
            "stop": 1,
            "unit_id": "U-1",
            "arrive": "08:20",
            "service_minutes": 45.0,
            "drive_minutes": 12.0,
            "reasons": "line\nEND:VCALENDAR; one, two",
            "status": "booked",
        }
    ],
    schema=ROUTE_STOPS_SCHEMA,
)
SITES = pl.DataFrame(
    {
        "unit_id": ["U-1"],
        "customer_name": ["E. Moss"],
        "address": ["1 Quay St"],
        "city": ["Ellery"],
        "phone": ["555 0100"],
    }
)


def test_an_entry_per_stop_at_its_hour():
    [event] = Calendar.from_ical(calendars(STOPS, SITES, dt.date(2026, 3, 14))["Ida"]).walk("VEVENT")
    assert event.decoded("dtstart") == dt.datetime(2026, 3, 16, 8, 20)
    assert event.decoded("dtend") == dt.datetime(2026, 3, 16, 9, 5)
    assert str(event["summary"]) == "1. U-1, E. Moss"
    assert str(event["status"]) == "CONFIRMED"
    # a line break in a reason cannot end the calendar
    assert "END:VCALENDAR; one, two" in str(event["description"])


def test_without_names_nobody_is_named():
    text = calendars(STOPS, SITES, dt.date(2026, 3, 14), no_names=True)["Ida"].decode()
    assert not any(word in text for word in ("Moss", "Quay", "0100", "LOCATION"))


def test_the_same_plan_gives_the_same_bytes():
    assert calendars(STOPS, SITES, dt.date(2026, 3, 14)) == calendars(STOPS, SITES, dt.date(2026, 3, 14))
