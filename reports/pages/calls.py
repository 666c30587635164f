"""Whom to call before anybody drives there."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.format import count, day_near
from reports.page import Page, Site
from reports.round_words import WEEKDAYS, Row

PAGE = Page(slug="calls", title="Calls", order=24, queries={"calls": ()})
STATUS_WORDS = {
    "to_book": "to book",
    "no_answer": "no answer yet",
    "booked": "booked",
    "declined": "declined",
}
MOST_CALLS = 600
"""Rows on the page: more than an office calls in a season's weeks; ``lists/calls.csv`` has every one."""


@dataclass(frozen=True)
class Calls:
    """Everything the page shows; ``rows`` in the order to call, ``left`` more of them in the list alone."""

    heading: str
    lead: str
    rows: tuple[Row, ...]
    left: int
    statuses: tuple[str, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Calls:
    """Return the page's context from the marts' frames."""
    frame = frames["calls"]
    counts = {status: frame.filter(pl.col("status") == status).height for status in STATUS_WORDS}
    said = ", ".join(f"{n} {STATUS_WORDS[status]}" for status, n in counts.items() if n)
    rows = tuple(
        {
            **row,
            "status_words": STATUS_WORDS.get(row["status"], row["status"]),
            "planned": _planned(row, site.as_of),
            "near_words": _near(row, site.as_of),
        }
        for row in frame.head(MOST_CALLS).iter_rows(named=True)
    )
    return Calls(
        heading=f"{count(counts['to_book'] + counts['no_answer'], 'call')} to make",
        lead=said,
        rows=rows,
        left=frame.height - len(rows),
        statuses=tuple(words for status, words in STATUS_WORDS.items() if counts[status]),
    )


def _planned(row: Row, as_of: dt.date | None) -> str:
    """Return what may be offered: ``Tue 17 Mar about 09:20, Ida``."""
    if row["date"] is None:
        return ""
    about = f" about {row['arrive']}" if row["arrive"] else ""
    named = f"{WEEKDAYS[row['date'].weekday()]} {day_near(row['date'], as_of)}"
    return f"{named}{about}" + (f", {row['technician']}" if row["technician"] else "")


def _near(row: Row, as_of: dt.date | None) -> str:
    """Return the other weeks in which a truck is near."""
    own = row["date"] - dt.timedelta(days=row["date"].weekday()) if row["date"] else None
    weeks = [dt.date.fromisoformat(text) for text in re.findall(r"\d{4}-\d{2}-\d{2}", row["near"] or "")]
    others = [day_near(week, as_of) for week in sorted(weeks) if week != own]
    if others:
        named = " and ".join([", ".join(others[:-1]), others[-1]] if len(others) > 1 else others)
        return f"{'else ' if own else ''}in the week{'s' if len(others) > 1 else ''} of {named}"
    return "" if own else "no route passes near yet"
