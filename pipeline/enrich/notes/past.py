"""What a note says of earlier visits, which no reading of today's may be taken from."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.enrich.notes.chunks import BREAK, STOPS
from pipeline.enrich.notes.items import Item, names_year
from pipeline.enrich.notes.sections import READING, Said

PAST = frozenset({"ago", "yesterday", "ayer", "pasado", "pasada"})
TIMES = frozenset({"year", "time", "visit", "month", "summer", "season", "week", "fall", "spring", "trip", "reading"})
SEASONS = frozenset({"spring", "summer", "fall", "autumn", "winter"})
MAY_BE_EARLIER = re.compile(
    r"spring|summer|fall|autumn|winter|last|ago|yesterday|ayer|pasad|company|\b(?:19|20)\d\d\b", re.IGNORECASE
)
"""A note without any of these tells of no earlier visit."""
PRESENT = frozenset({"now", "today", "but", "currently", "ahora", "hoy"})
"""Words of earlier visits, what stands after "last" for one, and words that lead back to this one."""
GAIN = 1.05
"""A capacitor does not gain by itself: a reading this much above the one before it is a new part's. A guess."""

END = Item(BREAK, "", 0, 0)
"""Closes the last clause of a note."""
Clauses = list[tuple[int, int]]
"""Places in the note, from and to."""


def earlier(items: list[Item]) -> tuple[Clauses, Clauses]:
    """Return the clauses that speak of an earlier visit (``cap read 38/4 last year``), and those that name a year."""
    past_clauses: Clauses = []
    dated: Clauses = []
    first, past, year = 0, False, False
    for i, item in enumerate([*items, END]):
        if item.kind in STOPS or item.text in PRESENT:
            if past or year:
                (past_clauses if past else dated).append((items[first].start, items[i - 1].end))
            first, past, year = i + 1, False, False
            continue
        word, _, second = item.text.partition(" ")
        if word == "last":
            past = past or (second or (items[i + 1].text if i + 1 < len(items) else "")).split(" ")[0] in TIMES
        if item.text in SEASONS and i and items[i - 1].text in {"in", "this", "the"}:
            past = True
        past = past or item.text in PAST or item.text.endswith(" company")
        year = year or names_year(item)
    return past_clauses, dated


def of_present(said: tuple[Said, ...]) -> Iterator[Said]:
    """Without a part fitted, ``now 38.9`` is as found, and ``was 42.1`` before it is of the past unless it was less."""
    values = {one.field: one.value or 0.0 for one in said if one.kind == READING}
    for one in said:
        after = values.get(f"{one.field}_after")
        if after is not None and one.kind == READING and after < GAIN * (one.value or 0.0):
            continue
        base = one.field.removesuffix("_after")
        fresh = base != one.field and (base not in values or values[one.field] < GAIN * values[base])
        yield one._replace(field=base) if fresh and one.kind == READING else one
