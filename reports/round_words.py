"""What the pages of the spring round share: weeks, file names, and the stops as people read them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import polars as pl

from reports.advice import OTHER, advice, label
from reports.format import count, day, file_stem, number, reason_text, sentence_start, words

Row = Mapping[str, Any]

PART_WORDS = {"jumper_wire": "Jumper wire", "mounting_strap": "Mounting strap"}
WORK_WORDS = {
    "tune_up": "tune-up",
    "capacitor": "capacitor",
    "charge_check": "charge check",
    "repair": "repair",
    "look": "look at it",
    "warranty_test": "warranty test",
    "re_measure": "measure again",
    "booked": "as booked",
}
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def weekday(date: dt.date) -> str:
    """Return ``Mon 16 Mar 2026``."""
    return f"{WEEKDAYS[date.weekday()]} {day(date)}"


def week_file(monday: dt.date) -> str:
    """Return the file of a week's page."""
    return f"{monday.isoformat()}.html"


def sheet_file(technician: str, date: dt.date, *, with_names: bool) -> str:
    """Return the file of one technician-day."""
    return f"{date.isoformat()}-{file_stem(technician, readable=with_names)}.html"


def minutes(value: float | None) -> str:
    """Return minutes as hours and minutes: ``1 h 20 min``."""
    if value is None:
        return "–"
    hours, rest = divmod(round(value), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def part_words(part: str) -> str:
    """Return how a page names a part."""
    return PART_WORDS.get(part) or label(part)


def size_words(size: str) -> str:
    """Return a stored size as people write it; a part without sizes has its plate."""
    return size.replace("uF", "µF") if size else "as on the plate"


def work_words(work: str | None) -> str:
    """Return the kinds of work in plain words."""
    return ", ".join(WORK_WORDS.get(part, words(part)) for part in (work or "").split("; ") if part) or "look at it"


def reason_lines(reasons: str | None) -> tuple[str, ...]:
    """Return why we come, a sentence each; a reason that begins with a cause word and a colon is told by its label.

    Examples
    --------
    >>> reason_lines("contactor: pitted on 2025-04-02; airflow doubtful found on 2025-04-02, not put right")
    ('Contactor: pitted on 2 Apr 2025', 'Airflow doubtful found on 2 Apr 2025, not put right')
    """
    lines = []
    for part in (reasons or "").split("; "):
        cause, colon, text = part.partition(": ")
        if colon and cause in advice():
            named = text if cause == OTHER else f"{label(cause)}: {text}"
            lines.append(sentence_start(reason_text(named)))
        elif part.strip():
            lines.append(sentence_start(reason_text(part.strip().replace("_", " "))))
    return tuple(lines)


def stock_rows(frame: pl.DataFrame) -> tuple[Row, ...]:
    """Return stock rows with their words."""
    return tuple(
        {
            **row,
            "part_words": part_words(row["part"]),
            "size_words": size_words(row["size"]),
            "covers": None if row["covers_pct"] is None else f"{number(row['covers_pct'])} %",
            "substitutes": (row["substitutes"] or "").replace("uF", "µF"),
        }
        for row in frame.iter_rows(named=True)
    )


def stops_words(stops: int, days: int) -> str:
    """Return ``12 stops on 3 days``."""
    return f"{count(stops, 'stop')} on {count(days, 'technician-day')}"
