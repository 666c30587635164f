"""The records that a reason rests on, with their file and line."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.advice import Reason
from reports.format import MONTHS, SECTIONS, day

Row = Mapping[str, Any]

MOST_SHOWN = 4
_DATE = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(MONTHS)}) (\d{{4}})\b")
_CALLS = re.compile(r"no-cooling calls? in (\d+) years?|no-cooling call\(s\) in (\d+) years?")


@dataclass(frozen=True)
class Source:
    """One record behind a reason: what it is, and where it stands."""

    what: str
    file: str
    line: int


@dataclass(frozen=True)
class Backed:
    """A reason with the records it rests on."""

    reason: Reason
    sources: tuple[Source, ...]


def backed(reasons: Iterable[Reason], unit: Row, rows: Mapping[str, Sequence[Row]]) -> tuple[Backed, ...]:
    """Return each reason with its records.

    Parameters
    ----------
    reasons
        Reasons of one unit, their dates as ``3 Feb 2025``.
    unit
        Row of the query ``unit``.
    rows
        Rows of the unit by page query: capacitor readings, charge readings, visits.

    Notes
    -----
    A reason names the day it rests on; the records are those of that day: readings of the section named, else charge
    readings where it names superheat or subcooling, else the visit.
    """
    return tuple(Backed(reason, tuple(_sources(reason, unit, rows))[:MOST_SHOWN]) for reason in reasons)


def _sources(reason: Reason, unit: Row, rows: Mapping[str, Sequence[Row]]) -> Iterable[Source]:
    text = reason.text
    days = {match.group() for match in _DATE.finditer(text)}
    found = [row for row in _kind(text, rows) if day(row["visit_date"]) in days]
    yield from _once(("reading of " if "read" in text else "visit of ", row) for row in found)
    calls = _CALLS.search(text)
    if calls and unit["as_of"]:
        since = unit["as_of"] - dt.timedelta(days=round(365.25 * int(calls.group(1) or calls.group(2))))
        yield from _once(
            ("call of ", row)
            for row in rows["unit_visits"]
            if row["visit_type"] == "no_cooling" and row["visit_date"] >= since
        )
    if "years old" in text and unit["source_file"]:
        yield Source("age from the register", unit["source_file"], unit["source_line"])


def _kind(text: str, rows: Mapping[str, Sequence[Row]]) -> Sequence[Row]:
    section = next((key for key, name in SECTIONS.items() if f"{name} section" in text), None)
    if section:
        return [row for row in rows["unit_capacitor_readings"] if row["section"] == section]
    if "superheat" in text or "subcooling" in text:
        return rows["unit_charge_readings"]
    return rows["unit_visits"]


def _once(rows: Iterable[tuple[str, Row]]) -> Iterable[Source]:
    seen = set()
    for what, row in rows:
        place = (row["source_file"], row["source_line"])
        if row["source_file"] and place not in seen:
            seen.add(place)
            yield Source(what + day(row["visit_date"]), *place)
