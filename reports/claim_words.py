"""States of a claim and makers' names in the words of the pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from reports.advice import label
from reports.format import count, day, file_stem, reason_text, section

Row = Mapping[str, Any]

STATES: Mapping[str, str] = {
    "to_file": "to file",
    "test_before_lapse": "test before it lapses",
    "filed": "filed, waiting",
    "credited": "credited",
    "denied": "denied",
    "lapsed": "lapsed unclaimed",
}
PACKETS = ("to_file", "test_before_lapse", "filed")
"""States of which each claim has a page to print."""
MOST_PACKETS = 500
"""Packets published, the nearest deadlines first; all claims are in lists/claims.csv (a limit on size)."""
NO_MAKER = "maker not known"


def packet_file(claim_id: str) -> str:
    """Return the file of a claim's page."""
    return f"{file_stem(claim_id, readable=False)}.html"


def maker_file(claim_to: str | None) -> str:
    """Return the file of the list of a maker's claims."""
    return f"{file_stem(claim_to or NO_MAKER, readable=False)}.html"


def with_words(row: Row, packets: frozenset[str]) -> Row:
    """Return the row of a claim with its part, state, deadline and packet in words."""
    return {
        **row,
        "part_words": part_words(row),
        "state_words": STATES.get(row["state"], row["state"]),
        "evidence": reason_text(row["evidence"]) if row["evidence"] else None,
        "note": reason_text(row["note"]) if row["note"] else None,
        "left": left(row["deadline"], row["days_left"]),
        "packet": packet_file(row["claim_id"]) if row["claim_id"] in packets else None,
    }


def part_words(row: Row) -> str:
    """Return the part of a claim as people call it; a leak to be tested stands for the part it will be found in."""
    if row["part"] == "refrigerant_leak" and row["state"] == "test_before_lapse":
        return "Leak, not located yet"
    return label(row["part"]) + (f", {section(row['section'])} section" if row.get("section") else "")


def left(deadline: dt.date | None, days: int | None) -> str:
    """Return a deadline with the days left to it."""
    if deadline is None or days is None:
        return "–"
    if days < 0:
        return f"{day(deadline)}, over"
    return f"{day(deadline)}, {'the last day' if days == 0 else count(days, 'day')}{' left' if days else ''}"
