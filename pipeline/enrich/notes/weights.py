"""Refrigerant weighed in or out as a note tells it: ``added 1 lb 6 oz R410a``, ``2# 22``, ``recovered 4 lb``."""

from __future__ import annotations

from pipeline.enrich.notes.chunks import BREAK, COMMA
from pipeline.enrich.notes.items import LABEL, REFRIGERANT, WEIGHT, Item
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.sections import READING, Said

ADDED, RECOVERED = "refrigerant_added_oz", "refrigerant_recovered_oz"
NEAR = 6
"""Items between a weight and the word that says what was done with it, at most."""
SHORT = frozenset({"low", "short", "undercharged"})
LONGEST_SENTENCE = 30
"""Items before and after a weight that belong to its sentence, at most."""


def weighed(items: list[Item]) -> list[tuple[Said, int, int, int]]:
    """Return what was weighed in and out, each with the index of its item and its place in the note.

    A weight without a word of adding counts where the refrigerant stands beside it and nothing in its sentence says
    that it was needed, quoted or on the nameplate.
    """
    out: list[tuple[Said, int, int, int]] = []
    for i, item in enumerate(items):
        if item.kind != WEIGHT:
            continue
        first, last = _sentence(items, i)
        field, start, end = _what_was_done(items, i, first, last)
        if field is None or not limits().holds(field, item.value):
            continue
        out.append((Said(READING, field, round(item.value, 2)), i, start, end))
    return out


def _what_was_done(items: list[Item], i: int, first: int, last: int) -> tuple[str | None, int, int]:
    start, end = items[i].start, items[i].end
    if _says(items, i + 1, min(i + 3, _clause_end(items, i)), "not_refrigerant"):
        return None, start, end
    before = i - 2 if i > first and items[i - 1].text in {"-", ":", "+"} else i - 1
    beside = [n for n in (before, i + 1, i + 2) if first <= n < last and _is_refrigerant(items[n])]
    for n in beside:
        start, end = min(start, items[n].start), max(end, items[n].end)
    verb = _verb(items, range(i - 1, max(first, i - NEAR) - 1, -1))
    at = verb if verb is not None else _verb(items, range(i + 1, min(last, i + NEAR)))
    if at is None:
        if not beside or any(items[n].meaning.weight == "never" for n in range(first, last)):
            return None, start, end
        return ADDED, start, end
    nearer = range(at + 1, i) if at < i else range(i + 1, at)
    if any(items[n].meaning.weight == "never" for n in nearer) or (at > i and _never_before(items, first, i)):
        return None, start, end
    if at and items[at - 1].text in {"no", "not", "didnt", "dont", "never", "without", "t", "havent", "wasnt", "to"}:
        return None, start, end
    if any(items[n].meaning.weight == "never" and items[n].kind != LABEL for n in range(max(first, at - 2), at)):
        return None, start, end
    if any(items[n].text == "ago" or items[n].text.startswith("last") for n in range(first, last)):
        return None, start, end
    field = RECOVERED if items[at].meaning.weight == "recovered" else ADDED
    return field, min(start, items[at].start), max(end, items[at].end)


def _never_before(items: list[Item], first: int, i: int) -> bool:
    """Whether a word before says the weight was not added; what it was low by is, where the verb comes after."""
    return any(items[n].meaning.weight == "never" and items[n].text not in SHORT for n in range(max(first, i - 3), i))


def _verb(items: list[Item], order: range) -> int | None:
    for at in order:
        if items[at].meaning.weight in {"added", "recovered"}:
            return at
        if items[at].kind == WEIGHT:
            return None
    return None


def _is_refrigerant(item: Item) -> bool:
    return item.kind == REFRIGERANT or item.meaning.weight == "refrigerant"


def _says(items: list[Item], first: int, last: int, what: str) -> bool:
    return any(items[n].meaning.weight == what for n in range(first, last))


def _clause_end(items: list[Item], i: int) -> int:
    last = min(len(items), i + NEAR)
    while i < last and items[i].kind not in {BREAK, COMMA}:
        i += 1
    return i


def _sentence(items: list[Item], i: int) -> tuple[int, int]:
    first = i
    while first > max(0, i - LONGEST_SENTENCE) and items[first - 1].kind != BREAK:
        first -= 1
    last = i
    while last < min(len(items), i + LONGEST_SENTENCE) and items[last].kind != BREAK:
        last += 1
    return first, last
