"""Which records are the table: where its header is, and which lines below it are no data."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Sequence
from functools import cache
from importlib import resources

from pipeline.ingest.dialect import DATE, NUMBER
from pipeline.ingest.records import BLANK, Record, is_blank

HEADER_WITHIN = 60
"""Records among which the header is looked for; a title block is never longer (judgement)."""

FOOTER = re.compile(
    r"\W*(?:end of (?:report|file|list|export|data)|\(?\d+ (?:rows?|records?|lines?|visits?|units?)(?: \w+)?\)?|"
    r"(?:page|seite) \d+(?: (?:of|von|/) \d+)?|(?:total|grand total|records|rows|count)\s*[:=]?\s*[\d.,]+)\W*$",
    re.IGNORECASE,
)
"""What stands alone in the last line of a report (common practice, no source)."""


TITLE = re.compile(r"[\w /.-]{2,40}:(?:\s|$)")
"""A name and its value, as title blocks list them (``From: 2024-01-01``)."""


@cache
def line_words(kind: str) -> frozenset[str]:
    """Return the words that mark a ``units`` or ``totals`` line."""
    source = resources.files("pipeline.ingest").joinpath("line_words.toml").read_text("utf-8")
    return frozenset(tomllib.loads(source)[kind])


def clean(cell: str) -> str:
    """Return the cell without outer white space."""
    return cell.strip(BLANK)


def filled(cells: Sequence[str]) -> list[str]:
    """Return the cells that are not blank."""
    return [text for text in map(clean, cells) if text]


def is_number_or_date(text: str) -> bool:
    """Whether a cell is data by its look, not a name."""
    return bool(NUMBER.match(text) or DATE.match(text))


def find_header(sample: Sequence[Record]) -> int:
    """Return the position in ``sample`` of the header record.

    A title block above the header is lines with few cells; a narrower table above a wider one is no title
    block. Where no record stands out, the first that is not blank is the header, data or not.
    """
    present = [(n, record, filled(record.cells)) for n, record in enumerate(sample) if not is_blank(record.cells)]
    if not present:
        return 0
    usual = _usual_width([len(record.cells) for _, record, _ in present])
    at = next((at for at in range(min(len(present), HEADER_WITHIN)) if _may_be_header(present, at, usual)), 0)
    # A title block longer than its table is no title block: nothing may be left out on such thin evidence.
    below = sum(len(record.cells) == usual for _, record, _ in present[at:])
    return present[at if at <= below else 0][0]


def _may_be_header(present: Sequence[tuple[int, Record, list[str]]], at: int, usual: int) -> bool:
    _, record, cells = present[at]
    width = len(record.cells)
    if cells[0].lower().startswith("sep=") or (len(cells) <= 2 and TITLE.match(cells[0])):
        return False
    if width == usual and (usual <= 2 or len(cells) >= 0.5 * usual):
        padded = len(cells) < 0.75 * usual and any(map(is_number_or_date, cells))
        return not (padded and _full_header_follows(present[at + 1 : HEADER_WITHIN], usual))
    if len(cells) >= max(min(2, usual), 0.5 * usual) and not _full_header_follows(
        present[at + 1 : HEADER_WITHIN], usual
    ):
        return True
    return _begins_a_table([r for _, r, _ in present], at)


def _full_header_follows(below: Sequence[tuple[int, Record, list[str]]], usual: int) -> bool:
    """Whether the first record of the usual width has names and no values: then what is above it is a title."""
    for _, record, cells in below:
        if len(record.cells) >= usual and len(cells) >= 0.5 * usual:
            names = not any(is_number_or_date(cell) for cell in cells)
            if names or len(record.cells) == usual:
                return names
    return False


def _usual_width(widths: list[int]) -> int:
    """Return the width of the first long table."""
    counted = Counter(width for width in widths if width > 1) or Counter(widths)
    most = max(counted.values())
    # Of two long tables the first counts; of single records the widest.
    long = [width for width in widths if counted.get(width, 0) >= max(2, 0.5 * most)]
    return long[0] if long else max(counted)


def _begins_a_table(sample: Sequence[Record], at: int) -> bool:
    """Whether the record is a full header with equally wide records below it.

    Two such records will do below three or more cells; below two cells it takes ten, for a title block may list
    names and values in pairs.
    """
    width = len(sample[at].cells)
    needed = 2 if width > 2 else 10
    below = sample[at + 1 : at + 1 + needed]
    cells = filled(sample[at].cells)
    if width < 2 or len(cells) < width or len(below) < needed or any(len(r.cells) != width for r in below):
        return False
    return not any(is_number_or_date(cell) for cell in cells)


def is_units_line(cells: Sequence[str]) -> bool:
    """Whether the record right below the header names units and no values."""
    words = [text.strip("()[]{}<> .").lower() for text in filled(cells)]
    if not words:
        return False
    bracketed = [text for text in filled(cells) if re.match(r"[(\[{].*[)\]}]$", text)]
    known = sum(word in line_words("units") for word in words)
    if any(NUMBER.match(text) and text not in {"$", "€"} and re.search(r"\d{2}", text) for text in filled(cells)):
        return False
    return known >= 0.6 * len(words) or (len(bracketed) == len(words) and known > 0)


def is_totals_line(cells: Sequence[str], width: int) -> bool:
    """Whether the record sums up others: a total word alone in a cell, and beside it nothing but numbers.

    The total word stands in the first cell or the first cell is blank: a row with an identifier is data.
    """
    present = filled(cells)
    if width < 2 or not present or len(present) > max(2, width - 1):
        return False
    if len(present) == 1 and FOOTER.match(present[0]):
        return True
    is_total = [text.rstrip(" :").casefold() in line_words("totals") for text in present]
    if not any(is_total) or (clean(cells[0]) and not is_total[0]):
        return False
    return all(
        total or (NUMBER.match(text) and not DATE.match(text)) for text, total in zip(present, is_total, strict=True)
    )


def begins_other_table(cells: Sequence[str], width: int) -> bool:
    """Whether a record below a blank line is the header of another table: names only, not one digit in it.

    A row of any known table has a digit somewhere (an identifier, a date, an address).
    """
    present = filled(cells)
    distinct = {text.casefold() for text in present}
    enough = len(present) >= 3 and (len(present) == len(cells) or len(present) > 0.6 * width)
    names = all(len(text) <= 40 and not any(c.isdigit() for c in text) for text in present)
    return enough and names and len(distinct) == len(present)


def same_header(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Whether the record repeats the header."""
    mine, theirs = [clean(c).casefold() for c in cells], [clean(c).casefold() for c in header]
    while mine and not mine[-1] and len(mine) > len(theirs):
        mine.pop()
    return mine == theirs and any(mine)
