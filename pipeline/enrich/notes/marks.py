"""Which of several units a stretch of a note speaks of: ``up``, ``#2``, ``unit 1:``, ``cap 40/5 down``."""

from __future__ import annotations

from pipeline.enrich.notes.chunks import BREAK, COMMA, HASH, NUMBER, STOPS
from pipeline.enrich.notes.items import FILLER, LABEL, MARK, OTHER, ROLE, UNIT_NOUNS, WEIGHT, Item
from pipeline.enrich.notes.lexicon import Meaning

Mark = tuple[str, str]
"""Family (level, side, room, index, all) and place."""
MOST_UNITS = 9
UNCLEAR: Mark = ("unclear", "")
"""Said of one of several places, and no telling which."""
_STRONG = (
    "stairs", "stair", "floor", "fl", "flr", "level", "story", "strs", "upper", "lower", "systems", "units", "sys",
    "room", "house", "casita", "both",
)  # fmt: skip
AS_LEFT = Meaning(role="after")
"""What "left" says in a note that tells what was found."""
_MAY_MARK = frozenset({MARK, HASH})
_SEPARATORS = frozenset({":", "-"})


def mark_items(items: list[Item]) -> list[Mark | None]:
    """Return the mark each item stands under; words that mark nothing become ordinary words.

    A mark at the start of a clause holds until the next one; one at the end of a clause holds for that clause alone;
    one in the middle of a sentence (``customer says upstairs is warm``) holds to the next comma.
    """
    marks: list[Mark | None] = [None] * len(items)
    if _MAY_MARK.isdisjoint([item.kind for item in items]) and UNIT_NOUNS.isdisjoint([item.text for item in items]):
        return marks
    found = _find(items)
    current: Mark | None = None
    until_break: Mark | None = None
    i = 0
    while i < len(items):
        if i in found:
            mark, last = found[i]
            for at in range(i, last + 1):
                items[at].kind = MARK
            if _closes(items, i, last):
                begin = _clause_start(items, i)
                # "split 18 up 16 down": another place in the clause, and nothing tells where its part of it ends.
                clear = not any(item.kind == MARK or item.meaning.mark for item in items[begin:i])
                for at in range(begin, last + 1):
                    marks[at] = mark if clear else UNCLEAR
                current = until_break = None
            elif _opens(items, i):
                current, until_break = (None if mark[0] == "all" else mark), None
            else:
                until_break = mark
            for at in range(i, last + 1):
                marks[at] = mark
            i = last + 1
            continue
        if items[i].kind == MARK:
            items[i].kind = FILLER
        if items[i].kind in STOPS:
            until_break = None
        marks[i] = until_break or current
        i += 1
    return marks


def _find(items: list[Item]) -> dict[int, tuple[Mark, int]]:
    """Return the marks by the index of their first item, with the index of their last."""
    found: dict[int, tuple[Mark, int]] = {}
    places = _places_that_open(items)
    i = 0
    while i < len(items):
        item = items[i]
        mark: tuple[Mark, int] | None = None
        named = item.meaning.mark
        if item.kind == MARK and named is not None:
            if item.text == "left" and any(before.text in {"found", "as found"} for before in items[:i]):
                item.kind, item.meaning = ROLE, AS_LEFT
            else:
                mark = _place(items, i, named, several=places > 1)
        elif item.kind == HASH or (item.text in UNIT_NOUNS and item.kind in {OTHER, FILLER}):
            mark = _index(items, i)
        if mark is None:
            i += 1
            continue
        found[i] = mark
        i = mark[1] + 1
    return found


def _places_that_open(items: list[Item]) -> int:
    """Return how many places open a clause with a number after them: ``up 38.1/4.7, down 44.6/4.9``."""
    opening = {
        item.meaning.mark
        for i, item in enumerate(items[:-1])
        if item.meaning.mark and item.kind == MARK and _opens(items, i) and items[i + 1].kind == NUMBER
    }
    return len(opening)


def _index(items: list[Item], i: int) -> tuple[Mark, int] | None:
    at = i + 1 if items[i].kind != HASH and i + 1 < len(items) and items[i + 1].kind == HASH else i
    number = items[at + 1] if at + 1 < len(items) else None
    if number is None or number.kind != NUMBER or number.unit is not None or number.decimals:
        return None
    if not 1 <= number.value <= MOST_UNITS:
        return None
    after = items[at + 2] if at + 2 < len(items) else None
    if after is not None and after.text in {"/", "over"}:
        return None
    if items[i].kind == HASH and (not _opens(items, i) or not _fits_after_mark(items, i, after)):
        return None
    return ("index", f"{number.value:.0f}"), at + 1


def _fits_after_mark(items: list[Item], i: int, after: Item | None) -> bool:
    """Whether what follows ``#2`` can be said of a unit: ``came back #2 time`` is none."""
    if i == 0 or items[i - 1].kind == BREAK or after is None:
        return True
    return after.kind != OTHER or after.meaning.other_part


def _place(items: list[Item], i: int, mark: Mark, *, several: bool) -> tuple[Mark, int] | None:
    after = items[i + 1] if i + 1 < len(items) else None
    before = items[i - 1] if i else None
    if after is not None and after.text in UNIT_NOUNS:
        return mark, i + 1
    if before is not None and before.text in UNIT_NOUNS:
        return mark, i
    if items[i].text.split()[-1].endswith(_STRONG) or mark[0] == "all":
        return mark, i
    if not _opens(items, i):
        return None
    ends = after is None or after.kind in STOPS
    back = i - 2 if before is not None and before.text == "on" else i - 1
    told = back >= 0 and items[back].kind in {NUMBER, WEIGHT}
    if (after is not None and (after.text in _SEPARATORS or after.kind == LABEL)) or (ends and told):
        return mark, i
    numbered = after is not None and after.kind == NUMBER and (before is None or several)
    return (mark, i) if numbered else None


def _opens(items: list[Item], i: int) -> bool:
    """Whether nothing but a break or a number stands before: the mark begins a stretch."""
    before = items[i - 1] if i else None
    if before is None or before.kind in {BREAK, COMMA, NUMBER, WEIGHT, MARK}:
        return True
    return before.text in {"on", "-", ")", "and"}


def _closes(items: list[Item], first: int, last: int) -> bool:
    after = items[last + 1] if last + 1 < len(items) else None
    if after is not None and after.kind not in STOPS:
        return False
    start = _clause_start(items, first)
    return any(item.kind in {NUMBER, WEIGHT} for item in items[start:first])


def _clause_start(items: list[Item], i: int) -> int:
    at = i
    while at and items[at - 1].kind not in {BREAK, COMMA, MARK}:
        at -= 1
    return at
