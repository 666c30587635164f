"""States of a claim and makers' names in the words of the pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from reports.advice import label
from reports.charge_words import age
from reports.format import count, day, file_stem, kept_together, ounces, reason_text, section, sentence_start

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
        "evidence": kept_together(sentence_start(reason_text(row["evidence"]))) if row["evidence"] else None,
        "note": sentence_start(reason_text(row["note"])) if row["note"] else None,
        "waited": None if row["days_since_filed"] is None else age(row["days_since_filed"]),
        "left": left(row["deadline"], row["days_left"]),
        "packet": packet_file(row["claim_id"]) if row["claim_id"] in packets else None,
    }


def part_words(row: Row) -> str:
    """Return the part of a claim as people call it; a leak to be tested stands for the part it will be found in."""
    if row["part"] == "refrigerant_leak" and row["state"] == "test_before_lapse":
        return "Leak, not located yet"
    return label(row["part"]) + (f", {section(row['section'])} section" if row.get("section") else "")


def part_and_quantity(part: str, quantity: float | None) -> str:
    """Return a part with how many were fitted; the quantity of a refrigerant is its ounces.

    Examples
    --------
    >>> part_and_quantity("refrigerant", 14.0), part_and_quantity("run_capacitor", 2.0)
    ('14 oz of refrigerant', 'Run capacitor × 2')
    """
    if part == "refrigerant" and quantity is not None:
        return f"{ounces(quantity)} of refrigerant"
    several = f" × {quantity:g}" if quantity not in (None, 1.0) else ""
    return f"{label(part)}{several}"


def left(deadline: dt.date | None, days: int | None) -> str:
    """Return a deadline with the days left to it."""
    if deadline is None or days is None:
        return "–"
    if days < 0:
        return f"{day(deadline)}, {count(-days, 'day')} ago"
    return f"{day(deadline)}, {'the last day' if days == 0 else count(days, 'day')}{' left' if days else ''}"
