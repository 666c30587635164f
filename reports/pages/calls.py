"""Whom to call before anybody drives there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.format import count, day, reason_text
from reports.page import Page, Site
from reports.round_words import Row

PAGE = Page(slug="calls", title="Calls", order=24, queries={"calls": ()})
STATUS_WORDS = {
    "to_book": "to book",
    "no_answer": "no answer yet",
    "booked": "booked",
    "declined": "declined",
}


@dataclass(frozen=True)
class Calls:
    """Everything the page shows; ``rows`` in the order to call."""

    heading: str
    lead: str
    rows: tuple[Row, ...]
    statuses: tuple[str, ...]


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Calls:
    """Return the page's context from the marts' frames."""
    frame = frames["calls"]
    counts = {status: frame.filter(pl.col("status") == status).height for status in STATUS_WORDS}
    said = ", ".join(f"{n} {STATUS_WORDS[status]}" for status, n in counts.items() if n)
    rows = tuple(
        {
            **row,
            "status_words": STATUS_WORDS.get(row["status"], row["status"]),
            "near_words": reason_text(row["near"] or "") or "no route passes near yet",
            "day_words": day(row["date"]) if row["date"] else "",
        }
        for row in frame.iter_rows(named=True)
    )
    return Calls(
        heading=f"{count(counts['to_book'] + counts['no_answer'], 'call')} to make",
        lead=said,
        rows=rows,
        statuses=tuple(words for status, words in STATUS_WORDS.items() if counts[status]),
    )
